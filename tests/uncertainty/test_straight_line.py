"""A line with errors in both directions: Pearson's data with York's weights, and a general-purpose minimiser."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize

from joulebook.errors import FitError, InputError
from joulebook.uncertainty.straight_line import fit_straight_line

# K. Pearson, Phil. Mag. 2 (1901) 559, weights of D. York, Can. J. Phys. 44 (1966) 1079.
X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
U_X = 1 / np.sqrt([1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1])
U_Y = 1 / np.sqrt([1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500])


def test_pearson_with_the_weights_of_york() -> None:
    """Intercept and slope to the digits of J. H. Williamson, Can. J. Phys. 46 (1968) 1845; uncertainties and S/(n − 2) of York et
    al., Am. J. Phys. 72 (2004) 367, Table II, as kept in the tests of the R package bfsl."""
    line = fit_straight_line(X, Y, U_X, U_Y)
    assert line.intercept == pytest.approx(5.47991022403, abs=5e-12)
    assert line.slope == pytest.approx(-0.48053340745, abs=5e-12)
    assert line.u_intercept == pytest.approx(0.294970735, abs=5e-10)
    assert line.u_slope == pytest.approx(0.0579850090, abs=5e-11)
    assert line.chi_squared / line.dof == pytest.approx(1.483294149, abs=5e-10)


@pytest.mark.parametrize("r", [-0.8, 0.0, 0.5, 0.95])
def test_correlated_errors_against_a_minimiser(r: float) -> None:
    """The least sum over line and true points together, by scipy's minimiser, knows nothing of York's equations."""

    def total(line: np.ndarray) -> float:
        variance = U_Y**2 + line[1] ** 2 * U_X**2 - 2 * line[1] * r * U_X * U_Y
        return float(np.sum((Y - line[0] - line[1] * X) ** 2 / variance))

    found = fit_straight_line(X, Y, U_X, U_Y, r)
    best = optimize.minimize(total, [5.5, -0.5], method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-13, "maxiter": 4000})
    assert (found.intercept, found.slope) == pytest.approx(tuple(best.x), abs=1e-5)
    assert found.chi_squared == pytest.approx(best.fun, rel=1e-9)


def test_the_uncertainties_are_those_of_many_draws() -> None:
    """600 lines drawn with correlated errors: their scatter is u to within four standard deviations of itself, 4/√1200."""
    rng = np.random.default_rng(3)
    x, u_x, u_y, r = np.linspace(2.0, 8.0, 12), 0.15, 0.3, 0.7
    slopes, stated = [], []
    for _ in range(600):
        e = rng.normal(size=(2, 12))
        line = fit_straight_line(x + u_x * e[0], 0.5 + x + u_y * (r * e[0] + (1 - r**2) ** 0.5 * e[1]), np.full(12, u_x), u_y, r)
        slopes.append(line.slope)
        stated.append(line.u_slope)
    assert np.std(slopes) == pytest.approx(np.mean(stated), rel=4 / 1200**0.5)
    assert np.mean(slopes) == pytest.approx(1.0, abs=4 * np.mean(stated) / 600**0.5 + 0.002)


def test_what_has_no_line(monkeypatch: pytest.MonkeyPatch) -> None:
    one = np.ones(3)
    with pytest.raises(InputError, match="2 points are no basis"):
        fit_straight_line([1, 2], [1, 2], [1, 1], [1, 1])
    with pytest.raises(InputError, match="smallest uncertainty is 0"):
        fit_straight_line([1, 2, 3], [1, 2, 3], one, 0 * one)
    with pytest.raises(InputError, match="largest correlation 1"):
        fit_straight_line([1, 2, 3], [1, 2, 3], one, one, 1.0)
    with pytest.raises(InputError, match="the same x"):
        fit_straight_line(one, [1, 2, 3], one, one)
    import joulebook.uncertainty.straight_line as module

    monkeypatch.setattr(module, "_STEPS", 1)
    with pytest.raises(FitError, match="did not settle in 1 steps"):
        fit_straight_line(X, Y, U_X, U_Y)
