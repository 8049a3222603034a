"""What a launch record itself shows, whatever was launched: its unit of distance, its clock, its beginning and end, its rate."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from joulebook.engine.bench import Bench
from joulebook.engine.fit import Motion
from joulebook.engine.report import Finding
from joulebook.engine.run import Run
from joulebook.experiments.ramp_codes import finding
from joulebook.experiments.ramp_effects import counted, kinetic_doubt, known_to, length, rolling_doubt, travel
from joulebook.uncertainty.robust import median

__all__ = ["inspect_clock", "inspect_extent", "inspect_rate", "inspect_units"]

_LONGEST_TRACK = 2.4
"""m: taken for the track's length where none is stated (common practice, no source: tracks are 1.2 to 2.4 m)."""

_FASTEST = 400.0
"""Samples per second that no ranger takes: sound needs 2.5 ms for 0.43 m and back."""

_BAD_STAMPS = 0.1
"""Share of the time stamps that may repeat or run back before the clock is not to be trusted at all."""

_SAMPLES = (3, 6)
"""Samples that the climb and the whole first flight must hold: a flight is described by four values (two accelerations, time and
place of the apex), and fewer than two samples to spare leave nothing to check them by."""

_MUCH_OF_CLIMB = 0.75
"""Share of the climb that may be over when the record starts before what is left says too little."""

_MOST_OF_RISE = 0.8
"""Share of the rise of the flight taken for the launch from which a cart must come down for that flight to be a bounce."""

_MUCH_OF_DESCENT = 0.6
"""Share of the time back to the stop that is enough to show the rolling resistance."""


def inspect_units(bench: Bench, run: Run) -> list[Finding]:
    """Return a finding when no track has such distances, or when they were read in another unit than the heading names."""
    record = run.trace.record
    values = record.distance[np.isfinite(record.distance)]
    if values.size < 5:
        return []
    # False echoes say nothing about the unit either; where most readings are called false, it is the unit that is.
    good = record.distance[run.trace.good | (run.trace.flags == "floor")]
    values = good if good.size > 0.6 * values.size else values
    # A fixed object that is seen through half of the record says nothing about the unit: look at the readings beside it.
    beside = values[np.abs(values - median(values)) > 0.005]
    moving = beside if beside.size > 0.1 * values.size else values
    places = np.array([0.1, 0.5, 0.9]) * (moving.size - 1)
    low, middle, high = np.interp(places, np.arange(moving.size), np.sort(moving)).tolist()
    track = bench.number("track.length") or _LONGEST_TRACK
    least = bench.number("sensor.min_range") or 0.0
    evidence = {"low_m": low, "high_m": high}
    wrong = "A unit that is 10 times off makes the kinetic energy 100 times and the potential energy 10 times too large or small."
    # A cart that moves is seen everywhere between its ends; the wall behind it is seen or not.
    between = float(np.mean(np.abs(moving - 0.5 * (low + high)) < 0.25 * (high - low)))
    if middle > 1.6 * track + 0.5 or (high - low > max(1.3 * track, 2.6) and between > 0.1):
        message = f"the readings run from {low:.3g} m to {high:.3g} m, on a track of about {track:.2g} m. {wrong}"
        return [finding("units-suspect", "stop", message, run, **evidence)]
    tiny = high < 0.35 and np.mean(values < 0.6 * least) > 0.3  # a ranger reads its floor there, or something behind the cart
    if tiny or (middle < max(0.9 * least, 0.05) and np.mean(values < 0.9 * least) > 0.6):
        message = f"most readings are below {1.1 * middle:.2g} m, where a ranger measures from {least:.2g} m on. {wrong}"
        return [finding("units-suspect", "stop", message, run, **evidence)]
    if record.unit_doubt:
        guessed, message = record.unit_doubt.startswith("no unit"), f"{record.unit_doubt}. {wrong}"
        return [finding("units-suspect", "note" if guessed else "look", message, run, **evidence)]
    return []


def inspect_clock(run: Run) -> list[Finding]:
    """Return a finding when times repeat, run back or leap, when they are too close together, or were read in another unit."""
    trace, wrong = run.trace, "A clock that is wrong by 1 % changes the kinetic energy by 2 %."
    if trace.rate > _FASTEST:
        message = (
            f"{trace.rate:.0f} samples per second are faster than sound lets a ranger be; the times are in another unit. {wrong}"
        )
        return [finding("clock", "stop", message, run, rate_Hz=trace.rate)]
    places = np.flatnonzero(np.isin(trace.flags, ("clock", "duplicate")))
    if places.size:
        first, n, bad = int(places[0]), trace.time.size, int(places.size)
        where = f"at {trace.time[first]:.2f} s (reading {first + 1})"
        message = (
            f"1 of {n} time stamps repeats or runs back, {where}; it is left out. {wrong}"
            if bad == 1
            else f"{bad} of {n} time stamps repeat or run back, the first {where}; they are left out. {wrong}"
        )
        return [finding("clock", "stop" if bad > _BAD_STAMPS * n else "look", message, run, samples=bad, first=first)]
    leap = _leap(run)
    if leap is not None:
        at, gap = leap
        message = (
            f"the clock leaps by {gap:.2f} s after {at:.2f} s, where {trace.interval:.3f} s is usual, and the cart does not. "
            f"Whatever is timed across the leap is wrong by about {gap - trace.interval:.2f} s. {wrong}"
        )
        return [finding("clock", "look", message, run, at_s=at, gap_s=gap)]
    if trace.record.time_doubt:
        return [finding("clock", "look", f"{trace.record.time_doubt}. {wrong}", run)]
    return []


