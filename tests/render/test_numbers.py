"""Numbers as the reports write them."""

from __future__ import annotations

import math

import pytest

from joulebook.render.numbers import dof_text, input_text, interval_text, number, percent, value_and_u, value_with_u
from joulebook.uncertainty import Input, Quantity


def quantity(value: float, u: float, unit: str = "J", dof: float = math.inf) -> Quantity:
    return Quantity(value, unit, u, dof, value - 2 * u, value + 2 * u)


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [
        (100.02147, 0.00035, "100.02147(35) kg"),  # JCGM 100:2008, 7.2.2 (there in g; from memory)
        (10.05762, 0.027, "10.058(27) kg"),  # JCGM 100:2008, 7.2.6 (there in ohm; from memory)
        (-0.0003, 0.0020, "−0.0003(20) kg"),
        (1.5e-6, 2e-7, "1.50(20) × 10⁻⁶ kg"),
    ],
)
def test_a_value_is_rounded_with_its_uncertainty(value: float, u: float, text: str) -> None:
    assert value_with_u("mass", quantity(value, u, "kg")) == text


def test_value_and_uncertainty_stand_in_two_columns_at_the_same_place() -> None:
    assert value_and_u("kinetic_energy", quantity(10.05762, 0.027)) == ("10.058 J", "0.027 J")
    assert value_and_u("relative_difference", quantity(0.0331, 0.0142, "1")) == ("3.3 %", "1.4 %")
    assert value_and_u("kinetic_energy", quantity(math.nan, 0.1)) == ("–", "–")
    assert value_and_u("kinetic_energy", quantity(2.0, 0.0)) == ("2 J", "–")


def test_interval_ends_share_the_place_of_the_uncertainty() -> None:
    assert interval_text("difference", quantity(0.00497, 0.0021)) == "0.0008 to 0.0092 J"
    assert interval_text("slope_from_motion", quantity(9.62, 0.062, "deg")) == "9.496 to 9.744°"
    assert interval_text("difference", Quantity(0.0, "J", 1.0, 3.0, math.nan, 1.0)) == "–"
    # What rounds to zero has no sign.
    assert interval_text("difference", Quantity(0.1, "J", 0.1, 3.0, -0.001, 0.3)) == "0.00 to 0.30 J"


@pytest.mark.parametrize(("dof", "text"), [(16.7, "16"), (math.inf, "∞"), (math.nan, "–"), (88.0, "88"), (4e5, "> 1000")])
def test_degrees_of_freedom_are_truncated(dof: float, text: str) -> None:
    # 16.7 truncated to 16: JCGM 100:2008, H.1.6 (REFERENCES U1).
    assert dof_text(quantity(1.0, 0.1, dof=dof)) == text


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (0.0, 3, "0"), (0.14352, 4, "0.1435"), (-0.5, 2, "−0.5"), (20.0, 3, "20"), (1234.0, 2, "1200"), (0.0999, 1, "0.1"),
        (1e-7, 2, "1.0 × 10⁻⁷"), (3e9, 1, "3 × 10⁹"), (math.inf, 2, "∞"), (math.nan, 2, "–"),
    ],
)  # fmt: skip
def test_plain_numbers_keep_their_significant_digits(value: float, digits: int, text: str) -> None:
    assert number(value, digits) == text


def test_percent_and_inputs() -> None:
    assert percent(0.0213) == "2.1 %"
    assert percent(math.nan) == "–"
    assert input_text(Input("track.angle", 9.8, "deg", 0.144338, "rectangular")) == "9.80(14)°"
    assert input_text(Input("place.gravity", 9.80665, "m/s^2", 0.0, "constant")) == "9.80665 m/s²"
    assert input_text(Input("sensor.humidity", 0.5, "1", 0.17, "rectangular")) == "50(17) %"
