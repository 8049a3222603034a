"""A design for a bench whose set-up is stated already: in a bench file, or in a plan.

What is stated stays as it stands; what is true is drawn from it, and what nobody states (the plunger, the noise, the rolling
resistance) is drawn from what such kit is like.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np

from joulebook.engine.house import DEFAULT_HOUSE, House
from joulebook.errors import Fault, InputError
from joulebook.experiments.ramp_inputs import INPUTS, SETTINGS
from joulebook.experiments.ramp_launch import gravity, scale
from joulebook.planning.cart import Setup
from joulebook.planning.design import Design
from joulebook.planning.ranger import ECHO_STEP, Ranger
from joulebook.planning.statements import Statement, default_statement
from joulebook.planning.stops import SpringStop
from joulebook.readers.bench_plan import PLAN_TABLE, in_plan, read_plan, still_planned
from joulebook.readers.bench_text import bench_error, parse_bench_file
from joulebook.readers.bench_values import fill_inputs, fill_settings
from joulebook.readers.house_file import HOUSE_FILE
from joulebook.uncertainty import Input

__all__ = ["PLAN_FORMAT", "StatedBench", "read_stated", "stated_design"]

PLAN_FORMAT = "joulebook/plan-1"

# What else a folder of bench files may hold.
_NO_BENCH_FILES = (HOUSE_FILE, "kit.toml")
_LARGEST = 64 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class StatedBench:
    """What is stated of one bench before anything is recorded.

    title: of the bench. statements: its inputs. placed, length, min_range, max_range: settings, m, None for what is not stated.
    speed: m/s, rate: 1/s, launches: as planned, at_stop: m from the ranger to the cart at the stop, as planned; None for what is
    left open. house: the [house] table of its bench file.
    """

    title: str
    statements: tuple[Statement, ...]
    placed: Literal["top", "bottom"] | None = None
    length: float | None = None
    min_range: float | None = 0.15
    max_range: float | None = None
    speed: float | None = None
    rate: float | None = None
    launches: int | None = None
    at_stop: float | None = None
    house: Mapping[str, Any] | None = None


def read_stated(path: str | os.PathLike[str]) -> list[StatedBench]:
    """Return the benches of a plan (a JSON file), of one bench file, or of every bench file in and below a folder.

    Records that a bench file names need not be there. Raises InputError for something else, with the faults of every bench file.
    """
    place = Path(path)
    if place.is_dir():
        found = (file for file in place.rglob("*.toml") if file.name not in _NO_BENCH_FILES)
        files = sorted(found, key=lambda file: (len(file.parts), [_natural(part) for part in file.parts]))
        if not files:
            raise InputError(
                "There is no bench file in this folder or below it.", source=os.fspath(path),
                remedy="Name a plan (JSON), or a folder with bench files.",
            )  # fmt: skip
        return [_of_file(file) for file in files]
    if not place.is_file():
        raise InputError("There is no such file or folder.", source=os.fspath(path), remedy="Look at its name.")
    return [_of_file(place)] if place.suffix.casefold() == ".toml" else _of_plan(place)


def stated_design(
    stated: StatedBench, rng: np.random.Generator, *, launches: int | None = None, house: House = DEFAULT_HOUSE
) -> Design:
    """Return a clean design of a stated bench; what is true is drawn from what is stated.

    launches: instead of what is planned. house: its g is the place's where the bench states none.
    Raises InputError where the track leaves no room for a climb.
    """
    truth = {statement.name: statement.draw(rng) for statement in stated.statements}
    for name in ("cart.rotating_fraction", "cart.drag_area", "place.air_density"):
        truth.setdefault(name, default_statement(name).draw(rng))
    if not {"sensor.scale", "sensor.air_temperature"} & truth.keys():
        truth["sensor.scale"] = default_statement("sensor.scale").draw(rng)
    elif "sensor.air_temperature" in truth:
        for name in ("sensor.humidity", "sensor.assumed_temperature"):
            truth.setdefault(name, default_statement(name).draw(rng))
    if "place.latitude" in truth:
        truth.setdefault("place.altitude", default_statement("place.altitude").draw(rng))
    elif "place.gravity" not in truth:
        usual = default_statement("place.gravity") if house.gravity is None else _statement(house.gravity)
        truth["place.gravity"] = replace(usual, name="place.gravity").draw(rng)
    values = {name: np.asarray(value) for name, value in truth.items()}
    sine = math.sin(math.radians(truth["track.angle"])) if "track.angle" in truth else truth["track.rise"] / truth["track.along"]
    length, least = stated.length or 1.5, stated.min_range or 0.15
    placed = stated.placed or "top"
    if not 0.005 < sine < 0.7:
        raise _no_room(stated, f"its slope of {math.degrees(math.asin(min(abs(sine), 1.0))):.1f}° is none of a track")
    resistance = float(rng.uniform(0.003, 0.008))
    pull = float(gravity(values)) * (sine + resistance)
    room = length - 0.15 - (least + 0.06 if placed == "top" else 0.05)
    if room < 0.12:
        raise _no_room(
            stated, f"on {length:.2f} m of track, with {least:.2f} m of blind zone, {max(room, 0.0):.2f} m are left for the climb"
        )
    speed = stated.speed if stated.speed is not None else math.sqrt(2.0 * pull * room * float(rng.uniform(0.5, 0.75)) / 1.08)
    kappa = max(truth["cart.rotating_fraction"], 0.0)
    inertia = truth["cart.mass"] * (1.0 + kappa)
    stiffness = inertia * (math.pi / float(rng.uniform(0.10, 0.16))) ** 2
    setup = Setup(
        mass=truth["cart.mass"], angle=math.degrees(math.asin(sine)), rolling_resistance=resistance, rotating_fraction=kappa,
        stop=SpringStop.hysteretic(stiffness=stiffness, speed=speed, restitution=float(rng.uniform(0.7, 0.9))),
        plunger=SpringStop(stiffness), drag_area=max(truth["cart.drag_area"], 0.0), gravity=float(gravity(values)),
        air_density=truth["place.air_density"], track_length=length, low_end=-0.10,
    )  # fmt: skip
    ranger = Ranger(
        rate=stated.rate or float(rng.choice([20.0, 20.0, 25.0, 50.0])), placed=placed, noise=float(rng.uniform(0.0003, 0.0007)),
        moving_noise=0.0003, echo_step=ECHO_STEP if rng.uniform() < 0.5 else 0.0, decimals=4, scale=float(scale(values)),
        min_range=least, max_range=stated.max_range or 6.0,
        zero=_zero(stated.at_stop, placed, length, least, rng),
    )  # fmt: skip
    design = Design(
        setup=setup, ranger=ranger, stop_kind="spring", speed=speed, statements=stated.statements,
        launches=launches or stated.launches or 1, repeat=float(rng.uniform(0.01, 0.025)), wait=float(rng.uniform(0.7, 1.5)),
        hops=int(rng.integers(3, 5)), last_hop=float(rng.uniform(0.4, 0.9)), rest_seconds=3.0, rest_at=float(rng.uniform(-0.5,
        0.5)), title=stated.title, stated_placed=stated.placed, stated_length=stated.length, stated_min_range=stated.min_range,
        stated_max_range=stated.max_range,
    )  # fmt: skip
    deepest = design.stroke(speed * 1.07)
    if placed == "bottom" and ranger.zero - deepest < least + 0.02:
        design = replace(design, ranger=replace(ranger, zero=least + 0.03 + deepest))
    return design


def _zero(at_stop: float | None, placed: str, length: float, least: float, rng: np.random.Generator) -> float:
    """Return the distance from the ranger to the cart at the stop, m: as planned to a few millimetres, else where it belongs."""
    slack = float(rng.uniform(0.0, 0.04))
    if at_stop is not None:
        return at_stop + 0.1 * (slack - 0.02)
    return length - 0.10 - slack if placed == "top" else least + 0.10


def _no_room(stated: StatedBench, why: str) -> InputError:
    return InputError(
        f"{stated.title} cannot be rehearsed: {why}.",
        remedy="Correct track.length, sensor.min_range or the slope in its bench file.",
    )


def _of_file(file: Path) -> StatedBench:
    """Read a bench file without its records."""
    document = parse_bench_file(file)
    faults: list[Fault] = []
    given: dict[str, object] = {}
    known = {spec.name for spec in INPUTS} | {spec.name for spec in SETTINGS}
    for table, content in document.items():
        if isinstance(content, Mapping) and table != PLAN_TABLE:
            given.update({f"{table}.{key}": value for key, value in content.items() if f"{table}.{key}" in known})
    # A rehearsal is before the class: what is only planned yet is what the bench will be.
    planned = still_planned(read_plan(document.get(PLAN_TABLE), known, faults), given, INPUTS)
    given |= planned
    inputs = fill_inputs(given, INPUTS, faults)
    settings = fill_settings(given, SETTINGS, faults)
    if faults := in_plan(faults, planned):
        raise bench_error(faults, os.fspath(file))
    files = document.get("files")
    named = files.get("launch") if isinstance(files, Mapping) else None
    placed, house = settings["sensor.placed"], document.get("house")
    return StatedBench(
        title=str(document.get("title", file.resolve().parent.name)),
        statements=tuple(_statement(item) for item in inputs.values() if item.name in given),
        placed="top" if placed == "top" else "bottom" if placed == "bottom" else None,
        length=_number(settings["track.length"]), min_range=_number(settings["sensor.min_range"]),
        max_range=_number(settings["sensor.max_range"]),
        launches=len(named) if isinstance(named, list) and named else None,
        house=house if isinstance(house, Mapping) else None,
    )  # fmt: skip


def _statement(item: Input) -> Statement:
    """Return what would be written for an input, with two digits of its uncertainty."""
    notation: Literal["limits", "standard", "triangular"]
    if item.distribution in ("rectangular", "constant"):
        width, notation = item.u * math.sqrt(3.0), "limits"
    elif item.distribution == "triangular":
        width, notation = item.u * math.sqrt(6.0), "triangular"
    else:
        width, notation = item.u, "standard"
    decimals = max(1 - math.floor(math.log10(width)), 0) if width > 0.0 else 4
    width = round(width, decimals)
    return Statement(item.name, item.value, width, notation, decimals)


def _number(value: float | str | None) -> float | None:
    return None if value is None else float(value)


def _of_plan(file: Path) -> list[StatedBench]:
    """Read the benches of a plan: every one's own set-up, or the recommended one where benches were not told apart."""
    source = os.fspath(file)
    try:
        if file.stat().st_size > _LARGEST:
            raise InputError("This file is far too large for a plan.", source=source, remedy="Name a plan's JSON file.")
        document = json.loads(file.read_text(encoding="utf-8"))
    except (ValueError, RecursionError):
        raise InputError("This is neither a bench file nor a plan: it is not JSON.", source=source, remedy="Name one.") from None
    except OSError as error:
        raise InputError(f"It cannot be read: {error.strerror}.", source=source, remedy="See who may read it.") from None
    if not isinstance(document, Mapping) or document.get("format") != PLAN_FORMAT:
        found = document.get("format") if isinstance(document, Mapping) else None
        raise InputError(
            f"This is no plan: its format is {str(found)[:60]!r}, not {PLAN_FORMAT!r}.", source=source,
            remedy="Write one with `joulebook plan --json`.",
        )  # fmt: skip
    listed = document.get("benches") or [document.get("recommended")]
    faults: list[Fault] = []
    benches = [
        _of_forecast(each, number, faults) for number, each in enumerate(listed if isinstance(listed, Sequence) else [], 1)
    ]
    if faults or not benches:
        raise InputError(
            "The plan is damaged.", source=source, remedy="Write it anew with `joulebook plan --json`.", faults=faults
        )
    return [bench for bench in benches if bench is not None]


