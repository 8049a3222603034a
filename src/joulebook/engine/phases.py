"""Phases: from a trace to its outline, the arcs of free motion and what stands around them.

Free motion on a slope is an arc: position against time bends down-slope, both ways. So the outline is found from the shape
alone, without the stated angle and without knowing at which end the ranger stands; the numbers come later, from the fit.
Everything here is a first guess on raw unflagged samples: nothing is smoothed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from joulebook.engine.clean import Trace
from joulebook.uncertainty.robust import median

__all__ = ["Arc", "Outline", "find_phases", "foot_of_climb"]

FloatArray = npt.NDArray[np.float64]

_LONGEST = 1.0
"""s: no stop holds a cart longer between two hops."""

_CORE = 0.40
"""An arc's core is its upper part: this fraction of the height is left out below, where stop and hand may still act."""

_FALL_LIMITS = (0.03, 14.0)
"""m/s² between which the deceleration of an arc must lie to be a cart on a slope."""


@dataclass(frozen=True, slots=True)
class Arc:
    """One hop of free motion, as first guessed.

    first, last: samples of the core. start, stop: samples of the turning points on either side.
    rising: fraction of the core's time that lies before the apex.
    apex_time: s. apex: m, up-slope reading at the apex. fall: m/s², mean deceleration, with its standard uncertainty u_fall.
    height: m, apex above the higher of the two neighbouring turning points (the apex alone where there is none).
    scatter: m, root mean square of the core's residuals. rough: the same over the noise of neighbouring samples.
    climbed: how much of the height lies between the turning point before it and the apex, at most 1; 1 where the record begins with it.
    """

    first: int
    last: int
    start: int
    stop: int
    apex_time: float
    apex: float
    fall: float
    u_fall: float
    height: float
    scatter: float
    rising: float
    rough: float = 1.0
    climbed: float = 1.0

    @property
    def launched(self) -> bool:
        """Whether it is seen to climb as a launch does; one that is nearly all descent is a hand that lowers the cart or lets it go."""
        return self.rising > 0.25 and self.climbed > 0.5


@dataclass(frozen=True, slots=True)
class Outline:
    """What the trace is made of, before any motion is fitted.

    up: +1 when the reading grows up-slope (ranger at the bottom), −1 when it shrinks (ranger at the top).
    arcs: the launch and its rebounds, in time order; empty when there is no launch.
    later: arcs of a later launch, or of a hand, that belong to another run of hops.
    still: first and last sample of the cart standing before the launch, or None; still_level: m, up-slope reading there.
    tail: first and last sample of the cart standing at the end, or None; tail_level likewise.
    departure: the last sample before the cart sets off, or None when the record starts in mid-motion.
    """

    up: int
    arcs: tuple[Arc, ...]
    later: tuple[Arc, ...] = ()
    still: tuple[int, int] | None = None
    still_level: float = float("nan")
    tail: tuple[int, int] | None = None
    tail_level: float = float("nan")
    departure: int | None = None


def find_phases(trace: Trace, *, placed: str | None = None, expected_fall: float = float("nan")) -> tuple[Outline, ...]:
    """Find the arcs of free motion, and the standing cart before and after them.

    placed: the end at which the ranger is said to stand ("top" or "bottom"); only the order in which the two are tried.
    expected_fall: m/s², the deceleration that the stated slope would give; a hint in doubt, for the stated slope may be wrong.
    Returns the possible outlines, the likeliest first: a hand that moves the cart can look like a launch until a motion is
    fitted to it. There is always one; it has no arcs when nothing looks like a launch.
    """
    index = np.flatnonzero(trace.good)
    time, distance = trace.time[index], trace.distance[index]
    guess = 1 if placed == "bottom" else -1
    first = _arcs(trace, index, time, guess * distance)
    # Seen from the wrong end a flight is a cusp, which no arc fits: a fine tall arc settles it.
    settled = any(
        _quality(run[0]) > 0.9 and run[0].height > 0.1 and run[0].launched
        and (len(run) > 1 or abs(np.log(run[0].fall / expected_fall)) < 0.2)
        for run in first
    )
    second = [] if settled else _arcs(trace, index, time, -guess * distance)
    usual = _usual_fall([*first, *second], expected_fall)
    weights = [sum(_weight(run, usual) for run in runs) for runs in (first, second)]
    up, runs = (guess, first) if weights[0] >= weights[1] else (-guess, second)
    if not runs:
        return (Outline(up, ()),)
    return tuple(_outline(trace, index, up * distance, up, runs, lead) for lead in _leads(runs, usual))


