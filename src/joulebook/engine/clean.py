"""Clean: from a record to a trace whose samples are flagged, never altered.

What can be seen without knowing the motion is flagged here: blank cells, a clock that stands still or runs back, readings below
the ranger's nearest distance, and readings that the cart could not have travelled to. What only a fitted motion can show (a
reading 3 mm off, a target stuck for a few samples) is flagged by the fit and named by `name_outliers`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from joulebook.engine.noise import difference_noise, quantum
from joulebook.engine.record import Record
from joulebook.uncertainty.robust import median

__all__ = ["FLAGS", "SPEED_LIMIT", "Trace", "clean", "name_outliers"]

FLAGS = ("missing", "duplicate", "clock", "floor", "far-echo", "stuck", "slip", "outlier")

SPEED_LIMIT = 1.8
"""m/s that a cart on this bench may reach before a reading is called impossible; fast records raise it by themselves."""

_DENSE = 0.03
"""s between samples up to which a motion is smooth enough from sample to sample for a spike to be seen by itself."""

_STANDING = 5
"""Samples that must stand still before they can be called stuck."""

_SLIP = 0.003
"""m: a neighbouring cycle of a 40 to 60 kHz ranger, c/(2f) (BENCH_FACTS: one-sided steps of about 3 mm)."""


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """A record after cleaning: every sample kept, some flagged.

    record: where it came from.
    time: s, shape (n,). distance: m from the ranger as read, shape (n,), NaN where missing.
    flags: shape (n,), "" for a good sample, else one of FLAGS.
    interval: s between samples (median); rate: samples per second.
    step: m, the step in which the readings are quantised, 0 when none is seen.
    noise: m, a first robust estimate of one sample's standard deviation, never below step/√12.
    """

    record: Record
    time: npt.NDArray[np.float64]
    distance: npt.NDArray[np.float64]
    flags: npt.NDArray[np.str_]
    interval: float
    step: float
    noise: float

    @property
    def rate(self) -> float:
        """Samples per second."""
        return 1.0 / self.interval if self.interval > 0 else 0.0

    @property
    def good(self) -> npt.NDArray[np.bool_]:
        """True for the samples without a flag, shape (n,)."""
        return np.asarray(self.flags == "")


def clean(record: Record, *, min_range: float = 0.0, max_range: float | None = None) -> Trace:
    """Flag the samples of a record that cannot be readings of the cart.

    min_range, max_range: m, the nearest and farthest distance that the ranger can measure.
    Nothing is dropped and nothing is changed: `time` and `distance` are the record's own.
    """
    time, distance = record.time, record.distance
    flags = np.full(time.size, "", dtype="<U9")
    finite = np.isfinite(time) & np.isfinite(distance)
    if not finite.all():
        flags[~finite] = "missing"
    _flag_clock(time, flags)
    good = np.flatnonzero(flags == "")
    steps = np.diff(time[good])
    interval = median(steps) if steps.size else 0.0
    step = max(quantum(distance[good]), record.distance_step) if good.size else 0.0
    noise = _first_noise(time[good], distance[good], step)
    low = _at_the_floor(distance[good], min_range, max(3.0 * noise, 0.002) + step)
    if low.any():
        flags[good[low]] = "floor"
        good = good[~low]
    if max_range is not None and (beyond := distance[good] > max_range).any():
        flags[good[beyond]] = "far-echo"
        good = good[~beyond]
    _flag_impossible(time, distance, flags, good, noise)
    _flag_spikes(time, distance, flags, noise)
    _flag_stuck(time, distance, flags, noise, step)
    return Trace(record, time, distance, flags, interval, step, noise)


def name_outliers(
    trace: Trace, indices: npt.NDArray[np.intp], residuals: npt.NDArray[np.float64]
) -> npt.NDArray[np.str_]:
    """Name the samples that a fit has rejected, by what they look like.

    indices: the rejected samples, ascending, shape (m,). residuals: reading minus fitted distance, m, shape (m,).
    Returns the reasons, shape (m,): "stuck" for three or more equal neighbours, "slip" for one-sided steps of about 3 mm,
    "far-echo" for a reading more than 0.3 m too far, else "outlier".
    """
    names = np.full(indices.size, "outlier", dtype="<U9")
    names[np.abs(np.abs(residuals) - _SLIP) < 0.3 * _SLIP] = "slip"
    names[residuals > 0.3] = "far-echo"
    tolerance = max(trace.step, 1e-6)
    start = 0
    for stop in range(1, indices.size + 1):
        if stop < indices.size and indices[stop] == indices[stop - 1] + 1:
            continue
        run = indices[start:stop]
        if run.size >= 3 and np.ptp(trace.distance[run]) <= tolerance:
            names[start:stop] = "stuck"
        start = stop
    return names


def _at_the_floor(distance: npt.NDArray[np.float64], min_range: float, slack: float) -> npt.NDArray[np.bool_]:
    """Mark the readings at or below the least range, and those that lie on it with them in one stretch: a floor is noisy too."""
    low = distance <= min_range
    if not low.any():
        return low
    near = distance <= min_range + slack
    edges = np.flatnonzero(np.diff(np.concatenate(([False], near, [False])).astype(np.int8)))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        low[start:stop] = low[start:stop].any()
    return low


def _first_noise(time: npt.NDArray[np.float64], distance: npt.NDArray[np.float64], step: float) -> float:
    floor = step / np.sqrt(12.0)
    if time.size < 6:
        return float(max(floor, 1e-4))
    return float(max(difference_noise(time, distance), floor, 1e-5))


def _flag_clock(time: npt.NDArray[np.float64], flags: npt.NDArray[np.str_]) -> None:
    """Flag repeated time stamps as duplicates and stamps that run back as clock faults."""
    good = np.flatnonzero(flags == "")
    stamps = time[good]
    if stamps.size < 2 or np.all(np.diff(stamps) > 0):
        return
    # The longest run of rising stamps is the clock; what does not fit into it is the fault.
    keep = _longest_rising(stamps)
    latest = -np.inf
    for place, (index, kept) in enumerate(zip(good, keep, strict=True)):
        if kept:
            latest = stamps[place]
        else:
            flags[index] = "duplicate" if stamps[place] == latest else "clock"


def _longest_rising(values: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
    """Mark a longest strictly rising subsequence (patience sorting), shape (n,)."""
    tails: list[float] = []
    ends: list[int] = []
    previous = np.full(values.size, -1, dtype=np.intp)
    for index, value in enumerate(values.tolist()):
        place = int(np.searchsorted(tails, value, side="left"))
        if place < len(tails) and tails[place] == value:
            continue  # of equal stamps the first is the clock's
        previous[index] = ends[place - 1] if place else -1
        if place == len(tails):
            tails.append(value)
            ends.append(index)
        else:
            tails[place] = value
            ends[place] = index
    keep = np.zeros(values.size, dtype=bool)
    at = ends[-1] if ends else -1
    while at >= 0:
        keep[at] = True
        at = int(previous[at])
    return keep


def _flag_impossible(
    time: npt.NDArray[np.float64],
    distance: npt.NDArray[np.float64],
    flags: npt.NDArray[np.str_],
    good: npt.NDArray[np.intp],
    noise: float,
) -> None:
    """Flag the readings that no cart could have travelled to and from: keep the longest chain of possible ones."""
    if good.size < 3:
        return
    t, d = time[good], distance[good]
    moves, gaps = np.abs(np.diff(d)), np.diff(t)
    slack = 6.0 * noise + 0.01
    if not np.any(moves > SPEED_LIMIT * gaps + slack):
        return
    moving = moves[moves > 5.0 * noise] / gaps[moves > 5.0 * noise]
    usual = float(np.quantile(moving, 0.8)) if moving.size else 0.0
    limit = min(max(SPEED_LIMIT, 2.2 * usual), 5.0)
    if not np.any(moves > limit * gaps + slack):
        return
    keep = _longest_chain(t, d, limit, slack)
    wrong = np.flatnonzero(~keep)
    kept = np.flatnonzero(keep)
    expected = np.interp(t[wrong], t[kept], d[kept])
    start = 0
    for stop in range(1, wrong.size + 1):
        if stop < wrong.size and wrong[stop] == wrong[stop - 1] + 1:
            continue
        run = wrong[start:stop]
        still = run.size >= 3 and np.ptp(d[run]) <= max(6.0 * noise, 0.004)
        far = median(d[run] - expected[start:stop]) > 0.0
        flags[good[run]] = "stuck" if still else "far-echo" if far else "outlier"
        start = stop


def _flag_spikes(
    time: npt.NDArray[np.float64], distance: npt.NDArray[np.float64], flags: npt.NDArray[np.str_], noise: float
) -> None:
    """Flag one or two readings that stand out of a motion which goes on smoothly across them.

    The slopes before, across and after must agree: at a bounce they do not, so its sharpest sample is left alone.
    """
    stamps = time[flags == ""]
    if stamps.size < 5 or median(np.diff(stamps)) > _DENSE:
        return  # a bounce takes no more than a sample or two: nothing tells it from a false echo before a motion is fitted
    for width in (1, 2):
        good = np.flatnonzero(flags == "")
        if good.size < width + 4:
            return
        t, d = time[good], distance[good]
        k = np.arange(2, good.size - width - 1)
        before = (d[k - 1] - d[k - 2]) / (t[k - 1] - t[k - 2])
        across = (d[k + width] - d[k - 1]) / (t[k + width] - t[k - 1])
        after = (d[k + width + 1] - d[k + width]) / (t[k + width + 1] - t[k + width])
        dt = (t[k + width] - t[k - 1]) / (width + 1)
        bend = 6.0 * noise + 6.0 * dt * dt
        smooth = (np.abs(before - across) * dt < bend) & (np.abs(after - across) * dt < bend)
        allowed = bend + 2.0 * noise + 0.004  # a bounce that passes for smooth stays below this
        off = np.abs(d[k] - d[k - 1] - across * (t[k] - t[k - 1]))
        if width == 2:
            off = np.minimum(off, np.abs(d[k + 1] - d[k - 1] - across * (t[k + 1] - t[k - 1])))
        for place in k[smooth & (off > allowed)]:
            flags[good[place : place + width]] = "far-echo" if d[place] - d[place - 1] > 0.3 else "outlier"


def _flag_stuck(
    time: npt.NDArray[np.float64], distance: npt.NDArray[np.float64], flags: npt.NDArray[np.str_], noise: float, step: float
) -> None:
    """Flag stretches in which the reading stands still, entered or left by a leap that no cart makes.

    A cart that really stands is reached by slowing down and left by speeding up. What counts as a leap: more than the cart could
    move from rest at 25 m/s² for one sample, and more than its speed before would have carried it.
    """
    good = np.flatnonzero(flags == "")
    if good.size < _STANDING + 4:
        return
    d = distance[good]
    quiet = np.abs(np.diff(d)) <= max(1.01 * step, 3.0 * noise, 1e-6)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], quiet, [False])).astype(np.int8)))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):  # samples start … stop are within a step of each other
        if stop - start + 1 < _STANDING or np.ptp(d[start : stop + 1]) > max(1.01 * step, 4.0 * noise):
            continue
        if any(_leaps(time, distance, flags, int(good[edge]), way, noise) for edge, way in ((start, -1), (stop, 1))):
            flags[good[start : stop + 1]] = "stuck"


def _leaps(
    time: npt.NDArray[np.float64],
    distance: npt.NDArray[np.float64],
    flags: npt.NDArray[np.str_],
    edge: int,
    way: int,
    noise: float,
) -> bool:
    """Say whether the reading leaps between sample `edge` of a standing stretch and its neighbour outside, in direction `way`."""
    outside = np.arange(edge + way, max(edge - 9, -1) if way < 0 else min(edge + 9, time.size), way)
    outside = outside[(flags[outside] == "") & np.isfinite(distance[outside])]
    if outside.size < 3:
        return False
    near, far = outside[0], outside[2]
    gap = float(time[near] - time[edge])
    speed = float((distance[near] - distance[far]) / (time[near] - time[far]))
    carried = -speed * gap
    leap = float(distance[edge] - distance[near])
    usual = abs(gap) / abs(int(near) - edge)
    allowed = 12.5 * usual * usual + abs(speed) * (abs(gap) - usual) + 8.0 * noise + 0.005
    # A cart that is stopped by a hand or a stop ends between where it was and where its speed would have brought it.
    low, high = min(0.0, carried) - allowed, max(0.0, carried) + allowed
    return not low <= leap <= high


def _longest_chain(
    t: npt.NDArray[np.float64], d: npt.NDArray[np.float64], limit: float, slack: float, reach: int = 64
) -> npt.NDArray[np.bool_]:
    """Mark the longest chain of samples in which each can be reached from the one before, shape (n,).

    A chain may leap over at most `reach` samples, and pays a small price for each leap, so that the cart's own path wins
    over a fixed object that shows through now and then.
    """
    n = t.size
    length = np.ones(n)
    previous = np.full(n, -1, dtype=np.intp)
    for i in range(1, n):
        first = max(0, i - reach)
        possible = np.abs(d[i] - d[first:i]) <= limit * (t[i] - t[first:i]) + slack
        if possible.any():
            score = np.where(possible, length[first:i] - 0.001 * (i - np.arange(first, i)), -1.0)
            best = int(np.argmax(score))
            length[i] = score[best] + 1.0
            previous[i] = first + best
    keep = np.zeros(n, dtype=bool)
    at = int(np.argmax(length))
    while at >= 0:
        keep[at] = True
        at = int(previous[at])
    return keep
