"""Numbers as the reports write them."""

from __future__ import annotations

import math

import pytest

from joulebook.render.numbers import (
    aligned,
    common_places,
    input_text,
    interval_text,
    number,
    percent,
    to_place,
    value_and_u,
    value_with_u,
)
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


def test_a_column_has_one_place_and_its_points_below_each_other() -> None:
    """Two digits of the middle u; a bench with ten times less is shown to its first digit, one with no value as a dash."""
    items = [quantity(0.057, 0.024), quantity(-0.3321, 0.021), quantity(0.035, 0.008), None]
    texts = aligned("relative_difference", items)
    assert texts == ["5.7(24) %", "−33.2(21) %", "3.5(8) %\u2007", "–"]
    # From the right, where the column is set flush, the points stand at one place.
    assert len({len(text) - text.index(".") for text in texts[:3]}) == 1
    assert common_places([0.5, 0.04, 0.3]) == 2
    assert common_places([0.5, 0.0004, 0.3]) == 4
    assert common_places([0.0, math.inf]) is None
    assert aligned("relative_difference", []) == []


def test_a_number_to_the_first_digit_of_its_uncertainty() -> None:
    assert [to_place(*each) for each in ((0.00478, 0.00016), (160.7, 3.2), (5.3, 0.6), (12345.0, 0.1), (0.0042, 0.16))] == [
        "0.0048", "161", "5.3", "12300", "0.0",
    ]  # fmt: skip
    assert to_place(0.00478, 0.0) == "0.00478"
