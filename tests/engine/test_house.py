"""The arithmetic of house rules against worked numbers and a general-purpose library."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from uncertainties import ufloat

from joulebook.engine.house import BASES, COMPARISONS, STEPS, House, compare, percent_difference, t_prime
from joulebook.uncertainty import Quantity


def joules(value: float, u: float) -> Quantity:
    return Quantity(value, "J", u, math.inf, value - 2 * u, value + 2 * u)


@pytest.mark.parametrize(("of", "percent"), [("top", 10.0), ("average", 9.5), ("bottom", 9.1), ("larger", 9.1)])
def test_ten_per_cent_reads_differently_by_the_house(of: Any, percent: float) -> None:
    # SLIPS.md: 10 % reads 10.0, 9.5 or 9.1, by the denominator.
    assert round(100 * percent_difference(1.1, 1.0, of=of), 1) == percent


def test_the_sign_is_kept_only_where_the_house_says_so() -> None:
    assert percent_difference(1.0, 1.1, of="bottom", signed=True) == pytest.approx(-0.1)
    assert percent_difference(1.0, 1.1, of="bottom") == pytest.approx(0.1)
    assert math.isnan(percent_difference(0.0, 0.0))


def test_t_prime_is_that_of_a_general_library() -> None:
    rng = np.random.default_rng(3)
    for a, b, u, v in rng.uniform([0.2, 0.2, 0.001, 0.001], [0.4, 0.4, 0.02, 0.02], (50, 4)):
        difference = ufloat(a, u) - ufloat(b, v)
        expected = abs(difference.nominal_value) / difference.std_dev
        assert t_prime(joules(a, u), joules(b, v)) == pytest.approx(expected, rel=1e-12)
    assert t_prime(joules(1.0, 0.0), joules(1.0, 0.0)) == 0.0
    assert t_prime(joules(1.0, 0.0), joules(2.0, 0.0)) == math.inf


@pytest.mark.parametrize(
    ("method", "bottom", "top", "answer"),
    [
        ("percent difference", (1.04, 0.01), (1.0, 0.01), "agree"),  # 3.9 % of the average
        ("percent difference", (1.06, 0.01), (1.0, 0.01), "differ"),  # 5.8 %
        ("overlap of intervals", (1.05, 0.01), (1.0, 0.02), "agree"),  # 1.03 to 1.07, 0.96 to 1.04
        ("overlap of intervals", (1.07, 0.01), (1.0, 0.02), "differ"),  # 1.05 to 1.09
        ("percentage uncertainty", (1.05, 0.0105), (1.0, 0.02), "agree"),  # 5 % against 2 % + 4 %
        ("percentage uncertainty", (1.07, 0.0107), (1.0, 0.02), "differ"),  # 7 % against 6 %
        ("t-prime", (1.002, 0.003), (1.0, 0.004), "agree"),  # 0.4
        ("t-prime", (1.01, 0.003), (1.0, 0.004), "unclear"),  # 2
        ("t-prime", (1.02, 0.003), (1.0, 0.004), "differ"),  # 4
        ("model test", (1.02, 0.003), (1.0, 0.004), "unclear"),  # no μ
    ],
)
def test_each_method_answers_by_its_rule(method: Any, bottom: tuple[float, float], top: tuple[float, float], answer: str) -> None:
    found = compare(joules(*bottom), joules(*top), House(comparison=method))
    assert (found.method, found.answer) == (method, answer)


def test_the_model_test_compares_the_loss_with_the_model() -> None:
    # BENCH_FACTS.md: (KE − PE)/PE = μ/tanθ is 5.7 % at 5° for μ = 0.005.
    expected = 0.005 / math.tan(math.radians(5.0))
    assert expected == pytest.approx(0.057, abs=5e-4)
    model = Quantity(expected, "1", 0.006, math.inf, 0.0, 0.0)
    house = House(comparison="model test")
    found = compare(joules(1.057, 0.004), joules(1.0, 0.003), house, model_loss=model)
    assert found.answer == "agree"
    loss = ufloat(1.057, 0.004) / ufloat(1.0, 0.003) - 1
    assert found.number == pytest.approx(abs(loss.n - expected) / math.hypot(loss.s, 0.006), rel=1e-9)
    assert compare(joules(1.12, 0.004), joules(1.0, 0.003), house, model_loss=model).answer == "differ"


def test_the_tables_cover_every_choice() -> None:
    bottom, top = joules(1.1, 0.01), joules(1.0, 0.01)
    for of in BASES:
        assert percent_difference(bottom.value, top.value, of=of) > 0  # type: ignore[arg-type]
    for method in COMPARISONS:
        assert compare(bottom, top, House(comparison=method)).answer in ("agree", "differ", "unclear")  # type: ignore[arg-type]
    assert House().steps == STEPS
