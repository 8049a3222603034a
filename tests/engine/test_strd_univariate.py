"""NIST StRD univariate sets (REFERENCES N7–N9; public domain): mean, standard deviation and lag-1 autocorrelation."""

from __future__ import annotations

import numpy as np
import pytest
from tests.engine.strd import digits, read_univariate

from joulebook.engine.least_squares import linear_least_squares
from joulebook.engine.residuals import autocorrelation

# Digits asked of the mean, sd and r₁. NumAcc3 and 4 hold a scatter in the eighth digit of the values, whose own rounding to
# double precision leaves nine and eight digits of it.
ASKED = {
    "Lew": (14, 10, 10),
    "Lottery": (14, 9, 9),
    "Mavro": (14, 9, 9),
    "Michelso": (14, 9, 9),
    "NumAcc1": (14, 14, 14),
    "NumAcc2": (14, 9, 9),
    "NumAcc3": (14, 8, 8),
    "NumAcc4": (14, 7.5, 7.5),
}


@pytest.mark.parametrize("name", ASKED)
def test_certified(name: str) -> None:
    """The mean is a least-squares fit of one column of ones; its sd is the sample's."""
    values, (mean, sd, r1) = read_univariate(name)
    solution = linear_least_squares(np.ones(values.size), values)
    asked = ASKED[name]
    assert digits(solution.parameters, mean) >= asked[0]
    assert digits(solution.sd, sd) >= asked[1]
    assert digits(autocorrelation(values, 1)[1], r1) >= asked[2]
    assert solution.uncertainties[0] == pytest.approx(sd / np.sqrt(values.size), rel=1e-7)


def test_lew_autocorrelations_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 1.4.2.5.3, beam deflections, lags 0 to 12 as printed (REFERENCES A2)."""
    values, _ = read_univariate("Lew")
    printed = [1.00, -0.31, -0.74, 0.77, 0.21, -0.90, 0.38, 0.63, -0.77, -0.12, 0.82, -0.40, -0.55]
    assert autocorrelation(values, 12) == pytest.approx(printed, abs=0.005 + 1e-9)
