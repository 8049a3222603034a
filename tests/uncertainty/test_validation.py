"""Clause 8 of JCGM 101: when the linear interval may stand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from joulebook.errors import InputError
from joulebook.uncertainty import Input, adaptive_monte_carlo, monte_carlo, numerical_tolerance, propagate, validate


@pytest.mark.parametrize(
    ("u", "digits", "delta"),
    [
        # JCGM 101, 7.9.2, examples 1 and 2: 0.00035 g → δ = 0.000005 g; 2 K → 0.5 K (from memory).
        (0.00035, 2, 0.000005),
        (2.0, 1, 0.5),
        (2.0, 2, 0.05),
        (10.1, 2, 0.5),
        (0.0996, 2, 0.005),
        (0.0994, 2, 0.0005),
        (5e-7, 1, 5e-8),
        (0.0, 2, 0.0),
    ],
)
def test_numerical_tolerance(u, digits, delta):
    assert numerical_tolerance(u, digits=digits) == pytest.approx(delta, rel=1e-12)


@pytest.mark.parametrize(("u", "digits"), [(-1.0, 2), (math.nan, 2), (math.inf, 2), (1.0, 0)])
def test_no_numerical_tolerance(u, digits):
    with pytest.raises(InputError, match="has no numerical tolerance"):
        numerical_tolerance(u, digits=digits)


def both(model, inputs, *, digits):
    mc = adaptive_monte_carlo(model, inputs, rng=np.random.default_rng(1), digits=digits, fraction=0.2)
    assert mc.converged
    return validate(propagate(model, inputs), mc, digits=digits)


def test_four_normal_is_validated():
    # U8, JCGM 101, 9.2.2: the two intervals are the same.
    inputs = [Input(name, 0.0, "1", 1.0) for name in "abcd"]
    record = both(lambda x: {"y": sum(x.values())}, inputs, digits=2)["y"]
    assert record.validated
    assert record.delta == pytest.approx(0.05)
    assert record.output == "y"


def test_dominant_rectangular_is_not():
    # U10, 9.2.4: ±19.9 against ±17.0 with δ = 0.5.
    inputs = [Input(name, 0.0, "1", u, "rectangular") for name, u in zip("abcd", (1.0, 1.0, 1.0, 10.0), strict=True)]
    record = both(lambda x: {"y": sum(x.values())}, inputs, digits=2)["y"]
    assert not record.validated
    assert (record.d_low, record.d_high) == pytest.approx((19.89 - 17.02, 19.89 - 17.02), abs=0.1)
    assert record.delta == pytest.approx(0.5)


def test_mass_calibration_is_not():
    # U11, 9.3: with one digit δ = 0.005 mg, and the first-order ends are off by 0.0451 and 0.0430 mg (differences of the table).
    root3 = math.sqrt(3.0)
    inputs = [
        Input("m_R", 1e5, "mg", 0.050),
        Input("dm_R", 1.234, "mg", 0.020),
        Input("air", 1.20, "kg/m^3", 0.10 / root3, "rectangular"),
        Input("unknown", 8000.0, "kg/m^3", 1000.0 / root3, "rectangular"),
        Input("reference", 8000.0, "kg/m^3", 50.0 / root3, "rectangular"),
    ]

    def model(x):
        return {"dm": (x["m_R"] + x["dm_R"]) * (1 + (x["air"] - 1.2) * (1 / x["unknown"] - 1 / x["reference"])) - 1e5}

    record = both(model, inputs, digits=1)["dm"]
    assert not record.validated
    assert record.delta == pytest.approx(0.005)
    assert (record.d_low, record.d_high) == pytest.approx((1.1285 - 1.0834, 1.3825 - 1.3395), abs=3e-3)


def test_outputs_one_by_one():
    inputs = [Input("a", 0.05, "1", 0.02), Input("b", 1.0, "1", 0.0)]
    records = both(lambda x: {"a": x["a"], "square": x["a"] ** 2, "fixed": x["b"] * 3.0}, inputs, digits=2)
    assert {name: record.validated for name, record in records.items()} == {"a": True, "square": False, "fixed": True}


def test_not_of_the_same_kind():
    inputs = [Input("a", 1.0, "1", 0.1)]
    mc = monte_carlo(lambda x: {"y": x["a"]}, inputs, rng=np.random.default_rng(1), coverage=0.9)
    with pytest.raises(InputError, match=r"coverage 0\.95\) and the Monte Carlo result \(1 outputs, coverage 0\.9\)"):
        validate(propagate(lambda x: {"y": x["a"]}, inputs), mc)
    with pytest.raises(InputError, match="not of the same kind"):
        validate(propagate(lambda x: {"z": x["a"]}, inputs, coverage=0.9), mc)
