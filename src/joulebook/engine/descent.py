"""Downhill to the least sum of squares: steps inside a trust region, for parameters some of which may be fixed or bounded."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from joulebook.engine.linearised import EPS, Linearised, length_of

__all__ = ["STALLED", "End", "FloatArray", "IntArray", "Model", "Place", "Task", "descend", "weighted_rss"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]
Model = Callable[[FloatArray], tuple[FloatArray, FloatArray]]

STALLED = "no step lowers the sum of squares"
_FIRST_RADIUS = 10.0  # Moré's "factor", the first trust region in scaled lengths of the start; he advises 0.1 to 100
_THREADED = 8000  # BLAS spreads longer products over threads, whose start costs more than it saves
_ROUNDING = 1e-7  # a reduction promised but not to be had, smaller than this part of the sum of squares, is put down to rounding


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """The model at one point.

    point: parameters, shape (p,). residual: data minus model, shape (n,). jacobian: shape (n, p). rss: weighted sum of squares.
    """

    point: FloatArray
    residual: FloatArray
    jacobian: FloatArray
    rss: float


@dataclass(frozen=True, slots=True, eq=False)
class Task:
    """What is to be fitted.

    model: see `least_squares`. labels: names of the parameters. free: indices of those that are not fixed.
    low, high: bounds, shape (p,), both or neither None. root: square roots of the weights, shape (n,), or None.
    """

    model: Model
    labels: tuple[str, ...]
    free: IntArray
    low: FloatArray | None = None
    high: FloatArray | None = None
    root: FloatArray | None = None

    def visit(self, point: FloatArray) -> Place:
        """Evaluate the model."""
        residual, jacobian = self.model(point)
        return Place(point, residual, jacobian, weighted_rss(residual, self.root))

    def linearise(self, place: Place) -> tuple[IntArray, Linearised]:
        """Return the parameters that a step may move, and the model linearised in them; those on a bound and leaving are held."""
        columns = self.free
        while True:
            chosen = None if columns.size == place.point.size else columns
            local = Linearised(place.residual, place.jacobian, self.root, chosen)
            if self.low is None or self.high is None or columns.size == 0:
                return columns, local
            step = local.newton(local.norms)
            here = place.point[columns]
            leaves = ((here <= self.low[columns]) & (step < 0.0)) | ((here >= self.high[columns]) & (step > 0.0))
            if not leaves.any():
                return columns, local
            columns = columns[~leaves]

    def moved(self, point: FloatArray, columns: IntArray, step: FloatArray) -> tuple[FloatArray, bool]:
        """Return `point` after the step, cut short on the first bound that it meets, and whether it was."""
        if columns.size == point.size:
            trial = point + step
        else:
            trial = point.copy()
            trial[columns] += step
        if self.low is None or self.high is None:
            return trial, False
        whole = trial - point
        with np.errstate(divide="ignore", invalid="ignore"):
            room = np.where(whole > 0.0, (self.high - point) / whole, np.where(whole < 0.0, (self.low - point) / whole, np.inf))
        part = float(room.min())
        if part >= 1.0:
            return trial, False
        return np.where(room <= part, np.where(whole > 0.0, self.high, self.low), point + part * whole), True


@dataclass(frozen=True, slots=True, eq=False)
class End:
    """Where the descent ended.

    place: the lowest point. local: the model linearised there, in the parameters `columns`. steps: tried.
    reason: the test that was met, STALLED, or "" when the steps ran out.
    """

    place: Place
    local: Linearised
    columns: IntArray
    steps: int
    reason: str

    @property
    def converged(self) -> bool:
        """Whether a convergence test was met."""
        return self.reason not in ("", STALLED)


def descend(task: Task, place: Place, *, max_steps: int, tolerance: float) -> End:
    """Step downhill from `place` until a convergence test is met, no step helps, or the steps run out.

    A Gauss–Newton step that fits into the trust region is taken whole; otherwise the Levenberg–Marquardt step that fills it.
    The region grows and shrinks with the ratio of the reduction had to the reduction promised (J. J. Moré, Lecture Notes in
    Mathematics 630 (1978) 105; J. E. Dennis and R. B. Schnabel, Numerical Methods (1983), 6.4 and 10.2).
    """
    steps, radius = 0, 0.0
    scale = np.zeros(place.point.size)
    while True:
        columns, local = task.linearise(place)
        if columns.size == scale.size:
            scale = np.maximum(scale, local.norms)
            weight, here = scale, place.point
        else:
            scale[columns] = np.maximum(scale[columns], local.norms)
            weight, here = scale[columns], place.point[columns]
        newton = local.newton(weight)
        promised = local.promised
        size, reach = length_of(weight * here), length_of(weight * newton)
        if promised <= tolerance * place.rss:
            return End(place, local, columns, steps, "the sum of squares cannot be lowered further")
        if reach <= tolerance * size or promised <= (4.0 * EPS * size) ** 2:
            return End(place, local, columns, steps, "the last step was too small to matter")
        if steps == 0:
            radius = _FIRST_RADIUS * (size or math.sqrt(place.rss))
        while True:
            if steps >= max_steps:
                return End(place, local, columns, steps, "")
            full = reach <= 1.1 * radius
            step, expected, length = (newton, promised, reach) if full else local.damped(weight, radius)
            target, cut = task.moved(place.point, columns, step)
            if cut:
                step = (target - place.point)[columns]
                expected, length = local.reduction(step), length_of(weight * step)
            trial = task.visit(target)
            steps += 1
            gain = place.rss - trial.rss if math.isfinite(trial.rss) else -math.inf
            ratio = gain / expected if expected > 0.0 else -1.0
            if steps == 1:
                radius = min(radius, length)
            if ratio <= 0.25:
                radius = _shrink(gain, place.rss, local.slope(step)) * min(radius, 10.0 * length)
            elif full or ratio >= 0.75:
                radius = 2.0 * length
            if gain > 0.0 and ratio >= 1e-4:
                place = trial
                break
            if expected <= 64.0 * EPS * place.rss or radius <= 4.0 * EPS * size:
                reason = "rounding hides any further reduction" if promised <= _ROUNDING * place.rss else STALLED
                return End(place, local, columns, steps, reason)


def weighted_rss(residual: FloatArray, root: FloatArray | None) -> float:
    """Return the sum of squares of residuals with root weights."""
    weighted = residual if root is None else residual * root
    if weighted.size > _THREADED:
        return float(np.einsum("i,i->", weighted, weighted))
    return float(weighted.dot(weighted))


def _shrink(gain: float, rss: float, slope: float) -> float:
    """Return the factor by which the trust region shrinks: to the least point of the parabola along the step, 0.1 to 0.5."""
    if gain >= 0.0:
        return 0.5
    if gain < -99.0 * rss or slope >= 0.0:
        return 0.1
    return min(0.5, max(0.1, 0.5 * slope / (slope + gain)))
