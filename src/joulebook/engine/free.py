"""Free motion: which samples belong to it.

Decided by where the fitted cart is, never by where a noisy reading is. What does not follow the motion at the ends of a hop is
left to the stop or the hand; what does not follow it in between is rejected, a few samples at a time.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from joulebook.engine.contacts import LONGEST
from joulebook.engine.datum import Datum
from joulebook.engine.hops import Hops
from joulebook.uncertainty.robust import median

__all__ = ["drop_strange_hops", "drop_wild", "holds_all", "reject", "take_free"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]


def drop_wild(hops: Hops) -> None:
    """Drop from the cores what is wildly off, so that it cannot bend the first fit.

    A reading at the end of a hop bends the fit towards itself, so each is judged by what the others say of it: by its residual
    over the scatter that is left without it (externally studentised; R. D. Cook and S. Weisberg, 1982).
    """
    for _ in range(3):
        residual = np.abs(hops.level[hops.index] - hops.here()[0])
        keep = residual <= max(8.0 * 1.4826 * median(residual), 0.002)
        if keep.all() or keep.sum() < max(hops.values.size + 2, 0.6 * keep.size):
            break
        hops.keep(keep)
        hops.solve()
    for _ in range(4):
        solution = hops.solution
        assert solution is not None
        if solution.dof < 3 or solution.sd <= 2.0 * hops.trace.noise:
            return
        square = solution.residuals**2 / np.maximum(1.0 - solution.leverages(), 1e-6)
        odd = int(np.argmax(square))
        left = max(solution.rss - float(square[odd]), 0.0) / (solution.dof - 1)
        if square[odd] < 36.0 * max(left, (0.5 * hops.trace.noise) ** 2):
            return
        hops.keep(np.arange(hops.index.size) != odd)
        hops.solve()


def drop_strange_hops(hops: Hops, datum: Datum | None) -> None:
    """Keep the hops up to the first that does not go on from the one before: another motion, or a pause that no stop makes."""
    while hops.count > 1:
        square = np.bincount(hops.hop, (hops.level[hops.index] - hops.here()[0]) ** 2, minlength=hops.count)
        scatter = np.sqrt(square / np.maximum(np.bincount(hops.hop, minlength=hops.count), 1))
        strange = scatter > np.maximum(4.0 * scatter.min(), 3.0 * max(hops.trace.step, 0.0005))
        if datum is not None:
            windows = hops.windows(datum.level)
            pause = windows[1:, 0] - windows[:-1, 1]
            # A stop holds slow carts longer than fast ones, but not several times as long.
            longest = np.minimum(LONGEST, 2.5 * max(float(pause[0]), 0.05) + 0.15)
            strange[1:] |= (np.abs(pause) > LONGEST) | (pause > longest)
        strange[0] = False
        if not strange.any():
            return
        hops.first_hops(int(np.argmax(strange)))
        hops.solve()


def take_free(hops: Hops, floor: float) -> IntArray:
    """Take all samples on which the fitted cart is above `floor` (m), and trim the ends that do not follow it.

    Returns how many samples were trimmed at the start and the end of each hop, shape (hops, 2).
    """
    noise, growth = hops.scatter(), _growth(hops)
    windows = hops.windows(floor + max(3.0 * noise, 0.0005))
    parts: list[IntArray] = []
    trimmed = np.zeros((hops.count, 2), dtype=np.intp)
    latest = -np.inf
    for j, (start, stop) in enumerate(windows.tolist()):
        inside = np.flatnonzero(hops.good & (hops.trace.time >= start) & (hops.trace.time <= stop) & (hops.trace.time > latest))
        kept, trimmed[j] = _trim(hops, j, inside, noise, growth)
        parts.append(kept)
        latest = float(hops.trace.time[kept[-1]]) if kept.size else latest
    hops.take(parts)
    return trimmed[: hops.count]


def holds_all(hops: Hops, floor: float, trimmed: IntArray) -> bool:
    """Say whether the fit rests on all samples that lie above `floor` (m) as it now stands, but for the trimmed ones."""
    windows = hops.windows(floor + max(3.0 * hops.scatter(), 0.0005))
    time = hops.trace.time[hops.good]
    inside = (time[:, None] >= windows[:, 0]) & (time[:, None] <= windows[:, 1])
    return int(inside.any(axis=1).sum()) == hops.index.size + int(trimmed[: hops.count].sum())


def reject(hops: Hops) -> IntArray:
    """Reject the samples that the noise cannot explain, a few at a time; at most a fifth of all. Returns them, ascending."""
    rejected: list[IntArray] = []
    most = hops.index.size // 5
    noise, growth = hops.scatter(), _growth(hops) if hops.weights is None else 0.0
    for attempt in range(6):
        solution = hops.solution if attempt == 0 and hops.solution is not None else hops.solve()
        weighted = solution.residuals if hops.weights is None else solution.residuals * np.sqrt(hops.weights)
        if growth:
            weighted = weighted * noise / np.hypot(noise, growth * hops.here()[2])
        size = np.abs(weighted) / np.sqrt(np.maximum(1.0 - solution.leverages(hops.weights), 0.05))
        spare = max(solution.dof, 1)
        scale = min(1.4826 * median(size) * (1.0 + 2.0 / spare), max(solution.sd, 1e-9))
        scale = max(scale, hops.trace.step / np.sqrt(12.0), 0.3 * hops.trace.noise)
        # One sample in two hundred records may be thrown out though it is the cart.
        threshold = float(stdtrit(spare, 1.0 - 0.0025 / size.size)) * scale + 0.5 * hops.trace.step
        wrong = size > threshold
        if not wrong.any() or sum(part.size for part in rejected) + wrong.sum() > most:
            break
        rejected.append(hops.index[wrong])
        weights = hops.weights
        hops.keep(~wrong)
        if weights is not None and hops.index.size == np.count_nonzero(~wrong):
            hops.weights = weights[~wrong]
    else:
        hops.solve()
    return np.sort(np.concatenate(rejected)) if rejected else np.empty(0, dtype=np.intp)


def _growth(hops: Hops) -> float:
    """Return how much the scatter grows with the speed, s: √(noise² + (growth·v)²) is one sample's; 0 where nothing shows it.

    A moving target is read worse than a still one, and an uneven clock adds to it (BENCH_FACTS): the ends of a hop, where the cart is
    fastest, must not seem to be pushed for that. Medians, so that a few samples that are pushed do not count.
    """
    if hops.index.size < 16:
        return 0.0
    position, _, by_tau, _ = hops.here()
    residual, speed = np.abs(hops.level[hops.index] - position), np.abs(by_tau)
    fast = speed > median(speed)
    quick, calm = (1.4826 * median(residual[half]) for half in (fast, ~fast))
    if quick < 1.5 * max(calm, hops.trace.noise):
        return 0.0
    return float(np.sqrt((quick**2 - calm**2) / (median(speed[fast]) ** 2 - median(speed[~fast]) ** 2)))


def _trim(hops: Hops, j: int, inside: IntArray, noise: float, growth: float) -> tuple[IntArray, tuple[int, int]]:
    """Trim a hop's outermost samples while they do not follow the motion; a lone odd sample inside is left to the rejection."""
    if inside.size == 0:
        return inside, (0, 0)
    time = hops.trace.time[inside]
    position, _, by_tau, _ = hops.predict(j, time)
    residual = np.abs(hops.level[inside] - position)
    allowed = 5.0 * np.hypot(noise, growth * by_tau) + hops.trace.step
    if not np.any(residual > allowed):
        return inside, (0, 0)
    off = residual > allowed + 4.0 * noise * hops.prediction(j, time)
    first, last = 0, inside.size
    while first < last and _leaves(off[first : first + 3]):
        first += 1
    while last > first and _leaves(off[max(first, last - 3) : last][::-1]):
        last -= 1
    return inside[first:last], (first, inside.size - last)


def _leaves(off: npt.NDArray[np.bool_]) -> bool:
    """Say whether the outermost sample is off, or the two behind it are."""
    return bool(off.size and (off[0] or off[1:3].sum() == 2))
