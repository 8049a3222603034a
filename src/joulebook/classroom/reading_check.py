"""Checking readings against the bench's own record: right within what the graph shows, or which other feature they match.

A reading is off only where neither the audit's uncertainty, nor the reader's own, nor the gaps between the samples allow it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from joulebook.classroom.written import Written
from joulebook.engine.report import Audit, LaunchAudit, Series
from joulebook.uncertainty import Quantity

__all__ = ["Feature", "ReadingResult", "check_reading", "features_of"]

ReadingName = Literal["start_distance", "apex_distance", "release_speed", "slope"]

_WIDE = 3.0  # standard uncertainties, as one judges an outlier: a reading is not called off for less


@dataclass(frozen=True, slots=True)
class Feature:
    """A place or a speed that the record shows.

    code: short name; "wanted" for the one that was asked for. words: what it is. low, high: what may be read there, m or m/s.
    launch: the file.
    """

    code: str
    words: str
    low: float
    high: float
    launch: str


@dataclass(frozen=True, slots=True)
class ReadingResult:
    """What a reading is, going by the record.

    kind: "blank", "right", "other feature", "off" or "no audit". written: what stands there. low, high: what may be read at the
    place that was asked for, over all launches; NaN without an audit. features: those that it matches, when it is not right.
    off: how far outside it lies, in the unit of the reading.
    """

    reading: str
    kind: Literal["blank", "right", "other feature", "off", "no audit"]
    written: Written | None = None
    low: float = math.nan
    high: float = math.nan
    features: tuple[Feature, ...] = ()
    off: float = 0.0


def check_reading(reading: ReadingName, written: Written | None, audit: Audit | None, *, u: float = 0.0) -> ReadingResult:
    """Check one reading of a write-up.

    written: None when it is blank. audit: of the bench; None when there is none. u: the standard uncertainty that the reader
    gave, in the unit of the reading.
    """
    if written is None:
        return ReadingResult(reading, "blank")
    found = () if audit is None else _shown(reading, audit)
    wanted = [feature for feature in found if feature.code == "wanted"]
    if not wanted:
        return ReadingResult(reading, "no audit", written)
    low, high = min(each.low for each in wanted), max(each.high for each in wanted)
    slack = 2.0 * u
    if any(written.holds(each.low - slack, each.high + slack) for each in wanted):
        return ReadingResult(reading, "right", written, low, high)
    off = max(low - written.high, written.low - high)
    others = tuple(each for each in found if each.code != "wanted" and written.holds(each.low, each.high))
    named = tuple({each.code: each for each in reversed(others)}.values())[::-1]
    return ReadingResult(reading, "other feature" if named else "off", written, low, high, named, off)


@lru_cache(maxsize=256)
def _shown(reading: ReadingName, audit: Audit) -> tuple[Feature, ...]:
    """What `features_of` yields, worked out once for all write-ups of a bench: an audit never changes and equals itself alone."""
    return tuple(features_of(reading, audit))


def features_of(reading: ReadingName, audit: Audit) -> Iterator[Feature]:
    """Yield what the launches of an audit show that may have been read: what was asked for, and what is taken for it."""
    if reading == "slope":
        yield from _slopes(audit)
        return
    for launch in audit.launches:
        series = launch.series
        if series is None or not {"release_time", "release_speed", "apex_time", "travel"} <= launch.quantities.keys():
            continue
        if reading == "release_speed":
            yield from _speeds(launch, series, audit)
        else:
            yield from _places(reading, launch, series)


def _speeds(launch: LaunchAudit, series: Series, audit: Audit) -> Iterator[Feature]:
    speed, travel = _one(launch, "release_speed"), _one(launch, "travel")
    climb, descent = _one(launch, "climb_acceleration"), launch.quantities.get("descent_acceleration")
    step = _step(series)
    # Two points of the graph soon after the release show a speed that is less by what the cart lost until between them.
    spread = _WIDE * speed.u + 0.01 * speed.value
    yield Feature(
        "wanted", "the speed at release", speed.value - climb.value * 3.0 * step - spread, speed.value + spread, launch.file
    )
    mean = 0.5 * speed.value
    yield Feature("average speed", "the average speed of the climb", 0.97 * mean, 1.03 * mean, launch.file)
    if isinstance(descent, Quantity) and descent.value > 0.0:
        back = math.sqrt(2.0 * descent.value * travel.value)
        yield Feature("return speed", "the speed of the cart when it came back", 0.96 * back, 1.03 * back, launch.file)
        for number, bounce in enumerate(_several(launch, "restitution")[:2], 1):
            back *= bounce.value
            yield Feature(
                f"speed after bounce {number}", f"the speed after bounce {number}", 0.95 * back, 1.05 * back, launch.file
            )
    tallest = launch.facts.get("tallest_velocity_sample", audit.facts.get("tallest_velocity_sample"))
    if tallest:
        yield Feature(
            "tallest sample",
            "the tallest value of a velocity column at this sampling rate",
            0.99 * tallest,
            1.01 * tallest,
            launch.file,
        )


def _slopes(audit: Audit) -> Iterator[Feature]:
    """Yield the slope that the motion shows; an angle read one degree off, or from a gauge that was never zeroed, lies outside."""
    shown = audit.quantities.get("slope_from_motion")
    if isinstance(shown, Quantity):
        spread = _WIDE * shown.u + 0.05
        yield Feature("wanted", "the slope that the motion shows", shown.value - spread, shown.value + spread, "")


def _places(reading: ReadingName, launch: LaunchAudit, series: Series) -> Iterator[Feature]:
    to_distance = _scale(series)
    if to_distance is None:
        return
    offset, slope = to_distance
    release, travel = series.release_level, _one(launch, "travel")
    apex = release + travel.value
    speed, climb, step = _one(launch, "release_speed").value, _one(launch, "climb_acceleration").value, _step(series)
    noise = _WIDE * max(_noise(series), 0.0005)
    # Between two samples the cart moves on; near the turn it hardly does.
    start_gap, turn_gap = speed * step + noise + _WIDE * travel.u, climb * step**2 + noise + _WIDE * travel.u

    def at(code: str, words: str, position: float, gap: float) -> Feature:
        place = offset + slope * position
        return Feature(code, words, place - gap, place + gap, launch.file)

    release_here, apex_here = ("wanted", "other") if reading == "start_distance" else ("other", "wanted")
    yield at(release_here if release_here == "wanted" else "release", "the place of the release", release, start_gap)
    yield at(apex_here if apex_here == "wanted" else "apex", "the highest point", apex, turn_gap)
    yield at("rest level", "where the cart rests on the stop", 0.0, 2.0 * noise)
    still = [phase for phase in launch.phases if phase.kind == "still"]
    for phase in still[:1]:
        cocked = float(np.nanmedian(series.position[phase.first : phase.last + 1]))
        yield at("cocked level", "where the cart stood cocked before the launch", cocked, 2.0 * noise)
    for phase in still[1:][-1:]:
        settled = float(np.nanmedian(series.position[phase.first : phase.last + 1]))
        yield at("settled level", "where the cart came to rest in the end", settled, 2.0 * noise)
    for number, top in enumerate(_later_tops(launch, series), 2):
        yield at(f"top of hop {number}", f"the highest point of hop {number}", top, turn_gap)
    yield from _wild(series, launch.file)


def _later_tops(launch: LaunchAudit, series: Series) -> list[float]:
    """Return the highest points of the hops after the first."""
    tops, current = [], -math.inf
    for phase in launch.phases:
        if phase.kind in ("climb", "descent"):
            inside = series.position[phase.first : phase.last + 1]
            if np.isfinite(inside).any():
                current = max(current, float(np.nanmax(inside)))
        elif phase.kind == "contact" and current > -math.inf:
            tops.append(current)
            current = -math.inf
    if current > -math.inf:
        tops.append(current)
    return tops[1:4]


def _wild(series: Series, file: str) -> Iterator[Feature]:
    """Yield the nearest and the farthest reading of all where they are flagged: a reader of the table may have taken one."""
    finite = np.isfinite(series.distance)
    if not finite.any():
        return
    for pick in (np.nanargmin, np.nanargmax):
        index = int(pick(series.distance))
        if series.flags[index] not in ("", "missing"):
            value = float(series.distance[index])
            yield Feature("flagged sample", "a reading that is not the cart", value - 0.0005, value + 0.0005, file)


def _scale(series: Series) -> tuple[float, float] | None:
    """Return offset and slope of the reading over the position up the slope."""
    good = (series.flags == "") & np.isfinite(series.position) & np.isfinite(series.distance)
    if np.count_nonzero(good) < 3 or np.ptp(series.position[good]) == 0.0:
        return None
    slope, offset = np.polyfit(series.position[good], series.distance[good], 1)
    return float(offset), float(slope)


def _step(series: Series) -> float:
    clock = series.time[np.isfinite(series.time)]
    return float(np.median(np.diff(clock))) if clock.size > 1 else 0.0


def _noise(series: Series) -> float:
    left = series.residual[series.used & np.isfinite(series.residual)]
    return float(left.std()) if left.size > 2 else 0.0


def _one(launch: LaunchAudit, name: str) -> Quantity:
    item = launch.quantities[name]
    assert isinstance(item, Quantity)
    return item


def _several(launch: LaunchAudit, name: str) -> tuple[Quantity, ...]:
    item = launch.quantities.get(name, ())
    return (item,) if isinstance(item, Quantity) else tuple(item)
