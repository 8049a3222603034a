"""How an audit compares with the truth: pulls, coverage, and limits for both from the binomial distribution.

A pull is (value − truth)/u. Quantities of one bench are not independent of each other, benches are; limits on a share
over all quantities therefore count benches, and hold however the quantities depend on each other.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from joulebook.engine.report import Audit
from joulebook.uncertainty import Quantity

__all__ = [
    "QUANTITIES",
    "Outcome",
    "QuantityScore",
    "compare",
    "coverage_limits",
    "false_alarm_limit",
    "score",
    "shared_coverage_limits",
    "wilson_interval",
]

QUANTITIES = (
    "release_time", "release_speed", "apex_time", "travel", "height", "climb_acceleration", "descent_acceleration",
    "slope_from_motion", "rolling_resistance", "kinetic_energy", "rotational_energy", "potential_energy", "rolling_loss",
    "drag_loss", "difference", "relative_difference", "unaccounted", "restitution_1", "restitution_2",
)
"""The quantities of DESIGN §3; of the restitutions, those of the first two bounces."""

_ZERO_TRUTH = ("unaccounted",)
"""Quantities whose truth is zero: a relative error means nothing there."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of auditing one simulated bench.

    seed: of the generator that made the bench. region: where in the operating region it lies, by name.
    pulls, covered, relative_error: by quantity; a quantity that the audit did not give, or that has no uncertainty, is missing.
    findings: (code, severity) of each. failure: "" or the error that the audit ended with.
    extra: further numbers, such as the error over the Cramér–Rao bound.
    """

    seed: int
    region: Mapping[str, float | str] = field(default_factory=dict)
    pulls: Mapping[str, float] = field(default_factory=dict)
    covered: Mapping[str, bool] = field(default_factory=dict)
    relative_error: Mapping[str, float] = field(default_factory=dict)
    findings: tuple[tuple[str, str], ...] = ()
    failure: str = ""
    extra: Mapping[str, Any] = field(default_factory=dict)

    @property
    def alarms(self) -> tuple[str, ...]:
        """The codes of severity stop or look, each once."""
        return tuple(sorted({code for code, severity in self.findings if severity in ("stop", "look")}))

    def to_dict(self) -> dict[str, Any]:
        """Return plain JSON types, numbers rounded to what a table can show: {"q": [pull, covered, relative error]}."""
        scores = {
            name: [round(pull, 3), int(self.covered[name]), _short(self.relative_error.get(name))]
            for name, pull in self.pulls.items()
        }
        findings = [list(pair) for pair in self.findings]
        plain: dict[str, Any] = {"seed": self.seed, "region": dict(self.region), "scores": scores, "findings": findings}
        return plain | ({"failure": self.failure} if self.failure else {}) | ({"extra": dict(self.extra)} if self.extra else {})

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> Outcome:
        """Return the outcome that `to_dict` wrote."""
        scores = plain["scores"]
        return cls(
            plain["seed"],
            plain["region"],
            {name: each[0] for name, each in scores.items()},
            {name: bool(each[1]) for name, each in scores.items()},
            {name: each[2] for name, each in scores.items() if each[2] is not None},
            tuple((code, severity) for code, severity in plain["findings"]),
            plain.get("failure", ""),
            plain.get("extra", {}),
        )


@dataclass(frozen=True, slots=True)
class QuantityScore:
    """One quantity over many benches.

    n: benches that gave it. coverage: share of the stated 95 % intervals that hold the truth. error: its binomial standard error.
    pull_mean, pull_sd: of the pulls. relative_error: median of |value − truth|/|truth|, NaN where the truth is zero.
    """

    name: str
    n: int
    coverage: float
    error: float
    pull_mean: float
    pull_sd: float
    relative_error: float


def compare(audit: Audit, truth: Mapping[str, float]) -> dict[str, Any]:
    """Return pulls, covered and relative_error by quantity, and the findings, as an Outcome takes them.

    truth: by the audit's names, restitutions as "restitution_1" and so on. Quantities of no uncertainty are left out.
    """
    pulls: dict[str, float] = {}
    covered: dict[str, bool] = {}
    relative: dict[str, float] = {}
    for name, quantity in _flat(audit).items():
        if name not in truth or not math.isfinite(truth[name]) or quantity.u == 0.0:
            continue
        error = quantity.value - truth[name]
        pulls[name] = error / quantity.u
        covered[name] = quantity.low <= truth[name] <= quantity.high
        if name not in _ZERO_TRUTH and truth[name] != 0.0:
            relative[name] = abs(error / truth[name])
    findings = tuple((finding.code, finding.severity) for finding in audit.findings)
    return {"pulls": pulls, "covered": covered, "relative_error": relative, "findings": findings}


def score(outcomes: Sequence[Outcome], name: str) -> QuantityScore:
    """Return how one quantity did over all outcomes that hold it; NaN throughout when none does."""
    those = [each for each in outcomes if name in each.pulls]
    n = len(those)
    if n == 0:
        return QuantityScore(name, 0, math.nan, math.nan, math.nan, math.nan, math.nan)
    pulls = np.array([each.pulls[name] for each in those])
    coverage = sum(each.covered[name] for each in those) / n
    relative = [each.relative_error[name] for each in those if name in each.relative_error]
    return QuantityScore(
        name, n, coverage, math.sqrt(coverage * (1.0 - coverage) / n), float(pulls.mean()),
        float(pulls.std(ddof=1)) if n > 1 else math.nan, float(np.median(relative)) if relative else math.nan,
    )


def coverage_limits(n: int, *, low: float = 0.92, high: float = 0.98, risk: float = 1e-4) -> tuple[int, int]:
    """Return the fewest and the most covered of n benches that a coverage between `low` and `high` allows.

    risk: the chance, at each side, that a coverage at its end of the band falls outside all the same (binomial distribution).
    """
    from scipy.stats import binom

    return int(binom.ppf(risk, n, low)), int(binom.isf(risk, n, high))


def shared_coverage_limits(n: int, *, low: float = 0.92, high: float = 0.98, risk: float = 1e-4) -> tuple[float, float]:
    """Return limits for the mean over n benches of the share of a bench's quantities that are covered.

    The share of a bench lies in [0, 1], whatever depends on what, so the Chernoff–Hoeffding bound exp(−n·KL(x, p)) for the
    mean of n independent ones holds (W. Hoeffding, J. Am. Stat. Assoc. 58 (1963) 13, theorem 1).
    """
    rate = -math.log(risk) / n
    shares = np.linspace(1e-6, 1.0 - 1e-6, 20001)

    def distance(p: float) -> np.ndarray[Any, np.dtype[np.float64]]:
        return np.asarray(shares * np.log(shares / p) + (1.0 - shares) * np.log((1.0 - shares) / (1.0 - p)))

    below = shares[(shares < low) & (distance(low) >= rate)]
    above = shares[(shares > high) & (distance(high) >= rate)]
    return float(below.max()) if below.size else 0.0, float(above.min()) if above.size else 1.0


def wilson_interval(count: int, n: int, *, confidence: float = 0.95) -> tuple[float, float]:
    """Return the score interval for a share of which `count` of n were seen (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209).

    Raises ValueError for n = 0, or a count outside 0 to n.
    """
    from statistics import NormalDist

    if n < 1 or not 0 <= count <= n:
        raise ValueError(f"{count} of {n} is not a share: give a count from 0 to n, and n of 1 or more")
    z = NormalDist().inv_cdf(0.5 + 0.5 * confidence)
    share, weight = count / n, z * z / n
    middle = (share + 0.5 * weight) / (1.0 + weight)
    half = math.sqrt(share * (1.0 - share) * weight + 0.25 * weight * weight) / (1.0 + weight)
    return max(middle - half, 0.0), min(middle + half, 1.0)


def false_alarm_limit(n: int, *, rate: float = 0.02, risk: float = 1e-4) -> int:
    """Return the most false alarms in n clean benches that a true rate allows, but for this risk (binomial distribution)."""
    from scipy.stats import binom

    return int(binom.isf(risk, n, rate))


def _short(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.3g}")


def _flat(audit: Audit) -> dict[str, Quantity]:
    flat: dict[str, Quantity] = {}
    for name, item in audit.quantities.items():
        if isinstance(item, Quantity):
            flat[name] = item
        else:
            flat |= {f"{name}_{number}": each for number, each in enumerate(item, start=1)}
    return flat
