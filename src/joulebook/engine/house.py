"""House rules: what one teacher or school has decided for every bench and every sheet, and the arithmetic of those decisions.

The file that holds them is `house.toml` (docs/house.md). A rule is a choice, never a truth: a percent difference with another
denominator is another house, not a mistake.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from joulebook.uncertainty import Input, Quantity

__all__ = [
    "BASES",
    "COMPARISONS",
    "DEFAULT_HOUSE",
    "STEPS",
    "Basis",
    "Comparison",
    "ComparisonMethod",
    "House",
    "compare",
    "percent_difference",
    "t_prime",
]

Basis = Literal["average", "bottom", "top", "larger"]
ComparisonMethod = Literal["percent difference", "overlap of intervals", "percentage uncertainty", "t-prime", "model test"]

BASES: Mapping[str, str] = MappingProxyType(
    {
        "average": "the average of the two energies",
        "bottom": "the energy at the bottom",
        "top": "the energy at the top",
        "larger": "the larger of the two energies",
    }
)
"""By what a percent difference is divided, in plain words."""

COMPARISONS: Mapping[str, str] = MappingProxyType(
    {
        "percent difference": "How far apart are the two energies, in percent?",
        "overlap of intervals": "Do the two intervals share a stretch of the line?",
        "percentage uncertainty": "Is the percentage difference larger than the combined percentage uncertainty?",
        "t-prime": "How many of their joint standard uncertainties lie between the two energies?",
        "model test": "Is the loss the one that rolling resistance makes on this slope?",
    }
)
"""The ways to compare two energies, each as the question that it answers."""

STEPS: tuple[str, ...] = (
    "predict", "readings", "uncertainty", "calculation", "comparison", "claim", "losses", "improve",
)  # fmt: skip
"""The steps of the student worksheet, in their order."""

# From memory: below 1 two values cannot be told apart, above 3 they differ; between, the measurement should be improved.
_CLOSE, _APART = 1.0, 3.0


@dataclass(frozen=True, slots=True)
class House:
    """The rules of one house.

    title: stands at the head of every sheet, such as "Physics, second period"; "" for none.
    gravity: the acceleration of free fall that the class uses, m/s²; None leaves it to each bench file or the documented default.
    tolerance: the relative expanded uncertainty up to which "no difference seen" may be called conserved, and the limit of a
        percent difference; between 0 and 1.
    comparison: how students compare their two energies, one of COMPARISONS.
    percent_of: by what a percent difference is divided, one of BASES.
    signed: whether a percent difference keeps its sign (bottom less top); False: it is never negative.
    uncertainty_digits: significant digits of an uncertainty that students and the answer sheet write, 1 or 2 (GUM 7.2.6).
    decimal: the decimal sign of everything that is printed or shown, "." or ",".
    paper: "a4" or "us-letter". large_print: whether sheets are set in large print unless asked otherwise.
    minutes: length of the period. launches: how many launches each bench makes.
    steps: the steps of the worksheet that students see, of STEPS, in that order.
    formulas: whether the worksheet prints the formulas, or leaves them to be recalled.
    local_rules: the safety rules of the place, a line each; empty leaves a box to write them in.
    source: the file that they were read from, "" for rules made in memory.
    """

    title: str = ""
    gravity: Input | None = None
    tolerance: float = 0.05
    comparison: ComparisonMethod = "percent difference"
    percent_of: Basis = "average"
    signed: bool = False
    uncertainty_digits: Literal[1, 2] = 1
    decimal: Literal[".", ","] = "."
    paper: Literal["a4", "us-letter"] = "a4"
    large_print: bool = False
    minutes: int = 45
    launches: int = 3
    steps: tuple[str, ...] = STEPS
    formulas: bool = True
    local_rules: tuple[str, ...] = ()
    source: str = ""


DEFAULT_HOUSE = House()


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two energies compared by the rule of a house.

    method: the rule. number: its number as a fraction (percent difference, percentage difference) or as a pure number (t-prime);
        NaN for an overlap, which has none. limit: what the number is held against; NaN where there is none.
    answer: "agree", "differ" or "unclear".
    """

    method: ComparisonMethod
    number: float
    limit: float
    answer: Literal["agree", "differ", "unclear"]


