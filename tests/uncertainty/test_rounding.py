"""Results as they are written, after JCGM 100, 7.2.2 and 7.2.6."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from joulebook.errors import InputError
from joulebook.uncertainty import round_together, write

FINITE = st.floats(allow_nan=False, allow_infinity=False)
POSITIVE = st.floats(min_value=0.0, exclude_min=True, allow_infinity=False)


@pytest.mark.parametrize(
    ("value", "u", "brackets", "plus_minus"),
    [
        (9.8, 0.12, "9.80(12)", "9.80 ± 0.12"),
        # JCGM 100, 7.2.2: 100.021 47 g with u = 0.35 mg; 7.2.6: 10.057 62 Ω with 27 mΩ becomes 10.058 Ω.
        (100.02147, 0.00035, "100.02147(35)", "100.02147 ± 0.00035"),
        (10.05762, 0.027, "10.058(27)", "10.058 ± 0.027"),
        # Carries, in u and in the value.
        (1.0, 0.0996, "1.00(10)", "1.00 ± 0.10"),
        (0.9999, 0.0096, "0.9999(96)", "0.9999 ± 0.0096"),
        (0.996, 0.0996, "1.00(10)", "1.00 ± 0.10"),
        (1.0, 0.999, "1.0(10)", "1.0 ± 1.0"),
        (1.0, 9.96, "1(10)", "1 ± 10"),
        # Above and below one; digits that stand left of the point.
        (9.8, 1.2, "9.8(12)", "9.8 ± 1.2"),
        (123.4, 12.0, "123(12)", "123 ± 12"),
        (12345.6, 678.0, "12350(680)", "12350 ± 680"),
        (-0.29, 0.014, "-0.290(14)", "-0.290 ± 0.014"),
        (-0.001, 0.12, "0.00(12)", "0.00 ± 0.12"),
        (0.0, 0.12, "0.00(12)", "0.00 ± 0.12"),
        # No binary artefacts: 2.675 and 0.125 are decimal halves, and go to the even digit.
        (2.675, 0.10, "2.68(10)", "2.68 ± 0.10"),
        (0.125, 0.10, "0.12(10)", "0.12 ± 0.10"),
        (1.005, 0.10, "1.00(10)", "1.00 ± 0.10"),
        (1.0, 0.125, "1.00(12)", "1.00 ± 0.12"),
        (1.0, 0.135, "1.00(14)", "1.00 ± 0.14"),
        # Far from one: a shared power of ten.
        (1.72662e-6, 1.755e-8, "1.727(18)e-6", "1.727e-6 ± 0.018e-6"),
        (6.02214e23, 1.2e19, "6.02214(12)e23", "6.02214e23 ± 0.00012e23"),
        (3e-9, 5e-7, "0.0(50)e-7", "0.0e-7 ± 5.0e-7"),
        (1.7266e-5, 1.76e-6, "0.0000173(18)", "0.0000173 ± 0.0000018"),
        (1234567.0, 2e4, "1.235(20)e6", "1.235e6 ± 0.020e6"),
        # A value below its uncertainty, a huge value with a tiny one.
        (0.0123, 4.56, "0.0(46)", "0.0 ± 4.6"),
        (1e20, 1e-5, "1." + "0" * 26 + "(10)e20", "1." + "0" * 26 + "e20 ± 0." + "0" * 24 + "10e20"),
    ],
)
def test_written(value, u, brackets, plus_minus):
    assert write(value, u, style="brackets") == brackets
    assert write(value, u) == plus_minus


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: write(9.8, 0.12, "deg", style="brackets"), "9.80(12) deg"),
        (lambda: write(9.8, 0.12, "deg"), "9.80 deg ± 0.12 deg"),
        (lambda: write(9.8, 0.12, "deg", digits=1), "9.8 deg ± 0.1 deg"),
        (lambda: write(9.8, 0.096, "deg", digits=1, style="brackets"), "9.8(1) deg"),
        (lambda: write(9.8, 0.12, "m/s^2", decimal=","), "9,80 m/s^2 ± 0,12 m/s^2"),
        (lambda: write(9.8, 0.12, "N.m", decimal=",", style="brackets"), "9,80(12) N.m"),
        (lambda: write(0.98, 0.012, "1"), "0.980 ± 0.012"),
        (lambda: write(9.80665, 0.0, "m/s^2"), "9.80665 m/s^2"),
        (lambda: write(0.1 + 0.2, 0.0), "0.30000000000000004"),
        (lambda: write(3.0, 0.0, "m", decimal=","), "3 m"),
        (lambda: write(0.0, 0.0), "0"),
        (lambda: write(2.5e-9, 0.0), "2.5e-9"),
        (lambda: write(1200.0, 0.0), "1200"),
        (lambda: write(math.nan, 0.1, "J"), "not known J"),
        (lambda: write(math.inf, 0.1, "J"), "not known J"),
        (lambda: write(1.23456789, math.nan, "J"), "1.23457 J (uncertainty not known)"),
        (lambda: write(1.5, math.inf, "J", decimal=","), "1,5 J (uncertainty not known)"),
    ],
)
def test_options(call, text):
    assert call() == text


def test_together():
    assert round_together(9.804, 0.0996) == (Decimal("9.80"), Decimal("0.10"))
    assert round_together(9.804, 0.0996, digits=1) == (Decimal("9.8"), Decimal("0.1"))


@given(FINITE, POSITIVE, st.sampled_from([1, 2]))
def test_rounding_is_within_half_a_place(value, u, digits):
    rounded, uncertainty = round_together(value, u, digits=digits)
    assert rounded.as_tuple().exponent == uncertainty.as_tuple().exponent
    assert len(uncertainty.as_tuple().digits) == digits
    half = Decimal((0, (5,), uncertainty.as_tuple().exponent - 1))
    assert abs(Decimal(repr(u)) - uncertainty) <= half
    exact, shown = Decimal(repr(value)), rounded
    # Compared as integers in units of the place, where 28 digits could not tell.
    place = Decimal((0, (1,), rounded.as_tuple().exponent))
    numerator, denominator = exact.as_integer_ratio()
    shown_n, shown_d = shown.as_integer_ratio()
    place_n, place_d = place.as_integer_ratio()
    assert abs(numerator * shown_d - shown_n * denominator) * 2 * place_d <= place_n * denominator * shown_d


@given(FINITE, POSITIVE, st.sampled_from(["plus-minus", "brackets"]))
def test_what_is_written_can_be_read_back(value, u, style):
    rounded, uncertainty = round_together(value, u)
    text = write(value, u, style=style)
    if style == "plus-minus":
        first, second = text.split(" ± ")
        assert (Decimal(first), Decimal(second)) == (rounded, uncertainty)
    else:
        first, rest = text.split("(")
        last, exponent = rest.split(")")
        assert Decimal(first + exponent) == rounded
        decimals = len(first.partition(".")[2])
        assert Decimal(f"{last}e{int(exponent[1:] or 0) - decimals}") == uncertainty


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: write(1.0, -0.1), "uncertainty cannot be -0.1"),
        (lambda: write(1.0, 0.1, digits=3), "not written with 3 digits"),
        (lambda: write(1.0, 0.1, style="bars"), "style 'bars' is not known"),
        (lambda: write(1.0, 0.1, decimal=";"), "decimal sign ';' is not known"),
        (lambda: round_together(1.0, 0.0), "1 ± 0 cannot be rounded"),
        (lambda: round_together(math.nan, 0.1), "cannot be rounded"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(InputError, match=message):
        call()
