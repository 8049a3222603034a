"""The context records of the pages about sections: making one, its rules, its files, its cards, its log."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import ClassVar

from joulebook.classroom.log_lines import LogLine
from joulebook.engine.house import BASES, COMPARISONS, STEPS
from joulebook.web.pages import Page

__all__ = [
    "STEP_WORDS",
    "CardsPage",
    "Did",
    "DropPage",
    "Head",
    "HouseForm",
    "LogPage",
    "NewSectionPage",
    "PrintedCard",
    "RulesPage",
    "SectionRow",
    "SectionsPage",
    "TrayLine",
]

STEP_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "predict": "before measuring: less energy at the top, the same or more, and why",
        "readings": "distances at release and at the highest point, and the speed at release, read from the trace",
        "uncertainty": "how far off each of the two energies typically is: its standard uncertainty u",
        "calculation": "way, height and both energies, a line each with the working",
        "comparison": "the two energies compared by the rule above, once they are committed",
        "claim": "what their own numbers let them say, before they see them compared",
        "losses": "where missing energy could have gone, and how much that is",
        "improve": "one thing that they would change, and what it would help",
    }
)
"""What students do in each step, for the teacher who chooses the steps."""


@dataclass(frozen=True, slots=True)
class Head:
    """What every page of a section has at its head. id, title: of the section. page: a word for the page, of the navigation.
    closed: after the bell. all_open: the ledger is open to every bench. seq: of its last change."""

    id: str
    title: str
    page: str
    closed: bool
    all_open: bool
    seq: int


@dataclass(frozen=True, slots=True)
class Did:
    """What was done a moment ago. text: in words. seq: the number of the change. undoable: whether it can be undone."""

    text: str
    seq: int
    undoable: bool


@dataclass(frozen=True, slots=True)
class SectionRow:
    """One section of the list. id, title: of it. made_at, touched_at: when it was made and last changed. benches: how many."""

    id: str
    title: str
    made_at: str
    touched_at: str
    benches: int


@dataclass(frozen=True, slots=True)
class SectionsPage(Page):
    """The teacher's sections, the newest first. place: where they are kept, in a few words."""

    template: ClassVar[str] = "sections.html.j2"
    rows: tuple[SectionRow, ...]
    place: str


@dataclass(frozen=True, slots=True)
class HouseForm:
    """The house rules as a form shows them: texts as they were typed, and what is wrong with them.

    gravity, tolerance: as in a house file. decimal, digits, method, percent_of: the word chosen. signed, formulas: ticked or not.
    minutes, launches: as typed. steps: those that students see. faults: by field, in words.
    methods, bases, all_steps: the choices, with their words. step_words: a sentence for each step.
    """

    gravity: str = ""
    tolerance: str = "5 %"
    decimal: str = "point"
    digits: str = "1"
    method: str = "percent difference"
    percent_of: str = "average"
    signed: bool = False
    minutes: str = "45"
    launches: str = "3"
    steps: tuple[str, ...] = STEPS
    formulas: bool = True
    faults: Mapping[str, str] = field(default_factory=dict)
    methods: Mapping[str, str] = field(default_factory=lambda: COMPARISONS)
    bases: Mapping[str, str] = field(default_factory=lambda: BASES)
    all_steps: tuple[str, ...] = STEPS
    step_words: Mapping[str, str] = field(default_factory=lambda: STEP_WORDS)


@dataclass(frozen=True, slots=True)
class NewSectionPage(Page):
    """Where a section is made. name, benches, note: as typed. house: the rules. house_text: of a house file, pasted.
    problem, remedy, faults: why the last try did not work."""

    template: ClassVar[str] = "new_section.html.j2"
    house: HouseForm
    name: str = ""
    benches: str = "12"
    note: str = ""
    house_text: str = ""
    problem: str = ""
    remedy: str = ""
    faults: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RulesPage(Page):
    """Title and house rules of a section. head: of the section. name: its title as typed. house: the rules.
    house_text: of a house file, pasted. written: the rules in force as a house file. did: what was just done. problem, remedy,
    faults: why the last try did not work."""

    template: ClassVar[str] = "rules.html.j2"
    head: Head
    house: HouseForm
    name: str
    written: str
    house_text: str = ""
    did: Did | None = None
    problem: str = ""
    remedy: str = ""
    faults: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LogPage(Page):
    """Every change of a section, the newest first. did: what was just done. total: of all these changes; older: the change before
    which the next page of the log begins, None on the last. benches: (number, title) to choose from. bench: the one that was
    chosen, 0 for the changes of the section as a whole, None for all."""

    template: ClassVar[str] = "log.html.j2"
    head: Head
    lines: tuple[LogLine, ...]
    did: Did | None
    total: int
    older: int | None
    benches: tuple[tuple[int, str], ...] = ()
    bench: int | None = None


@dataclass(frozen=True, slots=True)
class PrintedCard:
    """A bench's card. bench: number. code: as it is typed in. url: what the QR code says. qr: the QR code as SVG, "" where no
    other device could open it."""

    bench: int
    code: str
    url: str
    qr: str


@dataclass(frozen=True, slots=True)
class CardsPage(Page):
    """The cards that lead benches to the room. address: what a browser is given. lan: whether other machines reach it."""

    template: ClassVar[str] = "bench_cards.html.j2"
    head: Head
    cards: tuple[PrintedCard, ...]
    address: str
    lan: bool


@dataclass(frozen=True, slots=True)
class TrayLine:
    """A file that waits to be added. id: in the tray. name, size: of the file. path: with its folders. bench: as its name says,
    None for unknown. role: "rest" or "launch". via: how it came. problem: why it was not added, "" when it was not tried."""

    id: str
    name: str
    path: str
    size: int
    bench: int | None
    role: str
    via: str
    problem: str = ""


@dataclass(frozen=True, slots=True)
class DropPage(Page):
    """Where files are dropped on a section. benches: their numbers and titles. tray: files that wait. told: what became of the
    last ones. watched: the folder that is watched for this section, "" for none. here: whether this browser runs on the teacher's
    machine. watch_lines: what the watched folder brought, the newest first."""

    template: ClassVar[str] = "drop.html.j2"
    head: Head
    benches: tuple[tuple[int, str], ...]
    tray: tuple[TrayLine, ...]
    told: tuple[str, ...]
    watched: str
    watch_lines: tuple[str, ...]
    did: Did | None = None
