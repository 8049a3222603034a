"""Whether linear propagation may be trusted: its intervals against those of Monte Carlo (JCGM 101, clause 8)."""

from __future__ import annotations

import math
from dataclasses import dataclass

from joulebook.errors import InputError
from joulebook.uncertainty.monte_carlo import MonteCarlo
from joulebook.uncertainty.propagate import Propagation

__all__ = ["Validation", "numerical_tolerance", "validate"]


@dataclass(frozen=True, slots=True)
class Validation:
    """The comparison for one output, all numbers in its unit.

    validated: both ends agree within delta, so the linear interval may stand. d_low, d_high: distances of the ends.
    delta: half a unit of the last significant digit of u.
    """

    output: str
    validated: bool
    d_low: float
    d_high: float
    delta: float


def validate(propagation: Propagation, monte_carlo: MonteCarlo, *, digits: int = 2) -> dict[str, Validation]:
    """Return, for each output, whether the linear coverage interval agrees with that of Monte Carlo.

    digits: significant digits of the standard uncertainty that are regarded as meaningful. The Monte Carlo one sets delta, since
        the linear one is 0 where all sensitivities vanish.
    The Monte Carlo ends should themselves be good to delta/5 (clause 8.2): ask `adaptive_monte_carlo` for that, or draw enough.
    Raises InputError when the two do not hold the same outputs and coverage.
    """
    if propagation.outputs != monte_carlo.outputs or propagation.coverage != monte_carlo.coverage:
        raise InputError(
            f"the linear result ({len(propagation.outputs)} outputs, coverage {propagation.coverage:g}) and the Monte Carlo "
            f"result ({len(monte_carlo.outputs)} outputs, coverage {monte_carlo.coverage:g}) are not of the same kind.",
            remedy="Make both from the same model with the same coverage.",
        )
    result = {}
    columns = (propagation.low, monte_carlo.low, propagation.high, monte_carlo.high, monte_carlo.u)
    for name, low, mc_low, high, mc_high, u in zip(propagation.outputs, *(each.tolist() for each in columns), strict=True):
        delta = numerical_tolerance(u, digits=digits)
        d_low, d_high = abs(low - mc_low), abs(high - mc_high)
        result[name] = Validation(name, max(d_low, d_high) <= delta, d_low, d_high, delta)
    return result


def numerical_tolerance(u: float, *, digits: int = 2) -> float:
    """Return half a unit of the last of `digits` significant digits of u (JCGM 101, 7.9.2); 0 for u = 0.

    Raises InputError for a u that is negative or not finite, or for fewer than one digit.
    """
    if not (math.isfinite(u) and u >= 0.0 and digits >= 1):
        raise InputError(f"u = {u:g} with {digits} digits has no numerical tolerance.", remedy="Give a finite u and digits ≥ 1.")
    if u == 0.0:
        return 0.0
    # As it is written: 0.0996 with two digits is 0.10.
    exponent = int(f"{u:.{digits - 1}e}".partition("e")[2])
    return 0.5 * 10.0 ** (exponent - digits + 1)
