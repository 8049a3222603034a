"""What a preparation run says about one bench's kit: noise, rate, friction, slope, scale, launcher and stop, each with its u.

Two kinds of measure are told apart. A *level* is a value with a standard uncertainty (rolling resistance); a *scatter* is a
standard deviation with degrees of freedom (noise, repeatability), whose own relative uncertainty is √(1 − c₄²)/c₄ (JCGM 100,
Table E.1).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from joulebook.engine.bench import Bench
from joulebook.engine.clean import clean
from joulebook.engine.report import Audit, LaunchAudit
from joulebook.planning.kit_table import KIT_MEASURES
from joulebook.uncertainty import Input, Quantity

__all__ = ["ANGLE_KNOWN", "Measure", "measure_kit", "spread_uncertainty"]

ANGLE_KNOWN = 0.015
"""Relative u of the stated sine up to which slope agreement is read as a hint at the distance scale; scales are off by about 1
%."""

_SAME_KIT = ("cart.", "place.")
"""Inputs that are the same thing in two checks of one bench, and so do not make its numbers differ."""

_CONTACT_RELATIVE, _CONTACT_LEAST = 0.02, 0.0005
"""Relative and absolute (s) uncertainty of a contact time whatever its statistics say, as in `engine.contacts`."""


@dataclass(frozen=True, slots=True)
class Measure:
    """One measured value of one bench, in SI units (slope in degrees).

    u: combined standard uncertainty. u_repeat: the part of it that would differ if the same kit were checked again.
    dof: degrees of freedom of u_repeat; of a scatter, of the standard deviation itself. n: readings or launches behind it.
    note: what a person should know about it, "" for nothing.
    """

    name: str
    value: float
    u: float
    u_repeat: float
    dof: float
    n: int
    note: str = ""

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object; infinite dof is null."""
        dof = None if math.isinf(self.dof) else self.dof
        return {"value": self.value, "u": self.u, "u_repeat": self.u_repeat, "dof": dof, "n": self.n, "note": self.note}


def measure_kit(bench: Bench, audit: Audit) -> tuple[dict[str, Measure], dict[str, str]]:
    """Return what a bench's run says about its kit by name, and for each measure that it cannot say, why not."""
    stopped = {finding.evidence.get("record") for finding in audit.findings if finding.severity == "stop"}
    sound = [launch for launch in audit.launches if launch.quantities and launch.file not in stopped]
    found: list[Measure | None] = [_still(bench, audit), *_record_measures(bench, audit)]
    why = {} if sound else dict.fromkeys((spec.name for spec in KIT_MEASURES), "no launch on record can be used")
    if bench.rest is None:
        why["noise_still"] = "there is no rest record"
    elif found[0] is None:
        why["noise_still"] = "the cart does not stand still in the rest record"
    else:
        why.pop("noise_still", None)
    if sound:
        found += [
            _moving(audit, sound),
            *_slope(audit, why),
            _friction(audit, why),
            *_launcher(sound, why),
            *_stop(audit, sound, why),
        ]
    measures = {each.name: each for each in found if each is not None}
    return measures, {name: text for name, text in why.items() if name not in measures}


def spread_uncertainty(dof: float) -> float:
    """Return the relative standard uncertainty of a standard deviation with so many degrees of freedom, √(1 − c₄²)/c₄.

    JCGM 100, Table E.1 (for n = dof + 1 readings): 76 % for 2, 36 % for 5, 24 % for 10.
    """
    c4 = math.sqrt(2.0 / dof) * math.exp(math.lgamma(0.5 * (dof + 1.0)) - math.lgamma(0.5 * dof))
    return math.sqrt(max(1.0 - c4 * c4, 0.0)) / c4


def _scatter(name: str, sd: float, dof: float, n: int, note: str = "") -> Measure:
    u = sd * spread_uncertainty(dof)
    return Measure(name, sd, u, u, dof, n, note)


def _still(bench: Bench, audit: Audit) -> Measure | None:
    if bench.rest is None:
        return None
    summary = next((record for record in audit.records if record.file == bench.rest.file), None)
    if summary is None or summary.noise_m is None or summary.used < 5:
        return None
    trace = clean(bench.rest)
    values = trace.distance[trace.good]
    values = values[np.abs(values - np.median(values)) < 6.0 * summary.noise_m + trace.step]
    floor = trace.step / math.sqrt(12.0)
    note = f"not above the step of the readings, {1000.0 * trace.step:.2g} mm" if summary.noise_m <= 1.2 * floor else ""
    dof = max((summary.used - 1) * _independent(_correlation(values)), 1.0)
    return _scatter("noise_still", summary.noise_m, dof, summary.used, note)


