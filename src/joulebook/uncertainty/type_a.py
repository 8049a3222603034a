"""Type A evaluation: what repeated readings say (JCGM 100, 4.2, H.2 and H.5)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from joulebook.errors import InputError
from joulebook.uncertainty.quantity import Block

__all__ = [
    "BetweenWithin",
    "Readings",
    "WeightedMean",
    "between_within",
    "mean_of_readings",
    "pooled_standard_deviation",
    "simultaneous_readings",
    "weighted_mean",
]


@dataclass(frozen=True, slots=True)
class Readings:
    """Independent readings of one quantity, summed up.

    mean: their average. sd: standard deviation of one reading (GUM 4.2.2). u: standard uncertainty of the mean, sd/√n (4.2.3).
    n: how many. dof: n − 1.
    """

    mean: float
    sd: float
    u: float
    n: int
    dof: float


@dataclass(frozen=True, slots=True)
class BetweenWithin:
    """Readings in several groups, as on several days or in several launches (GUM H.5).

    mean: average of the group means. sd_means: standard deviation of the group means. sd_within: pooled standard deviation
        of one reading in its group.
    f, f_critical: the ratio n·sd_means²/sd_within² and what it stays below in 95 % of cases if the groups agree.
    probability: of an f as large or larger if the groups agree.
    sd_between: standard deviation between groups beyond what the readings' scatter explains, 0 if f < 1.
    u, dof: standard uncertainty of the mean and its degrees of freedom, from the scatter of the means (H.5.2.4).
    u_pooled, dof_pooled: the same if there is no effect between groups, from all the readings (H.5.2.5).
    differ: f exceeds f_critical, so that only u may be used.
    """

    mean: float
    sd_means: float
    sd_within: float
    f: float
    f_critical: float
    probability: float
    sd_between: float
    u: float
    dof: float
    u_pooled: float
    dof_pooled: float
    differ: bool


@dataclass(frozen=True, slots=True)
class WeightedMean:
    """Values with different uncertainties, averaged with weights 1/u².

    mean: the weighted mean. u: its standard uncertainty if the stated uncertainties are right. birge: √(χ²/(n − 1)) of
        R. T. Birge, Phys. Rev. 40 (1932) 207: above 1 the values scatter more than stated. u_scatter: u·birge.
    chi_squared: Σ((x − mean)/u)². probability: of a χ² as large or larger if the stated uncertainties are right.
    n: how many values.
    """

    mean: float
    u: float
    birge: float
    u_scatter: float
    chi_squared: float
    probability: float
    n: int


def mean_of_readings(readings: npt.ArrayLike) -> Readings:
    """Return mean, standard deviation and standard uncertainty of independent readings.

    readings: shape (n,), n ≥ 2, finite. Sums are taken twice, the second time about the first mean, and without rounding
    (math.fsum), so that a small scatter on a large value keeps its digits.
    Raises InputError for fewer than two readings or one that is not finite.
    """
    x = _finite(readings, "readings", 2)
    n = x.size
    first = math.fsum(x) / n
    deviations = x - first
    slip = math.fsum(deviations) / n
    variance = (math.fsum(deviations * deviations) - n * slip * slip) / (n - 1)
    sd = math.sqrt(max(variance, 0.0))
    return Readings(first + slip, sd, sd / math.sqrt(n), n, float(n - 1))


def pooled_standard_deviation(sds: npt.ArrayLike, sizes: npt.ArrayLike) -> tuple[float, float]:
    """Return the standard deviation of one reading from several sets, and its degrees of freedom (GUM H.3.6, note, and 4.2.4).

    sds: standard deviation of each set, shape (j,). sizes: readings in each set, shape (j,), each at least 2.
    Raises InputError for sets that do not match, a negative standard deviation or a set of fewer than two readings.
    """
    s = _finite(sds, "standard deviations", 1)
    n = _finite(sizes, "numbers of readings", 1)
    if s.size != n.size:
        raise InputError(f"{s.size} standard deviations go with {n.size} numbers of readings.", remedy="Give a pair a set.")
    if s.min() < 0.0 or n.min() < 2.0:
        raise InputError(
            f"the smallest standard deviation is {s.min():g} and the smallest set has {n.min():g} readings.",
            remedy="A set needs at least two readings, and its standard deviation cannot be negative.",
        )
    weights = n - 1.0
    dof = float(weights.sum())
    return math.sqrt(float(weights @ (s * s)) / dof), dof


def between_within(means: npt.ArrayLike, sds: npt.ArrayLike, n: int) -> BetweenWithin:
    """Return the analysis of variance of group means (GUM H.5).

    means: mean of each group, shape (j,), j ≥ 2. sds: standard deviation of one reading in each group, shape (j,).
    n: readings in each group, at least 2.
    Raises InputError for groups that do not match or are too few.
    """
    groups = mean_of_readings(_finite(means, "group means", 2))
    scatter = _finite(sds, "standard deviations", 1)
    if scatter.size != groups.n:
        raise InputError(f"{groups.n} group means go with {scatter.size} standard deviations.", remedy="Give one for each group.")
    within, dof_within = pooled_standard_deviation(scatter, np.full(groups.n, n))
    total = groups.n * n
    among = n * groups.sd**2
    f = among / within**2 if within > 0.0 else (math.inf if among > 0.0 else 1.0)
    critical = float(special.fdtri(groups.dof, dof_within, 0.95))
    dof_pooled = groups.dof + dof_within
    pooled = math.sqrt((groups.dof * among + dof_within * within**2) / (dof_pooled * total))
    return BetweenWithin(
        mean=groups.mean,
        sd_means=groups.sd,
        sd_within=within,
        f=f,
        f_critical=critical,
        probability=float(special.fdtrc(groups.dof, dof_within, f)) if math.isfinite(f) else 0.0,
        sd_between=math.sqrt(max(among - within**2, 0.0) / n),
        u=groups.u,
        dof=groups.dof,
        u_pooled=pooled,
        dof_pooled=dof_pooled,
        differ=f > critical,
    )


def simultaneous_readings(names: Sequence[str], readings: npt.ArrayLike, *, label: str = "simultaneous readings") -> Block:
    """Return the means of quantities that were read together, with the covariance of the means (GUM 5.2.3 and H.2).

    names: p names. readings: shape (p, n), a row each, n ≥ 2. label: what a budget calls them. The block's dof is n − 1.
    Raises InputError when names and rows do not match, for fewer than two readings or one that is not finite.
    """
    table = np.asarray(readings, dtype=np.float64)
    if table.ndim != 2 or table.shape[0] != len(names):
        raise InputError(
            f"{len(names)} names go with readings of shape {table.shape}.", remedy="Give a row of readings for each name."
        )
    n = table.shape[1]
    means = np.array([mean_of_readings(row).mean for row in table])
    deviations = table - means[:, None]
    return Block(tuple(names), means, deviations @ deviations.T / (n * (n - 1)), dof=float(n - 1), label=label)


def weighted_mean(values: npt.ArrayLike, u: npt.ArrayLike) -> WeightedMean:
    """Return the mean of values with weights 1/u², and whether they scatter as their uncertainties say.

    values: shape (n,), n ≥ 2. u: standard uncertainties, independent, positive, shape (n,).
    Raises InputError when they do not match, are fewer than two, or when a u is not positive.
    """
    x = _finite(values, "values", 2)
    s = _finite(u, "uncertainties", 2)
    if x.size != s.size or s.min() <= 0.0:
        raise InputError(
            f"{x.size} values go with {s.size} uncertainties, the smallest of which is {s.min():g}.",
            remedy="Give a positive uncertainty for each value.",
        )
    weights = 1.0 / s**2
    middle = float(x.mean())
    mean = middle + math.fsum(weights * (x - middle)) / math.fsum(weights)
    internal = 1.0 / math.sqrt(math.fsum(weights))
    chi_squared = math.fsum(((x - mean) / s) ** 2)
    birge = math.sqrt(chi_squared / (x.size - 1))
    probability = float(special.chdtrc(x.size - 1, chi_squared))
    return WeightedMean(mean, internal, birge, internal * birge, chi_squared, probability, x.size)


def _finite(numbers: npt.ArrayLike, what: str, least: int) -> npt.NDArray[np.float64]:
    array = np.asarray(numbers, dtype=np.float64)
    if array.ndim != 1 or array.size < least:
        raise InputError(f"{array.size} {what} are too few.", remedy=f"Give a list of at least {least}.")
    bad = array.size - int(np.isfinite(array).sum())
    if bad:
        raise InputError(f"{bad} of {array.size} {what} are not finite.", remedy="Leave out what was not measured.")
    return array
