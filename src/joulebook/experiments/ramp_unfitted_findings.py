"""Why there is no motion: the reason that can be seen in a launch record to which nothing could be fitted."""

from __future__ import annotations

import numpy as np

from joulebook.engine.bench import Bench
from joulebook.engine.report import Finding
from joulebook.engine.run import Run
from joulebook.experiments.ramp_codes import finding
from joulebook.experiments.ramp_effects import length
from joulebook.experiments.ramp_ranger_findings import leaps_in_blind_zone, lost_beyond

__all__ = ["inspect_unfitted"]

_MANY_BLANK = 0.3
"""Share of blank readings from which on they are the reason why the cart cannot be followed."""

_SLOW = 8.0
"""Samples per second below which a flight of this lab (0.5 to 2 s) holds too few of them."""

_SWING = 0.06
"""m: a change of the readings below this is no motion at all."""

_FIRED = 0.25
"""m/s that a plunger gives to a cart at once; a hand that moves one takes its time."""

_MOST_OF_WAY = 0.8
"""Share of its rise from which on a cart has come back, and was not caught."""

_NOTHING = "No energy can be taken from it."


def inspect_unfitted(bench: Bench, run: Run) -> Finding:
    """Return the likeliest reason why nothing could be fitted to a record; that there was no launch is the last of them."""
    trace = run.trace
    n = max(trace.time.size, 1)
    count = {flag: int((trace.flags == flag).sum()) for flag in ("missing", "floor", "stuck")}
    level = trace.distance[trace.good]
    swing = float(np.ptp(level)) if level.size else 0.0
    least, most = bench.number("sensor.min_range") or 0.0, bench.number("sensor.max_range")
    leaps = leaps_in_blind_zone(trace, least)
    if count["floor"] >= 3 or leaps:
        hidden = count["floor"] + leaps
        message = (
            f"{hidden} readings are at the edge of the ranger's blind zone ({least:.2f} m) or show what is behind the cart, and "
            f"the turn is not on record. {_NOTHING}"
        )
        return finding("too-close", "stop", message, run, readings=hidden, min_range_m=least)
    if beyond := lost_beyond(trace, most):
        message = f"from about {beyond:.2f} m on the ranger does not see the cart, and what is left is no launch. {_NOTHING}"
        return finding("too-far", "stop", message, run, farthest_m=beyond)
    if count["missing"] > _MANY_BLANK * n:
        message = f"{count['missing']} of {n} readings are blank, too many to follow the cart. {_NOTHING}"
        return finding("lost-echo", "stop", message, run, missing=count["missing"], of=n)
    if count["stuck"] >= 3:
        at = float(np.median(trace.distance[trace.flags == "stuck"]))
        message = (
            f"{count['stuck']} readings stand still at {at:.3f} m while the cart was elsewhere, and what is left is no launch. "
            f"{_NOTHING}"
        )
        return finding("stuck-echo", "stop", message, run, samples=count["stuck"], at_m=at)
    if swing > 0.1 and trace.rate < _SLOW:
        message = (
            f"at {trace.rate:.1f} samples per second the flight holds too few readings for any motion to be seen. {_NOTHING}"
        )
        return finding("too-slow", "stop", message, run, rate_Hz=trace.rate)
    if run.failure is not None and run.failure.code == "rest-mismatch":
        # Before the rest: the flight was seen, and it is the level to count from that does not belong to it.
        return finding("rest-mismatch", "stop", f"{run.failure.message} {_NOTHING}", run, failure=run.failure.message)
    broken = _broken(run) if swing > _SWING else None
    if broken is not None:
        return broken
    message = (
        f"the readings change by {100.0 * swing:.1f} cm in all, and nothing in them is a climb, a turn and a way back on a "
        f"slope. {_NOTHING}"
    )
    failure = {} if run.failure is None else {"failure": run.failure.message}
    return finding("no-launch", "stop", message, run, swing_m=swing, **failure)


def _broken(run: Run) -> Finding | None:
    """Return what became of a climb without a turn: it was caught, or the record cuts it off; None when it is no climb at all."""
    trace = run.trace
    index = np.flatnonzero(trace.good)
    time, distance = trace.time[index], trace.distance[index]
    for up in (run.outline.up, -run.outline.up):
        level = up * distance
        speed = np.diff(level) / np.diff(time)
        high = int(np.argmax(level))
        low = int(np.argmin(level[: high + 1]))
        rise = float(level[high] - level[low])
        opening = speed[: max(2, round(0.1 / trace.interval))]
        if high > 0 and opening.min() > 0.2 and speed[: max(high, 1)].min() > -0.1:
            message = (
                f"when the record starts the cart is already climbing at {opening[0]:.2f} m/s: the release is not on record, and "
                f"too little of the flight. {_NOTHING}"
            )
            return finding("cut-short", "stop", message, run, start_s=float(time[0]), rise_m=rise)
        if rise < _SWING or high - low < 2:
            continue
        foot = np.flatnonzero(level[: high + 1] <= level[low] + 5.0 * trace.noise + trace.step)
        low = max(low, int(foot[foot < high][-1])) if (foot < high).any() else low
        climb = speed[low:high]
        fastest = int(np.argmax(climb))
        if high >= level.size - 3 and climb[fastest] > _FIRED:
            message = (
                f"the record ends at {time[-1]:.2f} s, while the cart is still climbing: its highest point is not on record. "
                f"{_NOTHING}"
            )
            return finding("cut-short", "stop", message, run, end_s=float(time[-1]), rise_m=rise)
        drop = float(level[high] - np.min(level[high:]))
        at_once = time[low + fastest] - time[low] < max(0.2, 2.5 * trace.interval)
        if climb[fastest] > _FIRED and at_once and low >= 3 and drop < _MOST_OF_WAY * rise:
            evidence = {"set_off_s": float(time[low]), "highest_s": float(time[high]), "rise_m": rise, "drop_m": drop}
            seen = (
                f"the cart sets off at about {time[low]:.2f} s, is at its highest at {time[high]:.2f} s, {length(rise)} up, and"
            )
            end = f"comes back only {length(drop)}" if drop > 0.02 else "stops there"
            message = f"{seen} {end}, as if it was caught: too little of the way back to see how it runs. {_NOTHING}"
            return finding("caught", "stop", message, run, **evidence)
    return None
