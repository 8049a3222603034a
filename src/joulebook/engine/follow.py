"""Follow one launch record from its samples to its motion: clean → phases → datum → fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from joulebook.engine.bench import Bench, Override
from joulebook.engine.clean import Trace, clean
from joulebook.engine.datum import RestLevel, rest_level, take_datum
from joulebook.engine.experiment import Experiment
from joulebook.engine.fit import Motion, fit_motion
from joulebook.engine.phases import Outline, find_phases
from joulebook.engine.record import Record
from joulebook.engine.run import Run
from joulebook.errors import FitError

__all__ = ["agree_on_stop", "follow"]

_MOVED = 0.006
"""m: when the cart settles this much off the rest record (or more than five standard uncertainties), one of them is wrong."""

_ROUGH = 2.5
"""A fit that scatters this much more than neighbouring samples do may not have found the launch: others are tried."""

_SPARE = 6
"""Readings beyond the fitted values, with which a motion that scatters less than another one's is no accident."""

_FAR = 0.045
"""m: a stop is not moved this far between two records without anyone noticing (common practice, no source)."""

_NEAR = 0.06
"""m: a cart that settles farther than this from where the rebounds meet does not stand at the stop."""


def follow(record: Record, bench: Bench, experiment: Experiment, rest: RestLevel | None) -> Run:
    """Return what became of a launch record; a fit that fails is kept in the run, not raised.

    rest: the standing cart of the rest record, None when there is none.
    """
    values = {name: item.value for name, item in bench.inputs.items()}
    min_range, max_range = bench.number("sensor.min_range") or 0.0, bench.number("sensor.max_range")
    override = bench.overrides.get(record.file) or bench.overrides.get(f"{record.file}#{record.run}")
    trace = clean(record, min_range=min_range, max_range=max_range)
    outlines = find_phases(trace, placed=bench.word("sensor.placed"), expected_fall=_expected_fall(experiment, values))
    scale, (drag, u_drag) = experiment.scale(values), experiment.drag(bench.inputs)
    best: Run | None = None
    for outline in outlines:
        tail = rest_level(trace, *outline.tail) if outline.tail else None
        if not outline.arcs:
            return Run(trace, outline, tail, None, None, override)
        if tail is not None and not _at_the_stop(outline, tail, rest):
            tail = None
        datum = take_datum(outline, rest, tail, trust_tail=_disagrees(rest, tail))
        try:
            motion = fit_motion(
                trace, outline, experiment.arc,
                drag=drag * scale, u_drag=u_drag * scale, datum=datum,
                release=override.release if override else None, apex=override.apex if override else None,
                barred=_barred(trace, override),
            )  # fmt: skip
        except FitError as error:
            best = best or Run(trace, outline, tail, None, error, override)
            continue
        run = Run(trace, outline, tail, motion, None, override)
        if best is None or best.motion is None or _better(motion, best.motion):
            best = run
        if motion.noise <= _ROUGH * trace.noise + trace.step:
            break
    assert best is not None
    return best


def _better(motion: Motion, other: Motion) -> bool:
    """Say whether a motion is to be believed before another one: it scatters far less, also beside its own height, and rests on readings
    enough. Through a few of them anything passes, and a small move of a hand scatters little.
    """
    spare, others = (int(np.count_nonzero(each.used)) - each.values.size for each in (motion, other))
    small, large = (each.noise / max(float(each.apexes[0]) - each.release_level, 1e-6) for each in (motion, other))
    return motion.noise < 0.4 * other.noise and small < large and spare >= min(_SPARE, others)


def agree_on_stop(runs: Sequence[Run]) -> list[Run]:
    """Return the launches of a bench, those without a rebound with the stop of the one that shows it best.

    The stop is the bench's, so a launch that was caught before it came back can borrow from another.
    """
    seen = [run.motion.contacts for run in runs if run.motion and run.motion.contacts.kind != "unseen"]
    if not seen:
        return list(runs)
    stop = min(seen, key=lambda contacts: contacts.half_width)
    return [
        replace(run, motion=run.motion.with_stop(stop)) if run.motion and run.motion.contacts.kind == "unseen" else run
        for run in runs
    ]


def _expected_fall(experiment: Experiment, values: dict[str, float]) -> float:
    """Return the deceleration that the stated set-up gives, in the ranger's metres."""
    return experiment.expected_fall(values) / experiment.scale(values)


def _disagrees(rest: RestLevel | None, tail: RestLevel | None) -> bool:
    """Say whether the cart settled somewhere else than the rest record has it, beyond what a stop's give allows."""
    if rest is None or tail is None:
        return False
    return abs(rest.distance - tail.distance) > max(_MOVED, 5.0 * float(np.hypot(rest.u, tail.u)))


def _at_the_stop(outline: Outline, tail: RestLevel, rest: RestLevel | None) -> bool:
    """Say whether the level at which the cart settled is about where its hops start and end."""
    first = outline.arcs[0]
    level = outline.up * tail.distance
    if len(outline.arcs) < 2:
        # Without a rebound the other witnesses are the rest record and the cocked cart, which stands below the stop's level.
        if rest is not None and abs(rest.distance - tail.distance) > _NEAR:
            return False
        low = outline.still_level - 0.02 if np.isfinite(outline.still_level) else -np.inf
        high = outline.still_level + 0.12 if np.isfinite(outline.still_level) else first.apex - 0.5 * first.height
        return low <= level <= min(high, first.apex - 0.25 * first.height)
    second = outline.arcs[1]
    fall = 0.5 * (first.fall + second.fall)
    gap = second.apex_time - first.apex_time
    # Where two arcs of this fall, this far apart in time, would meet if the bounce were instant.
    difference = first.apex - second.apex
    down = 0.5 * (gap + 2.0 * difference / (fall * gap))
    meeting = first.apex - 0.5 * fall * down * down
    if rest is not None and abs(rest.distance - tail.distance) > _FAR:
        stood = outline.up * rest.distance
        cocked = abs(stood - outline.still_level) < 0.01
        if meeting - 0.01 <= stood <= meeting + _NEAR and not cocked:
            return False  # the cart bounces where the rest record has it; what holds it so far from there is a hand
    return meeting - 0.02 <= level <= meeting + _NEAR + 0.1 * first.height


def _barred(trace: Trace, override: Override | None) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Return the samples that a person has taken out of free motion, shape (n,)."""
    barred = np.zeros(trace.time.size, dtype=bool)
    if override is None:
        return barred
    begin = min((start for kind, start, _ in override.edges if kind == "climb"), default=-np.inf)
    finish = max((end for kind, _, end in override.edges if kind == "descent"), default=np.inf)
    barred |= (trace.time < begin) | (trace.time > finish)
    for kind, start, end in override.edges:
        if kind not in ("climb", "descent"):
            barred |= (trace.time >= start) & (trace.time <= end)
    return barred