def _outline(
    trace: Trace, index: npt.NDArray[np.intp], level: FloatArray, up: int, runs: list[list[Arc]], lead: int
) -> Outline:
    arcs = runs[lead]
    later = tuple(arc for run in runs[lead + 1 :] for arc in run)
    still, still_level, departure = _before(trace, index, level, arcs)
    tail, tail_level = _after(trace, index, level, arcs)
    return Outline(up, tuple(arcs), later, still, still_level, tail, tail_level, departure)


def _usual_fall(runs: list[list[Arc]], expected: float) -> float:
    """Return the fall that most of the free motion has: the median, arcs weighted by how well they are arcs, NaN for none."""
    arcs = [arc for run in runs for arc in run]
    if not arcs:
        return float("nan")
    falls = np.array([arc.fall for arc in arcs])
    weights = np.array([_quality(arc) * max(arc.height, 0.0) for arc in arcs])
    if np.isfinite(expected) and expected > 0.0:
        off = np.abs(np.log(falls / expected))
        weights = weights * np.where(off < np.log(1.5), 4.0, np.where(off < np.log(3.0), 2.0, 1.0))
    order = np.argsort(falls)
    return float(falls[order][np.searchsorted(np.cumsum(weights[order]), 0.5 * weights.sum())])


def _quality(arc: Arc) -> float:
    """Return how much an arc looks like free motion, 0 to 1: its scatter against its own height, and samples enough to tell."""
    shown = min(1.0, (arc.last - arc.first - 2) / 3.0)
    return max(0.05, shown * (1.0 - (arc.scatter / (0.02 * arc.height + 0.0005)) ** 2))


def _weight(run: list[Arc], usual: float) -> float:
    """Return how much of a record a run of hops explains; tall clean arcs count, and those that fall as the others do."""
    total = 0.0
    for arc in run:
        alike = abs(arc.fall - usual) <= 0.25 * usual + min(3.0 * arc.u_fall, 0.25 * usual)
        total += _quality(arc) * min(arc.height, 0.6) * float(np.sqrt(min(arc.height / arc.fall, 1.0))) * (1.0 if alike else 0.2)
    return total


def _leads(runs: list[list[Arc]], usual: float) -> list[int]:
    """Return which runs of hops may be the launch: the first that weighs about as much as the best, then the others by weight."""
    weights = _lead_weights(runs, usual)
    first = next(place for place, weight in enumerate(weights) if weight >= 0.4 * max(weights))
    others = sorted((place for place in range(len(runs)) if place != first), key=lambda place: -weights[place])
    return [first, *others[:2]]


def _lead_weights(runs: list[list[Arc]], usual: float) -> list[float]:
    """Return how much each run's leading arc looks like a launch."""
    return [_weight(run[:1], usual) * (1.0 if run[0].launched else 0.1) for run in runs]


def _arcs(trace: Trace, index: npt.NDArray[np.intp], time: FloatArray, level: FloatArray) -> list[list[Arc]]:
    """Return the runs of hops of a record whose `level` is taken to grow up-slope."""
    if time.size < 5:
        return []
    sway = max(8.0 * trace.noise, 0.008, 2.0 * trace.step)
    turns = _turning_points(level, sway)
    runs = _runs([_arc(trace, index, time, level, *turn) for turn in _peaks(turns, time.size)])
    # One odd reading can break a flight in two. Seen through the middle of every three readings the flight is whole again; where
    # that makes a difference, what explains more of the record counts. The arcs are fitted to the readings themselves either way.
    steady = _turning_points(_middle_of_three(level), sway)
    if len(steady) < len(turns):
        other = _runs([_arc(trace, index, time, level, *turn) for turn in _peaks(steady, time.size)])
        usual = _usual_fall([*runs, *other], float("nan"))
        weight, before = (max(_lead_weights(each, usual), default=0.0) for each in (other, runs))
        if weight > 1.02 * before:
            return other
    return runs


def _peaks(turns: list[tuple[int, bool]], size: int) -> list[tuple[int, int, int]]:
    """Return the turning point before, the peak and the turning point after, of each peak."""
    last = len(turns) - 1
    return [
        (turns[place - 1][0] if place else 0, at, turns[place + 1][0] if place < last else size - 1)
        for place, (at, peak) in enumerate(turns)
        if peak
    ]


def _middle_of_three(level: FloatArray) -> FloatArray:
    """Return the median of each reading and its two neighbours, shape (n,); the ends as they are."""
    result = level.copy()
    before, here, after = level[:-2], level[1:-1], level[2:]
    result[1:-1] = np.maximum(np.minimum(before, here), np.minimum(np.maximum(before, here), after))
    return result


def _runs(arcs: list[Arc | None]) -> list[list[Arc]]:
    """Group neighbouring arcs into runs of hops: same fall, and no hop taller than the one before."""
    runs: list[list[Arc]] = []
    current: list[Arc] = []
    for arc in arcs:
        joins = bool(current) and arc is not None and _same_run(current, arc)
        if not joins:
            if current:
                runs.append(current)
            current = []
        if arc is not None:
            current.append(arc)
    if current:
        runs.append(current)
    return runs


