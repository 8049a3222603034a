"""A write-up against its own bench: readings, lines, first wrong line; and what is suggested from it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest
from tests.classroom.benches import files, filled

from joulebook.analysis import audit_bench
from joulebook.classroom.checking import Checked, check_write_up, write_up_of
from joulebook.classroom.criteria import CRITERIA
from joulebook.classroom.judging import judge_bench
from joulebook.classroom.reading_check import check_reading, features_of
from joulebook.classroom.suggesting import COMMENTS, suggest
from joulebook.classroom.write_up import WriteUp
from joulebook.classroom.written import Written
from joulebook.engine.house import DEFAULT_HOUSE
from joulebook.engine.report import Audit
from joulebook.readers.bench_file import make_bench
from joulebook.uncertainty import Quantity

_HOUSE = replace(DEFAULT_HOUSE, comparison="t-prime")


@cache
def _audit(fault: str = "", seed: int = 5) -> Audit:
    content, values = files(fault, seed)
    launches = [(name, data) for name, data in content.items() if "rest" not in name]
    return audit_bench(make_bench(values=values, launches=launches, rest=("rest.csv", content["rest.csv"])))


def _value(audit: Audit, name: str) -> float:
    item = audit.launches[0].quantities[name]
    assert isinstance(item, Quantity)
    return item.value


def _place(audit: Audit, code: str) -> float:
    """Return the middle of a feature on the ranger's scale."""
    reading = "start_distance" if code == "start" else "apex_distance"
    wanted = "wanted" if code in ("start", "apex") else code
    feature = next(each for each in features_of(reading, audit) if each.code == wanted)
    return 0.5 * (feature.low + feature.high)


def _write_up(audit: Audit, **changes: str) -> WriteUp:
    """Return an honest write-up of the first launch, with some fields changed; a blank one is left out."""
    start, apex = round(_place(audit, "start"), 3), round(_place(audit, "apex"), 3)
    speed, travel = round(_value(audit, "release_speed") - 0.02, 2), abs(start - apex)
    mass = next(item.value for item in audit.inputs if item.name == "cart.mass")
    sine = _value(audit, "height") / _value(audit, "travel")
    height = float(f"{travel * sine:.3g}")
    fields = {
        "start_distance": f"{start:.3f}", "start_distance_u": "0.01", "apex_distance": f"{apex:.3f}", "apex_distance_u": "0.005",
        "release_speed": f"{speed:.2f}", "release_speed_u": "0.03", "travel": f"{travel:.3f}", "height": f"{height:.3g}",
        "kinetic_energy": f"{0.5 * mass * speed**2:.3g}", "potential_energy": f"{mass * 9.81 * height:.3g}",
        "kinetic_energy_u": "0.02", "potential_energy_u": "0.02", "claim": "undecided", **changes,
    }  # fmt: skip
    values = {name: text for name, text in files()[1].items() if name.startswith(("cart.mass", "track."))}
    return WriteUp("s1", 1, values, {name: text for name, text in fields.items() if text})


def _checked(audit: Audit, **changes: str) -> Checked:
    return check_write_up(_write_up(audit, **changes), audit, _HOUSE)


def test_an_honest_write_up_has_no_wrong_line() -> None:
    checked = _checked(_audit())
    assert {name: each.kind for name, each in checked.readings.items()} == dict.fromkeys(checked.readings, "right")
    assert {line.kind for line in checked.lines.values()} == {"right"}
    assert checked.first_wrong == "" or checked.first_wrong == "claim"
    assert all(abs(off) < 4.0 for off in checked.against.values())


def test_the_first_wrong_line_is_named_and_the_rest_follows() -> None:
    audit = _audit()
    travel = abs(round(_place(audit, "start"), 3) - round(_place(audit, "apex"), 3))
    mass = next(item.value for item in audit.inputs if item.name == "cart.mass")
    checked = _checked(audit, height=f"{travel:.3f}", potential_energy=f"{mass * 9.81 * travel:.3g}")
    assert checked.first_wrong == "height" and "travel-for-height" in checked.slips
    assert checked.lines["potential_energy"].kind == "right", "consequential: judged by the group's own height"


@pytest.mark.parametrize("code", ["rest level", "top of hop 2"])
def test_a_reading_taken_elsewhere_on_the_graph_is_recognised(code: str) -> None:
    audit = _audit()
    checked = _checked(audit, apex_distance=f"{_place(audit, code):.4f}")
    assert checked.first_wrong == "apex_distance"
    assert code in [feature.code for feature in checked.readings["apex_distance"].features]


@pytest.mark.parametrize("code", ["average speed", "return speed"])
def test_another_speed_of_the_record_is_recognised(code: str) -> None:
    audit = _audit()
    feature = next(each for each in features_of("release_speed", audit) if each.code == code)
    result = check_reading("release_speed", Written("v", 0.5 * (feature.low + feature.high), 0.0, 3), audit)
    wanted = next(each for each in features_of("release_speed", audit) if each.code == "wanted")
    if feature.low > wanted.high or feature.high < wanted.low:
        assert code in [each.code for each in result.features]


