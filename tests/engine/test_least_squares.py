"""Least squares against closed forms, published values and general-purpose libraries."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.signal import savgol_coeffs

from joulebook.engine.least_squares import least_squares, linear_least_squares
from joulebook.errors import FitError

Floats = np.ndarray


def parabola(t: Floats, y: Floats):
    """s = s_p − ½a(t − t_p)²: nonlinear in t_p."""

    def model(p: Floats) -> tuple[Floats, Floats]:
        a, when, top = p
        u = t - when
        return y - (top - 0.5 * a * u * u), np.column_stack([-0.5 * u * u, a * u, np.ones(t.size)])

    return model


@pytest.fixture
def hop() -> tuple[Floats, Floats]:
    t = np.arange(0.0, 1.0, 0.05)
    noise = np.random.default_rng(20).normal(0.0, 5e-4, t.size)
    return t, 0.52 - 0.5 * 1.7 * (t - 0.48) ** 2 + noise


# --- closed forms -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("n", [3, 5, 7, 11, 25])
def test_derivative_variances(n: int) -> None:
    """REFERENCES §7, derived in closed form: slope, acceleration and end-point velocity of straight and parabolic fits."""
    dt, sd = 0.05, 1.0
    k = np.arange(n) - (n - 1) / 2
    t = k * dt
    y = 0.1 + 0.2 * t - 0.3 * t * t
    line = linear_least_squares(np.column_stack([np.ones(n), t]), y)
    assert line.unscaled[1, 1] * sd**2 == pytest.approx(12 * sd**2 / (dt**2 * n * (n**2 - 1)), rel=1e-8)
    curve = linear_least_squares(np.column_stack([np.ones(n), t, 0.5 * t * t]), y)
    acceleration = 720 * sd**2 / (dt**4 * n * (n**2 - 1) * (n**2 - 4))
    assert curve.unscaled[2, 2] == pytest.approx(acceleration, rel=1e-8)
    assert curve.unscaled[1, 1] == pytest.approx(line.unscaled[1, 1], rel=1e-8)  # mid-point velocity = slope
    end = np.array([0.0, 1.0, t[-1]])
    expected = 12 * (2 * n - 1) * (8 * n - 11) * sd**2 / (dt**2 * n * (n**2 - 1) * (n**2 - 4))
    assert end @ curve.unscaled @ end == pytest.approx(expected, rel=1e-8)


def test_derivative_variances_as_printed() -> None:
    """REFERENCES §7, the row of numbers: dt 0.05, σ 1, N 7."""
    t = (np.arange(7) - 3) * 0.05
    solution = linear_least_squares(np.column_stack([np.ones(7), t, 0.5 * t * t]), t)
    end = np.array([0.0, 1.0, t[-1]])
    assert solution.unscaled[1, 1] == pytest.approx(14.285714, abs=5e-7)
    assert solution.unscaled[2, 2] == pytest.approx(7619.0476, abs=5e-5)
    assert end @ solution.unscaled @ end == pytest.approx(185.71429, abs=5e-6)


SAVITZKY_GOLAY = [
    (5, 2, 0, [-3, 12, 17, 12, -3], 35),
    (7, 2, 0, [-2, 3, 6, 7, 6, 3, -2], 21),
    (9, 2, 0, [-21, 14, 39, 54, 59, 54, 39, 14, -21], 231),
    (11, 2, 0, [-36, 9, 44, 69, 84, 89, 84, 69, 44, 9, -36], 429),
    (7, 4, 0, [5, -30, 75, 131, 75, -30, 5], 231),
    (9, 4, 0, [15, -55, 30, 135, 179, 135, 30, -55, 15], 429),
    (5, 2, 1, [-2, -1, 0, 1, 2], 10),
    (11, 2, 1, list(range(-5, 6)), 110),
    (5, 3, 1, [1, -8, 0, 8, -1], 12),
    (7, 3, 1, [22, -67, -58, 0, 58, 67, -22], 252),
    (5, 2, 2, [2, -1, -2, -1, 2], 7),
    (7, 2, 2, [5, 0, -3, -4, -3, 0, 5], 42),
    (9, 2, 2, [28, 7, -8, -17, -20, -17, -8, 7, 28], 462),
    (11, 2, 2, [15, 6, -1, -6, -9, -10, -9, -6, -1, 6, 15], 429),
]


@pytest.mark.parametrize(("n", "degree", "derivative", "weights", "norm"), SAVITZKY_GOLAY)
def test_savitzky_golay_weights(n: int, degree: int, derivative: int, weights: list[int], norm: int) -> None:
    """A. Savitzky and M. J. E. Golay, Anal. Chem. 36 (1964) 1627, corrected by J. Steinier, 44 (1972) 1906 (REFERENCES §7).

    The mid-point value of a polynomial fit is a weighted mean of the samples, whose weights a fit to each unit sample tells.
    """
    k = np.arange(n) - n // 2
    design = np.vander(k, degree + 1, increasing=True).astype(float)
    factor = [1.0, 1.0, 2.0][derivative]
    found = [factor * linear_least_squares(design, unit).parameters[derivative] for unit in np.eye(n)]
    assert found == pytest.approx(np.array(weights) / norm, abs=1e-12)
    assert found == pytest.approx(savgol_coeffs(n, degree, deriv=derivative, use="dot"), abs=1e-12)


# --- published worked example ------------------------------------------------------------------------------------------


def test_gum_h3_thermometer_calibration() -> None:
    """JCGM 100:2008 H.3, Table H.6 (REFERENCES U3): estimates, standard uncertainties, correlation, s, prediction, ν."""
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = -1e-3 * np.array([171, 169, 166, 159, 164, 165, 156, 157, 159, 161, 160])
    solution = linear_least_squares(np.column_stack([np.ones(11), t - 20.0]), b, names=["y1", "y2"])
    assert solution.parameters[0] == pytest.approx(-0.1712, abs=5e-5)
    assert solution.parameters[1] == pytest.approx(0.00218, abs=5e-6)
    assert solution.uncertainties[0] == pytest.approx(0.0029, abs=5e-5)
    assert solution.uncertainties[1] == pytest.approx(0.00067, abs=5e-6)
    assert solution.correlation[0, 1] == pytest.approx(-0.930, abs=5e-4)
    assert solution.sd == pytest.approx(0.0035, abs=5e-5)
    assert solution.dof == 9
    at_30 = np.array([1.0, 10.0])
    assert at_30 @ solution.parameters == pytest.approx(-0.1494, abs=5e-5)
    assert np.sqrt(at_30 @ solution.covariance @ at_30) == pytest.approx(0.0041, abs=5e-5)


# --- libraries -----------------------------------------------------------------------------------------------------------


def test_agrees_with_curve_fit(hop: tuple[Floats, Floats]) -> None:
    t, y = hop
    solution = least_squares(parabola(t, y), [1.0, 0.4, 0.4], names=["a", "t_p", "s_p"])
    expected, covariance = curve_fit(lambda t, a, when, top: top - 0.5 * a * (t - when) ** 2, t, y, p0=[1, 0.4, 0.4], ftol=1e-14)
    assert solution.parameters == pytest.approx(expected, rel=1e-6)
    assert solution.covariance == pytest.approx(covariance, rel=1e-4)
    assert solution.dof == t.size - 3
    assert solution.steps <= 8


def test_weights_agree_with_curve_fit(hop: tuple[Floats, Floats]) -> None:
    """Weights are 1/sd², scaled by the residuals: curve_fit's sigma without absolute_sigma."""
    t, y = hop
    sigma = np.where(t < 0.5, 1.0, 3.0)
    solution = least_squares(parabola(t, y), [1.0, 0.4, 0.4], weights=1.0 / sigma**2)
    expected, covariance = curve_fit(
        lambda t, a, when, top: top - 0.5 * a * (t - when) ** 2, t, y, p0=[1, 0.4, 0.4], sigma=sigma, ftol=1e-14
    )
    assert solution.parameters == pytest.approx(expected, rel=1e-6)
    assert solution.covariance == pytest.approx(covariance, rel=1e-4)


