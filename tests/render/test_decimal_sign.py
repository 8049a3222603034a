"""The house's decimal sign in texts and drawings."""

from __future__ import annotations

import pytest

from joulebook.render.decimal_sign import with_decimal, with_decimal_svg, with_decimals


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0.1385(18) J, from −0.0035 to 0.0223 J", "0,1385(18) J, from −0,0035 to 0,0223 J"),
        ("4.0 to 13.3 %.", "4,0 to 13,3 %."),
        ("version 1.2.3 on 3.4.2026", "version 1.2.3 on 3.4.2026"),
        ("JCGM 101, 7.9 and GUM 7.2.6", "JCGM 101, 7.9 and GUM 7.2.6"),
        ("Bench 2.1: 2.1 m in run-1.2.csv", "Bench 2.1: 2,1 m in run-1.2.csv"),
        ("launch-1.csv at 20 per second.", "launch-1.csv at 20 per second."),
    ],
)
def test_numbers_get_a_comma_and_nothing_else_does(text: str, expected: str) -> None:
    assert with_decimal(text, ",", keep=("Bench 2.1", "run-1.2.csv", "plain")) == expected
    assert with_decimal(text, ".") == text


def test_coordinates_of_a_drawing_stay() -> None:
    svg = '<svg><path d="M1.5,2.5L3.5,4"/><text x="1.5">1.5 m</text></svg>'
    assert with_decimal_svg(svg, ",") == '<svg><path d="M1.5,2.5L3.5,4"/><text x="1.5">1,5 m</text></svg>'
    data = {"svg": svg, "rows": [("1.5", 1.5)], "title": "1.5"}
    assert with_decimals(data, ",") == {"svg": with_decimal_svg(svg, ","), "rows": [["1,5", 1.5]], "title": "1,5"}
    assert with_decimals(data, ".") is data