def inspect_extent(run: Run, motion: Motion) -> list[Finding]:
    """Return a finding when the record starts after the release, or ends before the cart has turned or come back."""
    trace = run.trace
    finite = trace.time[np.isfinite(trace.distance) & np.isfinite(trace.time)]
    begin, end = float(finite[0]), float(finite[-1])
    release, back, apex = float(motion.windows[0, 0]), float(motion.windows[0, 1]), float(motion.apex_times[0])
    if end < apex:
        message = (
            f"the record ends at {end:.2f} s, before the cart turns at about {apex:.2f} s. The highest point is a guess, and the "
            "potential energy with it."
        )
        return [finding("cut-short", "stop", message, run, end_s=end, apex_s=apex)]
    if begin > release + 0.5 * trace.interval and run.outline.departure is None:
        over = (begin - release) / (apex - release)
        message = (
            f"the record starts when {100.0 * over:.0f} % of the climb is over; the release is {begin - release:.2f} s before. "
            "It is worked out from the rest of the flight, which leaves the kinetic energy known "
            f"{known_to(kinetic_doubt(motion))}."
        )
        severe = over > _MUCH_OF_CLIMB
        return [finding("cut-short", "stop" if severe else "look", message, run, start_s=begin, release_s=release, over=over)]
    earlier = _earlier_rise(run, motion)
    if earlier is not None:
        way = travel(motion)
        instead = f"The energies are those of a bounce instead, {length(way)} high and released at {release:.2f} s."
        evidence = {"release_s": release, "rise_m": way, "earlier_m": earlier}
        if _starts_above(run, motion, earlier):
            message = f"the record starts too late: its first flight, {length(earlier)} high, is not whole. {instead}"
            return [finding("cut-short", "look", message, run, **evidence)]
        message = (
            f"there is an earlier flight, {length(earlier)} high, that does not run as a cart does on a straight track with "
            f"steady resistance: a bent track, or readings or times that are wrong. {instead}"
        )
        return [finding("misfit", "look", message, run, **evidence)]
    if end < back - 1.5 * trace.interval and end < apex + _MUCH_OF_DESCENT * (back - apex):
        message = f"the record ends at {end:.2f} s, before the cart is back at the stop at about {back:.2f} s. {_rolling(motion)}"
        return [finding("cut-short", "look", message, run, end_s=end, back_s=back)]
    return []


def inspect_rate(run: Run, motion: Motion) -> list[Finding]:
    """Return a finding when the first flight holds so few samples that the motion cannot be seen."""
    trace = run.trace
    used = trace.time[motion.used]
    climb = int(((used >= motion.windows[0, 0]) & (used <= motion.apex_times[0])).sum())
    flight = int(((used >= motion.windows[0, 0]) & (used <= motion.windows[0, 1])).sum())
    expected = (motion.windows[0, 1] - motion.windows[0, 0]) * trace.rate
    if expected >= _SAMPLES[1] or (climb >= _SAMPLES[0] and flight >= _SAMPLES[1]):
        return []
    message = (
        f"at {trace.rate:.1f} samples per second the climb holds {counted(climb, 'reading', 'readings')} and the whole flight "
        f"{flight}. Any motion passes through so few: whether the cart slows as on a slope cannot be seen, and both energies "
        "rest on it."
    )
    return [finding("too-slow", "stop" if flight < 4 else "look", message, run, rate_Hz=trace.rate, climb=climb, flight=flight)]


def _earlier_rise(run: Run, motion: Motion) -> float | None:
    """Return how high (m) the cart was before the flight taken for the launch, when it came down from another; else None."""
    if run.outline.departure is None or run.outline.still is not None:
        return None
    before = _rises_before(run, motion)
    # One or two readings may be of something else.
    rise = float(np.partition(before, -3)[-3]) if before.size >= 3 else 0.0
    return rise if rise > _MOST_OF_RISE * travel(motion) else None


def _starts_above(run: Run, motion: Motion, rise: float) -> bool:
    """Say whether the record starts with the cart on its way, above the stop."""
    return bool(_rises_before(run, motion)[0] > 0.1 * rise)


def _rises_before(run: Run, motion: Motion) -> npt.NDArray[np.float64]:
    """Return how far above the release the cart was read before the flight taken for the launch, m."""
    trace, stop = run.trace, run.outline.departure
    return np.asarray(motion.up * trace.distance[:stop][trace.good[:stop]] - motion.release_level)


def _leap(run: Run) -> tuple[float, float] | None:
    """Return time and size of a leap of the clock that is no whole number of samples, or that the cart did not share."""
    trace = run.trace
    if not trace.interval > 0.0:
        return None
    steps = np.diff(trace.time)
    with np.errstate(invalid="ignore"):
        places = np.flatnonzero(steps > 2.5 * trace.interval)
    for place in places.tolist():
        gap, at = float(steps[place]), float(trace.time[place])
        count = gap / trace.interval
        moved = abs(float(trace.distance[place + 1] - trace.distance[place]))
        lo = max(place - 3, 0)
        before = abs(float(trace.distance[place] - trace.distance[lo])) / max(at - float(trace.time[lo]), 1e-9)
        skipped = before > 0.15 and moved < 0.4 * before * gap and moved < 2.5 * before * trace.interval + 0.01
        if abs(count - round(count)) > 0.08 or skipped:
            return at, gap
    return None


def _rolling(motion: Motion) -> str:
    """Say how well the rolling loss is known from the part of the descent that is left."""
    doubt = rolling_doubt(motion)
    if np.isfinite(doubt):
        return f"From what is left the rolling loss is known {known_to(doubt)}, as a share of the energy."
    return "Nothing is left to measure the rolling resistance by: a usual value is put in its place."