@pytest.mark.parametrize("rows", [40, 700, 20000])
def test_agrees_with_lstsq_at_any_length(rows: int) -> None:
    """Long records are factored block by block; the answer is that of numpy.linalg.lstsq either way."""
    rng = np.random.default_rng(rows)
    design = rng.normal(size=(rows, 13)) * 10.0 ** rng.integers(-6, 6, 13)
    data = rng.normal(size=rows)
    solution = linear_least_squares(design, data)
    scale = np.sqrt((design**2).sum(axis=0))
    expected, rss, _, _ = np.linalg.lstsq(design / scale, data, rcond=None)
    assert solution.parameters * scale == pytest.approx(expected, abs=1e-12 * np.abs(expected).max())
    assert solution.rss == pytest.approx(rss[0], rel=1e-12)
    inverse = np.linalg.inv((design / scale).T @ (design / scale))
    assert solution.unscaled * np.outer(scale, scale) == pytest.approx(inverse, abs=1e-11 * np.abs(inverse).max())


# --- options -------------------------------------------------------------------------------------------------------------


def test_weight_zero_drops_a_sample(hop: tuple[Floats, Floats]) -> None:
    t, y = hop
    spoiled = y.copy()
    spoiled[[3, 11]] += 0.4
    weights = np.ones(t.size)
    weights[[3, 11]] = 0.0
    dropped = least_squares(parabola(t, spoiled), [1.0, 0.4, 0.4], weights=weights)
    kept = weights > 0
    left_out = least_squares(parabola(t[kept], y[kept]), [1.0, 0.4, 0.4])
    assert dropped.parameters == pytest.approx(left_out.parameters, rel=1e-8)
    assert dropped.covariance == pytest.approx(left_out.covariance, rel=1e-6)
    assert dropped.dof == t.size - 5
    assert dropped.residuals[3] == pytest.approx(0.4, abs=0.005)  # its residual is still reported


