"""The log in words: every kind of change has a sentence, and what is undone says so."""

from __future__ import annotations

import pytest
from tests.classroom.ledger_of_changes import Ledger

from joulebook.classroom.changes import KINDS, Change
from joulebook.classroom.log_lines import log_lines, say_change

_BODY = {
    "title": "Third period", "benches": 3, "name": "rest.csv", "record": "r2", "reason": "a hand", "role": "rest", "to": 2,
    "step": "claim", "code": "too-close", "grade": "look", "text": "a note", "change": 2, "values": {"cart.mass": "0.25 kg"},
    "fields": {"claim": "loss"}, "house": {}, "release": 1.25,
}  # fmt: skip


@pytest.mark.parametrize("kind", [name for name, kind in KINDS.items() if name not in ("write-ups-read",)])
def test_every_kind_is_said_in_words(kind: str) -> None:
    wanted = {*KINDS[kind].required, *KINDS[kind].optional}
    body = {key: value for key, value in _BODY.items() if key in wanted}
    brought = Change(2, "2026-03-02T09:00:00.000Z", "record-added", "bench", 1, {"name": "launch-1.csv", "role": "launch"})
    change = Change(3, "2026-03-02T09:00:01.000Z", kind, "teacher", 1 if KINDS[kind].benched else None, body)
    text = say_change(change, [brought, change])
    assert "{" not in text
    assert len(text) > 5
    if "record" in KINDS[kind].required:
        assert "launch-1.csv" in text, "the file's name, not a number of ours"


def test_who_what_and_what_can_be_taken_back() -> None:
    ledger = Ledger()
    ledger.do("visited", 1)
    ledger.do("undone", change=2)
    lines = log_lines(ledger.changes, ledger.section.void)
    assert [(line.seq, line.what, line.void, line.undoable, line.again) for line in lines] == [
        (3, "Undone: Bench 1 visited", False, True, True),
        (2, "Bench 1 visited", True, False, False),
        (1, "Section made: Second period", False, False, False),
    ]
    assert {line.who for line in lines} == {"Teacher"}


def test_details_and_unknown_kinds() -> None:
    ledger = Ledger()
    record = ledger.add(1, "launch-1.csv")
    ledger.do("record-discarded", 1, "bench", record=record, reason="a hand in front")
    ledger.do("override-set", 1, record=record, release=1.25, edges=[["climb", 1.25, 1.9]])
    ledger.do("override-set", 1, record=record)
    told = {line.seq: (line.what, line.detail) for line in log_lines(ledger.changes, ())}
    assert told[3] == ("Bench 1: record launch-1.csv set aside", "a hand in front")
    assert told[4][1] == "release 1.250 s; climb 1.250 to 1.900 s"
    assert told[5][0] == "Bench 1: release, apex and phases of launch-1.csv as joulebook finds them"
    later = Change(9, "2027-01-01T00:00:00.000Z", "of-a-later-day", "teacher", None, {})
    assert "later version" in say_change(later, [later])
    assert "of-a-later-day" not in say_change(later, [later]), "no word of the machine"


def test_no_word_of_the_machine_stands_in_the_log() -> None:
    ledger = Ledger()
    ledger.do("record-added", 1, name="rest.csv", sha256="0" * 64, size=3155, role="rest", via="drop")
    values = {"track.angle": "9.8 deg ± 0.25 deg", "sensor.placed": "top", "sensor.air_temperature": "", "cart.mass": "0.5 kg"}
    ledger.do("values-set", 1, "bench", values=values)
    fields = {"kinetic_energy": "0,3", "kinetic_work": "½mv²", "release_speed_u": "0.1"}
    ledger.do("work-saved", 1, "bench", step="calculation", fields=fields)
    ledger.do("work-saved", 1, "bench", step="claim", fields={"claim": "loss"})
    ledger.do("hint-released", 1, code="too-close", grade="look")
    ledger.do("hint-released", 1, code="clean", grade="question")
    ledger.do("write-up-added", 1, code="heath", fields={"claim": "undecided"}, values={"cart.mass": "0.5 kg"}, via="table")
    ledger.do("mark-set", code="heath", criterion="set-up", level="adequate")
    lines = {line.seq: f"{line.what} | {line.detail}" for line in log_lines(ledger.changes, (), decimal=",")}
    told = list(lines.values())[::-1][1:]
    assert told == [
        "Bench 1: rest.csv added | rest record, 3 kB, added on the page of files",
        "Bench 1: set-up readings | stated slope: 9,8° ± 0,25°; place of the sensor: the top; air temperature: taken away; "
        "mass of the cart: 0,5 kg",
        "Bench 1: step “Our calculation” saved | energy of motion at release, KE: 0,3; energy of motion at release, KE, working: ½mv²; "
        "speed at release, give or take, at most: 0.1",
        "Bench 1: step “Our claim” saved | going by our numbers and how sure we are of them: there is less energy at the top",
        "Bench 1: hint “Look again” on “The cart comes into the ranger's blind zone” | ",
        "Bench 1: hint “A question” on a bench with nothing to find | ",
        "Bench 1: write-up heath | 2 entries, from a table",
        "Write-up heath, Set-up and safety: adequate | ",
    ]


def test_times_that_were_set_are_told_with_the_house_s_sign_and_the_phases_names() -> None:
    ledger = Ledger()
    record = ledger.add(1, "launch-1.csv")
    ledger.do("override-set", 1, record=record, apex=1.5, edges=[["gap", 1.25, 1.9], ["odd", 2.0, 2.5]])
    assert log_lines(ledger.changes, (), decimal=",")[0].detail == "apex 1,500 s; gap 1,250 to 1,900 s; phase 2,000 to 2,500 s"


def test_criteria_that_were_renamed_are_told_by_their_new_title() -> None:
    made = Change(2, "2026-03-02T09:00:00.000Z", "criteria-set", "teacher", None, {"criteria": {"claim": {"title": "What it says"}}})
    mark = Change(3, "2026-03-02T09:00:01.000Z", "mark-set", "teacher", None, {"code": "a", "criterion": "claim", "level": "meets"})
    assert say_change(mark, [made, mark]) == "Write-up a, What it says: meets"
