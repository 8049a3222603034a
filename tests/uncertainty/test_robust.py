"""Algorithm A and zeta against ISO 5725-5 and ISO 13528 (REFERENCES S5, S9)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from joulebook.errors import InputError
from joulebook.uncertainty.robust import algorithm_a, zeta

CREOSOTE = [24.140, 20.155, 19.500, 20.300, 20.705, 17.570, 20.100, 20.940, 21.185]


def test_creosote() -> None:
    """ISO 5725-5, percentage of creosote oil; 20.412 and 1.070 (S5)."""
    found = algorithm_a(CREOSOTE)
    assert found.mean == pytest.approx(20.412, abs=2e-3)
    assert found.sd == pytest.approx(1.070, abs=2e-3)
    assert found.u == pytest.approx(1.25 * found.sd / 3.0)
    assert found.n == 9


def test_a_wild_value_hardly_moves_it() -> None:
    calm = algorithm_a([1.0, 1.1, 0.9, 1.05, 0.95, 1.0, 1.02])
    wild = algorithm_a([1.0, 1.1, 0.9, 1.05, 0.95, 1.0, 50.0])
    assert abs(wild.mean - calm.mean) < 0.05
    assert algorithm_a([1.0, 1.1, 0.9, 1.05, 0.95, 1.0, 5000.0]).mean == pytest.approx(wild.mean)


def test_normal_values() -> None:
    """For normal values s* is their standard deviation; 4000 values, so four standard deviations of s* are about 5 %."""
    found = algorithm_a(np.random.default_rng(2).normal(3.0, 0.2, 4000))
    assert found.mean == pytest.approx(3.0, abs=4 * 0.2 * 1.05 / math.sqrt(4000))
    assert found.sd == pytest.approx(0.2, rel=0.05)


def test_half_of_the_values_equal() -> None:
    found = algorithm_a([2.0, 2.0, 2.0, 2.0, 2.4])
    assert 2.0 < found.mean < 2.1
    assert found.sd > 0.0
    assert algorithm_a([2.0, 2.0, 2.0]) == type(found)(2.0, 0.0, 0.0, 3)


@pytest.mark.parametrize(
    ("x", "big", "score"), [(0.013, 0.003, -7.10), (0.040, 0.03, -0.26), (0.053, 0.007, 1.67)], ids=["L04", "L21", "L01"]
)
def test_mercury(x: float, big: float, score: float) -> None:
    """ISO 13528 E.4: x_pt 0.044 with U 0.0082; the laboratories' U, all k = 2 (S9)."""
    assert zeta(x, big / 2, 0.044, 0.0041) == pytest.approx(score, abs=0.005)


def test_what_has_no_answer() -> None:
    with pytest.raises(InputError, match="2 values, 1 of them not finite"):
        algorithm_a([1.0, math.nan])
    with pytest.raises(InputError, match="1 values, 0 of them"):
        algorithm_a([1.0])
    with pytest.raises(InputError, match="no zeta score"):
        zeta(1.0, 0.0, 1.0, 0.0)
