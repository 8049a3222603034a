"""A section as it stands: the sum of its changes.

    section = play(changes)             # from the first change on
    section = advance(section, change)  # one more

`check` says whether a change makes sense now; `play` never fails on changes that were once accepted, so that a later version of
joulebook can always read what an earlier one kept.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from joulebook.classroom.changes import KINDS, Change, Draft, check_draft, when
from joulebook.classroom.mark_book import MARKING_KINDS, MarkBook, check_marking, mark
from joulebook.classroom.own_work import COMMITTED_STEPS, FIELDS
from joulebook.engine.bench import Override
from joulebook.engine.house import DEFAULT_HOUSE, House
from joulebook.errors import InputError
from joulebook.readers.house_file import make_house

__all__ = [
    "LATE_SECONDS",
    "MOST_BENCHES",
    "MOST_RECORDS",
    "BenchState",
    "HeldRecord",
    "SavedStep",
    "Section",
    "advance",
    "check",
    "is_fixed",
    "missing_for_commit",
    "play",
]

MOST_BENCHES = 60
"""Benches of one section."""

MOST_RECORDS = 60
"""Records that one bench may hold, those set aside included."""

LATE_SECONDS = 180.0
"""s after the bell in which benches can still send what they had typed or measured; it is marked as late."""

_NO_OVERRIDE = Override()
_TAKEN_LATE = ("work-saved", "values-set", "record-added")
_UNDER_NUMBERS = ("values-set", "record-added", "record-discarded", "record-restored", "record-role-set")
"""What a group's committed numbers rest on."""
_ROLES = ("rest", "launch")


@dataclass(frozen=True, slots=True)
class HeldRecord:
    """A record that a bench holds.

    id: its name in the section, "r" and the number of the change that brought it. name: the file's. sha256: of its bytes.
    size: bytes. role: "rest" or "launch". at: when it came, UTC. via: "upload", "paste", "drop" or "folder". run: of a file with
    several, "" for the first. discarded: set aside, with the reason. override: a person's own release, apex and phases.
    """

    id: str
    name: str
    sha256: str
    size: int
    role: str
    at: str
    via: str = "upload"
    run: str = ""
    discarded: bool = False
    reason: str = ""
    override: Override = _NO_OVERRIDE


@dataclass(frozen=True, slots=True)
class SavedStep:
    """A step of own work as it was last saved.

    fields: texts by name. seq, at: of the change that saved it. late: whether the bell had been rung.
    """

    fields: Mapping[str, str]
    seq: int
    at: str
    late: bool = False


@dataclass(frozen=True, slots=True)
class BenchState:
    """One bench of a section as it stands.

    number: from 1. name: what the group calls itself, "" for none. values: set-up readings by input name, written as in a bench
    file. planned: the same from the plan, which stand in until they are measured. how: how each was measured.
    records: in the order in which they came. work: own work by step. committed_at: when uncertainties and claim were fixed, "".
    hints: (finding code, grade) released. visited_at, signed_off_at, help_at: times, "" for never. ledger_open: whether this
    bench may see its ledger. note: the teacher's. touched_at: of the last change that the bench made. seq: of its last change.
    """

    number: int
    name: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    planned: Mapping[str, str] = field(default_factory=dict)
    how: Mapping[str, str] = field(default_factory=dict)
    records: tuple[HeldRecord, ...] = ()
    work: Mapping[str, SavedStep] = field(default_factory=dict)
    committed_at: str = ""
    hints: tuple[tuple[str, str], ...] = ()
    visited_at: str = ""
    signed_off_at: str = ""
    help_at: str = ""
    ledger_open: bool = False
    note: str = ""
    touched_at: str = ""
    seq: int = 0

    @property
    def title(self) -> str:
        """What the bench is called: its number, and what the group calls itself."""
        return f"Bench {self.number}" + (f", {self.name}" if self.name else "")

    @property
    def rest(self) -> HeldRecord | None:
        """The rest record that counts: the last one not set aside."""
        found = [record for record in self.records if record.role == "rest" and not record.discarded]
        return found[-1] if found else None

    @property
    def launches(self) -> tuple[HeldRecord, ...]:
        """The launch records that count."""
        return tuple(record for record in self.records if record.role == "launch" and not record.discarded)

    def record(self, id_: str) -> HeldRecord | None:
        """Return a record by its id, None when there is none."""
        return next((record for record in self.records if record.id == id_), None)


