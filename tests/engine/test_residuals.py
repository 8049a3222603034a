"""Residuals of a fit: autocorrelation without the fit's own bias, AR(1) covariance, and tests of "nothing but noise"."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from joulebook.engine import residuals
from joulebook.engine.residuals import (
    ar1_covariance,
    ar1_dof,
    autocorrelation,
    effective_samples,
    independence_test,
    lack_of_fit,
    lag_one,
    misfit_test,
    noise_model,
    runs_test,
    variance_inflation,
)
from joulebook.errors import FitError

Floats = np.ndarray


def parabolas(n: int, hops: int = 1) -> tuple[Floats, Floats]:
    """Return the design of `hops` parabolas of n samples each, and the segment numbers."""
    u = np.linspace(-1.0, 1.0, n)
    one = np.column_stack([np.ones(n), u, u * u])
    design = np.zeros((n * hops, 3 * hops))
    for hop in range(hops):
        design[hop * n : (hop + 1) * n, 3 * hop : 3 * hop + 3] = one
    return design, np.repeat(np.arange(hops), n)


def correlation(segments: Floats, rho: float) -> Floats:
    """Return R itself: ρ^|i−j| within a segment, 0 between segments."""
    index = np.arange(segments.size)
    return rho ** np.abs(index[:, None] - index) * (segments[:, None] == segments)


def annihilator(design: Floats) -> Floats:
    basis = np.linalg.qr(design)[0]
    return np.eye(len(design)) - basis @ basis.T


def draws_of(design: Floats, segments: Floats, rho: float, count: int, seed: int) -> tuple[Floats, Floats]:
    """Return `count` draws of AR(1) noise, shape (count, n), and the residuals that a fit leaves of them."""
    root = np.linalg.cholesky(correlation(segments, rho))
    errors = np.random.default_rng(seed).normal(size=(count, len(design))) @ root.T
    return errors, errors @ annihilator(design)


# --- autocorrelation and effective samples ------------------------------------------------------------------------------


def test_autocorrelation_by_hand() -> None:
    """1, 2, 3, 4: deviations −1.5 −0.5 0.5 1.5, Σd² = 5, lags 1.25, −1.5, −2.25."""
    assert autocorrelation([1.0, 2.0, 3.0, 4.0], 3) == pytest.approx([1.0, 0.25, -0.3, -0.45])
    assert np.isnan(autocorrelation([2.0, 2.0, 2.0], 1)).all()
    with pytest.raises(ValueError, match="4 values have no autocorrelation at lag 4"):
        autocorrelation([1.0, 2.0, 3.0, 4.0], 4)


@pytest.mark.parametrize(
    ("n", "rho", "inflation"),
    [(10, 0.5, 2.60039063), (50, 0.5, 2.92), (100, 0.9, 17.20004781), (100, -0.5, 0.33777778), (20, 0.8, 7.02305843)],
)
def test_variance_inflation(n: int, rho: float, inflation: float) -> None:
    """REFERENCES A1, and the sum 1 + 2Σ(1 − k/n)ρᵏ that it closes."""
    assert variance_inflation(n, rho) == pytest.approx(inflation, abs=5e-9)
    assert variance_inflation(n, rho) == pytest.approx(1 + 2 * sum((1 - k / n) * rho**k for k in range(1, n)), rel=1e-12)
    assert effective_samples(n, rho) == pytest.approx(n / inflation, rel=1e-8)


def test_effective_samples_limits() -> None:
    assert effective_samples(10**6, 0.5) == pytest.approx(10**6 / 3, rel=1e-5)  # n(1−ρ)/(1+ρ)
    assert effective_samples(7, 0.0) == 7.0
    assert effective_samples(1, 0.6) == pytest.approx(1.0)
    for n, rho in [(0, 0.5), (10, 1.0), (10, -1.0), (10, math.nan)]:
        with pytest.raises(ValueError, match="not a stretch of AR"):
            variance_inflation(n, rho)


def test_bias_of_the_sample_variance() -> None:
    """REFERENCES A1: E[s²]/σ² = (n − τ)/(n − 1), 0.682997 for n 20, ρ 0.8; it is tr(MR)/(n − 1) of a fit of the mean."""
    assert ar1_dof(np.ones((20, 1)), 0.8).trace / 19 == pytest.approx(0.682997, abs=5e-7)


# --- lag_one ------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rho", [-0.4, 0.0, 0.3, 0.6])
@pytest.mark.parametrize(("n", "hops"), [(60, 1), (30, 4)])
def test_lag_one_is_free_of_the_bias_of_the_fit(rho: float, n: int, hops: int) -> None:
    """Mean of 400 draws within 4 standard errors and the second-order bias of a ratio, (1 + 4ρ)/N, of the truth.

    (1 + 4ρ)/N: M. G. Kendall, Biometrika 41 (1954) 403; F. H. C. Marriott and J. A. Pope, ibid. 390; from memory.
    """
    design, segments = parabolas(n, hops)
    _, left = draws_of(design, segments, rho, 400, seed=n + hops)
    found = np.array([lag_one(r, design, segments=segments) for r in left])
    slack = (1.0 + 4.0 * abs(rho)) / (n * hops)
    assert abs(found.mean() - rho) < 4.0 * found.std() / 20.0 + slack
    raw = np.array([(r[1:] @ r[:-1]) / (r @ r) for r in left]) if hops == 1 else None
    if raw is not None and rho >= 0.3:
        assert raw.mean() < rho - 3.0 / n  # what the correction is for


@pytest.mark.parametrize("hops", [1, 3])
def test_the_expectations_are_exact(hops: int) -> None:
    """½tr(BMRM) and tr(MR) against the explicit matrices; residuals with just these moments give ρ back."""
    design, segments = parabolas(12, hops)
    rho = 0.55
    m, r = annihilator(design), correlation(segments, rho)
    index = np.arange(segments.size)
    b = (np.abs(index[:, None] - index) == 1) * (segments[:, None] == segments)
    chain = residuals._Chain(segments.size, segments)
    basis = np.linalg.qr(design)[0]
    moved = chain.neighbours(basis)
    above, below = residuals._moments(chain, basis, moved, basis.T @ moved, rho)
    assert moved == pytest.approx(b @ basis, abs=1e-12)
    assert above == pytest.approx(0.5 * np.trace(b @ m @ r @ m), rel=1e-6)
    assert below == pytest.approx(np.trace(m @ r), rel=1e-6)
    assert chain.pairs == b.sum() / 2


def test_white_noise_bias_is_that_of_the_hat_matrix() -> None:
    """E[Σ rᵢrᵢ₊₁] = −σ² Σ Hᵢ,ᵢ₊₁: residuals with this quotient have ρ = 0, first order and exact alike."""
    design, _ = parabolas(20)
    hat = np.eye(20) - annihilator(design)
    quotient = -hat.diagonal(1).sum() / 17
    assert quotient == pytest.approx(-0.15, abs=0.005)  # as the docstring says
    # Build residuals in the range of M with just this quotient, from a smooth and a rough one.
    m = annihilator(design)
    smooth, rough = m @ np.cos(np.arange(20) * 0.9), m @ np.cos(np.arange(20) * 2.5)

    def ratio(x: Floats) -> float:
        return float(x[1:] @ x[:-1] / (x @ x))

    low, high = 0.0, 1.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        if ratio(smooth * (1 - middle) + rough * middle) > quotient:
            low = middle
        else:
            high = middle
    built = smooth * (1 - low) + rough * low
    assert ratio(built) == pytest.approx(quotient, rel=1e-9)
    assert lag_one(built, design, exact=False) == pytest.approx(0.0, abs=1e-9)
    assert lag_one(built, design) == pytest.approx(0.0, abs=1e-6)


def test_lag_one_without_a_fit_counts_pairs() -> None:
    noise = np.array([1.0, 1.0, -1.0, -1.0, 1.0, 1.0])
    assert lag_one(noise) == pytest.approx((3 - 2) / 5)
    # Cut between the second and third, fourth and fifth: only like neighbours are left.
    assert lag_one(noise, segments=[0, 0, 1, 1, 0, 0]) == 0.95
    assert lag_one(noise, segments=[0, 1, 2, 3, 4, 5]) == 0.0
    assert lag_one(np.zeros(6)) == 0.0


def test_lag_one_edge_cases() -> None:
    design, _ = parabolas(3)
    assert lag_one(np.array([1e-9, -1e-9, 1e-9]), design) == 0.0  # no degree of freedom
    design, _ = parabolas(40)
    drift = annihilator(design) @ np.sin(np.linspace(0, 7, 40))
    assert 0.6 < lag_one(drift, design) <= 0.95
    with pytest.raises(ValueError, match="39 segment numbers were given for 40 samples"):
        lag_one(drift, design, segments=np.zeros(39))


# --- AR(1) covariance ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rho", [-0.6, 0.0, 0.4, 0.9])
@pytest.mark.parametrize(("n", "hops"), [(40, 1), (11, 4)])
def test_covariance_against_the_explicit_matrix(rho: float, n: int, hops: int) -> None:
    design, segments = parabolas(n, hops)
    inverse = np.linalg.inv(design.T @ design)
    r = correlation(segments, rho)
    expected = inverse @ design.T @ r @ design @ inverse * 0.25
    found = ar1_covariance(design, rho, 0.5, segments=segments)
    assert found == pytest.approx(expected, abs=1e-7 * np.abs(expected).max())
    m = annihilator(design)
    dof = ar1_dof(design, rho, segments=segments)
    assert dof.trace == pytest.approx(np.trace(m @ r), rel=1e-6)
    assert dof.effective == pytest.approx(np.trace(m @ r) ** 2 / np.trace(m @ r @ m @ r), rel=1e-6)


def test_segment_numbers_that_come_back_do_not_join() -> None:
    design, segments = parabolas(10, 3)
    again = np.array([0, 1, 0])[segments]
    assert ar1_covariance(design, 0.5, 1.0, segments=again) == pytest.approx(ar1_covariance(design, 0.5, 1.0, segments=segments))
    assert ar1_dof(design, 0.5, segments=again) == pytest.approx(ar1_dof(design, 0.5, segments=segments))


def test_covariance_of_the_mean_is_the_variance_inflation() -> None:
    """A fit of a mean: σ²/n times REFERENCES A1."""
    assert ar1_covariance(np.ones((50, 1)), 0.5, 1.0)[0, 0] == pytest.approx(2.92 / 50, rel=1e-7)


def test_covariance_against_simulation() -> None:
    """4000 draws of AR(1) noise, ρ 0.5: variances within 4 standard errors √(2/4000), covariances likewise."""
    count, rho = 4000, 0.5
    design, segments = parabolas(15, 2)
    errors, left = draws_of(design, segments, rho, count, seed=3)
    estimates = errors @ np.linalg.pinv(design).T
    expected = ar1_covariance(design, rho, 1.0, segments=segments)
    size = np.sqrt(np.outer(expected.diagonal(), expected.diagonal()))
    assert (np.abs(np.cov(estimates.T) - expected) / size).max() < 4.0 * math.sqrt(2.0 / count)
    # The residual sum of squares has the mean and variance that the degrees of freedom say.
    sums = (left**2).sum(axis=1)
    dof = ar1_dof(design, rho, segments=segments)
    assert abs(sums.mean() / dof.trace - 1.0) < 4.0 * math.sqrt(2.0 / dof.effective / count)
    spread = 2.0 * sums.mean() ** 2 / sums.var()
    assert spread == pytest.approx(dof.effective, rel=4.0 * math.sqrt(2.0 / count) * math.sqrt(1.0 + 6.0 / dof.effective))


def test_white_noise_needs_no_correction() -> None:
    design, segments = parabolas(25)
    assert ar1_dof(design, 0.0, segments=segments) == pytest.approx((22.0, 22.0))
    assert ar1_covariance(design, 0.0, 2.0) == pytest.approx(4.0 * np.linalg.inv(design.T @ design), rel=1e-9)


def test_noise_model_is_its_parts() -> None:
    design, segments = parabolas(20, 3)
    _, left = draws_of(design, segments, 0.4, 1, seed=5)
    model = noise_model(left[0], design, segments=segments)
    rho = lag_one(left[0], design, segments=segments)
    dof = ar1_dof(design, rho, segments=segments)
    assert model.rho == pytest.approx(rho)
    assert (model.trace, model.effective) == pytest.approx(tuple(dof))
    assert model.sd == pytest.approx(math.sqrt(left[0] @ left[0] / dof.trace))
    assert model.covariance == pytest.approx(ar1_covariance(design, rho, model.sd, segments=segments), rel=1e-6, abs=1e-15)


def test_noise_model_keeps_rho_within_its_limits() -> None:
    design, _ = parabolas(40)
    rough = annihilator(design) @ np.cos(np.arange(40) * 2.6)
    assert noise_model(rough, design).rho < -0.3
    white = noise_model(rough, design, least_rho=0.0)
    assert white.rho == 0.0
    assert white.sd == pytest.approx(math.sqrt(rough @ rough / 37))
    with pytest.raises(FitError, match="3 samples and 3 parameters leave no residual") as caught:
        noise_model(np.zeros(3), parabolas(3)[0])
    assert "longer stretch" in caught.value.remedy


@pytest.mark.parametrize("rho", [1.0, -1.2, math.nan])
def test_rho_out_of_range_is_refused(rho: float) -> None:
    for function in (lambda: ar1_covariance(np.ones((5, 1)), rho, 1.0), lambda: ar1_dof(np.ones((5, 1)), rho)):
        with pytest.raises(ValueError, match="is not below 1"):
            function()


def test_singular_derivatives_are_refused() -> None:
    t = np.linspace(0.0, 1.0, 9)
    with pytest.raises(FitError, match="singular: column 1 depends on the columns before it"):
        ar1_covariance(np.column_stack([t, 2.0 * t]), 0.2, 1.0)
    with pytest.raises(FitError, match="singular: there are more columns than rows"):
        ar1_covariance(np.ones((2, 3)) * np.array([[1, 2, 3], [4, 9, 1]]), 0.2, 1.0)


# --- tests of misfit ------------------------------------------------------------------------------------------------------------


def test_lack_of_fit_is_the_analysis_of_variance() -> None:
    """Group means beyond a common mean: the one-way F of scipy.stats."""
    rng = np.random.default_rng(1)
    groups = [rng.normal(0.3 * k, 1.0, 8) for k in range(3)]
    y = np.concatenate(groups)
    mean = np.ones((24, 1))
    indicators = np.repeat(np.eye(3), 8, axis=0)
    found = lack_of_fit(y - y.mean(), mean, indicators)
    expected = stats.f_oneway(*groups)
    assert found.statistic == pytest.approx(expected.statistic, rel=1e-10)
    assert found.p == pytest.approx(expected.pvalue, rel=1e-10)
    assert (found.dof1, found.dof2) == (2.0, 21.0)  # the third indicator is spanned already


def test_lack_of_fit_on_the_gum_h5_data() -> None:
    """The analysis of variance of JCGM 100:2008 H.5, Table H.9 (REFERENCES U4): F = 2.25, F₀.₉₅(9, 40) = 2.12, F₀.₉₇₅ = 2.45.

    Ten days of five values each, made here to have the published means (µV above 10 V) and standard deviations exactly.
    """
    means = np.array([172.0, 116, 13, 144, 106, 31, 60, 125, 163, 41])
    sds = np.array([60.0, 77, 111, 101, 67, 93, 80, 73, 88, 86])
    pattern = np.array([-2.0, -1.0, 0.0, 1.0, 2.0]) / math.sqrt(2.5)
    y = (means[:, None] + sds[:, None] * pattern).ravel()
    days = np.repeat(np.eye(10), 5, axis=0)
    found = lack_of_fit(y - y.mean(), np.ones((50, 1)), days)
    assert found.statistic == pytest.approx(2.25, abs=0.02)
    assert (found.dof1, found.dof2) == (9.0, 40.0)
    assert 0.025 < found.p < 0.05  # F₉₅ = 2.12 is exceeded, F₉₇.₅ = 2.45 is not


def test_lack_of_fit_finds_a_cubic_and_only_then() -> None:
    """White noise alone is called misfit at 5 % in 5 % of 1000 draws within 4 standard errors; a cubic of 3 sd nearly always."""
    design, segments = parabolas(40)
    u = np.linspace(-1.0, 1.0, 40)
    extra = np.column_stack([u**3, u**4])
    _, left = draws_of(design, segments, 0.0, 1000, seed=9)
    alarms = np.mean([lack_of_fit(r, design, extra).p < 0.05 for r in left])
    assert abs(alarms - 0.05) < 4.0 * math.sqrt(0.05 * 0.95 / 1000)
    bent = annihilator(design) @ (3.0 * u**3 * 2.5)
    assert np.mean([lack_of_fit(r + bent, design, extra).p < 0.05 for r in left[:200]]) > 0.95


def test_lack_of_fit_whitens_correlated_noise() -> None:
    """Slow noise, ρ 0.5, passes for misfit in every third record unless its correlation is taken out."""
    design, segments = parabolas(30, 3)
    u = np.tile(np.linspace(-1.0, 1.0, 30), 3)
    _, left = draws_of(design, segments, 0.5, 600, seed=10)
    naive = np.mean([lack_of_fit(r, design, u**3).p < 0.05 for r in left])
    white = np.mean([lack_of_fit(r, design, u**3, rho=0.5, segments=segments).p < 0.05 for r in left])
    assert naive > 0.12
    assert abs(white - 0.05) < 4.0 * math.sqrt(0.05 * 0.95 / 600)


def test_lack_of_fit_needs_something_to_test() -> None:
    design, _ = parabolas(10)
    with pytest.raises(FitError, match="10 samples and 3 parameters leave nothing to test 1 more columns"):
        lack_of_fit(np.ones(10), design, design[:, 1])
    with pytest.raises(FitError, match="leave nothing to test 7 more columns") as caught:
        lack_of_fit(np.ones(10), design, np.random.default_rng(0).normal(size=(10, 7)))
    assert "longer stretch" in caught.value.remedy


def test_misfit_against_independent_noise() -> None:
    """χ² and F tails of scipy.stats; F₀.₉₅(9, 40) = 2.12 (GUM H.5, REFERENCES U4)."""
    found = misfit_test(30.0, 15.0, 1.0)
    assert found.statistic == pytest.approx(2.0)
    assert found.p == pytest.approx(stats.chi2.sf(30.0, 15))
    ratio = 2.124
    assert misfit_test(9.0 * ratio, 9.0, 1.0, sd_dof=40.0).p == pytest.approx(0.05, abs=2e-4)
    with pytest.raises(ValueError, match="must all be above 0"):
        misfit_test(1.0, 0.0, 1.0)


@pytest.mark.parametrize("hops", [1, 3])
def test_independence_test_has_the_moments_of_the_design(hops: int) -> None:
    """Against the explicit matrices, and 5 % of alarms from 1000 draws of white noise within 4 standard errors and 1 %."""
    design, segments = parabolas(25, hops)
    _, left = draws_of(design, segments, 0.0, 1000, seed=12)
    m = annihilator(design)
    index = np.arange(segments.size)
    a = 0.5 * (np.abs(index[:, None] - index) == 1) * (segments[:, None] == segments)
    dof = segments.size - design.shape[1]
    first, second = np.trace(m @ a), np.trace(m @ a @ m @ a)
    mean, variance = first / dof, 2 * (dof * second - first**2) / (dof**2 * (dof + 2))
    r = left[0]
    expected = ((r @ a @ r) / (r @ r) - mean) / math.sqrt(variance)
    found = independence_test(r, design, segments=segments)
    assert found.statistic == pytest.approx(expected, rel=1e-9)
    assert found.p == pytest.approx(2 * stats.norm.sf(abs(expected)), rel=1e-9)
    alarms = np.mean([independence_test(r, design, segments=segments).p < 0.05 for r in left])
    assert abs(alarms - 0.05) < 4.0 * math.sqrt(0.05 * 0.95 / 1000) + 0.01
    _, slow = draws_of(design, segments, 0.7, 200, seed=13)
    assert np.mean([independence_test(r, design, segments=segments).statistic > 1.96 for r in slow]) > 0.5


def test_independence_test_without_neighbours() -> None:
    design, _ = parabolas(10)
    assert independence_test(np.ones(10), design, segments=np.arange(10)).p == 1.0
    assert independence_test(np.zeros(10), design).p == 1.0


def test_runs_test_by_hand() -> None:
    """++−−+−++: 5 above, 3 below, 5 runs; mean 1 + 30/8 = 4.75, variance 3.75·2.75/7."""
    signs = np.array([1, 1, -1, -1, 1, -1, 1, 1.0])
    found = runs_test(signs)
    assert found.statistic == pytest.approx(-0.0, abs=1e-12)  # a quarter of a run from the mean, within the correction
    smooth = np.repeat([1.0, -1.0], 10)
    mean, variance = 11.0, 10.0 * 9.0 / 19.0
    assert runs_test(smooth).statistic == pytest.approx((mean - 2.0 - 0.5) / math.sqrt(variance))
    assert runs_test(smooth).p == pytest.approx(2 * stats.norm.sf((mean - 2.5) / math.sqrt(variance)))
    assert runs_test(np.tile([1.0, -1.0], 10)).statistic < -3.0
    assert runs_test(np.array([1.0, 0.0, 2.0])).p == 1.0
    assert runs_test(np.array([1.0, -1.0])).p == 1.0
