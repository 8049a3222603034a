"""The odds of the verdicts against published intervals and against draws."""

from __future__ import annotations

import numpy as np
import pytest

from joulebook.planning.odds import below, reach, shares


def test_the_normal_and_the_rectangle() -> None:
    """A normal error's 95 % lie within 1.96 s (JCGM 100 table G.2, infinite ν), a rectangle's within 0.95 a."""
    assert reach(0.0, 1.0) == pytest.approx(1.959964, abs=2e-6)
    assert reach(1.0, 1e-6) == pytest.approx(0.95, abs=1e-5)
    assert below(0.0, 1.0, 1.0) == pytest.approx(0.5)
    assert below([-9.0, 9.0], 1.0, 1.0) == pytest.approx([0.0, 1.0], abs=1e-12)


def test_a_rectangle_that_outweighs_the_rest() -> None:
    """JCGM 101 9.2.4 (REFERENCES U10): one rectangle of s.d. 10 and three of s.d. 1, ±17.0; three small ones are all but
    normal."""
    assert reach(10.0 * np.sqrt(3.0), np.sqrt(3.0)) == pytest.approx(17.0, abs=0.05)


def test_against_draws() -> None:
    """The rule of the verdict applied to 200,000 benches, each with the U that goes with its own error."""
    rng = np.random.default_rng(2)
    n = 200_000
    for mean, tolerance in ((0.03, 0.05), (0.06, 0.041), (0.0, 0.0405)):
        a, s, expanded, loss = 0.04, 0.01, 0.041, 0.06
        error = rng.uniform(-a, a, n) + s * rng.standard_normal(n)
        value, own = mean + error, expanded * (1.0 - error / (1.0 - loss))
        gain, seen, conserved, undecided = shares(mean, a, s, expanded, tolerance, loss=loss)
        bound = 4.0 * 0.5 / np.sqrt(n)
        assert seen == pytest.approx(np.mean(value > own), abs=bound)
        assert gain == pytest.approx(np.mean(value < -own), abs=bound)
        none = np.abs(value) <= own
        assert conserved == pytest.approx(np.mean(none & (own <= tolerance)), abs=bound)
        assert undecided == pytest.approx(np.mean(none & (own > tolerance)), abs=bound)
        assert gain + seen + conserved + undecided == pytest.approx(1.0)


def test_u_beyond_the_tolerance_cannot_tell() -> None:
    sharp = shares(0.0, 0.0, 0.001, 0.0588, 0.05)
    assert sharp[2] == pytest.approx(0.0, abs=1e-9)
    assert sharp[3] == pytest.approx(1.0, abs=1e-9)
    edge = shares(0.0, 0.0, 0.001, 0.05, 0.05, relative_spread=0.02)
    assert edge[2] == pytest.approx(float(edge[3]))
