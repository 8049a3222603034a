"""Write-ups checked against the benches of a folder, and what goes out from that."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from joulebook.api.benches import audit as audit_one
from joulebook.api.benches import house_of
from joulebook.api.sweeps import bench_folders
from joulebook.errors import Fault, InputError, JoulebookError

if TYPE_CHECKING:
    from joulebook.classroom.checking import Checked
    from joulebook.classroom.judging import Judgement
    from joulebook.classroom.mark_book import MarkBook
    from joulebook.classroom.suggesting import Suggestion
    from joulebook.classroom.write_up import WriteUp
    from joulebook.engine.house import House
    from joulebook.engine.report import Audit

__all__ = ["MARKING_FORMAT", "CheckedWriteUp", "check_write_ups", "marking_dict", "marks_from_table", "read_write_up_file"]

MARKING_FORMAT = "joulebook/marking-1"


@dataclass(frozen=True, slots=True, eq=False)
class CheckedWriteUp:
    """A write-up with everything that is said of it.

    checked: worked through. suggestions: by criterion; none of them is a mark.
    """

    checked: Checked
    suggestions: Mapping[str, Suggestion]


def read_write_up_file(path: str | os.PathLike[str]) -> tuple[WriteUp, ...]:
    """Read a table of write-ups, as the template has it. Raises InputError with every fault."""
    from joulebook.classroom.mark_table import read_write_ups

    return read_write_ups(_content(path), name=Path(path).name)


def check_write_ups(
    write_ups: Iterable[WriteUp],
    benches: str | os.PathLike[str] | Mapping[int, Audit],
    *,
    house: House | str | os.PathLike[str] | None = None,
    book: MarkBook | None = None,
) -> tuple[CheckedWriteUp, ...]:
    """Check write-ups, each against its own bench.

    benches: audits by the bench's number, or the folder of bench folders, whose numbers are those in their names.
    house: the rules of the class; None looks for a house.toml from the folder upwards. book: the criteria in force.
    Set-up readings that a write-up lacks are those of the bench file. Raises InputError where a bench is missing.
    """
    from joulebook.classroom.checking import check_write_up
    from joulebook.classroom.mark_book import MarkBook
    from joulebook.classroom.suggesting import suggest

    rules = house_of(house, None if isinstance(benches, Mapping) else benches)
    audits = dict(benches) if isinstance(benches, Mapping) else _audits(Path(benches), rules)
    listed = list(write_ups)
    missing = sorted({each.bench for each in listed} - set(audits))
    if missing:
        faults = [
            Fault(f"bench {number}", "has write-ups and no data.", "Correct the number, or add its folder.") for number in missing
        ]
        there = ", ".join(map(str, sorted(audits))) or "none"
        raise InputError("Some write-ups are of benches without data.", remedy=f"There are benches {there}.", faults=faults)
    criteria = (book or MarkBook()).criteria.values()
    found = []
    for write_up in listed:
        audit = audits[write_up.bench]
        checked = check_write_up(_with_values(write_up, audit), audit, rules)
        found.append(CheckedWriteUp(checked, suggest(checked, _judged(audit), criteria)))
    return tuple(found)


def marks_from_table(path: str | os.PathLike[str], book: MarkBook | None = None) -> MarkBook:
    """Return the mark book with the marks that a teacher typed in a table: code, and a column of levels to each criterion.

    A column "comment: NAME" holds the comment to criterion NAME. Raises InputError with every fault.
    """
    from joulebook.classroom.changes import Change, Draft
    from joulebook.classroom.mark_book import MarkBook, check_marking, mark
    from joulebook.readers.text_table import read_text_table

    book = book or MarkBook()
    table = read_text_table(_content(path), name=Path(path).name)
    faults: list[Fault] = []
    seq = 0
    for number, row in table.rows:
        for criterion in book.criteria:
            level = row.get(criterion, "").strip().casefold()
            if not level:
                continue
            body = {
                "code": row.get("code", ""),
                "criterion": criterion,
                "level": level,
                "comment": row.get(f"comment: {criterion}", ""),
            }
            try:
                check_marking(book, Draft("mark-set", "teacher", None, body))
            except InputError as error:
                faults.append(Fault(f"row {number}, {criterion}", error.message, error.remedy))
                continue
            seq += 1
            book = mark(book, Change(seq, "", "mark-set", "teacher", None, body))
    if faults:
        raise InputError("Some marks cannot be used.", remedy="Correct them.", source=os.fspath(path), faults=faults[:20])
    return book


def marking_dict(found: Sequence[CheckedWriteUp]) -> dict[str, Any]:
    """Return checked write-ups as plain JSON types, in the form `joulebook/marking-1` (docs/marking.md)."""
    return {"format": MARKING_FORMAT, "write_ups": [_dict(each) for each in found]}


def _dict(found: CheckedWriteUp) -> dict[str, Any]:
    checked = found.checked
    return {
        "code": checked.write_up.code,
        "bench": checked.write_up.bench,
        "first_wrong": checked.first_wrong,
        "harmless": checked.harmless,
        "readings": {
            name: {"kind": each.kind, "features": [feature.code for feature in each.features]}
            for name, each in checked.readings.items()
        },
        "lines": {
            name: {
                "kind": each.kind, "written": None if each.written is None else each.written.value, "low": each.low, "high": each.high,
                "loosely": each.loosely,
                "explanations": [{"slips": list(one.slips), "share": one.share} for one in each.explanations],
            }
            for name, each in checked.lines.items()
        },
        "claim": {"remarks": list(checked.claim.remarks), "expected": list(checked.claim.expected)},
        "unread": dict(checked.unread),
        "suggestions": {
            name: {"level": each.level, "evidence": list(each.evidence), "comments": list(each.comments)}
            for name, each in found.suggestions.items()
        },
    }  # fmt: skip


def _with_values(write_up: WriteUp, audit: Audit | None) -> WriteUp:
    """Return a write-up with the bench's own set-up readings where it has none: a student copies them from the card."""
    from dataclasses import replace

    if audit is None or write_up.values:
        return write_up
    given = {item.name: f"{item.value!r} {item.unit}" for item in audit.inputs if item.origin == "given"}
    wanted = ("cart.mass", "track.angle", "track.rise", "track.along")
    return replace(write_up, values={name: text for name, text in given.items() if name in wanted})


