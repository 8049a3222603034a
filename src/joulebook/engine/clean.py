"""Clean: from a record to a trace whose samples are flagged, never altered.

What can be seen without knowing the motion is flagged here: blank cells, a clock that stands still or runs back, readings below
the ranger's nearest distance, and readings that the cart could not have travelled to. What only a fitted motion can show (a
reading 3 mm off, a target stuck for a few samples) is flagged by the fit and named by `name_outliers`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from joulebook.engine.record import Record
from joulebook.engine.noise import difference_noise, quantum

__all__ = ["FLAGS", "SPEED_LIMIT", "Trace", "clean", "name_outliers"]

FLAGS = ("missing", "duplicate", "clock", "floor", "far-echo", "stuck", "slip", "outlier")

SPEED_LIMIT = 1.8
"""m/s that a cart on this bench may reach before a reading is called impossible; fast records raise it by themselves."""

SLIP = 0.003
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
        return self.flags == ""


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
    interval = float(np.median(steps)) if steps.size else 0.0
    step = max(quantum(distance[good]), record.distance_step) if good.size else 0.0
    noise = _first_noise(time[good], distance[good], step)
    low = distance[good] <= min_range
    if low.any():
        flags[good[low]] = "floor"
        good = good[~low]
    if max_range is not None and (beyond := distance[good] > max_range).any():
        flags[good[beyond]] = "far-echo"
        good = good[~beyond]
    _flag_impossible(time, distance, flags, good, noise)
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
    names[np.abs(np.abs(residuals) - SLIP) < 0.3 * SLIP] = "slip"
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
        far = float(np.median(d[run] - expected[start:stop])) > 0.0
        flags[good[run]] = "stuck" if still else "far-echo" if far else "outlier"
        start = stop


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
