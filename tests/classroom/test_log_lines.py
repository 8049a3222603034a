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