def test_a_fixed_parameter_stays_and_has_no_uncertainty(hop: tuple[Floats, Floats]) -> None:
    t, y = hop
    solution = least_squares(parabola(t, y), [1.7, 0.4, 0.4], names=["a", "t_p", "s_p"], fixed={"a"})
    assert solution.parameters[0] == 1.7
    assert solution.covariance[0].tolist() == [0.0, 0.0, 0.0]
    assert solution.dof == t.size - 2
    # With a given, y + ½at² is a straight line in t: s_p − ½a·t_p² + a·t_p·t.
    line = linear_least_squares(np.column_stack([np.ones(t.size), t]), y + 0.85 * t * t)
    assert 1.7 * solution.parameters[1] == pytest.approx(line.parameters[1], rel=1e-9)
    assert 1.7**2 * solution.covariance[1, 1] == pytest.approx(line.covariance[1, 1], rel=1e-8)


def test_bounds_that_do_not_bind_change_nothing(hop: tuple[Floats, Floats]) -> None:
    t, y = hop
    free = least_squares(parabola(t, y), [1.0, 0.4, 0.4])
    inside = least_squares(parabola(t, y), [1.0, 0.4, 0.4], bounds=(0.0, [5.0, 1.0, 1.0]))
    assert inside.parameters == pytest.approx(free.parameters, rel=1e-8)
    assert inside.on_bound == ()


def test_a_binding_bound_is_the_constrained_least_point(hop: tuple[Floats, Floats]) -> None:
    """With a held at the bound by hand, the other parameters are the same, and so is their covariance."""
    t, y = hop
    model = parabola(t, y)
    bounded = least_squares(model, [1.0, 0.4, 0.4], names=["a", "t_p", "s_p"], bounds=([0, 0, 0], [1.5, 1, 1]), allow_bound=True)
    held = least_squares(model, [1.5, 0.4, 0.4], names=["a", "t_p", "s_p"], fixed=["a"])
    assert bounded.on_bound == ("a",)
    assert bounded.parameters == pytest.approx(held.parameters, rel=1e-6)
    assert bounded.covariance == pytest.approx(held.covariance, rel=1e-5, abs=1e-20)
    assert bounded.dof == held.dof


