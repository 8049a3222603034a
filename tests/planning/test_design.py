"""Random clean benches: inside the region asked for, feasible, and honest about what they state."""

from __future__ import annotations

import math

import numpy as np
import pytest

from joulebook.planning.design import Design, random_design

DESIGNS = [random_design(np.random.default_rng([4, seed])) for seed in range(150)]


def test_the_designs_lie_in_the_region() -> None:
    for design in DESIGNS:
        assert 2.4 <= design.setup.angle <= 18.6
        assert 0.5 <= design.speed <= 1.6
        assert 10.0 <= design.ranger.rate <= 100.0
        assert 1.2 <= design.setup.track_length <= 2.2
        assert 0.002 <= design.setup.rolling_resistance <= 0.010
        assert 0.0 <= design.setup.rotating_fraction <= 0.04
        assert 0.2 <= design.setup.mass <= 1.01
        assert 0.0001 <= math.hypot(design.ranger.noise, design.ranger.drift_noise) <= 0.0016
        assert design.ranger.step in (1e-5, 1e-4, 5e-4, 1e-3)
        assert design.ranger.blank_rate == design.ranger.far_rate == design.ranger.slip_rate == 0.0
        assert design.ranger.clock_fault == ""


def test_every_kind_of_bench_is_drawn() -> None:
    assert {design.stop_kind for design in DESIGNS} == {"spring", "hard", "magnetic"}
    assert {design.ranger.placed for design in DESIGNS} == {"top", "bottom"}
    assert {design.hops is None for design in DESIGNS} == {True, False}
    assert {design.hand_first for design in DESIGNS} == {True, False}
    assert {design.hand_last for design in DESIGNS} == {True, False}
    assert {design.launches for design in DESIGNS} >= {1, 2, 3, 5}
    stated = {statement.name for design in DESIGNS for statement in design.statements}
    assert stated >= {"track.angle", "track.rise", "track.along"}


@pytest.mark.parametrize(
    ("fixed", "read"),
    [
        ({"stop": "hard"}, lambda design: design.stop_kind == "hard"),
        ({"placed": "bottom"}, lambda design: design.ranger.placed == "bottom"),
        ({"rate": 10.0}, lambda design: design.ranger.rate == 10.0),
        ({"angle": 5.0}, lambda design: abs(design.setup.angle - 5.0) < 1.0),
        ({"launches": 4}, lambda design: design.launches == 4),
        ({"hands": False}, lambda design: not design.hand_first and not design.hand_last),
    ],
)
def test_what_is_fixed_stays_fixed(fixed: dict[str, object], read: object) -> None:
    for seed in range(5):
        assert read(random_design(np.random.default_rng(seed), **fixed))  # type: ignore[operator,arg-type]


def test_the_truth_scatters_about_what_is_stated_as_stated() -> None:
    """The true angle lies within the stated limits, spread over them: mean and spread of a rectangle, at five standard errors."""
    shares = []
    for design in DESIGNS:
        stated = {statement.name: statement for statement in design.statements}
        if "track.angle" in stated and stated["track.angle"].notation == "limits":
            shares.append((design.setup.angle - stated["track.angle"].value) / stated["track.angle"].width)
    count = len(shares)
    assert count > 20
    assert max(map(abs, shares)) <= 1.0
    assert abs(np.mean(shares)) < 5.0 / math.sqrt(3.0 * count)
    assert np.mean(np.square(shares)) == pytest.approx(1.0 / 3.0, abs=5.0 * math.sqrt(4.0 / 45.0 / count))


def test_impossible_wishes_are_refused() -> None:
    with pytest.raises(ValueError, match="no feasible bench"):
        random_design(np.random.default_rng(1), angle=60.0, rate=10.0)


def test_the_same_generator_gives_the_same_design() -> None:
    first, second = (random_design(np.random.default_rng(11)) for _ in range(2))
    assert first == second
    assert isinstance(first, Design)