def _same_run(run: list[Arc], arc: Arc) -> bool:
    """Say whether an arc goes on a run of hops: as high at most, falling alike, and without a pause that no stop makes."""
    least = min(run[0].fall, arc.fall)
    spread = 0.2 * least + min(3.0 * float(np.hypot(run[0].u_fall, arc.u_fall)), 0.3 * least)
    flights = float(np.sqrt(2.0 * max(run[-1].height, 0.0) / run[-1].fall) + np.sqrt(2.0 * max(arc.height, 0.0) / arc.fall))
    if not run[0].launched or (run[0].rough > 4.0 and arc.rough < 2.5):
        return False  # no launch, or far rougher than what comes then: a hand had the cart, and now another motion begins
    soon = arc.apex_time - run[-1].apex_time <= 1.4 * flights + _LONGEST
    return soon and arc.height <= 1.05 * run[-1].height + 0.005 and abs(arc.fall - run[0].fall) <= spread


def _turning_points(level: FloatArray, sway: float) -> list[tuple[int, bool]]:
    """Return (sample, is a peak) of the turning points that stand out by more than `sway`, in order."""
    values = level.tolist()
    low = high = 0
    rising: bool | None = None
    turns: list[tuple[int, bool]] = []
    for i, value in enumerate(values):
        if value > values[high]:
            high = i
        if value < values[low]:
            low = i
        if rising is not False and value < values[high] - sway:
            if rising is None:
                turns.append((low, False)) if low < high else None
            turns.append((high, True))
            rising, low = False, i
        elif rising is not True and value > values[low] + sway:
            turns.append((low, False))
            rising, high = True, i
    if rising is True:
        turns.append((high, True))
    elif rising is False:
        turns.append((low, False))
    return turns


def _arc(
    trace: Trace, index: npt.NDArray[np.intp], time: FloatArray, level: FloatArray, left: int, peak: int, right: int
) -> Arc | None:
    """Fit one hop's core with a two-sided parabola; None when it is no arc of free motion."""
    top = level[peak]
    sides = [level[left]] if right == time.size - 1 and level[right] > level[left] else [level[left], level[right]]
    base = max(sides)
    if top - base < 0.5 * (top - min(sides)):  # a cart caught half-way down: measure from the side that went all the way
        base = min(sides)
    height = float(top - base)
    core = slice(left, right + 1)
    for fraction in (_CORE, 0.25, 0.12):
        inside = np.flatnonzero(level[left : right + 1] >= base + fraction * height) + left
        begin, end = _block(inside, peak)
        core = slice(begin, end + 1)
        if core.stop - core.start >= 5:
            break
    count = core.stop - core.start
    if count < 4:
        return None
    t, y = time[core], level[core]
    # Neighbouring kinks raise the first guess of the noise, so the height has its say too: hands and bounces are rougher.
    allowed = min(max(4.0 * trace.noise, 0.0015) + 0.006 * height, 0.0025 + 0.02 * height)
    fit = _parabola(t, y, allowed)
    if fit is None:
        return None
    apex_time, apex, fall, scatter = fit
    span = float(t[-1] - t[0])
    u_fall = 27.0 * max(scatter, trace.noise) / (span * span * np.sqrt(count))
    low_fall, high_fall = _FALL_LIMITS
    if not (low_fall < fall < high_fall) or scatter > allowed:
        return None
    if not (time[left] - trace.interval <= apex_time <= time[right] + trace.interval):
        return None
    return Arc(
        int(index[core.start]), int(index[core.stop - 1]), int(index[left]), int(index[right]),
        apex_time, apex, fall, u_fall, height, scatter, float(np.clip((apex_time - t[0]) / span, 0.0, 1.0)),
        scatter / max(trace.noise, 3e-4), 1.0 if left == 0 else float(min((top - level[left]) / height, 1.0)),
    )  # fmt: skip


def _block(inside: npt.NDArray[np.intp], peak: int) -> tuple[int, int]:
    """Return the first and last of the unbroken stretch of `inside` that holds `peak`."""
    breaks = np.flatnonzero(np.diff(inside) > 1)
    starts = np.concatenate(([inside[0]], inside[breaks + 1]))
    stops = np.concatenate((inside[breaks], [inside[-1]]))
    place = int(np.searchsorted(starts, peak, side="right")) - 1
    return int(starts[place]), int(stops[place])


