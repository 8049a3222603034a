"""Pooling against published values: Kacker 2004, the BCG trials, CCQM-K25, Paule and Mandel 1982 (REFERENCES S1 to S4)."""

from __future__ import annotations

import numpy as np
import pytest

from joulebook.errors import InputError
from joulebook.uncertainty.pooling import dersimonian_laird, fixed_effect, paule_mandel, pool_by

# R. Kacker, Metrologia 41 (2004) 132: nine laboratories; values of the statistics as computed by metafor from the paper's data (S1).
KACKER = [61, 61.4, 62.21, 62.3, 62.34, 62.6, 62.7, 62.84, 65.9]
KACKER_U = np.sqrt([0.2025, 1.21, 0.09, 0.2025, 0.3844, 0.5625, 0.0676, 0.0225, 1.8225])

# Colditz and others, JAMA 271 (1994) 698: tuberculosis among vaccinated and not, 13 trials (S2): cases, of so many; likewise without.
BCG = np.array(
    [
        (4, 123, 11, 139), (6, 306, 29, 303), (3, 231, 11, 220), (62, 13598, 248, 12867), (33, 5069, 47, 5808),
        (180, 1541, 372, 1451), (8, 2545, 10, 629), (505, 88391, 499, 88391), (29, 7499, 45, 7277), (17, 1716, 65, 1665),
        (186, 50634, 141, 27338), (5, 2498, 3, 2341), (27, 16913, 29, 17854),
    ]
)  # fmt: skip


def test_kacker_fixed() -> None:
    found = fixed_effect(KACKER, KACKER_U)
    assert found.mean == pytest.approx(62.5833970940, abs=1e-9)
    assert found.u == pytest.approx(0.1078457055, abs=1e-9)
    assert found.q == pytest.approx(24.801897741835, abs=1e-9)
    assert found.i2 == pytest.approx(0.677444, abs=1e-6)
    assert found.birge == pytest.approx(1.760749, abs=1e-6)
    assert found.u_scatter == pytest.approx(found.u * found.birge)


def test_kacker_random() -> None:
    """The paper prints τ_DL .5359 where its own formula gives .5367; the formula counts (S1)."""
    laird = dersimonian_laird(KACKER, KACKER_U)
    assert laird.tau2 == pytest.approx(0.288049246973751, abs=1e-9)
    assert laird.mean == pytest.approx(62.3901386045, abs=1e-9)
    assert laird.u == pytest.approx(0.2457496680, abs=1e-9)
    assert laird.u_scatter == pytest.approx(0.2947760570, abs=1e-9)
    mandel = paule_mandel(KACKER, KACKER_U)
    assert mandel.tau2 == pytest.approx(0.705395309224, abs=1e-9)
    assert mandel.mean == pytest.approx(62.4076199113, abs=1e-9)
    assert mandel.u == pytest.approx(0.3380306028, abs=1e-9)
    # Student's t of 8 degrees of freedom, 2.306 (JCGM 100, Table G.2).
    assert mandel.high - mandel.mean == pytest.approx(2.306 * mandel.u, rel=1e-4)


def test_bcg() -> None:
    """Log risk ratios; published by metafor's tests to four decimals (S2)."""
    a, n, c, m = BCG.T
    y, u = np.log(a / n / (c / m)), np.sqrt(1 / a - 1 / n + 1 / c - 1 / m)
    fixed = fixed_effect(y, u)
    # The file HSAUR_BCG holds how many there were in each group; metafor's cases and non-cases add up to them.
    assert (fixed.mean, fixed.low, fixed.high) == pytest.approx((-0.4303, -0.5097, -0.3509), abs=5e-5)
    assert fixed.q == pytest.approx(152.2330, abs=5e-5)
    laird = dersimonian_laird(y, u)
    assert laird.tau2 == pytest.approx(0.3088, abs=5e-5)
    assert laird.mean == pytest.approx(-0.7141, abs=5e-5)
    assert laird.mean - 1.959964 * laird.u == pytest.approx(-1.0644, abs=5e-5)
    assert laird.i2 == pytest.approx(0.921173, abs=5e-7)


def test_key_comparison() -> None:
    """CCQM-K25, PCB 105 (S3)."""
    x = [10.21, 10.9, 10.94, 10.58, 10.81, 9.62, 10.8]
    u = [0.381, 0.25, 0.13, 0.41, 0.445, 0.196, 0.093]
    laird, mandel = dersimonian_laird(x, u), paule_mandel(x, u)
    assert (laird.q, laird.mean, laird.u) == pytest.approx((37.337, 10.55708, 0.19707), abs=5e-4)
    assert (mandel.tau2, mandel.mean) == pytest.approx((0.18386, 10.55774), abs=1e-4)


def test_paule_mandel_1982() -> None:
    """Heat of vaporisation of cadmium, J. Res. NBS 87 (1982) 377 (S4)."""
    found = paule_mandel([27.044, 26.022, 26.340, 26.787, 26.796], np.sqrt([3e-3, 76e-3, 464e-3, 3e-3, 14e-3]))
    assert (found.tau2, found.mean, found.u) == pytest.approx((0.105219, 26.71213, 0.17114), abs=1e-4)
    two = paule_mandel([201.533, 216.55], [0.154 / 6**0.5, 0.25 / 2**0.5])
    assert (two.tau2, two.mean) == pytest.approx((112.7375, 209.0406), abs=1e-4)


def test_values_that_agree_have_no_variance_between() -> None:
    for model in ("dersimonian-laird", "paule-mandel"):
        found = pool_by(model, [1.0, 1.01, 0.99], [0.1, 0.2, 0.1])
        assert found.tau2 == 0.0
        assert found.i2 == 0.0
        assert found.mean == pytest.approx(fixed_effect([1.0, 1.01, 0.99], [0.1, 0.2, 0.1]).mean)
        assert found.high - found.mean == pytest.approx(4.302653 * found.u, rel=1e-6)  # t of 2 degrees of freedom, at least u


def test_the_interval_holds_the_truth() -> None:
    """Twelve carts, each its own, uncertainties within a factor of three: 95 % hold the middle; 1500 draws: 4 sd are 2.3 %."""
    rng = np.random.default_rng(4)
    u = np.linspace(0.4, 1.2, 12)
    held = 0
    for _ in range(1500):
        found = paule_mandel(5.0 + rng.normal(0, 0.7, 12) + rng.normal(0, u), u)
        held += found.low <= 5.0 <= found.high
    assert 0.927 <= held / 1500 <= 0.99


@pytest.mark.parametrize(
    ("x", "u", "told"), [([1.0], [1.0], "1 values are too few"), ([1.0, 2.0], [1.0, 0.0], "the smallest of which is 0")]
)
def test_what_cannot_be_pooled(x: list[float], u: list[float], told: str) -> None:
    for model in ("fixed", "dersimonian-laird", "paule-mandel"):
        with pytest.raises(InputError, match=told):
            pool_by(model, x, u)


def test_a_variance_that_does_not_settle(monkeypatch: pytest.MonkeyPatch) -> None:
    import joulebook.uncertainty.pooling as module

    monkeypatch.setattr(module, "_STEPS", 2)
    with pytest.raises(InputError, match="did not settle in 2 steps"):
        paule_mandel(KACKER, KACKER_U)
