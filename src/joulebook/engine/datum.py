"""Datum: the reading at which the cart stands at the stop, plunger out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from joulebook.engine.clean import Trace
from joulebook.engine.phases import Outline
from joulebook.uncertainty.robust import median

__all__ = ["Datum", "RestLevel", "rest_level", "take_datum"]

_PLACING = 0.0002
"""m: how well a cart comes to stand in the same place again (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class RestLevel:
    """Where a standing target was read.

    distance: m from the ranger. u: m, standard uncertainty. dof: its degrees of freedom. first, last: samples used.
    samples: how many of them are good. drift: m, last third less first third. noise: m, scatter of one sample.
    """

    distance: float
    u: float
    dof: float
    first: int
    last: int
    samples: int
    drift: float
    noise: float


@dataclass(frozen=True, slots=True)
class Datum:
    """The level from which the release is measured.

    level: m, up-slope reading of the standing cart. u, dof: its standard uncertainty and degrees of freedom.
    source: "rest" record, "tail" of the launch record, "contacts" (worked out from the rebounds) or "push" (bracketed only).
    """

    level: float
    u: float
    dof: float
    source: Literal["rest", "tail", "contacts", "push"]


def rest_level(trace: Trace, first: int = 0, last: int | None = None) -> RestLevel | None:
    """Return where the target stood during a stretch of a record; None when it never stood still.

    first, last: samples to look at. The longest stretch within the noise of its own median is used, so that a hand at the
    start or the end does no harm.
    """
    stop = trace.time.size if last is None else last + 1
    index = np.flatnonzero(trace.good[first:stop]) + first
    if index.size < 3:
        return None
    values = trace.distance[index]
    band = max(5.0 * trace.noise + trace.step, 0.002)
    best = (0, 0)
    for _ in range(2):  # the second pass looks round the median of the longest stretch of the first
        centre = median(values[best[0] : best[1]]) if best[1] else median(values)
        best = _longest(np.abs(values - centre) <= band)
    start, end = best
    if end - start < max(3, min(5, index.size // 4)):
        return None
    still = values[start:end]
    n = still.size
    mean = float(np.mean(still))
    sd = float(np.std(still, ddof=1))
    third = max(1, n // 3)
    drift = float(np.mean(still[-third:]) - np.mean(still[:third]))
    # A reading that never leaves one step says nothing of where inside the step the target is (GUM F.2.2.1).
    stuck = trace.step / np.sqrt(12.0) if sd < 0.5 * trace.step else 0.0
    correlated = abs(drift) / np.sqrt(12.0) if abs(drift) > 4.0 * sd / np.sqrt(third) else 0.0
    u = float(np.sqrt(sd * sd / n + stuck**2 + correlated**2 + _PLACING**2))
    share = (sd * sd / n) / (u * u) if u > 0 else 0.0
    dof = float("inf") if share < 1e-3 else (n - 1) / share**2
    return RestLevel(mean, u, dof, int(index[start]), int(index[end - 1]), n, drift, max(sd, trace.step / np.sqrt(12.0)))


def take_datum(outline: Outline, rest: RestLevel | None, tail: RestLevel | None, *, trust_tail: bool = False) -> Datum | None:
    """Choose the datum: the rest record where there is one, else where the cart settled; None when there is neither.

    trust_tail: the two disagree and the settled cart is to be believed (the findings say so).
    """
    chosen = tail if (rest is None or trust_tail) and tail is not None else rest
    if chosen is None:
        return None
    return Datum(outline.up * chosen.distance, chosen.u, chosen.dof, "tail" if chosen is tail else "rest")


def _longest(inside: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> tuple[int, int]:
    """Return start and end of the longest stretch of True, a single False inside it allowed."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], inside, [False])).astype(np.int8)))
    starts, ends = edges[::2], edges[1::2]
    if not starts.size:
        return (0, 0)
    merged = [(int(starts[0]), int(ends[0]))]
    for start, end in zip(starts[1:].tolist(), ends[1:].tolist(), strict=True):
        if start - merged[-1][1] <= 1:
            merged[-1] = (merged[-1][0], end)
        else:
            merged.append((start, end))
    return max(merged, key=lambda stretch: stretch[1] - stretch[0])
