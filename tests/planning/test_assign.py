"""Each bench its own set-up: different on purpose, and all usable."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from joulebook.experiments.ramp_plan import Plan
from joulebook.planning.assign import assign, class_result
from joulebook.planning.plan import make_plan
from joulebook.readers.kit_file import make_kit


@pytest.fixture(scope="module")
def plan() -> Plan:
    return make_plan(make_kit())


def test_all_different_and_all_usable(plan: Plan) -> None:
    set_ups = [item.forecast.set_up for item in plan.assignments]
    assert len(set_ups) == 6
    assert len({each.angle for each in set_ups}) == 6
    assert all(item.forecast.problem == "" for item in plan.assignments)
    assert all(item.forecast.mechanical["undecided"] < 0.25 for item in plan.assignments)
    assert not {each.angle for each in set_ups} & {8.0, 14.0}
    assert all(abs(each.speed - 1.0) > 0.049 for each in set_ups)
    assert len({(each.method, each.launches, each.rate, each.mass) for each in set_ups}) == 1


def test_spread_in_one_over_the_tangent(plan: Plan) -> None:
    cotangents = [1 / np.tan(np.radians(item.forecast.set_up.angle)) for item in plan.assignments]
    even = np.linspace(cotangents[0], cotangents[-1], 6)
    assert cotangents == pytest.approx(even, abs=1.5)
    assert cotangents[0] / cotangents[-1] > 3.0


def test_a_copied_report_fits_nobody(plan: Plan) -> None:
    assert plan.class_result is not None
    assert plan.class_result.separation > 1.0
    for a, b in combinations([item.forecast for item in plan.assignments], 2):
        kinetic = abs(a.kinetic - b.kinetic) / np.hypot(a.u_kinetic, b.u_kinetic)
        potential = abs(a.potential - b.potential) / np.hypot(a.u_potential, b.u_potential)
        assert max(kinetic, potential) > 2.0


def test_the_class_finds_the_rolling_resistance() -> None:
    """The slope of the losses against 1/tanθ is μ; drag adds a little, so it is left out here."""
    plan = make_plan(make_kit(drag_area="0 m^2"))
    assert plan.class_result is not None
    assert plan.class_result.expected == pytest.approx(0.005, rel=1e-6)
    single = min(item.forecast.u_loss * np.tan(np.radians(item.forecast.set_up.angle)) for item in plan.assignments)
    assert 0.2 * single < plan.class_result.u < 1.5 * single


def test_numbers_of_benches() -> None:
    two = make_plan(make_kit(benches=2, rates="20 Hz", angles=["5 deg", "9 deg"]))
    assert len(two.assignments) == 2
    assert two.class_result is None
    alone = make_plan(make_kit(benches=1, rates="20 Hz", angles=["5 deg", "9 deg"]))
    assert alone.assignments[0].forecast.set_up.angle == alone.recommended.set_up.angle
    many = make_plan(make_kit(benches=30, rates="20 Hz", numbers=3))
    chosen = [(item.forecast.set_up.angle, item.forecast.set_up.speed) for item in many.assignments]
    assert len(chosen) == len(set(chosen)) == 30


def test_class_result_needs_three(plan: Plan) -> None:
    assert class_result(plan.assignments[:2]) is None


def test_nothing_to_assign(plan: Plan) -> None:
    assert assign(make_kit(speeds="4 m/s"), plan.recommended.set_up, tolerance=0.05) == ()
