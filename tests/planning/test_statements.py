"""What a group states: its text, its input, its draws."""

from __future__ import annotations

import math

import numpy as np
import pytest

from joulebook.experiments.ramp_inputs import INPUTS
from joulebook.planning.statements import Statement, default_statement, stated_inputs


@pytest.mark.parametrize(
    ("statement", "text"),
    [
        (Statement("track.angle", 9.8, 0.25, "limits", 2), "9.80 deg ± 0.25 deg"),
        (Statement("track.angle", 9.8, 0.12, "standard", 2), "9.80(12) deg"),
        (Statement("track.angle", 9.8, 0.5, "expanded", 1), "9.8 deg ± 0.5 deg (k=2)"),
        (Statement("track.angle", 9.8, 0.5, "triangular", 1), "9.8 deg ± 0.5 deg (triangular)"),
        (Statement("cart.rotating_fraction", 0.015, 0.015, "limits", 3), "0.015 ± 0.015"),
        (Statement("track.rise", 0.171, 0.001, "limits", 1, "cm", 100.0), "17.1 cm ± 0.1 cm"),
        (Statement("cart.mass", 0.25, 0.0, "bare", 3), "0.250 kg"),
        (default_statement("cart.drag_area"), ""),
    ],
)
def test_the_text_is_that_of_the_bench_file(statement: Statement, text: str) -> None:
    assert statement.text() == text


@pytest.mark.parametrize(
    ("notation", "u", "distribution"),
    [
        # GUM 4.3.7: a/√3; 4.3.9: a/√6; 4.3.3: U/k; a standard uncertainty as it stands.
        ("limits", 0.3 / math.sqrt(3.0), "rectangular"),
        ("triangular", 0.3 / math.sqrt(6.0), "triangular"),
        ("expanded", 0.15, "normal"),
        ("standard", 0.3, "normal"),
    ],
)
def test_draws_scatter_by_the_standard_uncertainty(notation: str, u: float, distribution: str) -> None:
    statement = Statement("track.angle", 9.8, 0.3, notation)  # type: ignore[arg-type]
    stated = statement.as_input()
    assert (stated.u, stated.distribution, stated.origin) == (pytest.approx(u), distribution, "given")
    rng = np.random.default_rng(5)
    draws = np.array([statement.draw(rng) for _ in range(4000)])
    assert np.mean(draws) == pytest.approx(9.8, abs=5.0 * u / math.sqrt(4000))
    # The relative standard error of a standard deviation is at most that of a normal: 1/√(2(n − 1)) (GUM E.4.3).
    assert np.std(draws) == pytest.approx(u, rel=5.0 / math.sqrt(2.0 * 3999))
    if distribution != "normal":
        assert np.max(np.abs(draws - 9.8)) <= 0.3


def test_inputs_come_in_the_order_of_the_experiment_with_its_defaults() -> None:
    inputs = stated_inputs([Statement("track.angle", 9.8, 0.25), Statement("cart.mass", 0.5, 0.0005)])
    order = [spec.name for spec in INPUTS]
    assert sorted(inputs, key=order.index) == list(inputs)
    assert inputs["sensor.scale"].origin == "default"
    assert inputs["place.gravity"].origin == "default"
    assert "track.rise" not in inputs
    assert "sensor.air_temperature" not in inputs


def test_one_alternative_of_a_group_is_kept() -> None:
    stated = [Statement("track.rise", 0.17, 0.001), Statement("track.along", 1.0, 0.001), Statement("place.latitude", 47.0, 0.5)]
    inputs = stated_inputs(stated)
    assert "track.angle" not in inputs
    assert "place.gravity" not in inputs
    assert inputs["place.altitude"].origin == "default"


def test_what_has_no_default_must_be_stated() -> None:
    with pytest.raises(KeyError, match=r"cart\.mass has no default"):
        default_statement("cart.mass")