def test_a_start_outside_the_bounds_is_moved_inside(hop: tuple[Floats, Floats]) -> None:
    t, y = hop
    solution = least_squares(parabola(t, y), [9.0, 0.4, 0.4], bounds=([0.1, 0, 0], [5.0, 1, 1]))
    assert solution.parameters[0] == pytest.approx(1.7, abs=0.02)


def test_data_without_error_are_met_to_rounding() -> None:
    t = np.arange(0.0, 1.0, 0.05)
    solution = least_squares(parabola(t, 0.5 - 0.85 * (t - 0.48) ** 2), [1.0, 0.3, 0.3])
    assert solution.parameters == pytest.approx([1.7, 0.48, 0.5], rel=1e-13)
    assert solution.rss < 1e-28


def test_a_start_of_zeros_works() -> None:
    t = np.linspace(-1.0, 1.0, 30)
    y = 3.0e4 + 2.0e-3 * t
    design = np.column_stack([np.ones(30), t])
    solution = least_squares(lambda p: (y - design @ p, design), [0.0, 0.0])
    assert solution.parameters == pytest.approx([3.0e4, 2.0e-3], rel=1e-6)


def test_no_degree_of_freedom_gives_no_uncertainty() -> None:
    solution = linear_least_squares(np.array([[1.0, 0.0], [1.0, 1.0]]), [2.0, 5.0])
    assert solution.parameters == pytest.approx([2.0, 3.0])
    assert solution.dof == 0
    assert np.isnan(solution.sd)
    assert np.isnan(solution.covariance).all()
    assert solution.unscaled == pytest.approx(np.array([[1.0, -1.0], [-1.0, 2.0]]))


def test_coverage_of_the_covariance() -> None:
    """2000 noisy parabolas: pulls of every parameter have variance 1 within 4 standard errors of 2000 draws."""
    rng = np.random.default_rng(7)
    t = np.arange(0.0, 1.2, 0.05)
    truth = np.array([1.7, 0.55, 0.6])
    clean = truth[2] - 0.5 * truth[0] * (t - truth[1]) ** 2
    draws, sd = 2000, 5e-4
    pulls = np.empty((draws, 3))
    for row in pulls:
        solution = least_squares(parabola(t, clean + rng.normal(0.0, sd, t.size)), [1.5, 0.5, 0.5])
        row[:] = (solution.parameters - truth) / (np.sqrt(solution.unscaled.diagonal()) * sd)
    assert np.abs(pulls.mean(axis=0)).max() < 4.0 / np.sqrt(draws)
    assert np.abs(pulls.var(axis=0) - 1.0).max() < 4.0 * np.sqrt(2.0 / draws)


# --- errors: each names the parameter -------------------------------------------------------------------------------------


def test_a_parameter_that_changes_nothing_is_named(hop: tuple[Floats, Floats]) -> None:
    t, y = hop
    inner = parabola(t, y)

    def model(p: Floats) -> tuple[Floats, Floats]:
        residual, jacobian = inner(p[:3])
        return residual, np.column_stack([jacobian, np.zeros(t.size)])

    with pytest.raises(FitError, match="the samples do not depend on drag at all") as caught:
        least_squares(model, [1.0, 0.4, 0.4, 0.1], names=["a", "t_p", "s_p", "drag"])
    assert "give its value" in caught.value.remedy
    assert caught.value.code == "fit"


def test_parameters_that_cannot_be_told_apart_are_named() -> None:
    t = np.linspace(0.0, 1.0, 20)
    design = np.column_stack([np.ones(20), t, 3.0 * t, t * t])
    with pytest.raises(FitError, match="do not determine rate and pace: changed together"):
        linear_least_squares(design, t, names=["offset", "rate", "pace", "bend"])
    with pytest.raises(FitError, match="do not determine rate and pace: changed together"):
        least_squares(lambda p: (t - design @ p, design), np.ones(4), names=["offset", "rate", "pace", "bend"])


def test_singular_is_returned_as_nan_when_not_required() -> None:
    t = np.linspace(0.0, 1.0, 20)
    design = np.column_stack([t, 3.0 * t])
    solution = least_squares(lambda p: (t - design @ p, design), [1.0, 1.0], require=False)
    assert np.isnan(solution.covariance).all()
    assert solution.parameters[0] + 3.0 * solution.parameters[1] == pytest.approx(1.0)