def percent_difference(bottom: float, top: float, *, of: Basis = "average", signed: bool = False) -> float:
    """Return (bottom − top)/basis as a fraction; without its sign unless `signed`.

    bottom, top: the energies at release and at the highest point, J. of: the basis, one of BASES.
    NaN where the basis is zero. 11 J and 10 J are 9.5 % apart of their average, 9.1 % of the bottom, 10 % of the top.
    """
    basis = {"average": 0.5 * (bottom + top), "bottom": bottom, "top": top, "larger": max(bottom, top)}[of]
    if basis == 0.0:
        return math.nan
    difference = (bottom - top) / abs(basis)
    return difference if signed else abs(difference)


def t_prime(bottom: Quantity, top: Quantity) -> float:
    """Return |A − B|/√(u_A² + u_B²), the two taken as independent, as a student would; infinite where neither is uncertain."""
    gap, both = abs(bottom.value - top.value), math.hypot(bottom.u, top.u)
    return gap / both if both > 0.0 else (math.inf if gap > 0.0 else 0.0)


def compare(bottom: Quantity, top: Quantity, house: House, *, model_loss: Quantity | None = None) -> Comparison:
    """Compare two energies by the house's rule, with a student's arithmetic: A and B independent, intervals A ± 2u.

    bottom, top: energies at release and at the highest point, J.
    model_loss: the loss expected of rolling resistance, as a fraction of the energy at the top: μ/tanθ; for the model test alone.
    The rules, with A at the bottom, B at the top, A > 0 and B > 0:
    percent difference: agree when it is at most the tolerance.
    overlap of intervals: agree when A ± 2u_A and B ± 2u_B share a point.
    percentage uncertainty: agree when |A − B|/B is at most 2u_A/A + 2u_B/B (percentages added, as many syllabuses have it).
    t-prime: below 1 agree, above 3 differ, between unclear (limits from memory).
    model test: t' of (A − B)/B against μ/tanθ, the same limits; unclear without μ.
    """
    a, b = bottom.value, top.value
    if house.comparison == "percent difference":
        number = percent_difference(a, b, of=house.percent_of, signed=house.signed)
        return Comparison(house.comparison, number, house.tolerance, _within(abs(number), house.tolerance))
    if house.comparison == "overlap of intervals":
        gap = abs(a - b) - 2.0 * (bottom.u + top.u)
        return Comparison(house.comparison, math.nan, math.nan, "agree" if gap <= 0.0 else "differ")
    if house.comparison == "percentage uncertainty":
        number = abs(a - b) / abs(b) if b else math.nan
        limit = 2.0 * bottom.u / abs(a) + 2.0 * top.u / abs(b) if a and b else math.nan
        return Comparison(house.comparison, number, limit, _within(number, limit))
    if house.comparison == "t-prime":
        number = t_prime(bottom, top)
        return Comparison(house.comparison, number, _APART, _by_t(number))
    if model_loss is None or b == 0.0:
        return Comparison(house.comparison, math.nan, _APART, "unclear")
    loss = (a - b) / b
    # (A − B)/B = A/B − 1: u² = (u_A/B)² + (A u_B/B²)² (GUM 5.1.2).
    number = t_prime(Quantity(loss, "1", math.hypot(bottom.u / b, a * top.u / b**2), math.inf, 0.0, 0.0), model_loss)
    return Comparison(house.comparison, number, _APART, _by_t(number))


def _within(number: float, limit: float) -> Literal["agree", "differ", "unclear"]:
    if math.isnan(number) or math.isnan(limit):
        return "unclear"
    return "agree" if number <= limit else "differ"


def _by_t(number: float) -> Literal["agree", "differ", "unclear"]:
    return "agree" if number < _CLOSE else "differ" if number > _APART else "unclear"
