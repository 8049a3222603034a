"""What a group may know: its own entries, raw data and hints, and nothing of the audit before the ledger is opened."""

from __future__ import annotations

from dataclasses import asdict

from tests.classroom.benches import filled
from tests.classroom.ledger_of_changes import Ledger

from joulebook.classroom.judging import judge_bench
from joulebook.classroom.student_view import STUDENT_GRADES, StudentView, ask_for, view_for_students
from joulebook.experiments.ramp_hints import HINTS
from joulebook.uncertainty import Quantity


def _view(ledger: Ledger, held: dict[str, bytes]) -> StudentView:
    bench = ledger.section.benches[1]
    return view_for_students(ledger.section, bench, judge_bench(bench, held, ledger.section.house))


def _told(view: StudentView) -> str:
    return repr(asdict(view)) if view.ledger is None else repr(view.ledger.to_dict())


def _answers(ledger: Ledger, held: dict[str, bytes]) -> list[str]:
    """Return every number of the audit by its first figures, three of them significant, as a longer text would show it."""
    bench = ledger.section.benches[1]
    audit = judge_bench(bench, held, ledger.section.house).ledger
    assert audit is not None
    single = [item for item in audit.quantities.values() if isinstance(item, Quantity)]
    return [_first_figures(item.value) for item in single if item.value]


def _first_figures(value: float) -> str:
    text = f"{abs(value):.12f}"
    first = next(place for place, sign in enumerate(text) if sign not in "0.")
    return text[: max(first + 3, text.index(".") + 3)]


def test_nothing_of_the_audit_is_told_before_the_ledger_is_opened() -> None:
    ledger, held = filled()
    told, answers = _told(_view(ledger, held)), _answers(ledger, held)
    assert len(answers) > 10
    assert [answer for answer in answers if answer in told] == []
    ledger.do("ledger-opened", 1)
    assert [answer for answer in answers if answer not in _told(_view(ledger, held))] == [], "or the search above finds nothing"


def test_a_finding_is_told_as_a_state_and_not_by_its_message_or_code() -> None:
    ledger, held = filled("too-close")
    view = _view(ledger, held)
    bench = ledger.section.benches[1]
    findings = [each for each in judge_bench(bench, held, ledger.section.house).findings if each.severity != "note"]
    assert findings
    states = {line.state for line in view.records if line.role == "launch"}
    assert states <= {"repeat", "look"} and states
    assert all(finding.message not in _told(view) and finding.code not in _told(view) for finding in findings)


def test_a_set_up_reading_to_look_at_is_told_without_saying_which() -> None:
    ledger, held = filled("angle-mismatch")
    view = _view(ledger, held)
    assert view.look_at_set_up and "angle" not in _told(view).replace("track.angle", "")
    assert {line.state for line in view.records} == {"fine"}


def test_hints_come_one_grade_at_a_time_and_never_the_teachers() -> None:
    ledger, held = filled("too-close")
    assert _view(ledger, held).hints == () and _view(ledger, held).next_hints >= 1
    for grade in STUDENT_GRADES:
        assert ask_for(ledger.section.benches[1], "too-close") == grade
        ledger.do("hint-released", 1, code="too-close", grade=grade)
    assert ask_for(ledger.section.benches[1], "too-close") is None
    ledger.do("hint-released", 1, code="too-close", grade="teacher")
    texts = [hint.text for hint in _view(ledger, held).hints]
    hint = HINTS["too-close"]
    assert texts == [hint.look, hint.question, hint.measure] and hint.teacher not in _told(_view(ledger, held))


def test_every_state_of_a_record_is_said() -> None:
    ledger, held = filled()
    wrong = b"nothing of use"
    unread = ledger.add(1, "wrong.csv", content=wrong)
    held[ledger.section.benches[1].record(unread).sha256] = wrong  # type: ignore[union-attr]
    aside = ledger.section.benches[1].launches[0].id
    ledger.do("record-discarded", 1, "bench", record=aside)
    lines = {line.id: line for line in _view(ledger, held).records}
    assert lines[aside].state == "aside" and lines[unread].state == "unread" and lines[unread].problem
    assert "fine" in {line.state for line in lines.values()}
    bench = ledger.section.benches[1]
    waiting = view_for_students(ledger.section, bench, None)
    assert {line.state for line in waiting.records} == {"checking", "aside"} and not waiting.checked


def test_the_bell_and_the_commitment_are_said() -> None:
    ledger, held = filled()
    ledger.do("bell-rung")
    view = _view(ledger, held)
    assert view.closed and not view.committed and view.title == "Bench 1" and view.section_title == "Second period"


def test_no_number_of_a_stopped_bench_is_shown_even_when_its_ledger_is_opened() -> None:
    for fault in ("too-close", "cut-short", "no-launch"):
        ledger, held = filled(fault)
        ledger.do("ledger-opened", 1)
        judgement = judge_bench(ledger.section.benches[1], held, ledger.section.house)
        stopped = {each.evidence.get("record") for each in judgement.findings if each.severity == "stop"}
        if judgement.audit is not None and {launch.file for launch in judgement.audit.launches} <= stopped:
            assert _view(ledger, held).ledger is None, fault
