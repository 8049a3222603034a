"""A straight line through points that are uncertain in both directions.

D. York, N. Evensen, M. López Martínez, J. De Basabe Delgado, "Unified equations for the slope, intercept, and standard errors of
the best straight line", Am. J. Phys. 72 (2004) 367.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from joulebook.errors import FitError, InputError

__all__ = ["StraightLine", "fit_straight_line"]

_STEPS = 500


@dataclass(frozen=True, slots=True)
class StraightLine:
    """y = intercept + slope·x.

    u_intercept, u_slope: standard uncertainties if those of the points are right. r: correlation of intercept and slope.
    chi_squared: the least sum of weighted squares. dof: n − 2. probability: of a sum as large or larger if the points lie on a line.
    n: points.
    """

    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    r: float
    chi_squared: float
    dof: int
    probability: float
    n: int


def fit_straight_line(
    x: npt.ArrayLike, y: npt.ArrayLike, u_x: npt.ArrayLike, u_y: npt.ArrayLike, r: npt.ArrayLike = 0.0
) -> StraightLine:
    """Return the best straight line.

    x, y: shape (n,), n ≥ 3. u_x, u_y: their standard uncertainties, positive. r: correlation of the errors of x and y of
    each point, one number or shape (n,), between −1 and 1.
    Raises InputError for points that do not match or have no spread, FitError when the slope does not settle.
    """
    xs, ys, sx, sy, rs = _checked(x, y, u_x, u_y, r)
    wx, wy = 1.0 / sx**2, 1.0 / sy**2
    alpha = np.sqrt(wx * wy)
    slope = float(np.polyfit(xs, ys, 1)[0])
    for _ in range(_STEPS):
        w = wx * wy / (wx + slope**2 * wy - 2.0 * slope * rs * alpha)
        mx, my = float(w @ xs / w.sum()), float(w @ ys / w.sum())
        dx, dy = xs - mx, ys - my
        beta = w * (dx / wy + slope * dy / wx - (slope * dx + dy) * rs / alpha)
        before, slope = slope, float((w * beta) @ dy / ((w * beta) @ dx))
        if not math.isfinite(slope) or abs(slope - before) <= 1e-13 * max(abs(slope), 1e-3):
            break
    else:
        raise FitError(
            f"The slope of a line through {xs.size} points did not settle in {_STEPS} steps (last {slope:g}).",
            remedy="Look whether the points differ by more than their uncertainties at all.",
        )
    if not math.isfinite(slope):
        raise FitError("The points rise straight up: a line through them has no slope.", remedy="Exchange x and y.")
    intercept = my - slope * mx
    adjusted = mx + beta
    middle = float(w @ adjusted / w.sum())
    var_slope = 1.0 / float(w @ (adjusted - middle) ** 2)
    var_intercept = 1.0 / float(w.sum()) + middle**2 * var_slope
    chi_squared = float(w @ (ys - intercept - slope * xs) ** 2)
    dof = xs.size - 2
    return StraightLine(
        intercept, slope, math.sqrt(var_intercept), math.sqrt(var_slope), -middle * math.sqrt(var_slope / var_intercept),
        chi_squared, dof, float(special.chdtrc(dof, chi_squared)), xs.size,
    )  # fmt: skip


def _checked(*columns: npt.ArrayLike) -> tuple[npt.NDArray[np.float64], ...]:
    arrays = np.broadcast_arrays(*(np.asarray(column, dtype=np.float64) for column in columns))
    x, _, sx, sy, r = arrays
    if x.ndim != 1 or x.size < 3 or not all(np.isfinite(each).all() for each in arrays):
        raise InputError(f"{x.size} points are no basis for a line.", remedy="Give at least three points, all of them finite.")
    if sx.min() <= 0.0 or sy.min() <= 0.0 or np.abs(r).max() >= 1.0:
        raise InputError(
            f"The smallest uncertainty is {min(sx.min(), sy.min()):g} and the largest correlation {np.abs(r).max():g}.",
            remedy="Uncertainties must be positive and correlations lie between −1 and 1.",
        )
    if np.ptp(x) == 0.0:
        raise InputError("All points have the same x: no line can be told.", remedy="Give points that differ in x.")
    return tuple(arrays)