def _moving(audit: Audit, launches: Sequence[LaunchAudit]) -> Measure | None:
    used = {record.file: record.used for record in audit.records}
    variance, dof, count = 0.0, 0.0, 0
    for launch in launches:
        free = used.get(launch.file, 0) - 8  # two accelerations, and time and height of about three apexes
        if "noise" not in launch.facts or free < 3:
            continue
        part = free * _independent(launch.facts.get("noise_correlation", 0.0))
        variance, dof, count = variance + part * launch.facts["noise"] ** 2, dof + part, count + used[launch.file]
    return _scatter("noise_moving", math.sqrt(variance / dof), dof, count) if dof > 0 else None


def _independent(correlation: float) -> float:
    """Return the share of independent samples in the variance of an AR(1) series, (1 − ρ²)/(1 + ρ²)."""
    square = min(correlation * correlation, 0.95)
    return (1.0 - square) / (1.0 + square)


def _correlation(values: npt.NDArray[np.float64]) -> float:
    rest = values - values.mean() if values.size else values
    power = float(rest @ rest)
    return max(float(rest[1:] @ rest[:-1]) / power, 0.0) if power > 0.0 and values.size > 10 else 0.0


def _record_measures(bench: Bench, audit: Audit) -> list[Measure]:
    """Return the rate that was really reached and the share of readings that were lost, over all launch records."""
    names = {record.file for record in bench.launches}
    # Several runs of one file have the run's name after theirs.
    records = [each for each in audit.records if each.file in names or each.file.partition("#")[0] in names]
    expected = sum(record.samples for record in records)
    if not expected:
        return []
    times = [
        record.time[np.isfinite(record.time) & (np.isfinite(record.distance) | record.velocity_only)] for record in bench.launches
    ]
    spans = [(time.size - 1, float(time[-1] - time[0])) for time in times if time.size > 2 and time[-1] > time[0]]
    lost = sum(record.missing + record.rejected for record in records) / expected
    # Binomial, with the rule of succession so that no loss at all keeps an uncertainty.
    share = (lost * expected + 1.0) / (expected + 2.0)
    u = math.sqrt(share * (1.0 - share) / (expected + 3.0))
    found = [Measure("lost", lost, u, u, math.inf, expected)]
    if spans:
        each = np.array([count / span for count, span in spans])
        u_rate = float(np.std(each, ddof=1) / math.sqrt(each.size)) if each.size > 1 else 0.0
        total = sum(count for count, _ in spans) / sum(span for _, span in spans)
        # A blank at either end shifts a record's count by one.
        u_rate = math.hypot(u_rate, total / expected)
        found.append(Measure("rate", total, u_rate, u_rate, math.inf, len(spans)))
    return found


def _friction(audit: Audit, why: dict[str, str]) -> Measure | None:
    lines = audit.budgets.get("rolling_resistance", ())
    if any(line.input == "cart.rolling_resistance" for line in lines):
        why["friction"] = "the descent is not on record"
        return None
    return _level(audit, "friction", "rolling_resistance", len(audit.launches))


def _level(audit: Audit, name: str, quantity: str, n: int) -> Measure:
    item = audit.quantity(quantity)
    repeat = _part(audit, quantity, without=_SAME_KIT)
    return Measure(name, item.value, item.u, repeat, _dof_of_part(item, repeat), n)


def _part(audit: Audit, quantity: str, *, without: Collection[str]) -> float:
    """Return the part of a quantity's u that does not come from the inputs whose names begin like this."""
    lines = audit.budgets.get(quantity, ())
    return math.sqrt(sum(line.contribution**2 for line in lines if not line.input.startswith(tuple(without))))


def _dof_of_part(item: Quantity, part: float) -> float:
    """Return the degrees of freedom of the part of u that has any: Welch–Satterthwaite with the rest known exactly."""
    return max(item.dof * (part / item.u) ** 4, 1.0) if item.u > 0.0 and math.isfinite(item.dof) else math.inf


def _slope(audit: Audit, why: dict[str, str]) -> list[Measure]:
    seen = audit.quantity("slope_from_motion")
    sine, u_sine = _stated_sine({item.name: item for item in audit.inputs})
    if not 0.0 < sine < 1.0:
        why["slope_gap"] = why["scale_hint"] = "the stated slope is none of a track"
        return []
    stated = math.degrees(math.asin(sine))
    u_stated = math.degrees(u_sine / math.sqrt(1.0 - sine * sine))
    repeat = math.hypot(u_stated, _part(audit, "slope_from_motion", without=_SAME_KIT))
    note = f"stated {stated:.2f}°, seen {seen.value:.2f}°"
    gap = Measure("slope_gap", stated - seen.value, math.hypot(u_stated, seen.u), repeat, math.inf, len(audit.launches), note)
    known = u_sine / sine
    if known > ANGLE_KNOWN:
        why["scale_hint"] = f"the stated slope is known to {100.0 * known:.1f} % only, which hides any fault of the scale"
        return [gap]
    inputs = {item.name: item for item in audit.inputs}
    scale = float(audit.facts.get("scale", inputs["sensor.scale"].value if "sensor.scale" in inputs else 1.0))
    cotangent = math.radians(1.0) / math.tan(math.radians(seen.value))
    value = scale * sine / math.sin(math.radians(seen.value))
    whole = value * math.hypot(known, cotangent * _part(audit, "slope_from_motion", without=("sensor.",)))
    again = value * math.hypot(known, cotangent * _part(audit, "slope_from_motion", without=("sensor.", *_SAME_KIT)))
    return [gap, Measure("scale_hint", value, whole, again, math.inf, len(audit.launches))]


