"""Changes as text: they come back the same, and what is none is named by its line."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from tests.classroom.ledger_of_changes import Ledger

from joulebook.errors import InputError
from joulebook.store import change_lines
from joulebook.store.change_lines import read_changes, record_hashes, write_changes


def ledger() -> Ledger:
    made = Ledger(house={"comparison": {"tolerance": "4 %"}})
    made.do("bench-named", 1, "bench", name="Ω\u2028\x00\ud800\n")
    record = made.add(1, "launch.csv", content=b"1,2")
    made.do("override-set", 1, record=record, release=0.1 + 0.2, edges=[["climb", 0.1, 1e-12]])
    made.do("undone", change=2)
    made.do("undone", change=5)
    return made


def test_they_come_back_the_same() -> None:
    made = ledger()
    content = write_changes(made.changes)
    changes, section = read_changes(content, source="a.zip")
    assert list(changes) == made.changes and section == made.section
    assert content.count(b"\n") == len(changes) and content.isascii()
    assert record_hashes(changes) == [made.changes[2].body["sha256"]]


def test_a_kind_of_a_later_version_is_kept() -> None:
    made = ledger()
    later = {"seq": 7, "at": "2031-09-01T08:00:00.000Z", "kind": "sung-to", "actor": "teacher", "bench": 2, "body": {"song": 1}}
    changes, section = read_changes(write_changes(made.changes) + json.dumps(later).encode(), source="")
    assert changes[-1].to_dict() == later and section.seq == 7


def spoilt(line: int, change: Callable[[dict[str, Any]], object]) -> bytes:
    lines = [json.loads(each) for each in write_changes(ledger().changes).splitlines()]
    change(lines[line - 1])
    return b"\n".join(json.dumps(each).encode() for each in lines)


@pytest.mark.parametrize(("content", "told"), [
    (b"", "it holds 0 changes"),
    (b"[" * 100_000, "change 1 is not understood"),
    (b"\xff\n", "change 1 is not understood"),
    (spoilt(2, lambda c: c.pop("at")), "change 2 is not understood .it must have actor, at"),
    (spoilt(2, lambda c: c.update(seq=True)), "its number is True"),
    (spoilt(3, lambda c: c.update(seq=2)), "change 3 is not understood .its number is 2"),
    (spoilt(2, lambda c: c.update(at="yesterday")), "its time is 'yesterday'"),
    (spoilt(2, lambda c: c.update(kind="x" * 41)), "its kind is 'xxx"),
    (spoilt(2, lambda c: c.update(actor="cat")), "it was made by 'cat'"),
    (spoilt(2, lambda c: c.update(bench=61)), "its bench is '61'"),
    (spoilt(2, lambda c: c.update(body=[])), "its body is no table"),
    (spoilt(2, lambda c: c.update(kind="section-made")), "made by its first change"),
    (spoilt(1, lambda c: c.update(kind="renamed")), "made by its first change"),
    (spoilt(1, lambda c: c["body"].update(benches=10**9)), "it makes 1000000000 benches"),
    (spoilt(3, lambda c: c["body"].update(sha256="../x")), "its SHA-256 is none"),
    (spoilt(2, lambda c: c["body"].update(name=5)), "change 2 does not fit its kind .name: must be a text"),
    (spoilt(1, lambda c: c["body"].update(house={"nonsense": 1})), "its changes do not play"),
])  # fmt: skip
def test_what_is_no_section_is_named_by_its_line(content: bytes, told: str) -> None:
    with pytest.raises(InputError, match=told) as raised:
        read_changes(content, source="a.zip")
    assert raised.value.code == "package" and raised.value.source == "a.zip" and raised.value.remedy


def test_too_many_changes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(change_lines, "MOST_CHANGES", 3)
    with pytest.raises(InputError, match="it holds 6 changes, and a section has 1 to 3"):
        read_changes(write_changes(ledger().changes), source="")
