"""Arithmetic as written on paper, beside Python's own."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from joulebook.render.arithmetic import evaluate, figure


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("½ × 0.2513 × 0.99599²", 0.5 * 0.2513 * 0.99599**2),
        ("1 − 2 − 3", -4.0),
        ("8 / 4 / 2", 1.0),
        ("2 + 3 × 4", 14.0),
        ("(2 + 3) × 4", 20.0),
        ("−2²", -4.0),
        ("(−2)²", 4.0),
        ("6.5 × 10⁻³", 0.0065),
        ("|0.5 − 2| × 2", 3.0),
        ("√(9 + 16)", 5.0),
        ("sin(30°)", 0.5),
        ("cos(60°)", 0.5),
        ("arcsin(0.5)", 30.0),
        ("exp(1)", math.e),
        ("12,4 × 10²", 1240.0),
        ("90 × π / 180", math.pi / 2),
        ("5 − −2", 7.0),
    ],
)
def test_value(text: str, value: float) -> None:
    assert evaluate(text) == pytest.approx(value, rel=1e-14)


@pytest.mark.parametrize("text", ["", "2 +", "(2 + 3", "2 3", "sin 3", "import os", "2 ** 3", "|2", "× 2", "2 )", "1.2.3"])
def test_what_is_not_arithmetic_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        evaluate(text)


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (0.0, 6, "0"), (1.0, 6, "1"), (-0.0123456789, 6, "−0.0123457"), (9.80665, 6, "9.80665"), (123456.7, 3, "123000"),
        (1.5e-7, 6, "1.5 × 10⁻⁷"), (-2.5e12, 4, "−2.5 × 10¹²"), (0.99999999, 6, "1"), (9.999999e-6, 3, "0.00001"),
        (1200.0, 6, "1200"),
    ],
)  # fmt: skip
def test_figure(value: float, digits: int, text: str) -> None:
    assert figure(value, digits) == text


def test_figure_with_a_decimal_comma() -> None:
    assert figure(1234.5, decimal=",") == "1234,5"
    assert evaluate(figure(1234.5, decimal=",")) == 1234.5


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e30, max_value=1e30), st.integers(1, 12))
def test_a_figure_reads_back_to_half_a_unit_of_its_last_place(value: float, digits: int) -> None:
    if abs(value) < 1e-200:
        return
    assert evaluate(figure(value, digits)) == pytest.approx(value, rel=0.51 * 10 ** (1 - digits), abs=0)
