"""NIST StRD linear regression (REFERENCES N1–N5; public domain): estimates, their sd, residual sd, dof and sum of squares."""

from __future__ import annotations

import numpy as np
import pytest
from tests.engine.strd import digits, read

from joulebook.engine.least_squares import linear_least_squares

# Digits asked of estimates and of their standard deviations: REFERENCES N1–N5. Filip, a polynomial of degree 10 whose design
# has a condition number of 1.8e15, is not asked for there; a scaled QR holds seven digits of it.
ASKED = {
    "Norris": 9.0,
    "Pontius": 8.0,
    "NoInt1": 9.0,
    "NoInt2": 9.0,
    "Longley": 7.0,
    "Wampler1": 5.0,
    "Wampler2": 5.0,
    "Wampler3": 5.0,
    "Wampler4": 5.0,
    "Wampler5": 4.0,
    "Filip": 6.0,
}
DEGREE = {"Norris": 1, "Pontius": 2, "Wampler1": 5, "Wampler2": 5, "Wampler3": 5, "Wampler4": 5, "Wampler5": 5, "Filip": 10}


def design(name: str, x: np.ndarray) -> np.ndarray:
    if name.startswith("NoInt"):
        return x
    if name == "Longley":
        return np.column_stack([np.ones(len(x)), x])
    return np.vander(x[:, 0], DEGREE[name] + 1, increasing=True)


@pytest.mark.parametrize("name", ASKED)
def test_certified(name: str) -> None:
    certified = read("linear", name)
    y = certified.data[:, 0]
    solution = linear_least_squares(design(name, certified.data[:, 1:]), y)
    asked = ASKED[name]
    assert digits(solution.parameters, certified.estimates) >= asked
    assert solution.dof == certified.dof
    if certified.residual_sd == 0.0:
        # Wampler1 and 2 are exact polynomials: what is left is rounding.
        assert solution.sd < 1e-9 * np.abs(y).max()
        return
    assert digits(solution.uncertainties, certified.sds) >= asked
    assert digits(solution.sd, certified.residual_sd) >= max(asked, 6.0)
    assert digits(solution.rss, certified.rss) >= max(asked, 6.0)


def test_the_files_are_read_whole() -> None:
    """The reader finds every line: samples and parameters as the files state them."""
    counts = {name: (len(read("linear", name).data), len(read("linear", name).estimates)) for name in ASKED}
    assert counts["Norris"] == (36, 2)
    assert counts["Pontius"] == (40, 3)
    assert counts["Longley"] == (16, 7)
    assert counts["Filip"] == (82, 11)
    assert counts["Wampler5"] == (21, 6)
    assert counts["NoInt2"] == (3, 1)


def test_wampler_residual_check_can_fail() -> None:
    """One wrong datum in 21 costs Wampler1 all its digits."""
    certified = read("linear", "Wampler1")
    y = certified.data[:, 0].copy()
    y[10] += 1e3
    assert digits(linear_least_squares(design("Wampler1", certified.data[:, 1:]), y).parameters, certified.estimates) < 1.0