def _judged(audit: Audit | None) -> Judgement | None:
    from joulebook.classroom.judging import Judgement, RecordNews

    if audit is None:
        return None
    news = tuple(RecordNews(record.file, record.file, record.read_as) for record in audit.records)
    return Judgement("", news, audit, audit.findings)


def _audits(folder: Path, house: House) -> dict[int, Audit]:
    names = bench_folders(folder)
    if not names:
        raise InputError(
            "There is no bench folder here.", remedy="Name the folder that holds the bench folders.", source=str(folder)
        )
    numbered = {name: _number(name, index) for index, name in enumerate(names, 1)}
    twice = sorted(name for name, number in numbered.items() if list(numbered.values()).count(number) > 1)
    if twice:
        raise InputError(f"These folders have the same number: {', '.join(twice)}.", remedy="Rename one.", source=str(folder))
    found: dict[int, Audit] = {}
    for name, number in numbered.items():
        try:
            found[number] = audit_one(folder / name, house=house)
        except JoulebookError as error:
            what = f"bench {number} cannot be audited: {error.message}"
            raise InputError(what, remedy=error.remedy, source=str(folder / name), faults=error.faults) from None
    return found


def _number(name: str, index: int) -> int:
    digits = re.findall(r"\d+", name)
    return int(digits[-1]) if digits else index


def _content(path: str | os.PathLike[str]) -> bytes:
    try:
        return Path(path).read_bytes()
    except OSError as error:
        what = f"The file cannot be opened: {error.strerror}."
        raise InputError(what, remedy="Look at its name and folder.", source=os.fspath(path)) from None
