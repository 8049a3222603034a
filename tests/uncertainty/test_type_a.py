"""Repeated readings against the GUM, the NIST reference data and published averages."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from joulebook.errors import InputError
from joulebook.uncertainty import (
    between_within,
    mean_of_readings,
    pooled_standard_deviation,
    simultaneous_readings,
    weighted_mean,
)

STRD = Path(__file__).parents[1] / "data" / "strd" / "univariate"

# U4: JCGM 100:2008, H.5, Table H.9: mean (V) and standard deviation (µV) of five readings on each of ten days.
DAY_MEANS = 10.0 + 1e-6 * np.array([172, 116, 13, 144, 106, 31, 60, 125, 163, 41])
DAY_SDS = 1e-6 * np.array([60, 77, 111, 101, 67, 93, 80, 73, 88, 86])


def digits_right(value, certified):
    """The number of correct significant digits, as NIST counts them: −log10 of the relative error, at most 15."""
    return 15.0 if value == certified else min(15.0, -math.log10(abs(value - certified) / abs(certified)))


# N7 to N9: NIST StRD, univariate; the certified values stand in the files themselves.
@pytest.mark.parametrize(
    ("name", "n", "least"),
    [
        ("Lew", 200, 13),
        ("Lottery", 218, 13),
        ("Mavro", 50, 12),
        ("Michelso", 100, 13),
        ("NumAcc1", 3, 15),
        ("NumAcc2", 1001, 14),
        ("NumAcc3", 1001, 9),
        ("NumAcc4", 1001, 8),
    ],
)
def test_nist_reference_data(name, n, least):
    text = (STRD / f"{name}.dat").read_text(encoding="latin-1")
    numbers = re.split(r"^Data: *Y.*$", text, flags=re.MULTILINE)[1]
    readings = np.array([float(word) for word in numbers.split() if not word.startswith("--")])
    mean = float(re.search(r"Sample Mean:?\s+(?:ybar:)?\s*(\S+)", text).group(1))
    sd = float(re.search(r"Sample Standard Deviation \(denom\. = n-1\):?\s+(?:s:)?\s*(\S+)", text).group(1))
    result = mean_of_readings(readings)
    assert digits_right(result.mean, mean) >= 14
    assert digits_right(result.sd, sd) >= least
    assert (result.n, result.dof) == (n, n - 1)
    assert result.u == pytest.approx(result.sd / math.sqrt(n), rel=1e-15)


def test_scatter_far_below_the_value():
    # NumAcc4's trap made worse: what is left of the digits at 1e9 is exact in binary.
    readings = 1e9 + np.array([0.25, -0.25] * 50)
    assert mean_of_readings(readings).sd == pytest.approx(0.25 * math.sqrt(100 / 99), rel=1e-14)
    assert mean_of_readings([7.0, 7.0, 7.0]).sd == 0.0


@pytest.mark.parametrize(
    ("n", "percent"),
    # U7: JCGM 100, Table E.1: the standard deviation of s, in per cent of σ, of n normal readings.
    [(2, 76), (3, 52), (4, 42), (5, 36), (10, 24), (20, 16), (30, 13), (50, 10)],
)
def test_how_well_a_standard_deviation_is_known(n, percent):
    rng = np.random.default_rng(n)
    s = np.array([mean_of_readings(row).sd for row in rng.standard_normal((4000, n))])
    # 4000 trials know a spread of s to 1.1 %, and for n = 2, where s has longer tails, to 2 %.
    assert 100.0 * s.std() / s.mean() == pytest.approx(percent, abs=0.5 + 4 * 0.02 * percent)


def test_between_days():
    result = between_within(DAY_MEANS, DAY_SDS, 5)
    assert result.mean == pytest.approx(10.000097, abs=5e-7)
    assert result.sd_means * 1e6 == pytest.approx(57.0, abs=0.5)
    assert result.sd_within * 1e6 == pytest.approx(85.0, abs=0.5)
    assert result.f == pytest.approx(2.25, abs=0.02)
    assert result.f_critical == pytest.approx(2.12, abs=0.005)
    assert result.differ
    assert (result.u * 1e6, result.dof) == (pytest.approx(18.0, abs=0.5), 9.0)
    assert (result.u_pooled * 1e6, result.dof_pooled) == (pytest.approx(13.0, abs=0.5), 49.0)
    assert result.sd_between * 1e6 == pytest.approx(43.0, abs=0.5)
    # At the 2.5 % level (F = 2.45) the days would agree.
    assert 0.025 < result.probability < 0.05


def test_between_agrees_with_scipy():
    rng = np.random.default_rng(3)
    table = rng.normal(5.0, 0.3, (6, 8)) + rng.normal(0.0, 0.2, (6, 1))
    result = between_within(table.mean(axis=1), table.std(axis=1, ddof=1), 8)
    peer = stats.f_oneway(*table)
    assert (result.f, result.probability) == pytest.approx((peer.statistic, peer.pvalue), rel=1e-10)
    assert result.u_pooled == pytest.approx(table.std(ddof=1) / math.sqrt(48), rel=1e-12)


def test_groups_that_agree():
    result = between_within([1.0, 1.001, 0.999], [0.1, 0.1, 0.1], 4)
    assert not result.differ
    assert result.sd_between == 0.0
    same = between_within([1.0, 2.0], [0.0, 0.0], 4)
    assert (same.f, same.probability, same.differ) == (math.inf, 0.0, True)
    nothing = between_within([1.0, 1.0], [0.0, 0.0], 4)
    assert (nothing.f, nothing.u_pooled, nothing.differ) == (1.0, 0.0, False)


def test_pooled_standard_deviation():
    s, dof = pooled_standard_deviation([3.0, 4.0], [2, 5])
    assert (s, dof) == (pytest.approx(math.sqrt((9.0 + 4 * 16.0) / 5.0), rel=1e-15), 5.0)
    s, dof = pooled_standard_deviation(DAY_SDS, [5] * 10)
    assert (s * 1e6, dof) == (pytest.approx(85.0, abs=0.5), 40.0)


def test_simultaneous_readings_agree_with_numpy():
    rng = np.random.default_rng(4)
    table = 1e6 + rng.standard_normal((3, 7))
    block = simultaneous_readings(("a", "b", "c"), table)
    assert block.covariance == pytest.approx(np.cov(table) / 7, rel=1e-9)
    assert (block.names, block.dof, block.label) == (("a", "b", "c"), 6.0, "simultaneous readings")


def test_weighted_mean_of_nine_laboratories():
    # S1: R. N. Kacker, Metrologia 41 (2004) 132, as computed by metafor (fixed effect): mean, its u, Q and Birge ratio.
    values = [61.0, 61.4, 62.21, 62.3, 62.34, 62.6, 62.7, 62.84, 65.9]
    variances = [0.2025, 1.21, 0.09, 0.2025, 0.3844, 0.5625, 0.0676, 0.0225, 1.8225]
    result = weighted_mean(values, np.sqrt(variances))
    assert result.mean == pytest.approx(62.5833970940, abs=1e-9)
    assert result.u == pytest.approx(0.1078457055, abs=1e-9)
    assert result.chi_squared == pytest.approx(24.801897741835, abs=1e-9)
    assert result.birge == pytest.approx(1.760749, abs=5e-7)
    assert result.u_scatter == pytest.approx(result.u * result.birge, rel=1e-15)
    assert result.probability == pytest.approx(stats.chi2.sf(24.801897741835, 8), rel=1e-9)
    assert result.n == 9


def test_weighted_mean_of_key_comparison():
    # S3: CCQM-K25, PCB 105: values as read; weighted mean, Q and Birge ratio recomputed.
    values, u = [10.21, 10.9, 10.94, 10.58, 10.81, 9.62, 10.8], [0.381, 0.25, 0.13, 0.41, 0.445, 0.196, 0.093]
    result = weighted_mean(values, u)
    assert (result.mean, result.chi_squared, result.birge) == pytest.approx((10.68857, 37.337, 2.4946), abs=1e-3)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: mean_of_readings([1.0]), "1 readings are too few"),
        (lambda: mean_of_readings([[1.0, 2.0]]), "2 readings are too few|Give a list"),
        (lambda: mean_of_readings([1.0, math.nan, 2.0]), "1 of 3 readings are not finite"),
        (lambda: pooled_standard_deviation([1.0, 2.0], [3]), "2 standard deviations go with 1 numbers"),
        (lambda: pooled_standard_deviation([1.0, -2.0], [3, 3]), "smallest standard deviation is -2"),
        (lambda: pooled_standard_deviation([1.0, 2.0], [3, 1]), "smallest set has 1 readings"),
        (lambda: between_within([1.0, 2.0], [0.1], 3), "2 group means go with 1 standard deviations"),
        (lambda: between_within([1.0, 2.0], [0.1, 0.1], 1), "smallest set has 1 readings"),
        (lambda: between_within([1.0], [0.1], 3), "1 group means are too few"),
        (lambda: simultaneous_readings(("a",), [[1.0, 2.0], [3.0, 4.0]]), r"1 names go with readings of shape \(2, 2\)"),
        (lambda: simultaneous_readings(("a",), [[1.0]]), "1 readings are too few"),
        (lambda: weighted_mean([1.0, 2.0], [0.1]), "1 uncertainties are too few"),
        (lambda: weighted_mean([1.0, 2.0], [0.1, 0.0]), "smallest of which is 0"),
        (lambda: weighted_mean([1.0, 2.0, 3.0], [0.1, 0.2]), "3 values go with 2 uncertainties"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(InputError, match=message):
        call()
