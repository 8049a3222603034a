"""The second-order terms of JCGM 100, 5.1.2 (note), against its example H.1 and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.uncertainty.test_propagate import GAUGE, gauge

from joulebook.errors import AnalysisError, InputError
from joulebook.uncertainty import Input, propagate, second_order_variance


def test_end_gauge_second_order():
    added = second_order_variance(gauge, GAUGE)["l"]
    # H.1.7: the terms are 11.7 nm and 1.7 nm, and the combined u becomes 34 nm.
    assert math.sqrt(added) == pytest.approx(math.hypot(11.7, 1.7), abs=0.2)
    assert math.sqrt(propagate(gauge, GAUGE).u[0] ** 2 + added) == pytest.approx(34.0, abs=0.5)


def test_second_order_of_a_square_is_that_of_a_normal_input():
    # Y = X², X normal: variance is 4x²u² + 2u⁴ exactly, so the added part is 2u⁴.
    added = second_order_variance(lambda x: {"y": x["x"] ** 2, "c": 3.0 * x["x"]}, [Input("x", 0.7, "1", 0.2)])
    assert added["y"] == pytest.approx(2.0 * 0.2**4, rel=1e-10)
    assert added["c"] == pytest.approx(0.0, abs=1e-12)


def test_second_order_of_a_cube():
    # Y = X³ with X normal: the formula is ½(6x)²u⁴ + 3x²·6·u⁴.
    added = second_order_variance(lambda x: {"y": x["x"] ** 3}, [Input("x", 1.1, "1", 0.05), Input("c", 2.0, "1", 0.0)])
    assert added["y"] == pytest.approx(36.0 * 1.1**2 * 0.05**4, rel=1e-9)


def test_second_order_of_a_product():
    # Y = X₁X₂: the one term left is u₁²u₂², which makes the variance exact (GUM 5.1.2, note; Goodman 1960).
    inputs = [Input("a", 0.0, "1", 0.3), Input("b", 0.0, "1", 0.5), Input("c", 2.0, "1", 0.0)]
    assert second_order_variance(lambda x: {"y": x["c"] * x["a"] * x["b"]}, inputs)["y"] == pytest.approx((2 * 0.3 * 0.5) ** 2)


def test_refusals():
    with pytest.raises(AnalysisError, match="no finite number for y"):
        second_order_variance(lambda x: {"y": np.log(x["a"])}, [Input("a", 0.0, "1", 0.1)])
    with pytest.raises(InputError, match="the standard uncertainty is -1"):
        second_order_variance(lambda x: {"y": x["a"]}, [Input("a", 0.0, "1", -1.0)])
