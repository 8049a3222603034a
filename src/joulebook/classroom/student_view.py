"""What a group at its bench may know, as records of its own: nothing else of a judgement ever reaches a student's browser.

Before the teacher opens the ledger a group sees its own entries, how its files were read, the raw samples, whether a record is
fine, and hints. No energy, ratio, release, apex, slope or correct value of the audit is in here (DESIGN §8), and no finding's
message or code, which hold such numbers or name the mistake.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from joulebook.classroom.judging import Judgement
from joulebook.classroom.section import BenchState, Section
from joulebook.engine.report import Audit, Finding
from joulebook.experiments.ramp_hints import CLEAN, GRADES, HINTS

__all__ = ["STUDENT_GRADES", "HintLine", "RecordLine", "StudentView", "ask_for", "view_for_students"]

STUDENT_GRADES = tuple(grade for grade in GRADES if grade != "teacher")
"""The grades of hints that are for students, in the order in which they are given."""

_STATES = {
    "unread": ("■", "This file could not be read"),
    "checking": ("…", "Being checked"),
    "repeat": ("■", "Make this record again"),
    "look": ("▲", "Look at this record again"),
    "fine": ("●", "This record can be used"),
    "aside": ("○", "Set aside"),
}


@dataclass(frozen=True, slots=True)
class RecordLine:
    """One record as its group sees it.

    state: "unread", "checking", "repeat", "look", "fine" or "aside"; mark and word say it. read_as, notices: how the file was
    read. problem, remedy, faults: why it could not be read.
    """

    id: str
    name: str
    role: str
    at: str
    state: str
    mark: str
    word: str
    read_as: str = ""
    notices: tuple[str, ...] = ()
    problem: str = ""
    remedy: str = ""
    faults: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class HintLine:
    """A hint that was released. topic: a number that tells hints on different things apart. grade: what the grade is called."""

    topic: int
    grade: str
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class StudentView:
    """What a bench's page is made from.

    number, title, section_title, closed, committed: of bench and section. records: in order, those set aside included.
    hints: released, in order. next_hints: how many topics have a further hint to ask for. set_up_missing: readings still needed.
    set_up_faults: what is not understood in them, by input. look_at_set_up: whether something about the set-up readings deserves
    a second look, without saying what. checked: whether everything that was saved has been judged.
    ledger: the audit, and only once the teacher has opened it; None before.
    """

    number: int
    title: str
    section_title: str
    closed: bool
    committed: bool
    records: tuple[RecordLine, ...]
    hints: tuple[HintLine, ...]
    next_hints: int
    set_up_missing: tuple[str, ...]
    set_up_faults: Mapping[str, str]
    look_at_set_up: bool
    checked: bool
    ledger: Audit | None = None
    ledger_opened: bool = False


def view_for_students(section: Section, bench: BenchState, judgement: Judgement | None) -> StudentView:
    """Return what the students of a bench may know. judgement: None while the data are being judged."""
    opened = section.may_see_ledger(bench.number)
    findings = () if judgement is None else _pressing(judgement)
    topics = _topics(bench, findings)
    about_set_up = any(not isinstance(each.evidence.get("record"), str) for each in findings)
    return StudentView(
        number=bench.number,
        title=bench.title,
        section_title=section.title,
        closed=section.closed,
        committed=bool(bench.committed_at),
        records=tuple(_line(bench, record.id, judgement) for record in bench.records),
        hints=_hints(bench, topics),
        next_hints=sum(1 for code in topics if ask_for(bench, code) is not None),
        set_up_missing=() if judgement is None else judgement.missing,
        set_up_faults={each.where: f"{each.what} {each.remedy}".strip() for each in (judgement.faults if judgement else ())},
        look_at_set_up=about_set_up,
        checked=judgement is not None,
        # Of a bench whose launches are all stopped nothing can be concluded, and so no number of it is shown.
        ledger=judgement.ledger if opened and judgement is not None and _trusted(judgement.ledger) else None,
        ledger_opened=opened,
    )


def _trusted(audit: Audit | None) -> bool:
    return audit is not None and math.isfinite(audit.verdict.resolution)


def ask_for(bench: BenchState, code: str) -> str | None:
    """Return the next grade of a hint on a finding that a group has not been given yet, None after the last one for students."""
    given = [grade for known, grade in bench.hints if known == code]
    return next((grade for grade in STUDENT_GRADES if grade not in given), None)


def _pressing(judgement: Judgement) -> tuple[Finding, ...]:
    return tuple(each for each in judgement.findings if each.severity in ("stop", "look"))


def _topics(bench: BenchState, findings: tuple[Finding, ...]) -> tuple[str, ...]:
    """Return the codes that hints are about: those given already first, so that their numbers stay, then new ones."""
    given = [code for code, _ in bench.hints]
    return tuple(dict.fromkeys([*given, *(each.code for each in findings if each.code in HINTS)]))


def _hints(bench: BenchState, topics: tuple[str, ...]) -> tuple[HintLine, ...]:
    return tuple(
        HintLine(topics.index(code) + 1, GRADES[grade], str(getattr(HINTS.get(code, CLEAN), grade)))
        for code, grade in bench.hints
        if grade in STUDENT_GRADES
    )


def _line(bench: BenchState, id_: str, judgement: Judgement | None) -> RecordLine:
    record = bench.record(id_)
    assert record is not None
    news = None if judgement is None else next((each for each in judgement.news if each.record == id_), None)
    if record.discarded or (news is None and judgement is not None):
        state = "aside"
    elif judgement is None or news is None:
        state = "checking"
    elif news.problem:
        state = "unread"
    else:
        names = [name for name, of in judgement.names.items() if of == id_]
        severities = [each.severity for each in _pressing(judgement) if each.evidence.get("record") in names]
        # An audit that could not be made at all has no finding to say it.
        refused = bool(judgement.problem) and record.role == "launch"
        state = "repeat" if "stop" in severities else "look" if severities or refused else "fine"
    mark, word = _STATES[state]
    more = {} if news is None else {
        "read_as": news.read_as, "notices": news.notices, "problem": news.problem, "remedy": news.remedy, "faults": news.faults,
    }  # fmt: skip
    return RecordLine(record.id, record.name, record.role, record.at, state, mark, word, **more)  # type: ignore[arg-type]
