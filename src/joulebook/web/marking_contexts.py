"""The context records of the marking pages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from joulebook.classroom.agreement import Agreement
from joulebook.classroom.alike import Alike
from joulebook.classroom.criteria import Criterion
from joulebook.classroom.own_work import Field
from joulebook.web.pages import Page
from joulebook.web.section_contexts import Did, Head

__all__ = ["BankPage", "LevelChoice", "MarkForm", "MarkingPage", "MarkingRow", "MarkingSheetPage", "StudentLine", "TypingPage"]


@dataclass(frozen=True, slots=True)
class MarkingRow:
    """One write-up of the list. code: as it is shown. link: its page. bench: number. first: the first wrong line in words, "" for
    none. cells: for each criterion (level in words, "confirmed", "suggested" or "open"). left: criteria still to be confirmed."""

    code: str
    link: str
    bench: int
    first: str
    cells: tuple[tuple[str, str], ...]
    left: int


@dataclass(frozen=True, slots=True)
class MarkingPage(Page):
    """Every write-up of a section. rows: in order. criteria: (name, title). done, total: marks confirmed and to be confirmed.
    anonymous: codes are hidden. did: what was just done. problem, remedy, faults: of the last table that was sent.
    agreement: with the second marker. sample: how many of the second marker's sample are marked, and of how many. alike: what is
    identical, for the teacher alone; looked: whether it was looked for. decimal: the house's sign."""

    template: ClassVar[str] = "marking.html.j2"
    head: Head
    rows: tuple[MarkingRow, ...]
    criteria: tuple[tuple[str, str], ...]
    done: int
    total: int
    anonymous: bool
    did: Did | None = None
    problem: str = ""
    remedy: str = ""
    faults: tuple[str, ...] = ()
    agreement: tuple[Agreement, ...] = ()
    sample: tuple[int, int] = (0, 0)
    alike: tuple[Alike, ...] = ()
    looked: bool = False
    decimal: str = "."


@dataclass(frozen=True, slots=True)
class LevelChoice:
    """One level of a criterion. level: its word. means: what it means here. points: "" where none are given. number: the key."""

    level: str
    means: str
    points: str
    number: int


@dataclass(frozen=True, slots=True)
class MarkForm:
    """One mark to be confirmed: a write-up under a criterion. id: of the form on its page. code, shown: of the write-up, and as
    it is shown. criterion, title: of the criterion. choices: its levels. suggested: a level, "" where a person must read.
    chosen: the level that is ticked. confirmed: whether it is a mark already. evidence: sentences. comments: (text, whether it is
    suggested). comment: as it stands. lines: what was found line by line, for the page of a criterion."""

    id: str
    code: str
    shown: str
    bench: int
    criterion: str
    title: str
    choices: tuple[LevelChoice, ...]
    suggested: str
    chosen: str
    confirmed: bool
    evidence: tuple[str, ...]
    comments: tuple[tuple[str, bool], ...]
    comment: str


@dataclass(frozen=True, slots=True)
class StudentLine:
    """One line of a write-up. name: in words. written: as it was typed. found: what was found. mark: ●, ▲ or ○; word says it."""

    name: str
    written: str
    found: str
    mark: str
    word: str


@dataclass(frozen=True, slots=True)
class MarkingSheetPage(Page):
    """Marks to be confirmed, one form each: all criteria of one write-up, or one criterion of all write-ups.

    title, lead: of the page. forms: in order. here: the path that a button leads back to. marker: "first" or "second".
    lines, texts: of one write-up: its lines, and (label, text) of what was written in words. previous, following: (path, label).
    batch: how many suggestions can be confirmed at once, 0 for none.
    """

    template: ClassVar[str] = "marking_sheet.html.j2"
    head: Head
    title: str
    lead: str
    forms: tuple[MarkForm, ...]
    here_path: str
    marker: str
    criterion: str = ""
    lines: tuple[StudentLine, ...] = ()
    texts: tuple[tuple[str, str], ...] = ()
    previous: tuple[str, str] = ("", "")
    following: tuple[str, str] = ("", "")
    batch: int = 0
    did: Did | None = None


@dataclass(frozen=True, slots=True)
class TypingPage(Page):
    """Where the teacher types in a write-up. steps: (heading, fields) of own work. benches: numbers to choose from. typed: texts as
    they were typed, by field. problem, remedy, faults: why the last try did not work."""

    template: ClassVar[str] = "marking_typing.html.j2"
    head: Head
    steps: tuple[tuple[str, tuple[Field, ...]], ...]
    benches: tuple[int, ...]
    typed: Mapping[str, str]
    did: Did | None = None
    problem: str = ""
    remedy: str = ""
    faults: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BankPage(Page):
    """The criteria and the comment bank, to be edited. criteria: in force. comments: a line each, "name: text". points: whether
    the criteria carry points. problem, remedy, faults: why the last try did not work."""

    template: ClassVar[str] = "marking_bank.html.j2"
    head: Head
    criteria: tuple[Criterion, ...]
    comments: str
    did: Did | None = None
    problem: str = ""
    remedy: str = ""
    faults: tuple[str, ...] = ()
