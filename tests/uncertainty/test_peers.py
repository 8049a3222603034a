"""The same ledger-like model in general-purpose libraries: GTC, uncertainties and metrolopy must find the same numbers."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest

from joulebook.uncertainty import Block, Input, adaptive_monte_carlo, propagate

with warnings.catch_warnings():
    # What the peers' own imports deprecate is not ours to repair.
    warnings.simplefilter("ignore")
    import GTC
    import metrolopy
    import uncertainties
    from uncertainties import umath

SPEED, TRAVEL = 1.0312, 0.2954
FIT = np.array([[2.3e-3**2, 0.6 * 2.3e-3 * 0.9e-3], [0.6 * 2.3e-3 * 0.9e-3, 0.9e-3**2]])
FIT_DOF = 31.0
RECTANGULAR = {
    "mass": (0.2513, 0.0005, "kg"),
    "kappa": (0.015, 0.015, "1"),
    "angle": (9.8, 0.25, "deg"),
    "scale": (1.0, 0.007, "1"),
    "gravity": (9.807, 0.01, "m/s^2"),
}
INPUTS = [Input(name, value, unit, half / math.sqrt(3.0), "rectangular") for name, (value, half, unit) in RECTANGULAR.items()]
BLOCK = Block(("speed", "travel"), np.array([SPEED, TRAVEL]), FIT, dof=FIT_DOF)
OUTPUTS = ("kinetic", "total", "potential", "difference", "relative")


def ledger(x, sin=np.sin):
    """(1 + κ)·½mv², m g h with h = s sinθ, and their relative difference; distances carry the sensor's scale."""
    kinetic = 0.5 * x["mass"] * (x["speed"] * x["scale"]) ** 2
    total = (1.0 + x["kappa"]) * kinetic
    potential = x["mass"] * x["gravity"] * x["travel"] * x["scale"] * sin(x["angle"] * (math.pi / 180.0))
    difference = total - potential
    return dict(zip(OUTPUTS, (kinetic, total, potential, difference, difference / total), strict=True))


@pytest.fixture(scope="module")
def ours():
    return propagate(ledger, INPUTS, [BLOCK])


def test_uncertainties(ours):
    x = {name: uncertainties.ufloat(value, half / math.sqrt(3.0)) for name, (value, half, _) in RECTANGULAR.items()}
    x["speed"], x["travel"] = uncertainties.correlated_values([SPEED, TRAVEL], FIT)
    peer = ledger(x, umath.sin)
    assert ours.values == pytest.approx([peer[name].n for name in OUTPUTS], rel=1e-12)
    assert ours.u == pytest.approx([peer[name].s for name in OUTPUTS], rel=1e-9)
    # The peer goes through eigenvectors of the fit's covariance, which costs some digits where terms cancel.
    scale = np.outer(ours.u, ours.u)
    assert ours.covariance / scale == pytest.approx(
        np.array(uncertainties.covariance_matrix([peer[name] for name in OUTPUTS])) / scale, abs=1e-9
    )
    for name in ("mass", "angle", "kappa", "scale", "gravity"):
        column = ours.inputs.index(name)
        for row, output in enumerate(OUTPUTS):
            slope = peer[output].derivatives.get(x[name], 0.0)
            assert ours.sensitivities[row, column] == pytest.approx(slope, rel=1e-9, abs=1e-12)


def test_gtc(ours):
    x = {name: GTC.ureal(value, half / math.sqrt(3.0)) for name, (value, half, _) in RECTANGULAR.items()}
    u = np.sqrt(FIT.diagonal())
    x["speed"], x["travel"] = GTC.multiple_ureal([SPEED, TRAVEL], u.tolist(), FIT_DOF)
    GTC.set_correlation(FIT[0, 1] / (u[0] * u[1]), x["speed"], x["travel"])
    peer = ledger(x, GTC.sin)
    assert ours.values == pytest.approx([GTC.value(peer[name]) for name in OUTPUTS], rel=1e-12)
    assert ours.u == pytest.approx([GTC.uncertainty(peer[name]) for name in OUTPUTS], rel=1e-9)
    # The fit as one component with its degrees of freedom (GUM G.4, and what GTC calls an ensemble).
    assert ours.dof == pytest.approx([GTC.dof(peer[name]) for name in OUTPUTS], rel=1e-6)
    assert ours.k == pytest.approx([GTC.reporting.k_factor(GTC.dof(peer[name]), 95) for name in OUTPUTS], rel=1e-6)


def test_metrolopy_linear(ours):
    peer = ledger(_gummies(), metrolopy.sin)
    assert ours.values == pytest.approx([peer[name].x for name in OUTPUTS], rel=1e-12)
    assert ours.u == pytest.approx([peer[name].u for name in OUTPUTS], rel=1e-7)


def test_metrolopy_monte_carlo():
    """Its plain draws and our adaptive ones agree within the scatter of both; the fit is normal here, for the peer's sake."""
    draws = 100_000
    metrolopy.Distribution.set_seed(20)
    peer = ledger(_gummies(), metrolopy.sin)
    gummies = [peer[name] for name in OUTPUTS]
    metrolopy.gummy.simulate(gummies, n=draws)
    block = Block(BLOCK.names, BLOCK.values, BLOCK.covariance)
    ours = adaptive_monte_carlo(ledger, INPUTS, [block], rng=np.random.default_rng(21), fraction=0.5)
    assert ours.converged
    for row, each in enumerate(gummies):
        samples = np.sort(np.asarray(each.simdata, dtype=float))
        u = samples.std(ddof=1)
        assert ours.mean[row] == pytest.approx(samples.mean(), abs=4.0 * u / math.sqrt(draws) + ours.tolerance[row])
        assert ours.u[row] == pytest.approx(u, abs=4.0 * u / math.sqrt(2.0 * draws) + ours.tolerance[row])
        for end, probability in ((ours.low[row], 0.025), (ours.high[row], 0.975)):
            # 4 deviations of an order statistic, in ranks, taken to the sample itself.
            reach = 4.0 * math.sqrt(0.025 * 0.975 / draws)
            lower, upper = np.quantile(samples, [probability - reach, probability + reach])
            assert lower - ours.tolerance[row] < end < upper + ours.tolerance[row]


def _gummies():
    x = {
        name: metrolopy.gummy(metrolopy.UniformDist(center=value, half_width=half))
        for name, (value, half, _) in RECTANGULAR.items()
    }
    x["speed"], x["travel"] = metrolopy.gummy.create(metrolopy.MultiNormalDist([SPEED, TRAVEL], FIT))
    return x