def _of_forecast(forecast: Any, number: int, faults: list[Fault]) -> StatedBench | None:
    where = f"benches[{number - 1}]"
    if not isinstance(forecast, Mapping) or not isinstance(forecast.get("set_up"), Mapping):
        faults.append(Fault(where, "has no set_up."))
        return None
    set_up = forecast["set_up"]
    numbers = {}
    for key, low, high in (
        ("track_length_m", 0.3, 20.0),
        ("stroke_m", 0.0, 0.5),
        ("mass_kg", 0.01, 20.0),
        ("angle_deg", 0.5, 45.0),
        ("speed_m_s", 0.1, 5.0),
        ("rate_Hz", 2.0, 1000.0),
        ("launches", 1, 50),
    ):
        value = set_up.get(key)
        if not isinstance(value, int | float) or not low <= value <= high:
            faults.append(Fault(f"{where}.set_up.{key}", f"{value!r} is not between {low:g} and {high:g}."))
        else:
            numbers[key] = float(value)
    placed: Literal["top", "bottom"] = "bottom" if set_up.get("placed") == "bottom" else "top"
    if set_up.get("placed") != placed:
        faults.append(Fault(f"{where}.set_up.placed", f"{set_up.get('placed')!r} is neither 'top' nor 'bottom'."))
        return None
    # The cocked cart is the farthest that a ranger at the top sees, and the nearest for one at the bottom.
    key = "farthest_m" if placed == "top" else "nearest_m"
    cocked = forecast.get(key)
    if not isinstance(cocked, int | float) or not 0.0 <= cocked <= 50.0:
        faults.append(Fault(f"{where}.{key}", f"{cocked!r} is not between 0 and 50."))
        return None
    if len(numbers) < 7:
        return None
    slope = _planned_slope(numbers["angle_deg"], str(set_up.get("angle_method", "")))
    return StatedBench(
        title=str(forecast.get("title") or f"Bench {number}"),
        statements=(*slope, Statement("cart.mass", numbers["mass_kg"], 0.0005, "limits", 4)),
        placed=placed, length=numbers["track_length_m"],
        at_stop=float(cocked) + (-1.0 if placed == "top" else 1.0) * numbers["stroke_m"],
        speed=numbers["speed_m_s"], rate=numbers["rate_Hz"], launches=int(numbers["launches"]),
    )  # fmt: skip


def _planned_slope(angle: float, method: str) -> tuple[Statement, ...]:
    """Return the slope as it would be stated by a plan's way of measuring it; an unknown way counts as a protractor."""
    if "height" in method or "rise" in method:
        rise = round(math.sin(math.radians(angle)), 3)
        return (
            Statement("track.rise", rise, 0.001, "limits", 1, "cm", 100.0),
            Statement("track.along", 1.0, 0.001, "limits", 1, "cm", 100.0),
        )
    return (Statement("track.angle", angle, 0.2 if "level" in method else 0.5, "limits", 2),)


def _natural(part: str) -> tuple[int, str]:
    digits = "".join(character for character in part if character.isdecimal())
    return (int(digits) if digits else 0, part)
