"""Which bench has changed, and which stands out from the class: the statistics of the kit check.

A change is judged against its combined uncertainty: levels by Student's t with Welch's degrees of freedom (JCGM 100, G.4.1),
scatters by the ratio of their variances (F). One check makes dozens of such comparisons, so that their probabilities are taken
together after Holm (Scand. J. Statist. 6 (1979) 65): in a school where nothing has changed, at most one check in twenty names a
change at all.

The class is judged by ISO 13528: median and MADe, z′ with the uncertainty of the median. With a handful of benches MADe is itself
so uncertain that z′ above 3 is common by chance; a bench stands out only above the limit that the largest |z′| of that many equal
benches stays below, found by drawing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from joulebook.engine.noise import robust_scale
from joulebook.planning.kit_measures import Measure
from joulebook.planning.kit_table import KitMeasure

__all__ = ["LEAST_CLASS", "Standing", "change_probability", "class_limit", "holm", "standings", "z_prime"]

LEAST_CLASS = 5
"""Benches that it takes to say that one stands out: of fewer, half may be the odd ones."""

_DRAWS = 20_000


@dataclass(frozen=True, slots=True)
class Standing:
    """How one measure of a class lies.

    median, made: median and scaled median absolute deviation of the benches' values. u: standard uncertainty of the median,
    1.25·MADe/√p (ISO 13528). benches: p. limit: what the largest |z′| of p equal benches stays below. z: z′ of each, shape (p,).
    logarithmic: median and made are of the logarithms, for a scatter, whose spread goes with its size.
    """

    median: float
    made: float
    u: float
    benches: int
    limit: float
    z: tuple[float, ...]
    logarithmic: bool = False


def change_probability(before: Measure, now: Measure, spec: KitMeasure) -> float:
    """Return how probable a change as large or larger is if nothing has changed, two-sided; NaN when that cannot be said."""
    from scipy import special

    if spec.kind == "scatter":
        if min(before.value, now.value) <= 0.0:
            return math.nan
        ratio = (now.value / before.value) ** 2
        upper = float(special.fdtrc(_finite(now.dof), _finite(before.dof), ratio))
        return min(2.0 * min(upper, 1.0 - upper), 1.0)
    variances = before.u_repeat**2, now.u_repeat**2
    u = math.sqrt(sum(variances))
    if u == 0.0 or (before.n < 2 and before.name == "restitution"):
        return math.nan
    dof = u**4 / sum(variance**2 / _finite(each.dof) for variance, each in zip(variances, (before, now), strict=True))
    return float(2.0 * special.stdtr(dof, -abs(now.value - before.value) / u))


def holm(probabilities: Sequence[float]) -> list[float]:
    """Return the probabilities adjusted for their number (Holm 1979): at most α of all checks have any below α by chance.

    NaN, for what was not compared, stays NaN and does not count.
    """
    adjusted = [math.nan] * len(probabilities)
    order = sorted((i for i, p in enumerate(probabilities) if not math.isnan(p)), key=lambda i: probabilities[i])
    largest = 0.0
    for rank, i in enumerate(order):
        largest = max(largest, min(1.0, (len(order) - rank) * probabilities[i]))
        adjusted[i] = largest
    return adjusted


def standings(measures: Sequence[Measure], spec: KitMeasure, *, alpha: float) -> Standing | None:
    """Return how the benches of a class lie in one measure; None for fewer than LEAST_CLASS of them.

    alpha: how often, at most, a class of equal benches shall have any that stands out in this measure.
    """
    if len(measures) < LEAST_CLASS:
        return None
    logarithmic = spec.kind == "scatter"
    values = np.array([each.value for each in measures])
    own = np.array([each.u for each in measures])
    if logarithmic:
        if values.min() <= 0.0:
            return None
        values, own = np.log(values), own / values
    median = float(np.median(values))
    # Benches cannot be told apart better than they are measured, however well they happen to agree.
    made = max(robust_scale(values), float(np.median(own)))
    u = 1.25 * made / math.sqrt(values.size)
    z = z_prime(values, median, made, u) if made > 0.0 else np.zeros(values.size)
    return Standing(median, made, u, int(values.size), class_limit(int(values.size), alpha), tuple(z.tolist()), logarithmic)


def z_prime(values: npt.NDArray[np.float64], assigned: float, sigma: float, u: float) -> npt.NDArray[np.float64]:
    """Return the scores z′ = (x − x_pt)/√(σ² + u²(x_pt)) of ISO 13528, which allow for the assigned value's own uncertainty.

    values: shape (p,). assigned, sigma, u: the assigned value, the standard deviation for the assessment, and u of the former.
    """
    return np.asarray((values - assigned) / math.hypot(sigma, u), dtype=np.float64)


@lru_cache(maxsize=64)
def class_limit(benches: int, alpha: float) -> float:
    """Return what the largest |z′| among so many equal benches stays below with probability 1 − alpha; never below 3.

    Drawn from 20,000 classes of normal values with a fixed seed, so that a check can be repeated.
    """
    largest = _largest_scores(benches)
    return max(3.0, float(np.quantile(largest, 1.0 - alpha)))


@lru_cache(maxsize=16)
def _largest_scores(benches: int) -> npt.NDArray[np.float64]:
    values = np.random.default_rng(13528).standard_normal((_DRAWS, benches))
    away = np.abs(values - np.median(values, axis=1, keepdims=True))
    made = 1.4826 * np.median(away, axis=1)
    return np.asarray(away.max(axis=1) / (made * math.sqrt(1.0 + 1.25**2 / benches)))


def _finite(dof: float) -> float:
    return min(dof, 1e9)
