"""The kit check on simulated benches: what it measures is true, what has changed is found, and nothing is named for nothing."""

from __future__ import annotations

import datetime
import json
import math
from dataclasses import replace

import numpy as np
import pytest
from tests.planning.kit_section import BASE, checked, kit_design, simulated

from joulebook.errors import InputError, RecordError
from joulebook.planning.demo_section import demo_benches
from joulebook.planning.design import Design
from joulebook.planning.kit_check import KitCheck, check_benches
from joulebook.planning.kit_history import last_check, store_check
from joulebook.planning.statements import Statement

SUMMER, AUTUMN = datetime.date(2031, 7, 4), datetime.date(2031, 9, 1)
COUNT = 8


def section(seed: int, changed: dict[int, Design] | None = None) -> list[tuple]:  # type: ignore[type-arg]
    designs = [(changed or {}).get(number, kit_design(number)) for number in range(1, COUNT + 1)]
    return [checked(design, seed) for design in designs]


@pytest.fixture(scope="module")
def summer() -> KitCheck:
    return check_benches(section(1), date=SUMMER)


@pytest.fixture(scope="module")
def autumn(summer: KitCheck, tmp_path_factory: pytest.TempPathFactory) -> KitCheck:
    """Bench 3 has three times the friction, bench 6 five times the noise; everything else is as it was."""
    history = tmp_path_factory.mktemp("history")
    store_check(history, SUMMER, json.dumps(summer.to_dict()))
    changed = {3: kit_design(3, setup={"rolling_resistance": 0.0135}), 6: kit_design(6, ranger={"noise": 0.0022})}
    return check_benches(section(2, changed), date=AUTUMN, against=last_check(history, before=AUTUMN))


def test_a_sound_section_needs_nothing(summer: KitCheck) -> None:
    assert [bench.need for bench in summer.benches] == ["fine"] * COUNT
    assert summer.sentence == "8 benches checked: none needs anything."
    assert summer.against is None
    assert not any(bench.changes for bench in summer.benches)


def test_what_is_measured_is_true(summer: KitCheck) -> None:
    """Rolling resistance, restitution, noise and rate against the simulator's truth, within four standard uncertainties."""
    moving = math.hypot(BASE.ranger.noise, BASE.ranger.moving_noise * 0.5)
    for bench in summer.benches:
        design = kit_design(int(bench.title.split()[1]))
        truth = simulated(design, 1)
        measures = bench.measures
        friction = measures["friction"]
        assert friction.value == pytest.approx(design.setup.rolling_resistance, abs=4.0 * friction.u)
        assert measures["rate"].value == pytest.approx(20.0, abs=0.5)
        assert measures["noise_still"].value == pytest.approx(BASE.ranger.noise, rel=0.35)
        assert measures["noise_moving"].value == pytest.approx(moving, rel=0.25)
        speeds = np.array([each.release_speed for each in truth.truths if each is not None])
        assert measures["repeatability"].value == pytest.approx(speeds.std(ddof=1) / speeds.mean(), abs=0.004)
        bounce = np.mean([each.restitution[0] for each in truth.truths if each is not None])
        assert measures["restitution"].value == pytest.approx(bounce, abs=0.02)


def test_a_change_is_found_and_said(autumn: KitCheck) -> None:
    by_title = {bench.title: bench for bench in autumn.benches}
    assert {bench.title for bench in autumn.benches[:2]} == {"Bench 3", "Bench 6"}
    assert [bench.need for bench in autumn.benches] == ["service"] * 2 + ["fine"] * (COUNT - 2)
    bases = {(reason.measure, reason.basis) for reason in by_title["Bench 3"].reasons}
    assert {("friction", "change"), ("friction", "class")} <= bases
    change = next(reason for reason in by_title["Bench 3"].reasons if reason.basis == "change")
    assert change.sentence.startswith("Rolling resistance rose from 0.004")
    assert "2031-07-04" in change.sentence
    assert "axle screw" in change.remedy
    noisy = {reason.measure for reason in by_title["Bench 6"].reasons}
    assert {"noise_still", "noise_moving"} <= noisy
    assert autumn.sentence.endswith("need service.")


