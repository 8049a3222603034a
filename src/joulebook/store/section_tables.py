"""What a section holds as tables: the same ones in the data package and in the workbook. No codes, and no names unless asked for."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from joulebook.classroom.changes import Change
from joulebook.classroom.judging import judge_bench, judgement_key, reading_of, values_in_force
from joulebook.classroom.log_lines import log_lines
from joulebook.classroom.section import BenchState, HeldRecord, Section, play
from joulebook.errors import JoulebookError, StoreError
from joulebook.store.store import Store

__all__ = ["Column", "Export", "ExportedBench", "Table", "gather", "log_table", "placed", "section_tables"]

Cell = str | float | int | bool | None

_LONGEST_NAME = 80
# Names that one system or another keeps for itself, and those of a bench's own parts.
_TAKEN = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d|not-used|bench\.toml|house\.toml)(\..*)?")


@dataclass(frozen=True, slots=True)
class Column:
    """A column. kind: a Table Schema type: "string", "number", "integer" or "boolean"."""

    name: str
    kind: str
    meaning: str
    required: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table. name: of its file. title: of its sheet. key: columns that together name a row."""

    name: str
    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    key: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ExportedBench:
    """A bench on its way out. state: with file names that are safe and differ. counted: ids of the records that were read and
    count. audit: as JSON, None where there is none that may be shown. problem: why there is none, "" when there is or when nothing
    was recorded yet."""

    state: BenchState
    counted: tuple[str, ...]
    audit: Mapping[str, Any] | None
    problem: str


@dataclass(frozen=True, slots=True)
class Export:
    """A section on its way out. changes: its log, names blanked unless they were asked for. loose: records that no bench holds
    any more, their adding undone."""

    section: Section
    changes: tuple[Change, ...]
    benches: tuple[ExportedBench, ...]
    loose: tuple[HeldRecord, ...]
    named: bool


def gather(store: Store, section: str, *, pseudonyms: bool = False) -> Export:
    """Return what a section holds, judged.

    pseudonyms: whether the names that groups gave themselves go with it. Raises InputError when there is no such section,
    StoreError when the store fails or lacks the bytes of a record.
    """
    log = store.changes(section)
    changes = tuple(log if pseudonyms else map(_nameless, log))
    state = play(changes)
    kept = store.audits(section)
    benches = []
    for number in sorted(state.benches):
        bench = state.benches[number]
        named = replace(bench, records=_safely_named(bench.records))
        contents = store.contents(section, [record.sha256 for record in bench.records])
        missing = [record.name for record in bench.records if record.sha256 not in contents]
        if missing:
            what = f"The bytes of {missing[0]} of bench {number} are missing."
            raise StoreError(what, remedy="Restore the last backup.", code="store-damaged", source=store.place)
        benches.append(_judged(named, contents, state, kept.get(number)))
    held = {record.id for bench in state.benches.values() for record in bench.records}
    loose = tuple(
        HeldRecord(f"r{change.seq}", str(change.body["name"]), str(change.body["sha256"]), 0, str(change.body["role"]), change.at)
        for change in changes
        if change.kind == "record-added" and f"r{change.seq}" not in held
    )
    return Export(state, changes, tuple(benches), _safely_named(loose), pseudonyms)


def section_tables(export: Export) -> tuple[Table, ...]:
    """Return the tables: benches, set-up readings, records, quantities."""
    return (_benches(export), _set_up(export), _records(export), _quantities(export))


def log_table(export: Export) -> Table:
    """Return the log in sentences, in order."""
    columns = (
        Column("change", "integer", "Its number", required=True),
        Column("at", "string", "When, UTC", required=True),
        Column("who", "string", "Who made it", required=True),
        Column("bench", "integer", "Number of the bench; blank for the whole section"),
        Column("what", "string", "What was done", required=True),
        Column("detail", "string", "What was entered"),
        Column("undone", "boolean", "Whether a later change took it back", required=True),
    )
    lines = reversed(log_lines(export.changes, export.section.void))
    rows = tuple((line.seq, line.at, line.who, line.bench, line.what, line.detail, line.void) for line in lines)
    return Table("log", "Log", columns, rows, ("change",))