def _stated_sine(inputs: Mapping[str, Input]) -> tuple[float, float]:
    if "track.angle" in inputs:
        angle = inputs["track.angle"]
        return math.sin(math.radians(angle.value)), math.cos(math.radians(angle.value)) * math.radians(angle.u)
    rise, along = inputs["track.rise"], inputs["track.along"]
    if rise.value <= 0.0:
        return 0.0, 0.0
    sine = rise.value / along.value
    return sine, sine * math.hypot(rise.u / rise.value, along.u / along.value)


def _launcher(launches: Sequence[LaunchAudit], why: dict[str, str]) -> list[Measure]:
    speeds = [item for launch in launches if isinstance(item := launch.quantities.get("release_speed"), Quantity)]
    values = np.array([speed.value for speed in speeds])
    if values.size < 2:
        why["repeatability"] = why["release_speed"] = "it takes two launches or more"
        return []
    mean, sd = float(values.mean()), float(values.std(ddof=1))
    dof = float(values.size - 1)
    # Scale and datum shift all launches alike; what is left of each launch's own u is the fit's noise.
    note = f"{values.size} launches"
    common = float(np.median([speed.u for speed in speeds]))
    u_mean = sd / math.sqrt(values.size)
    return [
        _scatter("repeatability", sd / mean, dof, values.size, note),
        Measure("release_speed", mean, math.hypot(u_mean, common), u_mean, dof, values.size, note),
    ]


def _stop(audit: Audit, launches: Sequence[LaunchAudit], why: dict[str, str]) -> list[Measure]:
    found: list[Measure] = []
    times = np.array([launch.facts["contact_time"] for launch in launches if "contact_time" in launch.facts])
    bounces = [item[0] for launch in launches if isinstance(item := launch.quantities.get("restitution"), tuple) and item]
    missing = "no rebound is on record"
    if times.size >= 2:
        repeat = float(times.std(ddof=1)) / math.sqrt(times.size)
        # The stop is simpler in the model than on the bench: what that makes uncertain is the same in every launch.
        u = math.hypot(repeat, _CONTACT_RELATIVE * float(times.mean()), _CONTACT_LEAST)
        found.append(Measure("contact_time", float(times.mean()), u, repeat, float(times.size - 1), int(times.size)))
    else:
        why["contact_time"] = "it takes rebounds of two launches or more" if times.size else missing
    if len(bounces) >= 2:
        values = np.array([bounce.value for bounce in bounces])
        repeat = float(values.std(ddof=1)) / math.sqrt(values.size)
        # Level and slope shift all bounces alike.
        u = math.hypot(repeat, float(np.median([bounce.u for bounce in bounces])))
        found.append(Measure("restitution", float(values.mean()), u, repeat, float(values.size - 1), int(values.size)))
    elif bounces:
        found.append(Measure("restitution", bounces[0].value, bounces[0].u, bounces[0].u, bounces[0].dof, 1))
    else:
        why["restitution"] = missing
    if bounces:
        found += _impact(launches)
    return found


def _impact(launches: Sequence[LaunchAudit]) -> list[Measure]:
    """Return the speed at which the cart comes back to the stop, v = √(2 a d): what a rebound has to be compared at.

    Drag is left out: it takes less than one part in a hundred here (BENCH_FACTS).
    """
    speeds = []
    for launch in launches:
        fall, way = launch.quantities.get("descent_acceleration"), launch.quantities.get("travel")
        if isinstance(fall, Quantity) and isinstance(way, Quantity) and fall.value > 0.0 and way.value > 0.0:
            speed = math.sqrt(2.0 * fall.value * way.value)
            speeds.append((speed, 0.5 * speed * math.hypot(fall.u / fall.value, way.u / way.value)))
    if not speeds:
        return []
    values = np.array([speed for speed, _ in speeds])
    repeat = float(values.std(ddof=1) / math.sqrt(values.size)) if values.size > 1 else 0.0
    u = math.hypot(repeat, float(np.median([u for _, u in speeds])))
    return [Measure("impact_speed", float(values.mean()), u, repeat or u, max(float(values.size - 1), 1.0), int(values.size))]
