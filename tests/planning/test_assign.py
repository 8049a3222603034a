"""Each bench its own set-up: different on purpose, and all usable."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from joulebook.experiments.ramp_plan import LEAST_CHANCE, Plan
from joulebook.planning.advice import percent
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
    """Evenly, as far as every bench is still likely to see its loss."""
    cotangents = [1 / np.tan(np.radians(item.forecast.set_up.angle)) for item in plan.assignments]
    even = np.linspace(cotangents[0], cotangents[-1], 6)
    assert cotangents == pytest.approx(even, abs=1.5)
    assert cotangents[0] / cotangents[-1] > 2.0


def test_every_bench_is_likely_to_see_its_loss(plan: Plan) -> None:
    for item in plan.assignments:
        assert item.aim == "loss"
        assert item.chance == item.forecast.mechanical["loss"] >= LEAST_CHANCE
        assert item.why_low == ""
        assert item.to_dict()["chance"] == item.chance
        assert item.to_dict()["why_low"] is None


def test_where_no_slope_shows_the_loss_the_benches_are_to_decide() -> None:
    """A level of ±0.2° sees the loss in two of three cases at best, but never fails to tell a loss from none within 5 %."""
    plan = make_plan(make_kit(methods=[{"name": "digital level", "limits": "0.2 deg"}], rates="20 Hz"))
    assert len(plan.assignments) == 6
    for item in plan.assignments:
        odds = item.forecast.mechanical
        assert item.aim == "decide"
        assert item.chance == odds["loss"] + odds["conserved"] >= LEAST_CHANCE > odds["loss"]
        assert item.why_low == ""


def test_a_weak_bench_says_why() -> None:
    """More benches than good set-ups: the best of the others are added, weakest chances last, each with its reason."""
    kit = make_kit(angles=["4 deg", "13 deg"], speeds=["0.7 m/s", "1.2 m/s"], rates="20 Hz", numbers=3, benches=30)
    found = make_plan(kit).assignments
    weak = [item for item in found if item.chance < LEAST_CHANCE]
    assert weak and len(weak) < len(found)
    for item in found:
        assert bool(item.why_low) == (item.chance < LEAST_CHANCE)
    told = weak[0]
    assert f"At {told.forecast.set_up.angle:g}° a loss of " in told.why_low
    assert percent(told.forecast.resolution) in told.why_low
    assert told.to_dict()["why_low"] == told.why_low


def test_a_bench_that_cannot_decide_says_why() -> None:
    """A protractor at 3° to 5°: U stays above 5 %."""
    ways = [{"name": "protractor", "limits": "0.5 deg"}]
    found = make_plan(make_kit(methods=ways, angles=["3 deg", "5 deg"], rates="20 Hz", benches=3)).assignments
    assert found
    for item in found:
        assert item.aim == "decide"
        assert item.chance < LEAST_CHANCE
        assert "only up to 5.0 % may be called conserved" in item.why_low


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
