"""What the benches say together, and which of them lies away from the others.

Pooling takes each bench's own uncertainty as weight; what all benches share (wheels from one box, the air's temperature, g) is added
to the pooled value afterwards, since it does not average out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from joulebook.classroom.class_results import BenchResult, Result, covariance
from joulebook.errors import FitError
from joulebook.uncertainty.pooling import Pooled, dersimonian_laird, fixed_effect, paule_mandel
from joulebook.uncertainty.robust import RobustMean, algorithm_a, zeta
from joulebook.uncertainty.straight_line import StraightLine, fit_straight_line

__all__ = ["LEAST_TO_JUDGE", "POOLED", "ClassValue", "FarOff", "LossLine", "far_off", "loss_line", "pool_class"]

LEAST_TO_JUDGE = 5
"""Benches that it takes to say that one lies away from the others: of fewer, half may be the odd ones."""

# What is pooled, and whether all benches should find one and the same value, or each has a value of its own.
POOLED: dict[str, bool] = {
    "unaccounted": True,
    "slope_gap": True,
    "rolling_resistance": False,
    "relative_difference": False,
    "restitution": False,
}
# The gap of the slopes says the same as what is unaccounted for, and the loss depends on the slope that a bench was given.
_JUDGED = ("unaccounted", "rolling_resistance", "restitution")
_CHANCE = 0.05
_LEAST_SCORE = 3.0
_NORMAL = 1.959963984540054


@dataclass(frozen=True, slots=True)
class ClassValue:
    """One quantity of the class.

    name: which. alike: whether all benches should find the same value. n: benches that have it.
    fixed, dersimonian_laird, paule_mandel: the three ways to pool; robust: the mean that a few wild values hardly move.
    u_shared: standard uncertainty that all benches share. u: of the Paule–Mandel mean, the shared part included.
    low, high: its 95 % interval, likewise.
    """

    name: str
    alike: bool
    n: int
    fixed: Pooled
    dersimonian_laird: Pooled
    paule_mandel: Pooled
    robust: RobustMean
    u_shared: float
    u: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class FarOff:
    """A bench that lies away from the others in one quantity.

    value, u: its own. others, u_others: the robust mean of all but it (Algorithm A), and its u. spread: how much the others differ
    among themselves, which counts where each bench has a value of its own, else 0. score: (value − others) over
    √(u² + u_others² + spread²): ISO 13528's zeta where spread is 0. probability: of a score as large or larger by chance.
    influence: the largest on the bench's value, which is what to look at first.
    """

    code: str
    title: str
    name: str
    value: float
    u: float
    others: float
    u_others: float
    spread: float
    score: float
    probability: float
    influence: str


@dataclass(frozen=True, slots=True)
class LossLine:
    """The straight line through loss against μ/tanθ. line: of the benches' own uncertainties. u_intercept, u_slope: with the
    shared ones. low, high: 95 % interval of the slope; 1 means that rolling is the whole loss."""

    line: StraightLine
    u_intercept: float
    u_slope: float
    low: float
    high: float


def pool_class(benches: Sequence[BenchResult], name: str, *, shared: Sequence[str] = ()) -> ClassValue | None:
    """Return one quantity of POOLED over the class; None when fewer than two benches have it.

    shared: influences that all benches share.
    """
    found = _found(benches, name)
    if len(found) < 2:
        return None
    values = [result.value for _, result in found]
    own = [result.own_u(shared) for _, result in found]
    mandel = paule_mandel(values, own)
    weighted = list(zip(mandel.weights, (result for _, result in found), strict=True))
    together = math.sqrt(sum(sum(w * each.parts.get(part, 0.0) for w, each in weighted) ** 2 for part in shared))
    half = math.hypot(mandel.high - mandel.mean, _NORMAL * together)
    return ClassValue(
        name, POOLED[name], len(found), fixed_effect(values, own), dersimonian_laird(values, own), mandel, algorithm_a(values),
        together, math.hypot(max(mandel.u, mandel.u_scatter), together), mandel.mean - half, mandel.mean + half,
    )  # fmt: skip


def far_off(benches: Sequence[BenchResult], *, shared: Sequence[str] = ()) -> list[FarOff]:
    """Return the benches that lie away from the others, the farthest first.

    Each is compared with the robust mean of the others alone, so that it does not hide itself. It is named when its score is at least
    3 and so many comparisons among equal benches would name any of them in at most one class in twenty (Šidák's limit).
    """
    compared = []
    for name in _JUDGED:
        found = _found(benches, name)
        if len(found) >= LEAST_TO_JUDGE:
            compared += [_compare(found, place, name, shared) for place in range(len(found))]
    limit = 1.0 - (1.0 - _CHANCE) ** (1.0 / max(len(compared), 1))
    named = [each for each in compared if abs(each.score) >= _LEAST_SCORE and each.probability < limit]
    return sorted(named, key=lambda each: each.probability)


def loss_line(benches: Sequence[BenchResult], *, shared: Sequence[str] = ()) -> LossLine | None:
    """Return the line through loss against μ/tanθ (York 2004); None for fewer than four benches or where there is none."""
    from scipy import special

    used = [each for each in benches if each.grip is not None]
    if len(used) < 4:
        return None
    grips, losses = [each.grip for each in used if each.grip is not None], [each.loss for each in used]
    u_x, u_y = [each.own_u(shared) for each in grips], [each.own_u(shared) for each in losses]
    r = [
        min(max(covariance(each, without=shared) / (a * b), -0.999), 0.999) for each, a, b in zip(used, u_x, u_y, strict=True)
    ]

    def fit(part: str = "") -> StraightLine:
        x, y = ([each.value + (each.parts.get(part, 0.0) if part else 0.0) for each in column] for column in (grips, losses))
        return fit_straight_line(x, y, u_x, u_y, r)

    try:
        line = fit()
        # An influence that all benches share moves all points at once: the line is fitted again to where they would go.
        moved = [fit(part) for part in shared]
    except FitError:
        return None
    birge = max(1.0, math.sqrt(line.chi_squared / line.dof))
    u_intercept = math.hypot(birge * line.u_intercept, *(each.intercept - line.intercept for each in moved))
    u_slope = math.hypot(birge * line.u_slope, *(each.slope - line.slope for each in moved))
    reach = u_slope * float(special.stdtrit(line.dof, 0.975) if birge > 1.0 else _NORMAL)
    return LossLine(line, u_intercept, u_slope, line.slope - reach, line.slope + reach)


def _found(benches: Sequence[BenchResult], name: str) -> list[tuple[BenchResult, Result]]:
    return [(bench, result) for bench in benches if (result := bench.get(name)) is not None]


def _compare(found: list[tuple[BenchResult, Result]], place: int, name: str, shared: Sequence[str]) -> FarOff:
    from scipy import special

    bench, result = found[place]
    others = algorithm_a([each.value for index, (_, each) in enumerate(found) if index != place])
    u = result.own_u(shared)
    spread = 0.0 if POOLED[name] else others.sd
    score = zeta(result.value, math.hypot(u, spread), others.mean, others.u)
    # Welch and Satterthwaite (GUM G.4.1): the part that comes from so few benches has few degrees of freedom.
    made = others.u**2 + spread**2
    dof = (u**2 + made) ** 2 / (u**4 / min(result.dof, 1e9) + made**2 / (others.n - 1))
    own = {part: size for part, size in result.parts.items() if part not in shared}
    return FarOff(
        bench.code, bench.title, name, result.value, u, others.mean, others.u, spread, score,
        float(2.0 * special.stdtr(dof, -abs(score))), max(own, key=lambda part: abs(own[part])) if own else "",
    )  # fmt: skip
