"""One value from several measurements of the same thing: fixed effect, and random effects where they differ more than stated.

In the fixed-effect model all measure one value, x_i ~ N(θ, u_i²). In the random-effects model each measures a value of its own,
θ_i ~ N(θ, τ²): carts are not equal. τ² is estimated by DerSimonian and Laird (Control. Clin. Trials 7 (1986) 177), by a moment in
one step, or by Paule and Mandel (J. Res. NBS 87 (1982) 377), who choose it so that the weighted scatter is what it should be
(R. Kacker, Metrologia 41 (2004) 132, shows them as two members of one family).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy import special

from joulebook.errors import InputError
from joulebook.uncertainty.type_a import weighted_mean

__all__ = ["Pooled", "PoolingModel", "dersimonian_laird", "fixed_effect", "paule_mandel", "pool_by"]

PoolingModel = Literal["fixed", "dersimonian-laird", "paule-mandel"]

_STEPS = 200


@dataclass(frozen=True, slots=True)
class Pooled:
    """Several values taken together.

    model: how. mean: the pooled value. u: its standard uncertainty, 1/√Σw. n: how many values.
    tau2: variance between them beyond their own uncertainties; 0 for a fixed effect.
    q: Cochran's Q = Σ((x − x̄)/u)² about the fixed-effect mean. probability: of a Q as large or larger if all measure one value.
    birge: √(Q/(n − 1)), of R. T. Birge. i2: (Q − (n − 1))/Q, not below 0, the share of the scatter that the stated uncertainties
    do not explain (Higgins and Thompson, Stat. Med. 21 (2002) 1539).
    u_scatter: the standard uncertainty by the weighted scatter itself, √(Σw(x − x̄)²/((n − 1)Σw)) (Hartung and Knapp, Stat.
    Med. 20 (2001) 3875); for a fixed effect it is u·birge.
    low, high: 95 % interval. Fixed effect: normal. Random effects: the larger of u and u_scatter with Student's t of n − 1 degrees
    of freedom, since τ² of a few benches is itself badly known.
    weights: of the values, their sum 1, in the order given.
    """

    model: PoolingModel
    mean: float
    u: float
    n: int
    tau2: float
    q: float
    probability: float
    birge: float
    i2: float
    u_scatter: float
    low: float
    high: float
    weights: tuple[float, ...]


def pool_by(model: PoolingModel, values: npt.ArrayLike, u: npt.ArrayLike) -> Pooled:
    """Return values pooled by a model named in words; raises as the models do."""
    return {"fixed": fixed_effect, "dersimonian-laird": dersimonian_laird, "paule-mandel": paule_mandel}[model](values, u)


def fixed_effect(values: npt.ArrayLike, u: npt.ArrayLike) -> Pooled:
    """Return the mean with weights 1/u².

    values: shape (n,), n ≥ 2. u: independent standard uncertainties, positive, shape (n,).
    Raises InputError when they do not match, are fewer than two, or when a u is not positive.
    """
    return _pooled("fixed", values, u, 0.0)


def dersimonian_laird(values: npt.ArrayLike, u: npt.ArrayLike) -> Pooled:
    """Return the random-effects mean with τ² = max(0, (Q − (n − 1))/(Σw − Σw²/Σw)), w = 1/u². Arguments as of `fixed_effect`."""
    x, s, q = _checked(values, u)
    w = 1.0 / s**2
    surplus = q - (x.size - 1)
    return _pooled("dersimonian-laird", x, s, max(0.0, surplus / float(w.sum() - (w**2).sum() / w.sum())))


def paule_mandel(values: npt.ArrayLike, u: npt.ArrayLike) -> Pooled:
    """Return the random-effects mean with the τ² for which Σ(x − x̄)²/(u² + τ²) = n − 1; 0 where it is smaller at τ² = 0.

    Arguments as of `fixed_effect`. The sum falls with τ² and is convex, so that Newton's steps from 0 approach from below.
    Raises InputError as well where the steps do not come to rest.
    """
    x, s, _ = _checked(values, u)
    tau2 = 0.0
    for _ in range(_STEPS):
        w = 1.0 / (s**2 + tau2)
        square = (x - float(w @ x) / float(w.sum())) ** 2
        surplus = float(w @ square) - (x.size - 1)
        if surplus <= 0.0:
            break
        step = surplus / float(w**2 @ square)
        tau2 += step
        if step <= 1e-14 * tau2:
            break
    else:
        raise InputError(
            f"the variance between {x.size} values did not settle in {_STEPS} steps (last {tau2:g}).",
            remedy="Look for a value or an uncertainty that is out of all proportion.",
        )
    return _pooled("paule-mandel", x, s, tau2)


def _pooled(model: PoolingModel, values: npt.ArrayLike, u: npt.ArrayLike, tau2: float) -> Pooled:
    x, s, q = _checked(values, u)
    n = x.size
    every = weighted_mean(x, np.sqrt(s**2 + tau2))
    factor = 1.959963984540054 if model == "fixed" else float(special.stdtrit(n - 1, 0.975))
    reach = factor * (every.u if model == "fixed" else max(every.u, every.u_scatter))
    weights = 1.0 / (s**2 + tau2)
    return Pooled(
        model, every.mean, every.u, n, tau2, q, float(special.chdtrc(n - 1, q)), math.sqrt(q / (n - 1)),
        max(0.0, (q - (n - 1)) / q) if q > 0.0 else 0.0, every.u_scatter, every.mean - reach, every.mean + reach,
        tuple((weights / weights.sum()).tolist()),
    )  # fmt: skip


def _checked(values: npt.ArrayLike, u: npt.ArrayLike) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], float]:
    q = weighted_mean(values, u).chi_squared  # raises for what cannot be pooled
    return np.asarray(values, dtype=np.float64), np.asarray(u, dtype=np.float64), q