@dataclass(frozen=True, slots=True)
class Section:
    """A section as it stands after the change number `seq`.

    title, note: the teacher's words. made_at: UTC. house: the rules in force; house_tables: as they are written in a house file.
    benches: by number. marks: write-ups and their marks. closed_at: when the bell was rung, "" before. all_open: the ledger is open
    to every bench. void: numbers of undone changes. begun_at: when a bench did something for the first time, "" before.
    """

    title: str = ""
    note: str = ""
    made_at: str = ""
    house: House = DEFAULT_HOUSE
    house_tables: Mapping[str, object] = field(default_factory=dict)
    benches: Mapping[int, BenchState] = field(default_factory=dict)
    marks: MarkBook = field(default_factory=MarkBook)
    closed_at: str = ""
    all_open: bool = False
    seq: int = 0
    void: frozenset[int] = frozenset()
    begun_at: str = ""

    @property
    def closed(self) -> bool:
        """Whether the bell has been rung."""
        return bool(self.closed_at)

    def may_see_ledger(self, number: int) -> bool:
        """Whether the students of a bench may see its ledger.

        Opened to this bench: at once, the teacher has looked at it. Opened to all: once the bench has committed its own numbers,
        or the lesson is over.
        """
        bench = self.benches.get(number)
        return bench is not None and (bench.ledger_open or (self.all_open and (bool(bench.committed_at) or self.closed)))


def play(changes: Iterable[Change]) -> Section:
    """Return the section after all its changes, in the order of their numbers; undone ones are left out."""
    listed = sorted(changes, key=lambda change: change.seq)
    void = _void(listed)
    section = Section()
    for change in listed:
        section = replace(section if change.seq in void else _apply(section, change), seq=change.seq)
    return replace(section, void=void)


def advance(section: Section, change: Change, *, earlier: Iterable[Change] = ()) -> Section:
    """Return the section after one more change.

    earlier: every change before it; needed for an undoing alone, which plays all of them anew.
    """
    if change.kind == "undone":
        return play([*earlier, change])
    return replace(_apply(section, change), seq=change.seq)


def check(section: Section, draft: Draft, *, earlier: Iterable[Change] = (), now: str = "") -> None:
    """Check whether a draft makes sense in the section as it stands, its form included.

    earlier: every change so far; needed for an undoing alone. now: the time, as a change has it; with it, what a bench had typed
    or measured when the bell rang is taken for LATE_SECONDS more.
    Raises InputError: what cannot be done, why, and what to do instead.
    """
    check_draft(draft)
    kind = KINDS[draft.kind]
    if draft.kind == "undone":
        _check_undoing(section, draft, earlier)
        return
    if draft.kind == "section-made":
        if section.seq:
            raise _refused("This section was made already.", "Change its rules instead.")
        _check_count(draft.body["benches"])
    if draft.kind == "bench-added":
        if draft.bench != len(section.benches) + 1:
            raise _refused(f"The next bench is {len(section.benches) + 1}, not {draft.bench}.", "Reload the page.")
        _check_count(draft.bench)
    elif kind.benched and draft.bench not in section.benches:
        raise _refused(f"There is no bench {draft.bench} in this section.", f"It has {len(section.benches)} benches.")
    if draft.kind in MARKING_KINDS:
        check_marking(section.marks, draft)
    if "house" in draft.body:
        make_house(draft.body["house"])  # type: ignore[arg-type]  # a table: check_draft looked
    if draft.actor == "bench" and section.closed and not _just_late(section, draft, now):
        raise _refused("The lesson is over: nothing more can be changed here.", "Ask your teacher to take back the bell.")
    bench = section.benches.get(draft.bench or 0)
    if bench is not None:
        _check_bench(section, bench, draft)


def is_fixed(change: Change) -> bool:
    """Whether a change can no longer be undone by a group that has committed."""
    return change.body.get("step") in COMMITTED_STEPS or change.kind in _UNDER_NUMBERS


def _check_undoing(section: Section, draft: Draft, earlier: Iterable[Change]) -> None:
    wanted = draft.body["change"]
    target = next((change for change in earlier if change.seq == wanted), None)
    if target is None or wanted in section.void:
        raise _refused(f"There is no change {wanted} to be undone.", "Reload the page: somebody may have undone it already.")
    if target.kind not in KINDS or not KINDS[target.kind].undoable:
        raise _refused("This change cannot be undone.", "Make another change instead.")
    if draft.actor == "bench":
        if section.closed:
            raise _refused("The lesson is over: nothing more can be changed here.", "Ask your teacher to take back the bell.")
        # A group takes back its own slips; what was committed only the teacher opens again.
        if target.actor != "bench" or target.bench != draft.bench or target.kind in ("work-committed", "undone", "hint-released"):
            raise _refused("This is not yours to undo.", "Ask your teacher.")
        bench = section.benches.get(draft.bench or 0)
        if bench is not None and bench.committed_at and is_fixed(target):
            raise _refused("What was committed can no longer be changed.", "Ask your teacher to open it again.")


