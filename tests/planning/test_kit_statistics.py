"""The kit check's statistics against published values, against scipy, and their false alarms by drawing."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from joulebook.engine.noise import robust_scale
from joulebook.planning.kit_measures import Measure, spread_uncertainty
from joulebook.planning.kit_statistics import change_probability, class_limit, holm, standings, z_prime
from joulebook.planning.kit_table import KIT_MEASURES

SPECS = {spec.name: spec for spec in KIT_MEASURES}
LEVEL, SCATTER = SPECS["friction"], SPECS["noise_moving"]


def level(value: float, u: float, dof: float = math.inf) -> Measure:
    return Measure("friction", value, u, u, dof, 5)


def scatter(value: float, dof: float) -> Measure:
    u = value * spread_uncertainty(dof)
    return Measure("noise_moving", value, u, u, dof, int(dof) + 1)


# JCGM 100, Table E.1 (REFERENCES U7): relative standard deviation of the experimental standard deviation of n readings, in %.
@pytest.mark.parametrize(("n", "percent"), [(2, 76), (3, 52), (4, 42), (5, 36), (10, 24), (20, 16), (30, 13), (50, 10)])
def test_uncertainty_of_a_standard_deviation(n: int, percent: float) -> None:
    assert 100.0 * spread_uncertainty(n - 1.0) == pytest.approx(percent, abs=0.5)


def test_made_factor() -> None:
    """REFERENCES S8: the median absolute deviation times 1.482602 estimates the standard deviation of normal values."""
    assert robust_scale([-1.0, 0.0, 1.0]) == pytest.approx(1.482602, abs=1e-6)
    found = standings([level(x, 1e-9) for x in (-2.0, -1.0, 0.0, 1.0, 2.0)], LEVEL, alpha=0.01)
    assert found is not None
    assert found.made == pytest.approx(1.482602, abs=1e-6)
    assert found.u == pytest.approx(1.25 * 1.482602 / math.sqrt(5.0), abs=1e-6)


def test_z_prime_of_a_published_round() -> None:
    """ISO 13528 E.4, mercury (REFERENCES S9): x_pt 0.044 with U 0.0082 (k = 2), σ_pt 0.0066; L04 0.013 has z′ −3.99."""
    assert z_prime(np.array([0.013]), 0.044, 0.0066, 0.0041)[0] == pytest.approx(-3.99, abs=0.005)


def test_a_published_outlier_stands_out() -> None:
    """NIST's example of Grubbs' test, uranium (REFERENCES S12, from memory): 245.57 is the outlier, the others are none."""
    values = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    found = standings([level(x, 0.01) for x in values], LEVEL, alpha=0.01)
    assert found is not None
    assert [abs(z) > found.limit for z in found.z] == [False] * 7 + [True]


def test_a_small_class_has_no_standing() -> None:
    assert standings([level(x, 0.1) for x in (1.0, 2.0, 3.0, 9.0)], LEVEL, alpha=0.01) is None


def test_scatter_is_compared_by_its_logarithm() -> None:
    found = standings([scatter(x, 200.0) for x in (0.5, 1.0, 1.0, 1.0, 2.0)], SCATTER, alpha=0.01)
    assert found is not None
    assert found.logarithmic
    assert found.median == pytest.approx(0.0)
    assert found.z[0] == pytest.approx(-found.z[-1])


def test_benches_that_agree_too_well_are_not_told_apart() -> None:
    """Equal to a thousandth, but each known to a tenth only: the measured spread must not be taken for the true one."""
    found = standings([level(1.0 + 0.001 * i, 0.1) for i in range(6)] + [level(1.05, 0.1)], LEVEL, alpha=0.01)
    assert found is not None
    assert max(map(abs, found.z)) < 1.0


@pytest.mark.parametrize("benches", [6, 12])
def test_limit_of_the_class_holds_by_drawing(benches: int) -> None:
    """In classes of equal benches the share with any beyond the limit is alpha, to four standard deviations of both drawings."""
    alpha, draws = 0.02, 8_000
    limit = class_limit(benches, alpha)
    values = np.random.default_rng(5).standard_normal((draws, benches))
    beyond = 0
    for row in values:
        median, made = float(np.median(row)), robust_scale(row)
        beyond += bool(np.abs(z_prime(row, median, made, 1.25 * made / math.sqrt(benches))).max() > limit)
    spread = math.sqrt(alpha * (1.0 - alpha) * (1.0 / draws + 1.0 / 20_000))
    assert limit > 3.0
    assert beyond / draws == pytest.approx(alpha, abs=4.0 * spread)


def test_limit_is_never_below_the_action_signal() -> None:
    """ISO 13528 calls |z| of 3 and more an action signal; a lenient alpha does not go below."""
    assert class_limit(20, 0.9) == 3.0


def test_change_of_a_level_is_welch() -> None:
    """Against scipy's Welch test from the same means, standard deviations and sizes."""
    before, now = level(10.0, 2.0 / math.sqrt(5), 4.0), level(13.0, 3.0 / math.sqrt(8), 7.0)
    expected = stats.ttest_ind_from_stats(10.0, 2.0, 5, 13.0, 3.0, 8, equal_var=False).pvalue
    assert change_probability(before, now, LEVEL) == pytest.approx(expected, rel=1e-9)
    assert change_probability(now, before, LEVEL) == pytest.approx(expected, rel=1e-9)


