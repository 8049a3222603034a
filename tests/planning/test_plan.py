"""Plans: the recommendation, its reasons and warnings, and the errors of a kit that offers nothing."""

from __future__ import annotations

import json

import pytest

from joulebook.errors import AnalysisError, InputError
from joulebook.experiments.ramp_plan import PLAN_FORMAT, Plan
from joulebook.planning.forecasts import forecast_of
from joulebook.planning.plan import make_plan
from joulebook.readers.kit_file import make_kit


@pytest.fixture(scope="module")
def plan() -> Plan:
    return make_plan(make_kit(title="Room 12"))


def test_the_recommendation(plan: Plan) -> None:
    best = plan.recommended
    assert best.problem == ""
    assert best.set_up.method.name == "height over length"
    assert best.mechanical["undecided"] < 0.05
    assert best.set_up.angle not in (8.0, 14.0)  # radians look like cosine there
    assert abs(best.set_up.speed - 1.0) > 0.05
    assert f"{best.set_up.angle:g}°" in plan.sentence
    assert f"{best.set_up.speed:.2f} m/s" in plan.sentence
    assert plan.points >= 2000
    assert 0 < plan.usable < plan.points


def test_it_is_what_the_forecast_of_that_set_up_says(plan: Plan) -> None:
    again = forecast_of(plan.kit, plan.recommended.set_up, tolerance=plan.tolerance)
    assert again.set_up.stroke == pytest.approx(plan.recommended.set_up.stroke)
    assert dict(again.mechanical) == pytest.approx(dict(plan.recommended.mechanical))
    assert (again.u_loss, again.travel, again.samples) == pytest.approx(
        (plan.recommended.u_loss, plan.recommended.travel, plan.recommended.samples)
    )
    assert again.resolution == pytest.approx(plan.recommended.resolution)


def test_today_is_the_first_method_and_number(plan: Plan) -> None:
    assert plan.today.set_up.method.name == "protractor"
    assert plan.today.set_up.launches == 1
    assert plan.today.mechanical["undecided"] > 0.5
    assert plan.today.resolution > 3 * plan.recommended.resolution


def test_json(plan: Plan) -> None:
    told = plan.to_dict()
    assert told["format"] == PLAN_FORMAT == "joulebook/plan-1"
    back = json.loads(json.dumps(told, allow_nan=False))
    assert back["recommended"]["set_up"]["angle_deg"] == plan.recommended.set_up.angle
    assert len(back["benches"]) == 6
    for each in (back["recommended"], back["today"], *back["benches"], *back["alternatives"]):
        assert (each["set_up"]["placed"], each["set_up"]["track_length_m"]) == (plan.kit.placed, plan.kit.track_length)
    assert sum(line["share"] for line in back["recommended"]["budget"]) == pytest.approx(1.0)
    assert back["defaults"] == list(plan.kit.defaults)


def test_alternatives_cover_the_other_slopes(plan: Plan) -> None:
    angles = {each.set_up.angle for each in plan.alternatives}
    assert plan.recommended.set_up.angle not in angles
    assert angles | {plan.recommended.set_up.angle} == set(plan.kit.angles)


def test_the_region_holds_the_chosen_point(plan: Plan) -> None:
    region = plan.region
    angle, launch = region.chosen
    assert region.states[region.angles.index(angle)][region.launches.index(launch)] == "good"
    assert len(region.states) == len(region.angles)
    assert {len(row) for row in region.states} == {len(region.launches)}
    assert {state for row in region.states for state in row} >= {"good", "off-track", "few-samples"}
    seen = region.seen[region.angles.index(angle)][region.launches.index(launch)]
    assert seen == pytest.approx(plan.recommended.mechanical["loss"])


def test_a_protractor_alone_cannot_tell() -> None:
    """A protractor at these slopes can only ever answer "cannot tell"; what would help is said first."""
    kit = make_kit(angles=["4 deg", "5 deg"], methods=[{"name": "protractor", "limits": "0.5 deg"}])
    plan = make_plan(kit)
    assert plan.recommended.mechanical["undecided"] > 0.5
    assert plan.best_change.startswith("Measure height over length")
    assert plan.further[0].beyond
    assert plan.further[0].after < 0.4 * plan.further[0].before


def test_strokes() -> None:
    plan = make_plan(make_kit(stiffness="200 N/m", strokes=["3 cm", "4 cm", "5 cm"]))
    assert plan.region.by_stroke
    assert any(plan.recommended.set_up.stroke == pytest.approx(stroke, rel=1e-6) for stroke in (0.03, 0.04, 0.05))


def test_a_check_is_made_when_asked(plan: Plan) -> None:
    assert plan.check is None
    kit = make_kit(numbers=1, angles=["5 deg", "6 deg"], rates="20 Hz")
    checked = make_plan(kit, check=3, seed=2)
    assert checked.check is not None
    assert (checked.check.benches, checked.check.seed) == (3, 2)
    assert sum(checked.check.mechanical.values()) == pytest.approx(1.0)
    again = make_plan(kit, check=3, seed=2)
    assert again.check == checked.check


@pytest.mark.parametrize(
    ("entries", "words"),
    [
        ({"speeds": "2 m/s", "angles": "3 deg"}, "none of the 27 set-ups of this kit fits: even 2 m/s at 3°"),
        ({"rates": "3 Hz", "angles": "12 deg"}, "gives samples enough: at best"),
        ({"rolling_resistance": "0.1", "angles": ["3 deg", "5 deg"]}, "even 5° is so flat that a rolling resistance of 0.1"),
        ({"period": "30 min"}, "leaves time for no launch"),
    ],
)
def test_kits_that_offer_nothing(entries: dict[str, object], words: str) -> None:
    with pytest.raises(AnalysisError, match=words) as caught:
        make_plan(make_kit(values=entries))
    assert caught.value.code == "no-set-up"
    assert caught.value.remedy


def test_a_tolerance_that_is_none() -> None:
    with pytest.raises(InputError, match="not between 0 and 1"):
        make_plan(make_kit(), tolerance=1.5)


def test_the_tolerance_counts() -> None:
    kit = make_kit(
        angles=["10 deg"],
        speeds=["1.2 m/s"],
        rolling_resistance="0.0002 ± 0.0001",
        methods=[{"name": "level", "limits": "0.2 deg"}],
    )
    wide, narrow = make_plan(kit, tolerance=0.10), make_plan(kit, tolerance=0.01)
    assert wide.recommended.mechanical["conserved"] > 0.9
    assert narrow.recommended.mechanical["conserved"] < 0.01
    assert narrow.recommended.mechanical["undecided"] > 0.9