def test_a_remedy_is_said_once(autumn: KitCheck) -> None:
    for bench in autumn.benches:
        remedies = [reason.remedy for reason in bench.reasons if reason.remedy]
        assert len(remedies) == len(set(remedies))


def test_benches_are_matched_by_title_then_by_folder(summer: KitCheck, tmp_path_factory: pytest.TempPathFactory) -> None:
    history = tmp_path_factory.mktemp("matched")
    store_check(history, SUMMER, json.dumps(summer.to_dict()))
    stored = last_check(history, before=AUTUMN)
    first = checked(kit_design(1), 3)
    moved = ("elsewhere", *first[1:])
    assert check_benches([moved], date=AUTUMN, against=stored).benches[0].changes["friction"].before.value == pytest.approx(
        next(bench for bench in summer.benches if bench.title == "Bench 1").measures["friction"].value
    )
    renamed = checked(replace(kit_design(1), title="New 1"), 3)
    assert not check_benches([renamed], date=AUTUMN, against=stored).benches[0].changes
    # Two benches of one title: only the one whose folder was known then is compared.
    twins = check_benches([first, moved], date=AUTUMN, against=stored).benches
    assert [bool(bench.changes) for bench in sorted(twins, key=lambda bench: bench.folder)] == [True, False]


def test_scale_is_hinted_at_only_where_the_slope_is_well_known() -> None:
    """A scale 2 % off shows where height over length is known to a millimetre, and a protractor hides it."""
    slope = (
        Statement("track.rise", 0.1063, 0.0005, "limits", 2, "cm", 100.0),
        Statement("track.along", 1.0, 0.001, "limits", 1, "cm", 100.0),
    )
    others = tuple(each for each in BASE.statements if not each.name.startswith("track."))
    true_angle = math.degrees(math.asin(0.1063))
    off = kit_design(1, setup={"angle": true_angle}, ranger={"scale": 1.03}, statements=(*slope, *others))
    check = check_benches([checked(off, 4)], date=AUTUMN)
    hint = check.benches[0].measures["scale_hint"]
    assert hint.value == pytest.approx(1.03, abs=3.0 * hint.u)
    assert hint.u < 0.02
    hidden = check_benches([checked(kit_design(1, ranger={"scale": 1.03}), 4)], date=AUTUMN).benches[0]
    assert "scale_hint" not in hidden.measures
    assert "hides any fault of the scale" in hidden.missing["scale_hint"]


def test_a_wrong_slope_says_what_cannot_be_told_apart() -> None:
    others = tuple(each for each in BASE.statements if each.name != "track.angle")
    wrong = kit_design(1, statements=(Statement("track.angle", 9.0, 0.25, "limits", 2), *others))
    bench = check_benches([checked(wrong, 5)], date=AUTUMN).benches[0]
    assert bench.need == "watch"
    reason = next(reason for reason in bench.reasons if reason.basis == "slope")
    assert "stated 9.00°" in reason.sentence
    assert not any(reason.sentence.startswith("angle-mismatch") for reason in bench.reasons)


def test_one_launch_and_no_rest_say_what_is_missing() -> None:
    bench = check_benches([checked(kit_design(1, launches=1, rest_seconds=0.0), 6)], date=AUTUMN).benches[0]
    assert bench.missing["noise_still"] == "there is no rest record"
    assert bench.missing["repeatability"] == "it takes two launches or more"
    assert bench.missing["contact_time"] == "it takes rebounds of two launches or more"
    assert "friction" in bench.measures