def _just_late(section: Section, draft: Draft, now: str) -> bool:
    """Whether a change was under way when the bell rang: text not saved yet, a file not sent yet."""
    if not now or draft.kind not in _TAKEN_LATE:
        return False
    return (when(now) - when(section.closed_at)).total_seconds() <= LATE_SECONDS


def _check_bench(section: Section, bench: BenchState, draft: Draft) -> None:
    body = draft.body
    if "role" in body and body["role"] not in _ROLES:
        raise _refused(f"A record is a rest or a launch record, not {str(body['role'])[:40]!r}.", "Choose one of the two.")
    if "record" in body and bench.record(str(body["record"])) is None:
        raise _refused(f"Bench {bench.number} holds no record {str(body['record'])[:40]!r}.", "Reload the page.")
    if draft.kind == "record-added" and len(bench.records) >= MOST_RECORDS:
        raise _refused(f"Bench {bench.number} holds {MOST_RECORDS} records already.", "Take the best ones; no more fit.")
    if draft.kind == "record-moved":
        to = body["to"]
        if to not in section.benches or to == bench.number:
            raise _refused(f"A record cannot be moved to bench {to}.", f"There are benches 1 to {len(section.benches)}.")
        if len(section.benches[to].records) >= MOST_RECORDS:  # type: ignore[index]
            raise _refused(f"Bench {to} holds {MOST_RECORDS} records already.", "Leave the record where it is.")
    if draft.kind == "work-saved":
        step = str(body["step"])
        if step not in FIELDS:
            raise _refused(f"There is no step {step[:40]!r}.", f"The steps are {', '.join(FIELDS)}.")
        if bench.committed_at and step in COMMITTED_STEPS and draft.actor == "bench":
            raise _refused(f"The step “{step}” was committed and can no longer be changed.", "Ask your teacher to open it again.")
    if bench.committed_at and draft.actor == "bench" and draft.kind in _UNDER_NUMBERS:
        raise _refused(
            "You have committed numbers that rest on these readings and records.",
            "Ask your teacher to open your work again; then they can be changed.",
        )
    if draft.kind == "work-committed":
        if bench.committed_at:
            raise _refused("Uncertainties and claim were committed already.", "Go on with the next step.")
        missing = missing_for_commit(bench)
        if missing:
            raise _refused(f"Still to be filled in: {', '.join(missing)}.", "Fill them in, then commit.")
    if draft.kind == "work-reopened" and not bench.committed_at:
        raise _refused(f"Bench {bench.number} has committed nothing yet.", "There is nothing to open again.")


def missing_for_commit(bench: BenchState) -> tuple[str, ...]:
    """Return the labels of what must be filled in before own work can be committed: both energies with their uncertainty, and the
    claim."""
    wanted = (
        ("calculation", "kinetic_energy"), ("calculation", "potential_energy"), ("uncertainty", "kinetic_energy_u"),
        ("uncertainty", "potential_energy_u"), ("claim", "claim"),
    )  # fmt: skip
    missing = []
    for step, name in wanted:
        saved = bench.work.get(step)
        if saved is None or not saved.fields.get(name, "").strip():
            label = next(each.label for each in FIELDS[step] if each.name == name)
            missing.append(label if name != "claim" else "the claim")
    return tuple(missing)


def _check_count(benches: object) -> None:
    if not isinstance(benches, int) or not 1 <= benches <= MOST_BENCHES:
        raise _refused(f"A section has 1 to {MOST_BENCHES} benches, not {benches}.", "Make a second section for the rest.")


def _refused(message: str, remedy: str) -> InputError:
    return InputError(message, remedy=remedy, code="refused")


def _void(changes: list[Change]) -> frozenset[int]:
    """Return the numbers of the changes that are undone: an undoing that is itself undone undoes nothing."""
    void: set[int] = set()
    for change in reversed(changes):
        if change.kind == "undone" and change.seq not in void:
            target = change.body.get("change")
            if isinstance(target, int) and target < change.seq:
                void.add(target)
    return frozenset(void)


