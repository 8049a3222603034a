"""A mean and a spread that a few wild values hardly move, and how far a value lies from another (ISO 13528:2022)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from joulebook.errors import InputError

__all__ = ["RobustMean", "algorithm_a", "median", "zeta"]

_CLIP = 1.5
_FACTOR = 1.134  # as the standard prints it: makes s* the standard deviation of normal values clipped at 1.5 s*
_STEPS = 1000


@dataclass(frozen=True, slots=True)
class RobustMean:
    """Robust mean and standard deviation of several values.

    mean: x*. sd: s*, of one value. u: standard uncertainty of the mean, 1.25·s*/√n (ISO 13528, 7.7.3). n: how many values.
    """

    mean: float
    sd: float
    u: float
    n: int


def median(values: npt.NDArray[np.float64]) -> float:
    """Return the median of finite values, shape (n,), NaN of none; np.median takes ten times as long for a hundred of them."""
    middle = values.size // 2
    if not values.size:
        return math.nan
    if values.size % 2:
        return float(np.partition(values, middle)[middle])
    pair = np.partition(values, (middle - 1, middle))
    return 0.5 * float(pair[middle - 1] + pair[middle])


def algorithm_a(values: npt.ArrayLike) -> RobustMean:
    """Return the robust mean and standard deviation by Algorithm A (ISO 13528, C.3.1), iterated until they no longer change.

    values: shape (n,), n ≥ 2, finite. They begin as median and scaled median absolute deviation; where more than half of the
    values are equal, that is 0 and the standard deviation of all takes its place.
    Raises InputError for fewer than two values or one that is not finite.
    """
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or x.size < 2 or not np.isfinite(x).all():
        raise InputError(
            f"{x.size} values, {int((~np.isfinite(x)).sum())} of them not finite, have no robust mean.",
            remedy="Give a list of at least two finite values.",
        )
    mean = float(np.median(x))
    sd = 1.483 * float(np.median(np.abs(x - mean))) or float(x.std(ddof=1))
    # A class is a dozen values, for which plain numbers are ten times as fast as arrays.
    plain, n = x.tolist(), x.size
    for _ in range(_STEPS):
        low, high = mean - _CLIP * sd, mean + _CLIP * sd
        clipped = [low if each < low else high if each > high else each for each in plain]
        before = mean, sd
        mean = math.fsum(clipped) / n
        sd = _FACTOR * math.sqrt(math.fsum((each - mean) ** 2 for each in clipped) / (n - 1))
        if max(abs(mean - before[0]), abs(sd - before[1])) <= 1e-12 * max(sd, 1e-300):
            break
    return RobustMean(mean, sd, 1.25 * sd / math.sqrt(x.size), x.size)


def zeta(value: float, u: float, reference: float, u_reference: float) -> float:
    """Return the zeta score (x − x_pt)/√(u²(x) + u²(x_pt)) (ISO 13528, 9.6); x and x_pt must be independent.

    Raises InputError where neither has an uncertainty.
    """
    both = math.hypot(u, u_reference)
    if not both > 0.0:
        raise InputError("Two values without uncertainty have no zeta score.", remedy="Give at least one of them its u.")
    return (value - reference) / both
