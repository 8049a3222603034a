"""A number as it was written, with all that it may have been rounded from."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from joulebook.classroom.own_work import Field
from joulebook.classroom.written import read_written
from joulebook.errors import InputError

_ENERGY = Field("kinetic_energy", "KE", "number", "J")
_LENGTH = Field("travel", "d", "number", "m")


@pytest.mark.parametrize(
    ("text", "field", "low", "high", "figures"),
    [
        ("0.23", _ENERGY, 0.225, 0.235, 2),
        ("0.230", _ENERGY, 0.2295, 0.2305, 3),
        ("0,23", _ENERGY, 0.225, 0.235, 2),
        ("2.3e-1", _ENERGY, 0.225, 0.235, 2),
        ("230 mJ", _ENERGY, 0.225, 0.235, 2),
        ("231 mJ", _ENERGY, 0.2305, 0.2315, 3),
        ("52 cm", _LENGTH, 0.515, 0.525, 2),
        ("5", _ENERGY, 4.5, 5.5, 1),
        ("120", _ENERGY, 115.0, 125.0, 2),
        ("-0.02", _ENERGY, -0.025, -0.015, 1),
        ("0.00", _ENERGY, -0.005, 0.005, 1),
        ("0 cm", _LENGTH, -0.005, 0.005, 1),
    ],
)
def test_what_a_text_may_stand_for(text: str, field: Field, low: float, high: float, figures: int) -> None:
    written = read_written(text, field)
    assert written is not None
    assert (written.low, written.high) == (pytest.approx(low), pytest.approx(high))
    assert written.figures == figures


def test_blank_is_none_and_words_are_an_error() -> None:
    assert read_written("  ", _ENERGY) is None
    with pytest.raises(InputError, match="not understood as a number"):
        read_written("about half", _ENERGY)


def test_holding_counts_rounding_and_cutting_off() -> None:
    written = read_written("0.23", _ENERGY)
    assert written is not None
    assert written.holds(0.2349, 0.2349) and not written.holds(0.2379, 0.2379)
    assert written.holds(0.2379, 0.2379, steps=2.0) and not written.holds(0.2401, 0.2401, steps=2.0)


@given(st.floats(1e-4, 1e4), st.integers(1, 5))
def test_whatever_is_rounded_honestly_is_held(value: float, figures: int) -> None:
    for text in (f"{value:.{figures}g}", f"{value:.{figures - 1}e}"):
        written = read_written(text, _ENERGY)
        assert written is not None and written.holds(value, value)
