"""Noise seen from the samples alone: scatter, quantisation step and floor."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import norm

from joulebook.engine import noise
from joulebook.engine.noise import difference_noise, noise_floor, quantum, robust_scale

SD = 5e-4


def hops(t: np.ndarray, period: float = 1.3) -> np.ndarray:
    """Parabolas end to end, with a kink of velocity at each end, as after a hard stop."""
    phase = t % period
    return 0.3 + 0.9 * phase * (period - phase)


def test_consistency_factors_are_those_of_the_normal_distribution() -> None:
    mad, quartile, cut, trimmed = noise._MAD, noise._QUARTILE, noise._TRIM, noise._TRIMMED
    assert mad == pytest.approx(1.0 / norm.ppf(0.75), rel=1e-12)
    assert quartile == pytest.approx(norm.ppf(0.625), rel=1e-12)
    inside = 2.0 * norm.cdf(cut) - 1.0
    assert trimmed == pytest.approx(math.sqrt(1.0 - 2.0 * cut * norm.pdf(cut) / inside), rel=1e-12)


def test_the_mad_factor_is_the_published_one() -> None:
    """ISO 13528:2022, MADe uses 1.483; to six digits 1.482602 (REFERENCES S8)."""
    mad = noise._MAD
    assert mad == pytest.approx(1.482602, abs=5e-7)


def test_floor_of_a_quantised_reading() -> None:
    """GUM F.2.2.1: u = 0.29 δx for a resolution of δx."""
    assert noise_floor(0.0, 1e-3) == pytest.approx(0.29e-3, abs=0.005e-3)
    assert noise_floor(0.0, 1.715e-4) == pytest.approx(1.715e-4 / math.sqrt(12.0))
    assert noise_floor(4e-4, 1e-3) == 4e-4


def test_robust_scale() -> None:
    # Data of ISO 5725-5, creosote (REFERENCES S5); worked by hand: median 20.300, deviations' median 0.640.
    creosote = [24.140, 20.155, 19.500, 20.300, 20.705, 17.570, 20.100, 20.940, 21.185]
    assert robust_scale(creosote) == pytest.approx(1.482602 * 0.640, rel=1e-6)
    assert robust_scale([1.0, 2.0, 4.0, 9.0]) == pytest.approx(1.482602 * 1.5, rel=1e-6)
    assert robust_scale([1.0, math.nan, 1.0, 50.0]) == 0.0
    assert math.isnan(robust_scale([math.nan]))


@pytest.mark.parametrize("n", [8, 9, 200, 201])
def test_robust_scale_is_scipys(n: int) -> None:
    from scipy.stats import median_abs_deviation

    x = np.random.default_rng(n).standard_t(3, n)
    assert robust_scale(x) == pytest.approx(median_abs_deviation(x, scale="normal"), rel=1e-12)


# --- quantum -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("step", "decimals", "found"),
    [
        (1e-3, 3, 1e-3),  # printed to 1 mm
        (1e-2, 2, 1e-2),  # printed to 10 mm
        (1e-4, 4, 1e-4),
        (5e-4, 5, 5e-4),  # half millimetres, printed with more digits
        (1.715e-4, 6, 1.715e-4),  # 1 µs of echo time at 343 m/s (BENCH_FACTS)
        (1.715e-4, 5, 1.715e-4),  # the same, printed to 10 µm
        (1.715e-4, 3, 1e-3),  # the same, printed to 1 mm: the coarser step rules
    ],
)
@pytest.mark.parametrize("n", [60, 200, 2000])
def test_quantum_of_a_launch(step: float, decimals: int, found: float, n: int) -> None:
    rng = np.random.default_rng(n)
    t = np.linspace(0.0, 5.0, n)
    x = np.round(np.round((hops(t) + rng.normal(0.0, SD, n)) / step) * step, decimals)
    assert quantum(x) == pytest.approx(found, rel=0.01)


def test_quantum_of_an_unquantised_record_is_zero() -> None:
    for seed in range(40):
        rng = np.random.default_rng(seed)
        n = int(rng.integers(3, 400))
        assert quantum(hops(np.linspace(0.0, 5.0, n)) + rng.normal(0.0, SD, n)) == 0.0


def test_quantum_looks_through_the_rounding_of_floats() -> None:
    rng = np.random.default_rng(1)
    millimetres = np.round(1e3 * hops(np.linspace(0.0, 5.0, 150)) + rng.normal(0.0, 0.5, 150))
    assert quantum(millimetres * 0.001) == pytest.approx(1e-3)
    assert quantum((millimetres / 10.0) / 100.0) == pytest.approx(1e-3)
    assert quantum((millimetres * 0.001).astype(np.float32)) == pytest.approx(1e-3)
    assert quantum(0.8731234 - 1.003 * millimetres * 0.001) == pytest.approx(1.003e-3, rel=1e-6)


def test_quantum_survives_a_few_strange_values() -> None:
    rng = np.random.default_rng(2)
    x = np.round(hops(np.linspace(0.0, 5.0, 150)) / 1.715e-4 + rng.normal(0.0, 2.0, 150)) * 1.715e-4
    x[[20, 90]] = [2.98765431, 0.15]
    assert quantum(x) == pytest.approx(1.715e-4, rel=0.01)


@pytest.mark.parametrize(
    ("values", "found"),
    [
        ([], 0.0),
        ([0.25], 0.0),
        ([0.25, 0.25, 0.25], 0.0),
        ([math.nan, math.nan, 0.25], 0.0),
        ([0.250, 0.251, 0.250], 0.001),
        ([0.1, 0.7], 0.0),  # two values share 0.6 by chance
        ([0.123, 0.200, 0.914], 0.001),
        ([2.0, 4.0, 8.0, 10.0], 1.0),  # four even numbers do not prove a step of 2
    ],
)
def test_quantum_of_few_values_is_never_spurious(values: list[float], found: float) -> None:
    assert quantum(values) == pytest.approx(found)


def test_quantum_of_a_few_samples_never_exceeds_the_printed_digit_by_chance() -> None:
    """Five samples printed to 1 mm: all of them whole centimetres once in 10⁵, so never in 300 trials."""
    rng = np.random.default_rng(3)
    assert max(quantum(np.round(0.3 + 0.5 * rng.random(5), 3)) for _ in range(300)) == pytest.approx(1e-3)


# --- difference_noise -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate", [10, 20, 50, 100])
def test_noise_of_a_hopping_cart(rate: int) -> None:
    """The mean over 200 records is right within 4 standard errors and 3 % for what the kinks leave."""
    rng = np.random.default_rng(rate)
    t = np.arange(5 * rate) / rate
    found = np.array([difference_noise(t, hops(t + rng.random()) + rng.normal(0.0, SD, t.size)) for _ in range(200)]) / SD
    assert abs(found.mean() - 1.0) < 4.0 * found.std() / math.sqrt(200) + 0.03
    assert found.std() < 2.0 / math.sqrt(t.size)


def test_noise_at_uneven_times() -> None:
    rng = np.random.default_rng(11)
    found = []
    for _ in range(200):
        t = np.cumsum(rng.uniform(0.03, 0.07, 100))
        found.append(difference_noise(t, 0.3 + t - 0.4 * t * t + rng.normal(0.0, SD, 100)) / SD)
    assert abs(np.mean(found) - 1.0) < 4.0 * np.std(found) / math.sqrt(200) + 0.01


def test_noise_of_a_parabola_without_noise_is_rounding() -> None:
    t = np.cumsum(np.random.default_rng(5).uniform(0.03, 0.07, 100))
    assert difference_noise(t, 0.3 + t - 0.4 * t * t) < 1e-14


@pytest.mark.parametrize("spoiled", [0.2, 0.5])
def test_spoiled_stencils_do_not_count(spoiled: float) -> None:
    """A cart kicked at random for part of the record does not change the noise of the rest by more than a tenth."""
    rng = np.random.default_rng(6)
    found = []
    for _ in range(100):
        x = rng.normal(0.0, SD, 200)
        x[: int(200 * spoiled)] += rng.uniform(-0.2, 0.2, int(200 * spoiled))
        found.append(difference_noise(np.arange(200) * 0.05, x) / SD)
    assert abs(np.mean(found) - 1.0) < 0.1


def test_missing_samples_and_gaps_are_left_out() -> None:
    rng = np.random.default_rng(8)
    t = np.arange(200) * 0.05
    x = 0.2 * np.sin(t) + rng.normal(0.0, SD, 200)
    whole = difference_noise(t, x)
    holed = x.copy()
    holed[50:60] = np.nan
    assert difference_noise(t, holed) == pytest.approx(whole, rel=0.1)
    # A jump of half a metre during a pause of ten seconds belongs to no stencil.
    paused = t + np.where(np.arange(200) >= 100, 10.0, 0.0)
    assert difference_noise(paused, x + np.where(np.arange(200) >= 100, 0.5, 0.0)) == pytest.approx(whole, rel=0.1)
    repeated = np.repeat(t, 2)
    assert math.isnan(difference_noise(repeated, np.repeat(x, 2)))


def test_coarse_quantisation_collapses_to_the_floor() -> None:
    """A still target whose noise lies below the step shows none (BENCH_FACTS); the floor q/√12 stands in."""
    rng = np.random.default_rng(9)
    t = np.arange(100) * 0.05
    x = np.round((0.4 + rng.normal(0.0, 1e-4, 100)) / 1e-3) * 1e-3
    assert difference_noise(t, x) < 1e-9
    assert difference_noise(t, x, step=quantum([0.400, 0.401])) == pytest.approx(1e-3 / math.sqrt(12.0))


@pytest.mark.parametrize("n", [0, 1, 3])
def test_too_few_samples_have_no_noise(n: int) -> None:
    assert math.isnan(difference_noise(np.arange(n), np.zeros(n)))