def _nameless(change: Change) -> Change:
    return replace(change, body={**change.body, "name": ""}) if change.kind == "bench-named" else change


def _judged(
    bench: BenchState, contents: Mapping[str, bytes], section: Section, kept: tuple[str, Mapping[str, Any] | None] | None
) -> ExportedBench:
    if kept is not None and kept[1] is not None and kept[0] == judgement_key(bench, section.house):
        counted = tuple(record.id for record in _in_use(bench) if _readable(record, contents[record.sha256]))
        return ExportedBench(bench, counted, kept[1], "")
    judged = judge_bench(bench, contents, section.house)
    counted = tuple(news.record for news in judged.news if not news.problem)
    audit = judged.audit.to_dict() if judged.audit is not None and not judged.stood_in else None
    problem = judged.problem or next((f"{news.name}: {news.problem}" for news in judged.news if news.problem), "")
    if not problem and audit is None and judged.missing and counted:
        problem = f"Missing set-up readings: {', '.join(judged.missing)}."
    return ExportedBench(bench, counted, audit, problem if audit is None else "")


def _in_use(bench: BenchState) -> list[HeldRecord]:
    return [record for record in (bench.rest, *bench.launches) if record is not None]


def _readable(record: HeldRecord, content: bytes) -> bool:
    try:
        reading_of(record, content)
    except JoulebookError:
        return False
    return True


def _safely_named(records: Sequence[HeldRecord]) -> tuple[HeldRecord, ...]:
    """Return the records under names that any file system takes and that differ, upper and lower case alike."""
    taken: set[str] = set()
    named = []
    for record in records:
        name = _safe(record.name) or f"{record.id}.csv"
        while name.casefold() in taken:  # more than once where somebody thought of the very name that would be given
            stem, dot, ending = name.rpartition(".")
            name = f"{stem}-{record.id}.{ending}" if dot else f"{name}-{record.id}"
        taken.add(name.casefold())
        named.append(replace(record, name=name))
    return tuple(named)


def _safe(name: str) -> str:
    kept = re.sub(r"[^\w .()+-]", "_", name.replace("\\", "/").rpartition("/")[2]).strip(" .")
    kept = re.sub(r"^[-+=@]+", "_", kept)
    if len(kept) > _LONGEST_NAME:
        stem, dot, ending = kept.rpartition(".")
        kept = f"{stem[:_LONGEST_NAME - 12]}.{ending[:8]}" if dot else kept[:_LONGEST_NAME]
    return f"_{kept}" if _TAKEN.fullmatch(kept) else kept


def _benches(export: Export) -> Table:
    columns = (
        Column("bench", "integer", "Number of the bench", required=True),
        *((Column("group", "string", "What the group calls itself"),) if export.named else ()),
        Column("launches", "integer", "Launch records that count", required=True),
        Column("rest_record", "boolean", "Whether there is a rest record", required=True),
        Column("mechanical", "string", "Verdict on the mechanical energy: gain, loss, conserved or undecided"),
        Column("account", "string", "Verdict on the account with its losses: closed, open or undecided"),
        Column("resolution", "number", "Smallest loss that this bench could have shown, as a part of the energy at release"),
        Column("findings", "string", "Codes of the findings, the worst first"),
        Column("committed_at", "string", "When uncertainties and claim were committed, UTC"),
        Column("signed_off_at", "string", "When the teacher signed the bench off, UTC"),
        Column("problem", "string", "Why there is no audit"),
    )
    return Table("benches", "Benches", columns, tuple(_bench_row(each, named=export.named) for each in export.benches), ("bench",))


def _bench_row(bench: ExportedBench, *, named: bool) -> tuple[Cell, ...]:
    state, verdict = bench.state, (bench.audit or {}).get("verdict", {})
    order = ("stop", "look", "note")
    findings = sorted((bench.audit or {}).get("findings", ()), key=lambda finding: order.index(finding["severity"]))
    launches = sum(record.id in bench.counted for record in state.launches)
    return (
        state.number, *((state.name,) if named else ()), launches, state.rest is not None and state.rest.id in bench.counted,
        verdict.get("mechanical"), verdict.get("account"), verdict.get("resolution"),
        " ".join(dict.fromkeys(str(finding["code"]) for finding in findings)), state.committed_at, state.signed_off_at, bench.problem,
    )  # fmt: skip