def _parabola(t: FloatArray, y: FloatArray, allowed: float) -> tuple[float, float, float, float] | None:
    """Fit a parabola as `_both_sides` does, without the one reading that spoils it where one does.

    allowed: m, the scatter above which a reading is looked for whose absence brings it down.
    """
    fit = _both_sides(t, y)
    if t.size < 6 or (fit is not None and fit[3] <= allowed):
        return fit
    best = fit
    keep = np.ones(t.size, dtype=bool)
    for odd in range(t.size) if t.size <= 60 else ():
        keep[odd] = False
        other = _both_sides(t[keep], y[keep])
        keep[odd] = True
        if other is not None and (best is None or other[3] < best[3]):
            best = other
    return best


def _both_sides(t: FloatArray, y: FloatArray) -> tuple[float, float, float, float] | None:
    """Return apex time, apex, mean fall and scatter of a parabola whose two sides may bend differently; None when none fits."""
    middle = 0.5 * (t[0] + t[-1])
    x = t - middle
    design = np.empty((x.size, 4))
    design[:, 0], design[:, 1], design[:, 2] = 1.0, x, x * x
    c0, c1, c2 = _solved(design[:, :3], y).tolist()
    if c2 >= 0.0:
        return None
    vertex = -c1 / (2.0 * c2)
    residual = y - (c0 + x * (c1 + x * c2))
    fall, apex_time, apex = -2.0 * c2, middle + vertex, c0 - c1 * c1 / (4.0 * c2)
    if t.size >= 7 and x[0] < vertex < x[-1]:
        tau = x - vertex
        square = tau * tau
        design[:, 1], design[:, 2] = tau, np.where(tau < 0.0, square, 0.0)
        design[:, 3] = square - design[:, 2]
        coefficients = _solved(design, y)
        if coefficients[2] < 0.0 and coefficients[3] < 0.0:
            residual = y - design @ coefficients
            fall = -float(coefficients[2] + coefficients[3])
            apex_time += float(coefficients[1]) / fall
    return float(apex_time), float(apex), float(fall), float(np.sqrt(residual @ residual / residual.size))


def _solved(design: FloatArray, y: FloatArray) -> FloatArray:
    """Return least-squares coefficients; the columns are centred powers of a second or so, so normal equations do."""
    return np.asarray(np.linalg.solve(design.T @ design, design.T @ y))


def _before(
    trace: Trace, index: npt.NDArray[np.intp], level: FloatArray, arcs: list[Arc]
) -> tuple[tuple[int, int] | None, float, int | None]:
    """Return the standing cart before the launch (samples, level) and the last sample before it sets off."""
    tolerance = 5.0 * trace.noise + trace.step
    departure = _foot(trace, level, int(np.searchsorted(index, arcs[0].first)))
    if departure == 0:
        return None, float("nan"), None
    centre = median(level[max(0, departure - 8) : departure + 1])
    begin = departure
    while begin > 0 and abs(level[begin - 1] - centre) <= tolerance:
        begin -= 1
    if departure - begin < 2:
        return None, float("nan"), int(index[departure])
    return (int(index[begin]), int(index[departure])), centre, int(index[departure])


def foot_of_climb(trace: Trace, up: int, arc: Arc) -> int:
    """Return the last sample before the cart sets off towards an arc, 0 when the record starts in mid-climb."""
    index = np.flatnonzero(trace.good)
    return int(index[_foot(trace, up * trace.distance[index], int(np.searchsorted(index, arc.first)))])


def _foot(trace: Trace, level: FloatArray, core: int) -> int:
    """Go down a climb, back in time, until nothing within a few hundredths of a second before lies lower."""
    back = max(1, round(0.04 / max(trace.interval, 1e-6)))
    enough = 0.6 * (5.0 * trace.noise + trace.step)
    foot = core
    while foot > 0:
        before = level[max(0, foot - back) : foot]
        lower = int(np.argmin(before))
        if before[lower] >= level[foot] - enough:
            break
        foot = max(0, foot - back) + lower
    return foot


def _after(
    trace: Trace, index: npt.NDArray[np.intp], level: FloatArray, arcs: list[Arc]
) -> tuple[tuple[int, int] | None, float]:
    """Return the standing cart at the end of the record (samples, level), None when it does not come to rest."""
    if not arcs or level.size < 6:
        return None, float("nan")
    tolerance = 4.0 * trace.noise + trace.step
    end = level.size - 1
    centre = median(level[max(0, end - 4) :])
    off = np.flatnonzero(np.abs(level - centre) > tolerance)
    begin = int(off[-1]) + 1 if off.size else 0
    last_arc = int(np.searchsorted(index, arcs[-1].last))
    begin = max(begin, last_arc + 1)
    if end - begin + 1 < max(4, round(0.25 / max(trace.interval, 1e-6))):
        return None, float("nan")
    # The first half of the stretch may still hold the last ripples.
    begin += (end - begin) // 3
    return (int(index[begin]), int(index[end])), float(np.mean(level[begin : end + 1]))