def test_a_bound_is_named(hop: tuple[Floats, Floats]) -> None:
    t, y = hop
    with pytest.raises(FitError, match=r"ended with a on a bound \(a = 1\.5\)"):
        least_squares(parabola(t, y), [1.0, 0.4, 0.4], names=["a", "t_p", "s_p"], bounds=([0, 0, 0], [1.5, 1, 1]))


def test_running_out_of_steps_names_what_was_still_moving(hop: tuple[Floats, Floats]) -> None:
    t, y = hop
    with pytest.raises(FitError, match=r"did not settle in 1 steps; (a|t_p|s_p) was still moving \(a = "):
        least_squares(parabola(t, y), [9.0, 3.0, 0.4], names=["a", "t_p", "s_p"], max_steps=1)
    unfinished = least_squares(parabola(t, y), [9.0, 3.0, 0.4], max_steps=1, require=False)
    assert not unfinished.converged
    assert unfinished.reason == "1 steps were not enough"


def test_wrong_derivatives_are_noticed_and_what_never_moved_is_named(hop: tuple[Floats, Floats]) -> None:
    t, y = hop
    inner = parabola(t, y)

    def model(p: Floats) -> tuple[Floats, Floats]:
        residual, jacobian = inner(p)
        return residual, -jacobian

    with pytest.raises(FitError, match=r"no step lowers the sum of squares.*a and t_p and s_p never moved") as caught:
        least_squares(model, [1.0, 0.4, 0.4], names=["a", "t_p", "s_p"])
    assert "derivatives do not belong to the model" in caught.value.remedy


def test_a_start_without_a_value_is_refused(hop: tuple[Floats, Floats]) -> None:
    t, y = hop
    with pytest.raises(FitError, match=r"cannot be evaluated at the start: a = nan, t_p = 0\.4, s_p = 0\.4"):
        least_squares(parabola(t, y), [np.nan, 0.4, 0.4], names=["a", "t_p", "s_p"])


def test_too_few_samples_are_counted() -> None:
    t = np.array([0.0, 0.1])
    with pytest.raises(FitError, match=r"2 samples cannot determine 3 parameters \(a, t_p, s_p\)") as caught:
        least_squares(parabola(t, t), [1.0, 0.4, 0.4], names=["a", "t_p", "s_p"])
    assert "longer stretch" in caught.value.remedy
    with pytest.raises(FitError, match="2 samples cannot determine 3 parameters"):
        least_squares(parabola(np.arange(5.0), np.ones(5)), [1.0, 0.4, 0.4], weights=[1, 1, 0, 0, 0])


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"names": ["a"]}, "3 parameters were given, but 1 names"),
        ({"fixed": ["drag"]}, "no parameter drag to hold fixed"),
        ({"bounds": ([0, 2, 0], [1, 1, 1])}, "lower bound of p1, 2, is not below its upper bound, 1"),
        ({"weights": [1.0, -1.0]}, "weight of sample 1 is -1"),
        ({"weights": [1.0, np.nan]}, "weight of sample 1 is nan"),
        ({"weights": [1.0, 1.0]}, "2 weights were given for 20 samples"),
    ],
)
def test_options_that_make_no_sense(hop: tuple[Floats, Floats], options: dict[str, object], message: str) -> None:
    with pytest.raises(FitError, match=message):
        least_squares(parabola(*hop), [1.0, 0.4, 0.4], **options)


def test_derivatives_of_the_wrong_shape_are_refused() -> None:
    with pytest.raises(FitError, match=r"shape \(5, 2\), but 5 samples and 3 parameters need \(5, 3\)"):
        least_squares(lambda p: (np.ones(5), np.ones((5, 2))), [1.0, 1.0, 1.0])


def test_missing_samples_are_refused() -> None:
    with pytest.raises(FitError, match="hold a value that is not finite"):
        linear_least_squares(np.ones(3), [1.0, np.nan, 2.0])