def test_change_of_a_scatter_is_f() -> None:
    """Against scipy's F distribution, both tails; the same whichever way round."""
    before, now = scatter(1.0, 10.0), scatter(2.0, 6.0)
    expected = 2.0 * stats.f.sf(4.0, 6.0, 10.0)
    assert change_probability(before, now, SCATTER) == pytest.approx(expected, rel=1e-9)
    assert change_probability(now, before, SCATTER) == pytest.approx(expected, rel=1e-9)


def test_what_cannot_be_compared() -> None:
    assert math.isnan(change_probability(scatter(1.0, 5.0), Measure("noise_moving", 0.0, 0.0, 0.0, 5.0, 6), SCATTER))
    assert math.isnan(change_probability(level(1.0, 0.0), level(2.0, 0.0), LEVEL))


def test_holm() -> None:
    """Holm (1979): the smallest of m times m, the next times m − 1, never falling; NaN does not count."""
    assert holm([0.01, 0.04, 0.03, 0.02]) == pytest.approx([0.04, 0.06, 0.06, 0.06])
    found = holm([0.01, math.nan, 0.5])
    assert found[0] == pytest.approx(0.02)
    assert math.isnan(found[1])
    assert found[2] == pytest.approx(0.5)
    assert holm([]) == []


def test_false_alarms_of_a_whole_check_by_drawing() -> None:
    """When nothing has changed, one comparison is below 5 % in 5 % of cases, and any of a check, after Holm, in at most 5 %."""
    rng = np.random.default_rng(99)
    checks, benches, dof = 600, 8, 6.0
    single = family = 0
    for _ in range(checks):
        probabilities = []
        for _ in range(benches):
            u = np.sqrt(rng.chisquare(dof, 2) / dof)
            x = rng.standard_normal(2)
            probabilities.append(change_probability(level(x[0], u[0], dof), level(x[1], u[1], dof), LEVEL))
            s = np.sqrt(rng.chisquare(dof, 2) / dof)
            probabilities.append(change_probability(scatter(s[0], dof), scatter(s[1], dof), SCATTER))
        single += sum(p < 0.05 for p in probabilities)
        family += min(holm(probabilities)) <= 0.05
    count = checks * benches * 2
    # Welch's degrees of freedom are an approximation; it errs by less than half a per cent here.
    assert single / count == pytest.approx(0.05, abs=4.0 * math.sqrt(0.05 * 0.95 / count) + 0.005)
    assert family / checks <= 0.05 + 3.0 * math.sqrt(0.05 * 0.95 / checks)
    assert family > 0
