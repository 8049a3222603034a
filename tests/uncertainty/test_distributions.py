"""Distributions of inputs against the moments of JCGM 101 and against scipy.stats."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from joulebook.errors import InputError
from joulebook.uncertainty import DISTRIBUTIONS, Input, half_width, quantile, standard_deviation, standard_uncertainty
from joulebook.uncertainty.distributions import chi_factor

P = np.concatenate([[1e-9, 1e-6, 1e-3], np.linspace(0.01, 0.99, 197), [1 - 1e-3, 1 - 1e-6, 1 - 1e-9]])


def an_input(distribution, *, u=1.0, value=0.0, shape=0.0, dof=math.inf):
    return Input("x", value, "1", u, distribution, dof=dof, shape=shape)


PEERS = [
    (an_input("normal"), stats.norm()),
    (an_input("t", dof=4.0), stats.t(4.0)),
    (an_input("t", dof=18.3), stats.t(18.3)),
    (an_input("t"), stats.norm()),
    (an_input("rectangular"), stats.uniform(-math.sqrt(3), 2 * math.sqrt(3))),
    (an_input("triangular"), stats.triang(0.5, -math.sqrt(6), 2 * math.sqrt(6))),
    (an_input("arcsine"), stats.arcsine(-math.sqrt(2), 2 * math.sqrt(2))),
    *[
        (an_input("trapezoidal", u=math.sqrt((1 + b * b) / 6), shape=b), stats.trapezoid((1 - b) / 2, (1 + b) / 2, -1.0, 2.0))
        for b in (0.0, 0.3, 0.8, 1.0)
    ],
    (an_input("normal", u=0.25, value=-3.0), stats.norm(-3.0, 0.25)),
]


@pytest.mark.parametrize(("item", "peer"), PEERS, ids=lambda each: getattr(each, "distribution", ""))
def test_quantiles_are_those_of_scipy_stats(item, peer):
    assert quantile(item, P) == pytest.approx(peer.ppf(P), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("item", [each[0] for each in PEERS], ids=lambda each: each.distribution)
def test_long_arrays_give_what_short_ones_give(item):
    # Long arrays of t-distributed draws are interpolated; so are the far tails here, which are not.
    long = np.tile(np.concatenate([P, [1e-12]]), 3)
    short = np.concatenate([quantile(item, part) for part in np.split(long, 3)])
    assert quantile(item, long) == pytest.approx(short, rel=3e-7, abs=3e-7)


@pytest.mark.parametrize("dof", [1.0, 2.5, 3.0, 6.7, 70.3, 1e5])
def test_interpolated_t_is_that_of_scipy_stats(dof):
    p = np.linspace(1e-7, 1 - 1e-7, 4001)
    assert quantile(an_input("t", dof=dof), p) == pytest.approx(stats.t.ppf(p, dof), rel=2e-6, abs=1e-9)


@pytest.mark.parametrize("dof", [1.0, 4.0, 6.7, 70.3, 1e5])
def test_chi_factor_is_that_of_scipy_stats(dof):
    p = np.linspace(1e-7, 1 - 1e-7, 2001)
    expected = np.sqrt(dof / stats.chi2.isf(p, dof))
    assert chi_factor(p, dof) == pytest.approx(expected, rel=2e-6)
    assert chi_factor(p[::40], dof) == pytest.approx(expected[::40], rel=1e-9)


@pytest.mark.parametrize("ratio", [0.0, 0.05, 0.1, 0.5, 0.9, 1.0])
def test_curvilinear_trapezoid(ratio):
    """JCGM 101, 6.4.3: limits a ± d and b ± d; the variance is (b − a)²/12 + d²/9 (6.4.3.3)."""
    item = an_input("curvilinear-trapezoidal", u=math.sqrt(1 / 3 + ratio**2 / 9), shape=ratio)
    z = quantile(item, P)
    # Its distribution function, from the standard's own recipe: a rectangle whose half-width is rectangular on 1 ± d.
    for p, x in zip(P[::17], z[::17], strict=True):
        if ratio == 0.0:
            above = 0.5 * (1 - min(max(x, -1), 1))
        else:
            kinks = [k for k in (abs(x),) if 1 - ratio < k < 1 + ratio]
            above, _ = integrate.quad(
                lambda w, x=x: np.clip(0.5 * (1 - x / w), 0, 1) / (2 * ratio), 1 - ratio, 1 + ratio, points=kinks
            )
        assert 1 - above == pytest.approx(p, abs=2e-9)
    assert np.all(np.diff(z) > 0)
    assert z == pytest.approx(-z[::-1], abs=1e-7)
    middle = (np.arange(200_000) + 0.5) / 200_000
    assert np.std(quantile(item, middle)) == pytest.approx(math.sqrt(1 / 3 + ratio**2 / 9), rel=1e-5)
    assert half_width(item) == pytest.approx(1.0, rel=1e-14)


@pytest.mark.parametrize(
    ("distribution", "shape", "u"),
    [
        # GUM 4.3.7 and 4.3.9; JCGM 101, 6.4.2 to 6.4.6.
        ("rectangular", 0.0, 1 / math.sqrt(3)),
        ("triangular", 0.0, 1 / math.sqrt(6)),
        ("arcsine", 0.0, 1 / math.sqrt(2)),
        ("trapezoidal", 0.5, math.sqrt(1.25 / 6)),
        ("trapezoidal", 1.0, 1 / math.sqrt(3)),
        ("trapezoidal", 0.0, 1 / math.sqrt(6)),
        ("curvilinear-trapezoidal", 0.5, math.sqrt(1 / 3 + 0.25 / 9)),
        ("curvilinear-trapezoidal", 0.0, 1 / math.sqrt(3)),
    ],
)
def test_half_width_and_back(distribution, shape, u):
    assert standard_uncertainty(distribution, 1.0, shape=shape) == pytest.approx(u, rel=1e-15)
    item = an_input(distribution, u=standard_uncertainty(distribution, 0.3, shape=shape), shape=shape)
    assert half_width(item) == pytest.approx(0.3, rel=1e-14)
    middle = (np.arange(200_000) + 0.5) / 200_000
    draws = quantile(item, middle)
    assert draws.std() == pytest.approx(standard_deviation(item), rel=2e-5)
    assert np.abs(draws).max() <= 0.3 * (1 + shape * (distribution == "curvilinear-trapezoidal"))


def test_published_curvilinear_trapezoid():
    # JCGM 101, 9.5, Table 10: δθ is CTrap(−0.050, 0.050, 0.025) °C; GUM H.1.3.6 rounds its u to 0.029.
    assert standard_uncertainty("curvilinear-trapezoidal", 0.050, shape=0.5) == pytest.approx(0.029, abs=1.5e-3)


def test_standard_deviation_of_t():
    # JCGM 101, 6.4.9.4: ν/(ν − 2) times the scale squared.
    assert standard_deviation(an_input("t", u=2.0, dof=4.0)) == pytest.approx(2.0 * math.sqrt(2.0))
    assert standard_deviation(an_input("t", dof=2.0)) == math.inf
    assert standard_deviation(an_input("t")) == 1.0
    assert standard_deviation(an_input("normal", dof=4.0)) == 1.0


def test_constants_and_unbounded():
    assert quantile(an_input("constant", u=0.0, value=3.0), P).tolist() == [3.0] * P.size
    assert quantile(an_input("normal", u=0.0, value=3.0), [0.2, 0.8]).tolist() == [3.0, 3.0]
    assert half_width(an_input("constant", u=0.0)) == 0.0
    assert half_width(an_input("normal")) == half_width(an_input("t", dof=3.0)) == math.inf


def test_every_distribution_is_known():
    assert list(DISTRIBUTIONS) == sorted(DISTRIBUTIONS)
    for name in DISTRIBUTIONS:
        item = an_input(name, u=0.0 if name == "constant" else 1.0, shape=0.5, dof=5.0)
        assert quantile(item, [0.5]) == pytest.approx([0.0], abs=1e-15)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: quantile(an_input("flat"), [0.5]), "distribution 'flat' is not known"),
        (lambda: half_width(an_input("flat")), "distribution 'flat' is not known"),
        (lambda: half_width(an_input("trapezoidal", shape=-0.1)), "shape of a trapezoidal distribution is -0.1"),
        (lambda: standard_uncertainty("curvilinear-trapezoidal", 1.0, shape=1.1), "shape of a curvilinear-trapezoidal"),
        (lambda: standard_uncertainty("rectangular", -1.0), "half-width cannot be -1"),
        (lambda: standard_uncertainty("rectangular", math.nan), "half-width cannot be nan"),
        (lambda: standard_uncertainty("normal", 1.0), "normal distribution has no half-width"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(InputError, match=message):
        call()