def test_a_reading_is_right_within_what_its_reader_says() -> None:
    audit = _audit()
    far = f"{_place(audit, 'apex') + 0.1:.3f}"
    assert _checked(audit, apex_distance=far).readings["apex_distance"].kind in ("off", "other feature")
    # A limit of 0.1 m covers it; one of 0.06 m, whose standard uncertainty is 0.035 m (GUM 4.3.7), does not.
    assert _checked(audit, apex_distance=far, apex_distance_u="0.1").readings["apex_distance"].kind == "right"
    assert _checked(audit, apex_distance=far, apex_distance_u="0.06").readings["apex_distance"].kind != "right"


def test_a_slope_that_the_motion_contradicts_is_told() -> None:
    audit = _audit("angle-mismatch")
    values = files("angle-mismatch")[1]
    write_up = WriteUp("s", 1, {name: text for name, text in values.items() if name.startswith("track.")}, {})
    checked = check_write_up(write_up, audit, _HOUSE)
    assert checked.readings["slope"].kind == "off" and checked.first_wrong == "slope"


def test_lines_that_cannot_be_followed_are_held_against_the_record() -> None:
    audit = _audit()
    shown = f"{_value(audit, 'potential_energy'):.2g}"
    bare = WriteUp("s", 1, {}, {"potential_energy": shown})
    assert check_write_up(bare, audit, _HOUSE).lines["potential_energy"].by_audit
    wild = check_write_up(WriteUp("s", 1, {}, {"potential_energy": "77"}), audit, _HOUSE)
    assert wild.lines["potential_energy"].kind == "cannot tell" and wild.first_wrong != "potential_energy"


def test_what_is_no_number_is_kept_and_told() -> None:
    checked = check_write_up(WriteUp("s", 1, {"cart.mass": "half a kilo"}, {"kinetic_energy": "much"}), None, _HOUSE)
    assert set(checked.unread) == {"kinetic_energy", "cart.mass"}


def test_an_angle_that_is_not_understood_beside_a_rise_is_told_and_no_error() -> None:
    values = {"track.angle": "steep", "track.rise": "14 cm", "track.along": "1 m"}
    checked = check_write_up(WriteUp("s", 1, values, {}), _audit(), _HOUSE)
    assert "track.angle" in checked.unread and "slope" in checked.readings


def test_a_bench_of_the_room_is_a_write_up() -> None:
    ledger, held = filled()
    ledger.do("work-saved", 1, "bench", step="calculation", fields={"kinetic_energy": "0.31", "travel": " "})
    bench = ledger.section.benches[1]
    write_up = write_up_of(bench)
    assert (write_up.code, write_up.bench, write_up.fields) == ("bench-1", 1, {"kinetic_energy": "0.31"})
    judgement = judge_bench(bench, held, _HOUSE)
    assert set(suggest(check_write_up(write_up, judgement.ledger, _HOUSE), judgement, CRITERIA.values())) == set(CRITERIA)


def test_suggestions_rest_on_evidence_and_leave_words_to_the_teacher() -> None:
    ledger, held = filled()
    judgement = judge_bench(ledger.section.benches[1], held, _HOUSE)
    checked = _checked(_audit(), improve="Measure the rise over the whole track.")
    found = suggest(checked, judgement, CRITERIA.values())
    assert {name: found[name].level for name in ("data", "calculation", "readings")} == dict.fromkeys(
        ("data", "calculation", "readings"), "adequate"
    )
    assert found["improvement"].level == "" and "Measure the rise" in found["improvement"].evidence[0]
    assert all(each.evidence for each in found.values())
    assert all(name in COMMENTS for each in found.values() for name in each.comments)


@pytest.mark.parametrize(
    ("changes", "criterion", "level"),
    [
        ({"kinetic_energy": "", "potential_energy": ""}, "calculation", "missing"),
        ({"kinetic_energy": "9.99"}, "calculation", "needs improvement"),
        ({"kinetic_energy": "9.99", "height": "7.77"}, "calculation", "inadequate"),
        ({"release_speed_u": ""}, "readings", "needs improvement"),
        ({"start_distance": "9.9", "apex_distance": "8.8"}, "readings", "inadequate"),
        ({"start_distance": "", "apex_distance": "", "release_speed": ""}, "readings", "missing"),
        ({"claim": ""}, "claim", "missing"),
        ({"kinetic_energy_u": "", "potential_energy_u": ""}, "claim", "inadequate"),
        ({}, "losses", "missing"),
        ({"loss_where": "rolling"}, "losses", "needs improvement"),
    ],
)
def test_levels_follow_what_was_found(changes: dict[str, str], criterion: str, level: str) -> None:
    checked = _checked(_audit(), **changes)
    assert suggest(checked, None, CRITERIA.values())[criterion].level == level
