"""The timeline: the phases of one launch with their final edges, once the motion is known."""

from __future__ import annotations

import numpy as np

from joulebook.engine.report import Phase, PhaseKind
from joulebook.engine.run import Run

__all__ = ["name_phases"]

_GAP = 3
"""Samples in a row without a usable reading that make a gap."""


def name_phases(run: Run) -> tuple[Phase, ...]:
    """Return the phases of a launch record in time order, covering it from the first sample to the last.

    `first` and `last` are the samples that lie inside a phase; a contact between two samples holds none, and its `last` is then
    `first` − 1. A person's phase edges win over those that were found.
    """
    time = run.trace.time
    finite = time[np.isfinite(time)]
    if finite.size == 0:
        return ()
    edges = _found(run, float(finite[0]), float(finite[-1]))
    for kind, start, end in run.override.edges if run.override else ():
        begin, finish = float(finite[0]), float(finite[-1])
        if min(end, finish) > max(start, begin):
            edges = _set(edges, kind, max(start, begin), min(end, finish))
    phases: list[Phase] = []
    for kind, start, end in _with_gaps(run, edges):
        inside = np.flatnonzero((time >= start) & (time <= end if end == finite[-1] else time < end))
        first = int(inside[0]) if inside.size else int(np.searchsorted(np.where(np.isfinite(time), time, np.inf), start))
        last = int(inside[-1]) if inside.size else first - 1
        phases.append(Phase(kind, start, end, first, last))
    return tuple(phases)


Edge = tuple[PhaseKind, float, float]


def _found(run: Run, begin: float, finish: float) -> list[Edge]:
    time, outline, motion = run.trace.time, run.outline, run.motion
    edges: list[Edge] = []
    at = begin

    def until(kind: PhaseKind, end: float) -> None:
        nonlocal at
        end = min(end, finish)
        if end > at:
            edges.append((kind, at, end))
            at = end

    if motion is None:
        if outline.still is not None:
            until("handled", float(time[outline.still[0]]))
            until("still", float(time[outline.still[1]]))
        until("handled", finish)
        return edges
    if outline.still is not None:
        until("handled", float(time[outline.still[0]]))
        until("still", float(time[outline.still[1]]))
    elif outline.departure is not None:
        until("handled", float(time[outline.departure]))
    until("push", float(motion.windows[0, 0]))
    for hop in range(motion.hops):
        start, end = motion.windows[hop].tolist()
        apex = float(motion.apex_times[hop])
        until("contact", start)
        until("climb", apex)
        last = _last_followed(run, hop)
        if last is not None and last < end - 2.0 * run.trace.interval:
            until("descent", max(last, apex))
            until("handled", finish if hop == motion.hops - 1 else end)
        else:
            until("descent", end)
    if outline.tail is not None:
        until("contact", float(time[outline.tail[0]]))
        until("still", finish)
    until("contact" if finish - at < 1.0 else "handled", finish)
    return edges


def _last_followed(run: Run, hop: int) -> float | None:
    """Return the time of the last used sample of a hop, None when good samples to the end of its window all follow it."""
    motion = run.motion
    assert motion is not None
    if hop < motion.trimmed.shape[0] and motion.trimmed[hop, 1] < 2:
        return None
    inside = np.flatnonzero(motion.used & (run.trace.time <= motion.windows[hop, 1]))
    return float(run.trace.time[inside[-1]]) if inside.size else None


def _set(edges: list[Edge], kind: str, start: float, end: float) -> list[Edge]:
    """Put a person's phase in place of what was found there."""
    result: list[Edge] = []
    for other, left, right in edges:
        if left < start:
            result.append((other, left, min(right, start)))
        if right > end:
            result.append((other, max(left, end), right))
    result.append((kind, start, end))  # type: ignore[arg-type]
    return sorted((edge for edge in result if edge[2] > edge[1]), key=lambda edge: edge[1])


def _with_gaps(run: Run, edges: list[Edge]) -> list[Edge]:
    """Cut out the stretches in which there is no usable reading."""
    time, good = run.trace.time, run.trace.good
    padded = np.concatenate(([False], ~good, [False]))
    steps = np.flatnonzero(np.diff(padded.astype(np.int8)))
    for first, stop in zip(steps[::2], steps[1::2], strict=True):
        if stop - first < _GAP:
            continue
        before, after = max(first - 1, 0), min(stop, time.size - 1)
        if np.isfinite(time[before]) and np.isfinite(time[after]) and time[after] > time[before]:
            edges = _set(edges, "gap", float(time[before]), float(time[after]))
    return edges
