"""Least squares: the numerical floor under every fit.

Residuals are data minus model throughout, and a Jacobian is the derivative of the model with respect to the parameters,
so that the step which lowers the sum of squares solves J·step ≈ residual. The linear algebra is in `linearised`: Cholesky where
the columns are well apart, Householder QR where they are not, singular values where they are nearly dependent or a step has to
be shortened. The way downhill is in `descent`.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import NoReturn

import numpy as np
import numpy.typing as npt

from joulebook.engine.descent import STALLED, End, FloatArray, IntArray, Model, Place, Task, descend, weighted_rss
from joulebook.engine.linearised import Linearised
from joulebook.errors import FitError

__all__ = ["Solution", "least_squares", "linear_least_squares"]


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """The parameters at the least sum of squares, and what is known about them.

    names: of the parameters, in order, p of them.
    parameters: estimates, shape (p,); fixed ones as they were given.
    covariance: shape (p, p), sd² times `unscaled`; rows of fixed parameters and of those on a bound are 0. NaN when dof is 0.
    unscaled: (JᵀWJ)⁻¹ over the free parameters, shape (p, p).
    residuals: data minus model at the solution, unweighted, shape (n,).
    jacobian: derivative of the model, unweighted, shape (n, p).
    rss: (weighted) residual sum of squares.
    dof: samples of weight above 0, less free parameters.
    sd: √(rss/dof), the Type A standard deviation of one sample of weight 1; NaN when dof is 0.
    steps: steps tried, taken or not; the model was evaluated once more than that.
    converged: whether a convergence test was met. reason: which one, or what stopped the search, in words.
    on_bound: names of parameters that ended on a bound.
    """

    names: tuple[str, ...]
    parameters: FloatArray
    covariance: FloatArray
    unscaled: FloatArray
    residuals: FloatArray
    jacobian: FloatArray
    rss: float
    dof: int
    sd: float
    steps: int
    converged: bool
    reason: str
    on_bound: tuple[str, ...] = ()

    @property
    def uncertainties(self) -> FloatArray:
        """Standard uncertainties of the parameters, shape (p,) (Type A; GUM H.3)."""
        return np.sqrt(self.covariance.diagonal())

    def leverages(self, weights: FloatArray | None = None) -> FloatArray:
        """Return how much each sample pulls its own fitted value, shape (n,): the diagonal of J(JᵀWJ)⁻¹JᵀW (Cook and Weisberg 1982).

        weights: those of the fit, shape (n,), None for equal ones.
        """
        pull = np.einsum("ij,ij->i", self.jacobian @ self.unscaled, self.jacobian)
        return np.asarray(pull if weights is None else pull * weights, dtype=np.float64)

    @property
    def correlation(self) -> FloatArray:
        """Correlation coefficients of the parameters, shape (p, p); NaN where a parameter was fixed."""
        u = self.uncertainties
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(self.covariance / np.outer(u, u), dtype=np.float64)


def least_squares(
    model: Model,
    start: npt.ArrayLike,
    *,
    names: Sequence[str] | None = None,
    fixed: Collection[str] = (),
    bounds: tuple[npt.ArrayLike, npt.ArrayLike] | None = None,
    weights: npt.ArrayLike | None = None,
    max_steps: int = 50,
    tolerance: float = 1e-12,
    allow_bound: bool = False,
    require: bool = True,
) -> Solution:
    """Fit a model that is nonlinear in its parameters, by Levenberg–Marquardt.

    model: takes parameters, shape (p,), and returns (residual, jacobian): data minus model, shape (n,), and the derivative
        of the *model*, shape (n, p), as new arrays each time. A trial whose residuals are not finite is taken back.
    start: first guess, shape (p,). names: of the parameters, for messages and `fixed`; "p0", "p1", … when left out.
    fixed: names of parameters held at their start.
    bounds: (low, high), each broadcast to shape (p,); the start is moved inside.
    weights: shape (n,), at least 0; a sample of weight 0 is dropped; its residual must be finite and is still reported.
    max_steps: steps tried at most. tolerance: the search ends when the best linear step promises to lower the sum of squares
        by no more than this part of it, or moves no further than this part of the parameters. 1e-12 is an error of
        about √dof millionths of a standard uncertainty.
    allow_bound: return a solution that sits on a bound instead of raising.
    require: raise when no convergence test is met or the solution is not determined; otherwise return the best point with
        `converged` false, or with NaN for its covariance.

    Raises FitError, naming the parameter: one that the samples do not depend on or do not determine, one on a bound,
    or the one that was still moving when the steps ran out. The sum of squares never rises from step to step.

    The first test is the relative offset of D. M. Bates and D. G. Watts, Technometrics 23 (1981) 179.
    """
    first = np.array(start, dtype=np.float64).ravel()
    labels = _labels(names, first.size)
    low, high = _bounds(bounds, labels)
    if low is not None and high is not None:
        first = np.minimum(np.maximum(first, low), high)
    task = Task(model, labels, _free(fixed, labels), low, high, None if weights is None else _root_weights(weights))
    # A trial far off may overflow; what is not finite is taken back.
    with np.errstate(over="ignore", invalid="ignore"):
        residual, jacobian = model(first)
        _check_shapes(residual, jacobian, task)
        place = Place(first, residual, jacobian, weighted_rss(residual, task.root))
        if not math.isfinite(place.rss):
            raise FitError(
                f"the model cannot be evaluated at the start: {_listed(labels, first)}.",
                remedy="Start from other values, or look for samples that are not numbers.",
            )
        end = descend(task, place, max_steps=max_steps, tolerance=tolerance)
    if require and not end.converged:
        _raise_unfinished(task, end, first, max_steps)
    place, local, columns = end.place, end.local, end.columns
    on_bound = _on_bound(task, place.point)
    if on_bound and not allow_bound:
        raise FitError(
            f"the fit ended with {' and '.join(on_bound)} on a bound ({_listed(labels, place.point, on_bound)}).",
            remedy="Free motion should fit inside the bounds: look at the samples, or widen the bounds.",
        )
    if columns.size + len(on_bound) != task.free.size:
        columns = np.array([i for i in task.free if labels[i] not in on_bound], dtype=np.intp)
        local = Linearised(place.residual, place.jacobian, task.root, columns)
    inverse = local.inverse([labels[i] for i in columns], require=require)
    reason = end.reason or f"{max_steps} steps were not enough"
    return _solution(task, place, inverse, columns, end.steps, end.converged, reason, on_bound)


def linear_least_squares(
    design: npt.ArrayLike,
    data: npt.ArrayLike,
    *,
    names: Sequence[str] | None = None,
    weights: npt.ArrayLike | None = None,
) -> Solution:
    """Fit a model that is linear in its parameters.

    design: shape (n, p), the derivative of the model with respect to each parameter. data: shape (n,).
    names: of the parameters, for messages. weights: shape (n,), at least 0; 0 drops a sample.

    Raises FitError naming the parameters that the data do not determine, or when there are fewer samples than parameters.
    Householder QR with one step of refinement.
    """
    matrix = np.asarray(design, dtype=np.float64)
    if matrix.ndim == 1:
        matrix = matrix[:, None]
    values = np.asarray(data, dtype=np.float64).ravel()
    labels = _labels(names, matrix.shape[1])
    root = None if weights is None else _root_weights(weights)
    task = Task(lambda point: (values - matrix @ point, matrix), labels, _free((), labels), root=root)
    _check_shapes(values, matrix, task)
    if not (np.isfinite(values).all() and np.isfinite(matrix).all()):
        raise FitError("the data or the design hold a value that is not finite.", remedy="Leave out missing samples first.")
    local = Linearised(values, matrix, root, None, exact=True)
    inverse = local.inverse(labels, require=True)
    place = task.visit(local.newton(local.norms))
    place = task.visit(place.point + Linearised(place.residual, matrix, root, None, exact=True).newton(local.norms))
    return _solution(task, place, inverse, task.free, 1, True, "the model is linear", ())


def _solution(
    task: Task,
    place: Place,
    inverse: FloatArray,
    columns: IntArray,
    steps: int,
    converged: bool,
    reason: str,
    on_bound: tuple[str, ...],
) -> Solution:
    size = place.point.size
    dof = _used(place.residual, task.root) - columns.size
    sd = math.sqrt(place.rss / dof) if dof > 0 else math.nan
    unscaled = inverse
    if columns.size != size:
        unscaled = np.zeros((size, size))
        unscaled[np.ix_(columns, columns)] = inverse
    return Solution(
        names=task.labels,
        parameters=place.point,
        covariance=unscaled * (sd * sd),
        unscaled=unscaled,
        residuals=place.residual,
        jacobian=place.jacobian,
        rss=place.rss,
        dof=dof,
        sd=sd,
        steps=steps,
        converged=converged,
        reason=reason,
        on_bound=on_bound,
    )


def _on_bound(task: Task, point: FloatArray) -> tuple[str, ...]:
    if task.low is None or task.high is None:
        return ()
    return tuple(task.labels[i] for i in task.free if point[i] <= task.low[i] or point[i] >= task.high[i])


def _raise_unfinished(task: Task, end: End, first: FloatArray, max_steps: int) -> NoReturn:
    labels, local, point = task.labels, end.local, end.place.point
    if local.rank_deficient():
        local.raise_undetermined([labels[i] for i in end.columns])
    wanted = np.abs(local.newton(local.norms)) * local.norms
    last = labels[int(end.columns[int(wanted.argmax())])]
    if end.reason == STALLED:
        text = f"{STALLED}, although the derivatives say that {last} should change"
        remedy = "The derivatives do not belong to the model, or the start is too far away."
    else:
        text = f"the fit did not settle in {max_steps} steps; {last} was still moving"
        remedy = "Start nearer to the answer, or look whether the samples hold the motion that was expected."
    unmoved = [labels[i] for i in task.free if point[i] == first[i]]
    if unmoved:
        text += f"; {' and '.join(unmoved)} never moved"
    raise FitError(f"{text} ({_listed(labels, point)}).", remedy=remedy)


def _used(residual: FloatArray, root: FloatArray | None) -> int:
    return residual.size if root is None else int(np.count_nonzero(root))


def _labels(names: Sequence[str] | None, count: int) -> tuple[str, ...]:
    if names is None:
        return tuple([f"p{i}" for i in range(count)])
    if len(names) != count:
        raise FitError(f"{count} parameters were given, but {len(names)} names.", remedy="Give one name for each parameter.")
    return tuple(names)


def _free(fixed: Collection[str], labels: tuple[str, ...]) -> IntArray:
    if not fixed:
        return np.arange(len(labels))
    strange = [name for name in fixed if name not in labels]
    if strange:
        raise FitError(
            f"there is no parameter {' or '.join(strange)} to hold fixed.", remedy=f"The parameters are {', '.join(labels)}."
        )
    return np.array([i for i, name in enumerate(labels) if name not in fixed], dtype=np.intp)


def _bounds(
    bounds: tuple[npt.ArrayLike, npt.ArrayLike] | None, labels: tuple[str, ...]
) -> tuple[FloatArray | None, FloatArray | None]:
    if bounds is None:
        return None, None
    low, high = (np.broadcast_to(np.asarray(side, dtype=np.float64), (len(labels),)) for side in bounds)
    crossed = ~(low < high)
    if crossed.any():
        at = int(crossed.argmax())
        raise FitError(
            f"the lower bound of {labels[at]}, {low[at]:g}, is not below its upper bound, {high[at]:g}.",
            remedy="Swap the bounds, or hold the parameter fixed.",
        )
    return low, high


def _root_weights(weights: npt.ArrayLike) -> FloatArray:
    values = np.asarray(weights, dtype=np.float64).ravel()
    wrong = ~((values >= 0.0) & (values < np.inf))
    if wrong.any():
        at = int(wrong.argmax())
        raise FitError(
            f"the weight of sample {at} is {values[at]:g}.", remedy="Weights are 0 for a dropped sample and positive otherwise."
        )
    return np.sqrt(values)


def _check_shapes(residual: FloatArray, jacobian: FloatArray, task: Task) -> None:
    wanted = (residual.size, len(task.labels))
    if jacobian.shape != wanted:
        raise FitError(
            f"the derivatives have shape {jacobian.shape}, but {wanted[0]} samples and {wanted[1]} parameters need {wanted}.",
            remedy="Return one row for each sample and one column for each parameter.",
        )
    if task.root is not None and task.root.size != residual.size:
        raise FitError(
            f"{task.root.size} weights were given for {residual.size} samples.", remedy="Give one weight for each sample."
        )
    used = _used(residual, task.root)
    if used < task.free.size:
        raise FitError(
            f"{used} samples cannot determine {task.free.size} parameters ({', '.join(task.labels[i] for i in task.free)}).",
            remedy="Use a longer stretch or a faster rate of sampling.",
        )


def _listed(labels: Sequence[str], point: FloatArray, only: Collection[str] | None = None) -> str:
    return ", ".join(f"{name} = {value:.6g}" for name, value in zip(labels, point, strict=True) if only is None or name in only)
