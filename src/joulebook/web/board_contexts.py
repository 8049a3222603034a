"""The context records of the board and of one bench as the teacher sees it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar

from joulebook.classroom.log_lines import LogLine
from joulebook.classroom.section import BenchState, HeldRecord
from joulebook.classroom.standing import STANDINGS, Standing, StandingWords
from joulebook.render.contents import FindingText, Table
from joulebook.render.picture import Picture
from joulebook.web.pages import Page
from joulebook.web.section_contexts import Did, Head

__all__ = [
    "BoardCards",
    "BoardPage",
    "Border",
    "Card",
    "Handle",
    "HintOffer",
    "Preview",
    "RecordRow",
    "TeacherBenchPage",
    "TraceEditor",
    "WorkLine",
]


@dataclass(frozen=True, slots=True)
class Card:
    """One bench on the board. standing: where it stands. title: number and name. since: time since its last change, in words.
    name: what the group calls itself.
    hand_up: whether it asks for help. ledger_open: whether its students may see the ledger."""

    standing: Standing
    title: str
    name: str
    since: str
    hand_up: bool
    ledger_open: bool


@dataclass(frozen=True, slots=True)
class BoardCards(Page):
    """The cards alone, for a page that is open already. section: its id. cards: by need. summary: in one line."""

    template: ClassVar[str] = "board_cards.html.j2"
    section: str
    cards: tuple[Card, ...]
    summary: str


@dataclass(frozen=True, slots=True)
class BoardPage(Page):
    """The board. head: of the section. section: its id. cards: by need. summary: in one line. did: what was just done.
    standings: what each mark means."""

    template: ClassVar[str] = "board.html.j2"
    head: Head
    section: str
    cards: tuple[Card, ...]
    summary: str
    did: Did | None = None
    standings: Mapping[str, StandingWords] = field(default_factory=lambda: STANDINGS)


@dataclass(frozen=True, slots=True)
class HintOffer:
    """Hints on one finding. code: of the finding, "clean" for none. about: in words. grades: (grade, what it is called, its
    words, whether it was given). for_teacher: what only the teacher reads."""

    code: str
    about: str
    grades: tuple[tuple[str, str, str, bool], ...]
    for_teacher: str


@dataclass(frozen=True, slots=True)
class RecordRow:
    """One record of a bench. held: as it is kept. read_as, notices: how it was read. problem: why it could not be read.
    by_hand: whether release, apex or phases were set by hand. counts: whether the audit uses it."""

    held: HeldRecord
    read_as: str
    notices: tuple[str, ...]
    problem: str
    by_hand: bool
    counts: bool


@dataclass(frozen=True, slots=True)
class WorkLine:
    """One line of the students' numbers beside the audit's, in words; "–" where there is nothing."""

    label: str
    theirs: str
    ours: str
    launches: str
    difference: str
    apart: str


@dataclass(frozen=True, slots=True)
class Handle:
    """One time that can be moved. name: of the form's field. label: in words. value: s. text: as a field shows it. by_hand:
    whether it was set."""

    name: str
    label: str
    value: float
    text: str
    by_hand: bool


@dataclass(frozen=True, slots=True)
class Border:
    """A border between two phases. number: its place among the borders. before, after: kinds of the phases. label: in words.
    start: of the phase before it, at: where it is, end: of the phase after it, s. text: at, as a field shows it.
    turning: it lies between climb and descent, where the motion itself says when it turns, so it is not moved."""

    number: int
    before: str
    after: str
    label: str
    start: float
    at: float
    end: float
    text: str
    turning: bool


@dataclass(frozen=True, slots=True)
class TraceEditor:
    """What is needed to move release, apex and phase edges of a launch.

    record, name: of the launch. picture: its trace. release, apex: None where the launch has none. borders: between its phases,
    in order. step: s between two samples. start, end: s, of the picture. low, high: s, of the record. wide, narrow: where the time
    axis begins and ends, as fractions of either picture's width. by_hand: whether anything was set. decimal: the house's sign.
    """

    record: str
    name: str
    picture: Picture
    release: Handle | None
    apex: Handle | None
    borders: tuple[Border, ...]
    step: float
    start: float
    end: float
    low: float
    high: float
    wide: tuple[float, float]
    narrow: tuple[float, float]
    by_hand: bool
    decimal: str = "."


@dataclass(frozen=True, slots=True)
class Preview(Page):
    """What follows from an override that is tried: verdict, ledger, findings. picture: the trace with the fit that follows.
    problem, remedy: why nothing follows. stood_in: set-up readings are missing, so there is no ledger."""

    template: ClassVar[str] = "preview.html.j2"
    verdict: str
    ledger: Table | None
    findings: tuple[FindingText, ...]
    findings_sentence: str
    picture: Picture | None = None
    problem: str = ""
    remedy: str = ""
    stood_in: bool = False


@dataclass(frozen=True, slots=True)
class TeacherBenchPage(Page):
    """One bench as the teacher sees it.

    head: of the section. section: its id. bench: as it stands. standing: where it stands. since: in words. did: just done.
    before, after: numbers of the benches next to it. code: of its card. numbers: of all benches, to move a record to.
    verdict, claims, ledger, motion, influences, findings, findings_sentence: of the audit; stood_in: it was made with stand-ins
    for readings that are missing, so no energy is shown. checking: it is still being judged. problem, remedy, faults, missing.
    pictures: of the audit, besides the trace being edited. editor: of the launch chosen. launches: (record, file) to choose from.
    work: numbers side by side; work_note: in words. own_words: (label, text) of their other own work. hints: to release.
    records: all of them. readings: set-up as (label, measured, how, planned). log: of this bench, newest first.
    ledger_seen: whether its students may see the ledger.
    """

    template: ClassVar[str] = "teacher_bench.html.j2"
    head: Head
    section: str
    bench: BenchState
    standing: Standing
    since: str
    did: Did | None
    before: int | None
    after: int | None
    code: str
    numbers: tuple[int, ...]
    verdict: str
    claims: tuple[tuple[str, str], ...]
    ledger: Table | None
    motion: Table | None
    influences: Table | None
    findings: tuple[FindingText, ...]
    findings_sentence: str
    stood_in: bool
    checking: bool
    problem: str
    remedy: str
    faults: tuple[str, ...]
    missing: tuple[str, ...]
    pictures: tuple[Picture, ...]
    editor: TraceEditor | None
    launches: tuple[tuple[str, str], ...]
    work: tuple[WorkLine, ...]
    work_note: str
    own_words: tuple[tuple[str, str], ...]
    hints: tuple[HintOffer, ...]
    records: tuple[RecordRow, ...]
    readings: tuple[tuple[str, str, str, str], ...]
    log: tuple[LogLine, ...]
    ledger_seen: bool
