"""Judges: a file that stalls or kills its reader costs one answer, never the server."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest
from tests.classroom.benches import filled
from tests.classroom.ledger_of_changes import Ledger

from joulebook.classroom.judging import judge_bench
from joulebook.web.judges import Judges


@pytest.fixture
def judges() -> Iterator[Judges]:
    found = Judges(1, limit=30.0)
    yield found
    found.close()


def test_a_judge_says_the_same_as_the_function(judges: Judges) -> None:
    ledger, held = filled()
    bench, house = ledger.section.benches[1], ledger.section.house
    found = judges.judge(bench, held, house)
    assert found.ledger is not None and found.ledger.to_dict() == judge_bench(bench, held, house).ledger.to_dict()  # type: ignore[union-attr]


def test_a_judge_that_takes_too_long_is_replaced(judges: Judges, monkeypatch: pytest.MonkeyPatch) -> None:
    ledger, held = filled()
    bench, house = ledger.section.benches[1], ledger.section.house
    assert judges.judge(bench, held, house).ledger is not None
    judge = judges._judges[0]
    process = judge._process
    assert process is not None
    process.send_signal(19)  # SIGSTOP: it neither answers nor dies, as a reader in an endless loop
    monkeypatch.setattr(judge, "_limit", 0.3)
    found = judges.judge(bench, held, house)
    assert found.audit is None and "longer than 0.3 s" in found.problem and found.remedy
    monkeypatch.setattr(judge, "_limit", 30.0)
    assert judges.judge(bench, held, house).ledger is not None
    assert judge._process is not None and judge._process.pid != process.pid


def test_a_judge_that_dies_is_replaced(judges: Judges) -> None:
    ledger, held = filled()
    bench, house = ledger.section.benches[1], ledger.section.house
    assert judges.judge(bench, held, house).ledger is not None
    process = judges._judges[0]._process
    assert process is not None
    process.kill()
    process.wait(10.0)
    assert judges.judge(bench, held, house).ledger is not None


def test_a_fault_of_ours_is_an_answer_too(judges: Judges) -> None:
    bench = replace(Ledger().section.benches[1], records=(None,))  # type: ignore[arg-type]
    found = judges._judges[0].ask((bench, {}, None))
    assert isinstance(found, tuple) and "a fault of joulebook" in found[0]


def test_after_closing_there_is_an_answer(judges: Judges) -> None:
    judges.close()
    ledger = Ledger()
    found = judges.judge(ledger.section.benches[1], {}, ledger.section.house)
    assert "shutting down" in found.problem