def _apply(section: Section, change: Change) -> Section:
    """Return the section after a change that is not an undoing; what it names and is not there is passed over."""
    body, kind = change.body, change.kind
    if kind in MARKING_KINDS:
        return replace(section, marks=mark(section.marks, change))
    if kind == "section-made":
        tables = body.get("house") or {}
        assert isinstance(tables, Mapping)
        count = body["benches"]
        assert isinstance(count, int)
        return Section(
            title=str(body["title"]), note=str(body.get("note") or ""), made_at=change.at,
            house=make_house(tables), house_tables=tables,
            benches={number: BenchState(number) for number in range(1, count + 1)},
        )  # fmt: skip
    if kind == "rules-set":
        tables = body["house"]
        assert isinstance(tables, Mapping)
        return replace(section, house=make_house(tables), house_tables=tables)
    if kind == "renamed":
        return replace(section, title=str(body["title"]))
    if kind in ("bell-rung", "bell-taken-back"):
        return replace(section, closed_at=change.at if kind == "bell-rung" else "")
    if kind in ("all-ledgers-opened", "all-ledgers-closed"):
        opened = kind == "all-ledgers-opened"
        # Closing to all closes the single ones too: a teacher who says "close" means it.
        benches = section.benches if opened else {n: replace(b, ledger_open=False) for n, b in section.benches.items()}
        return replace(section, all_open=opened, benches=benches)
    number = change.bench
    if kind == "bench-added" and number is not None:
        return replace(section, benches={**section.benches, number: BenchState(number, seq=change.seq)})
    if number is None or number not in section.benches:
        return section
    bench = section.benches[number]
    if kind == "record-moved":
        return _moved(section, bench, change)
    changed = replace(_change_bench(bench, change, late=section.closed), seq=change.seq)
    if change.actor != "teacher":
        changed = replace(changed, touched_at=change.at)
        section = replace(section, begun_at=section.begun_at or change.at)
    return replace(section, benches={**section.benches, number: changed})


def _moved(section: Section, bench: BenchState, change: Change) -> Section:
    record, to = bench.record(str(change.body["record"])), change.body["to"]
    if record is None or not isinstance(to, int) or to not in section.benches:
        return section
    left = replace(bench, records=tuple(each for each in bench.records if each is not record), seq=change.seq)
    other = section.benches[to]
    joined = replace(other, records=(*other.records, record), seq=change.seq)
    return replace(section, benches={**section.benches, bench.number: left, to: joined})


def _change_bench(bench: BenchState, change: Change, *, late: bool) -> BenchState:
    body, kind = change.body, change.kind
    if kind == "bench-named":
        return replace(bench, name=str(body["name"]).strip())
    if kind == "values-set":
        return replace(bench, values=_filled(bench.values, body["values"]), how=_filled(bench.how, body.get("how") or {}))
    if kind == "values-planned":
        return replace(bench, planned=_filled({}, body["values"]))
    if kind == "record-added":
        record = HeldRecord(
            id=f"r{change.seq}", name=str(body["name"]), sha256=str(body["sha256"]), size=int(body["size"]),  # type: ignore[call-overload]
            role=str(body["role"]), at=change.at, via=str(body.get("via") or "upload"), run=str(body.get("run") or ""),
        )  # fmt: skip
        return replace(bench, records=(*bench.records, record))
    if kind.startswith("record-") or kind == "override-set":
        return replace(bench, records=tuple(_changed_record(each, change) for each in bench.records))
    if kind == "work-saved":
        fields = body["fields"]
        assert isinstance(fields, Mapping)
        return replace(bench, work={**bench.work, str(body["step"]): SavedStep(dict(fields), change.seq, change.at, late)})
    if kind == "hint-released":
        given = (str(body["code"]), str(body["grade"]))
        return bench if given in bench.hints else replace(bench, hints=(*bench.hints, given))
    simple: dict[str, dict[str, object]] = {
        "work-committed": {"committed_at": change.at}, "work-reopened": {"committed_at": ""},
        "help-asked": {"help_at": change.at}, "help-given": {"help_at": ""},
        "visited": {"visited_at": change.at, "help_at": ""}, "signed-off": {"signed_off_at": change.at},
        "sign-off-taken-back": {"signed_off_at": ""}, "ledger-opened": {"ledger_open": True},
        "ledger-closed": {"ledger_open": False}, "noted": {"note": str(body.get("text", ""))},
    }  # fmt: skip
    return replace(bench, **simple.get(kind, {}))  # type: ignore[arg-type]


def _changed_record(record: HeldRecord, change: Change) -> HeldRecord:
    body = change.body
    if record.id != body.get("record"):
        return record
    if change.kind == "record-discarded":
        return replace(record, discarded=True, reason=str(body.get("reason") or ""))
    if change.kind == "record-restored":
        return replace(record, discarded=False, reason="")
    if change.kind == "record-role-set":
        return replace(record, role=str(body["role"]))
    if change.kind == "override-set":
        edges = body.get("edges") or ()
        assert isinstance(edges, list | tuple)
        override = Override(
            release=_number(body.get("release")), apex=_number(body.get("apex")),
            edges=tuple((str(kind), float(start), float(end)) for kind, start, end in edges),
        )  # fmt: skip
        return replace(record, override=override)
    return record


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) else None


def _filled(before: Mapping[str, str], after: object) -> dict[str, str]:
    """Return the texts with new ones over old ones; a blank text takes one away."""
    assert isinstance(after, Mapping)
    merged = {**before, **{str(name): str(text).strip() for name, text in after.items()}}
    return {name: text for name, text in merged.items() if text}
