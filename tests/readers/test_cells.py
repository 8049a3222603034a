"""Single cells: number, missing or text."""

from __future__ import annotations

import math

import pytest

from joulebook.readers.cells import MISSING_WORDS, number, numbers_of_rows, show

POINT = [
    ("0.312", 0.312),
    (" 0.312 ", 0.312),
    (".5", 0.5),
    ("5.", 5.0),
    ("+1", 1.0),
    ("-1.2E-03", -0.0012),
    ("1.2e+3", 1200.0),
    ("1.2D-3", 0.0012),
    ("−0.5", -0.5),
    ("\u20130.5", -0.5),
    ("1\u2009234.5", 1234.5),
    ("1\u00a0234", 1234.0),
    ("1,234.5", 1234.5),
    ("1,234,567", 1234567.0),
    ("1'234.5", 1234.5),
    ("'0.5", 0.5),
    ('="0.5"', 0.5),
    ("\ufeff0.5", 0.5),
]
COMMA = [
    ("0,312", 0.312),
    (",5", 0.5),
    ("-1,2E-03", -0.0012),
    ("−0,5", -0.5),
    ("1.234,5", 1234.5),
    ("1 234,5", 1234.5),
    ("1.234.567,8", 1234567.8),
    ("0.312", 0.312),
    ("1,234", 1.234),
    ("7", 7.0),
]
TEXT = ["abc", "1.2.3", "0.3 m", "1_000", "0x1F", "1,2,3", "12:30", "--5", "1e", "e5", "0,31"]


@pytest.mark.parametrize(("cell", "value"), POINT)
def test_numbers_with_a_point(cell: str, value: float) -> None:
    assert number(cell) == pytest.approx(value, rel=1e-15)
    assert numbers_of_rows([[cell]]) == [[number(cell)]]


@pytest.mark.parametrize(("cell", "value"), COMMA)
def test_numbers_with_a_comma(cell: str, value: float) -> None:
    assert number(cell, ",") == pytest.approx(value, rel=1e-15)
    assert numbers_of_rows([[cell], [cell]], ",") == [[number(cell, ",")]] * 2


@pytest.mark.parametrize("cell", TEXT)
def test_text(cell: str) -> None:
    assert number(cell) is None
    assert numbers_of_rows([["1", cell], ["2", "3"]]) == [[1.0, None], [2.0, 3.0]]


@pytest.mark.parametrize("cell", [*sorted(MISSING_WORDS), "NaN", "#N/A", "Inf", "1e999", " - ", "\u2014", "No Echo"])
def test_missing(cell: str) -> None:
    for decimal in (".", ","):
        value = number(cell, decimal)
        assert value is not None and math.isnan(value)
    ((first, _), _) = numbers_of_rows([[cell, "1"], ["2", "3"]])
    assert first is not None and math.isnan(first)


def test_show_shortens_and_cleans() -> None:
    assert show("a\tb\x00c") == "“a b·c”"
    assert show("z" * 50) == "“" + "z" * 39 + "…”"
