"""The context records of the students' pages: what their templates may use. Nothing of an audit is in them before its ledger is
opened: they are made from a `StudentView` and from what the group itself wrote."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from joulebook.classroom.own_work import Field
from joulebook.classroom.student_view import HintLine, RecordLine
from joulebook.render.contents import Table
from joulebook.render.picture import Picture
from joulebook.render.reading_picture import Plot
from joulebook.web.pages import Page

__all__ = [
    "BenchPage",
    "Done",
    "Help",
    "Ledger",
    "OwnComparison",
    "Problem",
    "RecordRow",
    "SetUp",
    "SetUpField",
    "Status",
    "StepField",
    "StepPart",
    "TracePage",
    "TracePart",
    "Version",
    "VersionsPage",
]


@dataclass(frozen=True, slots=True)
class Status:
    """How far a step is. name: "todo", "begun", "look", "done" or "fixed"; mark and word say it."""

    name: str
    mark: str
    word: str


@dataclass(frozen=True, slots=True)
class Problem:
    """Why something could not be done. message, remedy: in plain words. links: (id of a field, what is wrong with it).
    calm: whether nothing is the matter, so that it is said without alarm."""

    message: str
    remedy: str = ""
    links: tuple[tuple[str, str], ...] = ()
    calm: bool = False


@dataclass(frozen=True, slots=True)
class Done:
    """What the group has just done. step: the part of the page that says so. text: in words. at: when. undo: number of the change
    that can be undone, 0 for none."""

    step: str
    text: str
    at: str = ""
    undo: int = 0


@dataclass(frozen=True, slots=True)
class SetUpField:
    """One set-up reading as a form shows it.

    name: in the form. label, hint: what the page asks. value, unit, give, how: as they were saved, taken apart. units: (kept,
    shown). hows: (kept, shown). saved: the text as it is kept. planned: from the plan, "" for none. fault: what is not
    understood, "" for nothing.
    """

    name: str
    label: str
    hint: str = ""
    value: str = ""
    unit: str = ""
    give: str = ""
    how: str = ""
    units: tuple[tuple[str, str], ...] = ()
    hows: tuple[tuple[str, str], ...] = ()
    saved: str = ""
    planned: str = ""
    fault: str = ""


@dataclass(frozen=True, slots=True)
class SetUp:
    """The set-up step. method: "angle" or "rise". placed: end at which the motion sensor stands, as saved; placed_planned: as planned.
    temperature: None where the plan has settled the distance scale. look: whether something deserves a second look."""

    status: Status
    mass: SetUpField
    method: str
    angle: SetUpField
    rise: SetUpField
    along: SetUpField
    placed: str
    placed_planned: str
    temperature: SetUpField | None
    look: bool
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RecordRow:
    """A record in the list. line: as its group sees it. shown: whether its picture is the one on the page. readable: whether there
    is a picture of it."""

    line: RecordLine
    shown: bool
    readable: bool


@dataclass(frozen=True, slots=True)
class StepField:
    """A field of own work. field: what is asked. text: as it was saved or typed. shown: the same for reading. fault: beside it.
    partner: whether it only says more about the field that it stands beside."""

    field: Field
    text: str
    shown: str
    fault: str = ""
    partner: bool = False


@dataclass(frozen=True, slots=True)
class StepPart:
    """A step of own work. lead: what it is about. lines: formulas to use. rows: fields that belong side by side. base: number of
    the change that was saved last. locked: why it can only be read, "" when it can be changed.
    late: (label, text) of what was typed and came too late to be kept."""

    id: str
    heading: str
    lead: str
    lines: tuple[str, ...]
    status: Status
    rows: tuple[tuple[StepField, ...], ...]
    base: int
    saved_at: str
    locked: str = ""
    late: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class OwnComparison:
    """The group's two energies compared by the house's rule. question: the rule. sentence: the answer. how: what was done with
    the uncertainties. claim: what the group claimed. picture: of the two intervals, None without them. problem: why there is no
    comparison."""

    question: str = ""
    sentence: str = ""
    how: str = ""
    claim: str = ""
    picture: Picture | None = None
    problem: str = ""


@dataclass(frozen=True, slots=True)
class TracePart:
    """A record to read values from.

    record, name, role: which. others: (id, name) of all that can be read. picture, wide, narrow: its drawing and where the axes
    lie. at, to: times as they were typed; read: what the record says there, a sentence each. left_out: samples not in the table.
    start, end: the stretch shown, as texts. zoomed: whether it is not the whole record. decimal: the house's sign. problem: what is wrong
    with a typed time.
    """

    record: str
    name: str
    role: str
    others: tuple[tuple[str, str], ...]
    picture: Picture
    wide: Plot
    narrow: Plot
    left_out: int
    start: str
    end: str
    zoomed: bool
    decimal: str = "."
    at: str = ""
    to: str = ""
    read: tuple[str, ...] = ()
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Help:
    """Hints and the teacher. called: when the teacher was called, "" for not. topics: the hints released, by topic. may_ask: whether
    there is a further one. wait_until: when it may be asked for, "" for now."""

    called: str
    topics: tuple[tuple[HintLine, ...], ...]
    may_ask: bool
    wait_until: str


@dataclass(frozen=True, slots=True)
class Ledger:
    """What the teacher opened: the audit's verdict, pictures and table beside the group's own numbers. problem: why there is none
    yet. ours: (quantity, own value, the ledger's)."""

    verdict: str = ""
    ours: tuple[tuple[str, str, str], ...] = ()
    table: Table | None = None
    pictures: tuple[Picture, ...] = ()
    problem: str = ""


@dataclass(frozen=True, slots=True)
class BenchPage(Page):
    """The bench page.

    steps: ids of its parts in their order; parts: the steps of own work by id. opened: ids of the parts that stand open.
    next_step: (id, heading) of what comes next, None when all is done. commit_missing: what must be filled in before committing.
    commit: whether this section commits at all. undo: (number, words) of the group's last change. checked: whether all that was
    saved has been judged. problem: why the last thing could not be done, problem_step: the part that says so. done: what was just
    done. pasted, typed_name: texts that could not be kept. key: tells this bench's drafts apart from another's in the same browser.
    """

    template: ClassVar[str] = "bench.html.j2"
    number: int
    name: str
    section_title: str
    key: str
    closed: bool
    committed_at: str
    commit: bool
    commit_missing: tuple[str, ...]
    steps: tuple[str, ...]
    opened: frozenset[str]
    next_step: tuple[str, str] | None
    set_up: SetUp
    records_status: Status
    records: tuple[RecordRow, ...]
    has_rest: bool
    launches_wanted: int
    trace: TracePart | None
    parts: Mapping[str, StepPart]
    own: OwnComparison | None
    help: Help
    ledger: Ledger | None
    undo: tuple[int, str] | None
    checked: bool
    problem: Problem | None = None
    problem_step: str = ""
    done: Done | None = None
    pasted: str = ""
    typed_name: str = ""


@dataclass(frozen=True, slots=True)
class TracePage(Page):
    """The picture of a record alone, for the module that shows another stretch."""

    template: ClassVar[str] = "bench_trace_part.html.j2"
    trace: TracePart | None


@dataclass(frozen=True, slots=True)
class Version:
    """A field in two versions. label: what was asked. ours, other: as they are shown."""

    label: str
    ours: str
    other: str


@dataclass(frozen=True, slots=True)
class VersionsPage(Page):
    """A step that was saved twice. step, heading: which. versions: the fields. fields: what this window sent, by name. base: number
    of the change that keeps the other version, saved at `at`."""

    template: ClassVar[str] = "bench_versions.html.j2"
    step: str
    heading: str
    versions: tuple[Version, ...]
    fields: Mapping[str, str]
    base: int
    at: str
