"""What a sheet says of one bench before the class: what is known of its set-up, written as a person enters it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Literal

from joulebook.engine.bench import Bench
from joulebook.engine.house import House
from joulebook.experiments.ramp_bench_findings import CARTS, SLOPES
from joulebook.render.numbers import number
from joulebook.render.plain import clean_text
from joulebook.render.words import unit_text
from joulebook.uncertainty import Input
from joulebook.uncertainty.rounding import write

__all__ = ["BLANK_BENCH", "BenchFacts", "entered", "facts_of", "facts_of_plan", "gravity_text"]

_FIELDS: Mapping[str, str] = MappingProxyType(
    {"cart.mass": "mass", "track.angle": "angle", "track.rise": "rise", "track.along": "along"}
)


@dataclass(frozen=True, slots=True)
class BenchFacts:
    """One bench's set-up, each value as text with its unit, "" where it is not known yet and is left to be written in.

    title: of the bench, "" for a blank card.
    load: what the cart should weigh, aim: the slope to set; where these are planned and still to be measured.
    mass, angle: of cart and track. rise, along: h and L of the two marks on the track. All with their limits where known.
    slope: how this bench measures its slope: "rise" (two marks and a ruler) or "gauge" (an angle gauge laid on the track).
    placed: the end at which the ranger stands, "top", "bottom" or "". least_range: nearest distance that the ranger measures.
    distance: from the ranger to the cart at the stop. rate: readings per second. strength: how far the plunger is cocked.
    launches: how many launches this bench makes, None for the house's number. gravity: g of this bench, "" for the house's.
    planned: names of the fields above whose value is a plan's and that nobody has measured.
    doubts: a sentence for each value that should not be used as it is: a default, or beyond what such benches have.
    """

    title: str = ""
    load: str = ""
    aim: str = ""
    mass: str = ""
    angle: str = ""
    rise: str = ""
    along: str = ""
    slope: Literal["rise", "gauge"] = "rise"
    placed: str = ""
    least_range: str = ""
    distance: str = ""
    rate: str = ""
    strength: str = ""
    launches: int | None = None
    gravity: str = ""
    planned: tuple[str, ...] = ()
    doubts: tuple[tuple[str, str], ...] = ()


BLANK_BENCH = BenchFacts()


def facts_of(bench: Bench, **more: str) -> BenchFacts:
    """Return what a bench file says of its set-up; defaults are left out, for a sheet asks for what was measured.

    more: text fields of BenchFacts that the bench file does not hold, such as `rate` and `strength`.
    """
    known = {name: item for name, item in bench.inputs.items() if item.origin in ("given", "default")}
    planned = {name: item for name, item in bench.inputs.items() if item.origin == "planned"}
    least = bench.number("sensor.min_range")
    g = known.get("place.gravity")
    own = {
        "mass": _entered(known, "cart.mass"),
        "angle": _entered(known, "track.angle"),
        "rise": _entered(known, "track.rise", factor=100.0, unit="cm"),
        "along": _entered(known, "track.along", factor=100.0, unit="cm"),
    }
    aimed = {
        "load": f"{planned['cart.mass'].value:.2f} kg" if "cart.mass" in planned else "",
        "rise": _planned_length(planned, "track.rise"),
        "along": _planned_length(planned, "track.along"),
        "angle": f"{planned['track.angle'].value:.1f}°" if "track.angle" in planned else "",
    }
    return BenchFacts(
        title=clean_text(bench.title),
        load=aimed["load"],
        aim=_aim(planned),
        mass=own["mass"],
        angle=own["angle"] or aimed["angle"],
        rise=own["rise"] or aimed["rise"],
        along=own["along"] or aimed["along"],
        slope="gauge" if "track.angle" in known or "track.angle" in planned else "rise",
        placed=bench.word("sensor.placed") or "",
        least_range="" if least is None else f"{number(100.0 * least, 3)} cm",
        launches=len(bench.launches) or None,
        gravity="" if g is None or g.origin == "default" or g.note.startswith("House rule") else f"{number(g.value, 5)} m/s²",
        planned=tuple(field for field, text in aimed.items() if text and not own.get(field)),
        doubts=_doubts({**known, **planned}),
        **more,
    )


def facts_of_plan(plan: Mapping[str, Any]) -> tuple[BenchFacts, ...]:
    """Return what a plan (JSON of format joulebook/plan-1) says of each bench's set-up, and nothing of what it expects.

    Mass and slope of a plan are what to aim at; the class measures them, so they are no values to enter.
    Raises KeyError, TypeError or ValueError where the plan is not of that form.
    """
    benches = plan["benches"] or [{"title": plan["title"], **plan["recommended"]}]
    return tuple(_planned(bench) for bench in benches)


def _planned(bench: Mapping[str, Any]) -> BenchFacts:
    set_up = bench["set_up"]
    angle, stroke = float(set_up["angle_deg"]), float(set_up["stroke_m"])
    placed = str(set_up["placed"])
    if placed not in ("top", "bottom"):
        raise ValueError(f"placed is {placed!r}, not top or bottom")
    # The cocked cart is the farthest that a ranger at the top sees, the nearest for one at the bottom;
    # at the stop the plunger is out.
    stop = float(bench["farthest_m"]) - stroke if placed == "top" else float(bench["nearest_m"]) + stroke
    # A kit names its ways of measuring the slope freely.
    method = str(set_up.get("angle_method", "height"))
    by_rise = "height" in method or "rise" in method
    return BenchFacts(
        title=clean_text(str(bench["title"])),
        load=f"{float(set_up['mass_kg']):.2f} kg",
        angle="" if by_rise else f"{angle:.1f}°",
        rise=f"{100.0 * math.sin(math.radians(angle)):.1f} cm" if by_rise else "",
        along="100 cm" if by_rise else "",
        slope="rise" if by_rise else "gauge",
        aim=_slope(angle),
        distance=f"about {stop:.2f} m",
        placed=placed,
        rate=number(float(set_up["rate_Hz"]), 3),
        strength=f"{100.0 * stroke:.1f} cm" if stroke > 0.0 else "",
        launches=int(set_up["launches"]),
        planned=("load", "rise", "along", "angle"),
    )


def _doubts(inputs: Mapping[str, Input]) -> tuple[tuple[str, str], ...]:
    """Return (field, sentence) for each value on a sheet that is a default, or that no bench of this kind has."""
    found = {}
    for name, field in _FIELDS.items():
        if name in inputs and inputs[name].origin == "default":
            found[field] = "nobody has measured it; it is only a usual value. Measure it."
    mass = inputs.get("cart.mass")
    if mass is not None and not CARTS[0] <= mass.value <= CARTS[1]:
        found["mass"] = f"lab carts weigh {CARTS[0]:g} kg to {CARTS[1]:g} kg. Look at the unit (g or kg) and weigh it again."
    slope = _angle(inputs)
    if slope is not None and not SLOPES[0] <= slope <= SLOPES[1]:
        field = "angle" if "track.angle" in inputs else "rise"
        usual = f"{SLOPES[0]:g}° to {SLOPES[1]:g}°"
        found[field] = f"such a track is tilted by {usual}, this would be {slope:.1f}°. Look at the unit and measure it again."
    return tuple(found.items())


def _angle(inputs: Mapping[str, Input]) -> float | None:
    """Return the slope in degrees, None where it is not known; a rise that is longer than its track counts as upright."""
    if "track.angle" in inputs:
        return inputs["track.angle"].value
    if not {"track.rise", "track.along"} <= inputs.keys():
        return None
    return math.degrees(math.asin(max(-1.0, min(1.0, inputs["track.rise"].value / inputs["track.along"].value))))


def entered(item: Input, *, factor: float = 1.0, unit: str = "") -> str:
    """Return an input as a person writes it down: value ± limits for limits, else value ± standard uncertainty.

    factor, unit: shown in another unit than it is kept in.
    """
    shown = unit or unit_text(item.unit)
    half = item.u * (math.sqrt(3.0) if item.distribution == "rectangular" else 1.0) * factor
    # Limits that were written with one digit (± 0.5) come back with one.
    one = float(f"{half:.0e}") if half > 0.0 else 0.0
    digits = 1 if half > 0.0 and abs(half - one) < 1e-6 * half else 2
    text = (
        write(item.value * factor, half, shown if shown != "°" else "", digits=digits) if half else number(item.value * factor, 6)
    )
    text = text.replace("-", "−")
    if shown == "°":
        return " ± ".join(f"{part}°" for part in text.split(" ± "))
    return text if half else f"{text} {shown}".rstrip()


def gravity_text(facts: BenchFacts, house: House) -> str:
    """Return g as a worksheet prints it: the house's, else the bench's own, else 9.81 m/s²."""
    if house.gravity is not None:
        return f"{number(house.gravity.value, 5)} m/s²"
    return facts.gravity or "9.81 m/s²"


def _aim(planned: Mapping[str, Input]) -> str:
    """Return the slope to set, "" where none is planned."""
    angle = _angle(planned)
    if "track.angle" in planned or angle is None:
        return _slope(angle) if angle is not None else ""
    rise, along = planned["track.rise"].value, planned["track.along"].value
    return f"{angle:.1f}°, a rise of {100.0 * rise:.1f} cm on {100.0 * along:g} cm of track" if 0.0 < rise < along else ""


def _slope(angle: float) -> str:
    return f"{angle:.1f}°, a rise of {100.0 * math.sin(math.radians(angle)):.1f} cm on 100 cm of track"


def _planned_length(planned: Mapping[str, Input], name: str) -> str:
    """Return a planned length without limits, for nobody has measured it; "" where it is not planned."""
    return f"{100.0 * planned[name].value:.1f} cm" if name in planned else ""


def _entered(given: Mapping[str, Input], name: str, *, factor: float = 1.0, unit: str = "") -> str:
    return entered(given[name], factor=factor, unit=unit) if name in given else ""