def test_a_run_that_cannot_be_judged() -> None:
    broken = RecordError("holds no numbers.", source="launch.csv")
    check = check_benches([checked(kit_design(1, missing_launch=True), 7), ("bench-9", broken)], date=AUTUMN)
    assert [bench.need for bench in check.benches] == ["unknown", "unknown"]
    assert "could not be judged" in check.sentence
    assert "launch.csv: holds no numbers." in check.benches[0].reasons[0].sentence


def test_false_alarms_on_real_records(summer: KitCheck, tmp_path_factory: pytest.TempPathFactory) -> None:
    """The same kit checked again: of 16 sound benches none needs service; one in 20 would still be borne."""
    history = tmp_path_factory.mktemp("again")
    store_check(history, SUMMER, json.dumps(summer.to_dict()))
    needs = []
    for seed in (11, 12):
        check = check_benches(section(seed), date=AUTUMN, against=last_check(history, before=AUTUMN))
        assert all(bench.changes for bench in check.benches)
        needs += [bench.need for bench in check.benches]
    assert needs.count("service") == 0
    assert needs.count("fine") >= 14


def test_json_form(autumn: KitCheck) -> None:
    told = json.loads(json.dumps(autumn.to_dict()))
    assert told["format"] == "joulebook/kit-check-1"
    assert (told["date"], told["compared_with"]) == ("2031-09-01", "2031-07-04")
    assert set(told["class"]["friction"]) == {"median", "made", "u", "benches", "limit", "logarithmic"}
    first = told["benches"][0]
    assert set(first) == {
        "bench", "folder", "need", "reasons", "measures", "missing", "changes", "scores", "findings", "error",
    }  # fmt: skip
    assert set(first["measures"]["friction"]) == {"value", "u", "u_repeat", "dof", "n", "note", "shown"}
    assert first["measures"]["friction"]["u_repeat"] <= first["measures"]["friction"]["u"]


def test_a_cart_beyond_the_rangers_reach_is_no_fault_of_its_aim() -> None:
    """Readings are lost because the cart comes too near: the finding says what to do, the share of readings lost only tells."""
    near = replace(demo_benches()[3].design, title="Bench 4")
    bench = check_benches([checked(near, 4)], date=AUTUMN).benches[0]
    assert "too-close" in {finding.code for finding in bench.findings}
    lost = [reason for reason in bench.reasons if reason.measure == "lost"]
    assert lost
    assert all(reason.remedy == "" and reason.weight < 1.0 for reason in lost)
    assert bench.reasons[0].criterion == "Finding too-close of the audit."


def test_the_speed_into_the_stop_is_kept_and_not_compared(summer: KitCheck, autumn: KitCheck) -> None:
    """v = √(2 a d): the simulator's own speed before the first rebound, and no change is ever told of it."""
    for bench in summer.benches:
        truth = simulated(kit_design(int(bench.title.split()[1])), 1)
        speeds = [math.sqrt(2.0 * each.descent_acceleration * each.travel) for each in truth.truths if each is not None]
        impact = bench.measures["impact_speed"]
        assert impact.value == pytest.approx(np.mean(speeds), abs=4.0 * impact.u)
    assert not any("impact_speed" in bench.changes for bench in autumn.benches)
    assert not any(reason.measure == "impact_speed" for bench in autumn.benches for reason in bench.reasons)


def test_nothing_to_check() -> None:
    with pytest.raises(InputError, match="no bench to check"):
        check_benches([], date=AUTUMN)


def test_an_earlier_check_must_be_earlier(summer: KitCheck, tmp_path_factory: pytest.TempPathFactory) -> None:
    history = tmp_path_factory.mktemp("later")
    store_check(history, SUMMER, json.dumps(summer.to_dict()))
    stored = last_check(history, before=AUTUMN)
    with pytest.raises(InputError, match=r"of 2031-07-04, and this one of 2031-07-04"):
        check_benches([checked(kit_design(1), 1)], date=SUMMER, against=stored)
