"""The distributions that an input may have: quantile functions, half-widths and standard uncertainties.

An Input carries the standard uncertainty u of the GUM. For every distribution but one, u is also the standard deviation.
The exception is "t": there u is the scale, that is the Type A standard uncertainty s/√n of GUM 4.2.3 with its degrees of
freedom ν, and JCGM 101, 6.4.9 gives the input the scaled and shifted t-distribution, whose standard deviation is
u·√(ν/(ν−2)), infinite for ν ≤ 2. Linear propagation uses u; Monte Carlo draws from the t-distribution.
A finite dof makes a difference to the draws of "t" inputs only; the other shapes are taken as stated.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy import special

from joulebook.errors import InputError
from joulebook.uncertainty.quantity import Input

__all__ = ["DISTRIBUTIONS", "chi_factor", "half_width", "quantile", "standard_deviation", "standard_uncertainty"]

_Floats = npt.NDArray[np.float64]

DISTRIBUTIONS = (
    "arcsine",
    "constant",
    "curvilinear-trapezoidal",
    "normal",
    "rectangular",
    "t",
    "trapezoidal",
    "triangular",
)

_TABLE_STEP = 1.0 / 16.0
_TABLE_END = 6.5
_TABLE_WORTHWHILE = 512
# Below this the tails grow too fast for cubics.
_TABLE_LEAST_DOF = 3.0


def quantile(item: Input, probability: npt.ArrayLike) -> _Floats:
    """Return the values below which an input lies with the given probabilities (its inverse distribution function).

    probability: numbers in (0, 1), any shape; uniform ones become draws of the input (JCGM 101, C.2).
    Raises InputError for an unknown distribution or a shape outside [0, 1].
    """
    p = np.asarray(probability, dtype=np.float64)
    if item.u == 0.0 or item.distribution == "constant":
        return np.full(p.shape, item.value)
    return item.value + item.u * _standard(item)(p)


def half_width(item: Input) -> float:
    """Return the half-width of the interval that an input cannot leave, infinite for normal and t, 0 for a constant.

    A curvilinear trapezoid reaches from −(w + d) to w + d; what is returned is w, the half-width as it was stated.
    Raises InputError as `quantile` does.
    """
    relative = _relative_u(item.distribution, item.shape)
    if item.distribution == "constant" or item.u == 0.0:
        return 0.0
    return item.u / relative if relative > 0.0 else math.inf


def standard_uncertainty(distribution: str, half_width: float, *, shape: float = 0.0) -> float:
    """Return the standard uncertainty of a quantity known to lie within ± half_width (GUM 4.3.7 and 4.3.9; JCGM 101, 6.4).

    distribution: "rectangular" (a/√3), "triangular" (a/√6), "arcsine" (a/√2), "trapezoidal" (a·√((1 + β²)/6)) or
        "curvilinear-trapezoidal" (√(w²/3 + d²/9), with d = shape·w).
    half_width: a, or w; its unit is that of the result. shape: β or d/w, in [0, 1].
    Raises InputError for a distribution without limits, a negative half-width or a shape outside [0, 1].
    """
    relative = _relative_u(distribution, shape)
    if not half_width >= 0.0:
        raise InputError(f"a half-width cannot be {half_width:g}.", remedy="Give zero or a positive number.")
    if relative == 0.0:
        raise InputError(
            f"a {distribution} distribution has no half-width.",
            remedy="Give its standard uncertainty, or choose rectangular, triangular, trapezoidal or arcsine.",
        )
    return half_width * relative


def standard_deviation(item: Input) -> float:
    """Return the standard deviation of the distribution: u, but u·√(ν/(ν−2)) for "t" (JCGM 101, 6.4.9.4)."""
    if item.distribution != "t" or math.isinf(item.dof):
        return item.u
    return item.u * math.sqrt(item.dof / (item.dof - 2.0)) if item.dof > 2.0 else math.inf


def chi_factor(probability: _Floats, dof: float) -> _Floats:
    """Return √(ν/χ²), which turns a multivariate normal draw into one of the multivariate t (JCGM 102, 5.3.2).

    probability: shape (n,), in (0, 1): the probability of a larger χ². dof: ν, finite and positive.
    """

    def exact(p: _Floats) -> _Floats:
        return np.sqrt(0.5 * dof / np.asarray(special.gammainccinv(0.5 * dof, p), dtype=np.float64))

    if probability.size < _TABLE_WORTHWHILE or dof < _TABLE_LEAST_DOF:
        return exact(probability)
    return _interpolated(probability, _chi_table(dof), exact)


def _relative_u(distribution: str, shape: float) -> float:
    """Standard uncertainty over half-width; 0 for the distributions without limits."""
    if distribution in ("trapezoidal", "curvilinear-trapezoidal") and not 0.0 <= shape <= 1.0:
        raise InputError(f"the shape of a {distribution} distribution is {shape:g}.", remedy="It must lie between 0 and 1.")
    match distribution:
        case "normal" | "t" | "constant":
            return 0.0
        case "rectangular":
            return 1.0 / math.sqrt(3.0)
        case "triangular":
            return 1.0 / math.sqrt(6.0)
        case "arcsine":
            return 1.0 / math.sqrt(2.0)
        case "trapezoidal":
            return math.sqrt((1.0 + shape * shape) / 6.0)
        case "curvilinear-trapezoidal":
            return math.sqrt(1.0 / 3.0 + shape * shape / 9.0)
        case _:
            raise InputError(f"the distribution {distribution!r} is not known.", remedy=f"Known are {', '.join(DISTRIBUTIONS)}.")


def _standard(item: Input) -> Callable[[_Floats], _Floats]:
    """The quantile function of the distribution with estimate 0 and u = 1."""
    relative = _relative_u(item.distribution, item.shape)
    shape, dof = item.shape, item.dof
    match item.distribution:
        case "t" if math.isfinite(dof):
            return lambda p: _t(p, dof)
        case "normal" | "t":
            return special.ndtri  # type: ignore[no-any-return]
        case "rectangular":
            return lambda p: (2.0 * p - 1.0) / relative
        case "triangular":
            return lambda p: _trapezoid(p, 0.0) / relative
        case "trapezoidal":
            return lambda p: _trapezoid(p, shape) / relative
        case "curvilinear-trapezoidal":
            return lambda p: _curvilinear_trapezoid(p, shape) / relative
        case _:
            return lambda p: -np.cos(np.pi * p) / relative


def _trapezoid(p: _Floats, beta: float) -> _Floats:
    """Trapezoid on [−1, 1] with top [−β, β] (JCGM 101, 6.4.4 and 6.4.5)."""
    tail = np.minimum(p, 1.0 - p)
    slope = np.sqrt(2.0 * (1.0 - beta * beta) * tail) - 1.0
    flat = (tail - 0.5) * (1.0 + beta)
    lower = np.where(tail < 0.5 * (1.0 - beta) / (1.0 + beta), slope, flat)
    return np.copysign(lower, p - 0.5)


def _curvilinear_trapezoid(p: _Floats, ratio: float) -> _Floats:
    """Rectangle whose half-width is itself rectangular on [1 − d, 1 + d] (JCGM 101, 6.4.3), d = ratio.

    Beyond z = 1 − d the density is ln((1 + d)/z)/(4d), so the probability above z is (1 + d)/(4d)·(1 − y + y ln y) with
    y = z/(1 + d), which Newton's rule solves for y.
    """
    if ratio == 0.0:
        return 2.0 * p - 1.0
    reach = 1.0 + ratio
    tail = np.minimum(p, 1.0 - p)
    density = np.log(reach / (1.0 - ratio)) / (4.0 * ratio) if ratio < 1.0 else math.inf
    edge = (1.0 - ratio) / reach
    start = reach / (4.0 * ratio) * (1.0 - edge + (edge * math.log(edge) if edge > 0.0 else 0.0))
    z = np.empty_like(tail)
    flat = tail > start
    z[flat] = (0.5 - tail[flat]) / density
    z[~flat] = reach * _solve_tail(4.0 * ratio / reach * tail[~flat])
    return np.copysign(z, p - 0.5)


def _solve_tail(level: _Floats) -> _Floats:
    """Solve 1 − y + y ln y = level for y in (0, 1]; the left side falls and is convex, so Newton from the left is safe."""
    gap = np.sqrt(2.0 * level)
    y = np.clip(1.0 - gap + gap * gap / 6.0, 1e-9, 1.0)
    for _ in range(40):
        slope = np.log(y)
        step = np.divide(1.0 - y + y * slope - level, slope, out=np.zeros_like(y), where=slope != 0.0)
        new = np.clip(y - step, 0.125 * y, 1.0)
        if np.all(np.abs(new - y) <= 4e-16):
            return new
        y = new
    return y


def _t(p: _Floats, dof: float) -> _Floats:
    if p.size < _TABLE_WORTHWHILE or dof < _TABLE_LEAST_DOF:
        return np.asarray(special.stdtrit(dof, p), dtype=np.float64)
    return _interpolated(p, _t_table(dof), lambda far: np.asarray(special.stdtrit(dof, far), dtype=np.float64))


def _interpolated(p: _Floats, table: tuple[_Floats, _Floats, _Floats, _Floats], exact: Callable[[_Floats], _Floats]) -> _Floats:
    """Cubic interpolation in the normal score of p: inverse functions cost a microsecond an element, this a tenth."""
    place = (special.ndtri(p) + _TABLE_END) / _TABLE_STEP
    far = (place < 0.0) | (place >= 2.0 * _TABLE_END / _TABLE_STEP)
    place[far] = 0.0
    index = place.astype(np.intp)
    x = place - index
    c0, c1, c2, c3 = (c[index] for c in table)
    result: _Floats = c0 + x * (c1 + x * (c2 + x * c3))
    if far.any():
        result[far] = exact(p[far])
    return result


@lru_cache(maxsize=64)
def _t_table(dof: float) -> tuple[_Floats, _Floats, _Floats, _Floats]:
    z = _scores()
    t = np.asarray(special.stdtrit(dof, special.ndtr(z[z <= 0.0])), dtype=np.float64)
    t = np.concatenate([t, -t[-2::-1]])
    log_density = (
        special.gammaln(0.5 * (dof + 1.0)) - special.gammaln(0.5 * dof) - 0.5 * math.log(dof * math.pi)
        - 0.5 * (dof + 1.0) * np.log1p(t * t / dof)
    )
    return _hermite(t, np.exp(_log_normal_density(z) - log_density))


@lru_cache(maxsize=64)
def _chi_table(dof: float) -> tuple[_Floats, _Floats, _Floats, _Floats]:
    z = _scores()
    half = 0.5 * dof
    # The two inverses are each exact in their own tail; x is χ²/2.
    x = np.where(z < 0.0, special.gammainccinv(half, special.ndtr(z)), special.gammaincinv(half, special.ndtr(-z)))
    log_density = (half - 1.0) * np.log(x) - x - special.gammaln(half)
    factor = np.sqrt(half / x)
    return _hermite(factor, 0.5 * factor / x * np.exp(_log_normal_density(z) - log_density))


def _scores() -> _Floats:
    nodes = round(2.0 * _TABLE_END / _TABLE_STEP) + 1
    return np.linspace(-_TABLE_END, _TABLE_END, nodes)


def _log_normal_density(z: _Floats) -> _Floats:
    return -0.5 * z * z - 0.5 * math.log(2.0 * math.pi)


def _hermite(value: _Floats, slope: _Floats) -> tuple[_Floats, _Floats, _Floats, _Floats]:
    """Coefficients of the cubics through given values and slopes, one cubic between two neighbouring nodes."""
    rise, left, right = np.diff(value), slope[:-1] * _TABLE_STEP, slope[1:] * _TABLE_STEP
    return value[:-1].copy(), left, 3.0 * rise - 2.0 * left - right, left + right - 2.0 * rise
