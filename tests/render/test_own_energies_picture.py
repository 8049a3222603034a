"""Two energies of a group on one line: what is said is what is drawn."""

from __future__ import annotations

import math

from joulebook.render.own_energies_picture import draw_own_energies
from joulebook.uncertainty import Quantity


def _energy(value: float, u: float) -> Quantity:
    return Quantity(value, "J", u, math.inf, value - 2 * u, value + 2 * u)


def test_intervals_that_overlap_say_where() -> None:
    picture = draw_own_energies(_energy(0.24, 0.01), _energy(0.22, 0.012), name="own")
    # By hand: 0.22 to 0.26 and 0.196 to 0.244.
    assert "share the stretch from 0.22 J to 0.244 J" in picture.sentence
    assert picture.table_rows == (
        ("Energy of motion at release, KE", "0.24", "0.22", "0.26"),
        ("Energy of height at the top, PE", "0.22", "0.196", "0.244"),
    )
    assert "own-wide-title" in picture.svg and "own-narrow-title" in picture.narrow and "style=" not in picture.svg


def test_intervals_apart_say_how_far() -> None:
    picture = draw_own_energies(_energy(0.30, 0.01), _energy(0.20, 0.01), name="own")
    assert "share nothing: 0.06 J lie between them" in picture.sentence


def test_energies_without_uncertainty_are_drawn_too() -> None:
    for each in (0.0, 0.2, -0.1):
        picture = draw_own_energies(_energy(each, 0.0), _energy(each, 0.0), name="own")
        assert "nan" not in picture.svg and "share the stretch" in picture.sentence