def _set_up(export: Export) -> Table:
    columns = (
        Column("bench", "integer", "Number of the bench", required=True),
        Column("input", "string", "Name of the reading, as in a bench file", required=True),
        Column("written", "string", "What was written, with its unit and uncertainty", required=True),
        Column("how", "string", "How it was measured"),
        Column("origin", "string", "measured, or planned where the bench has not measured it", required=True),
    )
    rows: list[tuple[Cell, ...]] = []
    for each in export.benches:
        bench = each.state
        for name, text in values_in_force(bench)[0].items():
            origin = "measured" if name in bench.values else "planned"
            rows.append((bench.number, name, text, bench.how.get(name, ""), origin))
    return Table("set_up", "Set-up", columns, tuple(rows), ("bench", "input"))


def _records(export: Export) -> Table:
    columns = (
        Column("bench", "integer", "Number of the bench; blank for a record whose adding was undone"),
        Column("record", "string", "Its name in the log", required=True),
        Column("file", "string", "The file in this package, as it came", required=True),
        Column("role", "string", "rest or launch", required=True),
        Column("came_at", "string", "When it came, UTC", required=True),
        Column("counts", "boolean", "Whether the audit rests on it", required=True),
        Column("set_aside", "string", "Why it was set aside"),
        Column("bytes", "integer", "Its size", required=True),
        Column("sha256", "string", "SHA-256 of its bytes", required=True),
    )
    rows = list(_record_rows(export))
    return Table("records", "Records", columns, tuple(rows), ("record",))


def _record_rows(export: Export) -> Iterator[tuple[Cell, ...]]:
    sizes = {str(change.body["sha256"]): int(str(change.body["size"])) for change in export.changes if change.kind == "record-added"}
    for number, path, record, counts in placed(export):
        aside = (record.reason or "set aside") if record.discarded else ""
        yield (number, record.id, path, record.role, record.at, counts, aside, sizes[record.sha256], record.sha256)


def placed(export: Export) -> Iterator[tuple[int | None, str, HeldRecord, bool]]:
    """Yield each record with its bench, its path inside the package, and whether the audit rests on it."""
    for bench in export.benches:
        for record in bench.state.records:
            counts = record.id in bench.counted
            folder = f"bench-{bench.state.number}" + ("" if counts else "/not-used")
            yield bench.state.number, f"{folder}/{record.name}", record, counts
    for record in export.loose:
        yield None, f"taken-back/{record.name}", record, False


def _quantities(export: Export) -> Table:
    columns = (
        Column("bench", "integer", "Number of the bench", required=True),
        Column("quantity", "string", "Name of the quantity, as in the audit", required=True),
        Column("value", "number", "Estimate"),
        Column("u", "number", "Standard uncertainty"),
        Column("low", "number", "Lower end of the coverage interval"),
        Column("high", "number", "Upper end of the coverage interval"),
        Column("coverage", "number", "Coverage probability of the interval"),
        Column("unit", "string", "Unit", required=True),
    )
    rows = []
    for bench in export.benches:
        for name, quantity in _each_quantity((bench.audit or {}).get("quantities", {})):
            cells = (quantity[key] for key in ("value", "u", "low", "high", "coverage"))
            rows.append((bench.state.number, name, *cells, str(quantity["unit"])))
    return Table("quantities", "Quantities", columns, tuple(rows), ("bench", "quantity"))


def _each_quantity(quantities: Mapping[str, Any]) -> Iterable[tuple[str, Mapping[str, Any]]]:
    for name, found in quantities.items():
        if isinstance(found, list | tuple):
            yield from ((f"{name}[{place}]", each) for place, each in enumerate(found, 1))
        else:
            yield name, found
