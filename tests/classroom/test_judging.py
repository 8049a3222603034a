"""From what a bench holds to its audit; nothing that it holds may end in a bare error."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.classroom.benches import files, filled
from tests.classroom.ledger_of_changes import Ledger

from joulebook.analysis import audit_bench
from joulebook.classroom.judging import judge_bench, judgement_key
from joulebook.readers.bench_file import make_bench


def test_a_sound_bench_is_judged_as_the_audit_of_its_files() -> None:
    ledger, held = filled()
    judged = judge_bench(ledger.section.benches[1], held, ledger.section.house)
    content, values = files()
    launches = [(name, data) for name, data in content.items() if "rest" not in name]
    expected = audit_bench(make_bench(values=values, launches=launches, rest=("rest.csv", content["rest.csv"]), title="Bench 1"))
    assert judged.ledger is not None and judged.problem == "" and judged.worst in ("", "note")
    assert judged.ledger.to_dict() == expected.to_dict()
    assert [each.problem for each in judged.news] == ["", "", ""]
    assert all(each.read_as for each in judged.news)


def test_a_launch_too_close_is_told_before_any_set_up_reading_is_there() -> None:
    ledger, held = filled("too-close", values=False)
    kit = {name: text for name, text in files("too-close")[1].items() if name.startswith("sensor.")}
    ledger.do("values-planned", 1, values=kit)
    judged = judge_bench(ledger.section.benches[1], held, ledger.section.house)
    assert judged.missing == ("cart.mass", "track.angle") and judged.stood_in and judged.ledger is None
    assert "too-close" in [finding.code for finding in judged.findings if finding.severity in ("stop", "look")]


def test_stand_ins_cause_no_finding_about_the_set_up() -> None:
    for seed in (5, 6, 7):
        ledger, held = filled(seed=seed, values=False)
        judged = judge_bench(ledger.section.benches[1], held, ledger.section.house)
        assert judged.worst in ("", "note"), [finding.message for finding in judged.findings]


def test_one_of_the_two_slopes_or_a_half_of_a_pair_is_missing() -> None:
    ledger, held = filled(values=False)
    ledger.do("values-set", 1, "bench", values={"cart.mass": "0.5 kg", "track.rise": "14 cm"})
    judged = judge_bench(ledger.section.benches[1], held, ledger.section.house)
    assert judged.missing == ("track.along",) and judged.audit is not None and judged.stood_in


def test_a_reading_that_is_not_understood_is_told_and_the_records_are_judged_all_the_same() -> None:
    ledger, held = filled(values=False)
    ledger.do("values-set", 1, "bench", values={"cart.mass": "half a kilo", "track.angle": "8 deg ± 0.25 deg"})
    judged = judge_bench(ledger.section.benches[1], held, ledger.section.house)
    assert [fault.where for fault in judged.faults] == ["cart.mass"] and judged.ledger is None and judged.audit is not None


def test_planned_readings_do_not_stand_for_measured_ones() -> None:
    ledger, held = filled(values=False)
    ledger.do("values-planned", 1, values={"cart.mass": "0.5 kg", "track.angle": "8 deg", "sensor.placed": "top"})
    judged = judge_bench(ledger.section.benches[1], held, ledger.section.house)
    assert judged.missing == ("cart.mass", "track.angle") and judged.ledger is None


def test_a_file_that_is_no_record_is_told_and_the_others_are_judged() -> None:
    ledger, held = filled()
    wrong = b"<html>not a record</html>"
    record = ledger.add(1, "page.csv", content=wrong)
    held = {**held, ledger.section.benches[1].record(record).sha256: wrong}  # type: ignore[union-attr]
    judged = judge_bench(ledger.section.benches[1], held, ledger.section.house)
    told = {each.record: each for each in judged.news}
    assert told[record].problem and told[record].remedy
    assert judged.ledger is not None and len(judged.ledger.launches) == 2


def test_bytes_that_are_gone_are_told() -> None:
    ledger, held = filled()
    judged = judge_bench(ledger.section.benches[1], dict(list(held.items())[:1]), ledger.section.house)
    assert "not in the store" in judged.news[-1].problem


def test_two_files_of_one_name_are_told_apart() -> None:
    ledger, held = filled()
    launches = ledger.section.benches[1].launches
    content, _ = files(seed=6)
    data = content["launch-1.csv"]
    record = ledger.add(1, launches[0].name, content=data)
    held = {**held, ledger.section.benches[1].record(record).sha256: data}  # type: ignore[union-attr]
    judged = judge_bench(ledger.section.benches[1], held, ledger.section.house)
    assert sorted(judged.names.values()) == sorted(each.id for each in ledger.section.benches[1].records)
    assert judged.audit is not None and len({each.file for each in judged.audit.launches}) == 3


def test_an_override_outside_the_record_is_told_in_words() -> None:
    ledger, held = filled()
    ledger.do("override-set", 1, record=ledger.section.benches[1].launches[0].id, release=1e5)
    judged = judge_bench(ledger.section.benches[1], held, ledger.section.house)
    assert judged.audit is None and judged.problem and any("outside the record" in str(fault) for fault in judged.faults)


def test_an_override_moves_the_ledger() -> None:
    ledger, held = filled()
    before = judge_bench(ledger.section.benches[1], held, ledger.section.house).ledger
    assert before is not None
    release = before.launches[0].quantities["release_time"].value  # type: ignore[union-attr]
    ledger.do("override-set", 1, record=ledger.section.benches[1].launches[0].id, release=release + 0.05)
    after = judge_bench(ledger.section.benches[1], held, ledger.section.house).ledger
    assert after is not None
    assert after.launches[0].quantities["release_time"].value == pytest.approx(release + 0.05)  # type: ignore[union-attr]


def test_the_key_changes_with_whatever_the_judgement_rests_on_and_with_nothing_else() -> None:
    ledger, _ = filled()
    bench, house = ledger.section.benches[1], ledger.section.house
    key = judgement_key(bench, house)
    assert key == judgement_key(replace(bench, visited_at="2026-03-02T09:00:00Z", note="n", hints=(("a", "look"),)), house)
    first = bench.records[0]
    others = [
        replace(bench, values={**bench.values, "cart.mass": "1 kg"}),
        replace(bench, records=bench.records[:-1]),
        replace(bench, records=(replace(first, discarded=True), *bench.records[1:])),
        replace(bench, records=(*bench.records[:-1], replace(bench.records[-1], run="2"))),
    ]
    keys = [judgement_key(other, house) for other in others] + [judgement_key(bench, replace(house, tolerance=0.01))]
    assert len({key, *keys}) == 6


def test_nothing_yet_is_no_problem() -> None:
    judged = judge_bench(Ledger().section.benches[1], {}, Ledger().section.house)
    assert judged.audit is None and judged.problem == "" and judged.missing == ("cart.mass", "track.angle")
