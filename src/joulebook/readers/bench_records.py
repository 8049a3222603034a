"""The records that a bench file names: found in its folder and read, never outside it."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from joulebook.engine.record import Record
from joulebook.errors import Fault, InputError, RecordError
from joulebook.readers.bench_values import did_you_mean, unknown_fault

__all__ = ["READING_OPTIONS", "RECORD_SUFFIXES", "RecordSource", "distinct", "find_records", "load", "read_run", "reading_options"]

READING_OPTIONS = ("time_column", "position_column", "unit", "run", "decimal")
"""What may overrule the reading of a record file; the keywords of `read_record`."""

RECORD_SUFFIXES = frozenset([".csv", ".txt", ".tsv", ".tab", ".dat", ".asc", ".xlsx", ".xlsm", ".xls", ".ods"])
"""How the names of files end that may be records."""

_TEXTS = {"unit": "cm", "decimal": ","}
_MOST_LAUNCHES = 200
_MOST_NAMES = 12


@dataclass(frozen=True, slots=True)
class RecordSource:
    """Where a record comes from.

    name: what the user calls it, and the record's `file` in every report ("launch-1.csv", "runs.csv#2").
    content: its path, its bytes, or the record itself. run: the run inside the file, None where it holds one.
    field: the field of the bench file that names it, for faults.
    """

    name: str
    content: Path | bytes | Record
    run: str | int | None = None
    field: str = "files.launch"


def find_records(files: object, folder: Path, faults: list[Fault]) -> tuple[RecordSource | None, tuple[RecordSource, ...]]:
    """Return the rest record's source, or None, and those of the launches.

    files: the table [files] of a bench file, None where it has none; the records are then those files of the folder whose names
        start with "rest" and "launch". faults: what is wrong is added here.
    """
    if files is not None and not isinstance(files, Mapping):
        faults.append(Fault("files", "must be a table.", 'Write [files], and below it launch = ["launch-1.csv"].'))
        return None, ()
    table: Mapping[str, object] = files or {}
    root = os.path.realpath(folder)
    faults.extend(unknown_fault(f"files.{key}", ("files.rest", "files.launch")) for key in table if key not in ("rest", "launch"))
    rest = _rest(table["rest"], root, faults) if "rest" in table else None
    if files is None:
        rest = _inferred_rest(root, faults)
    launches = _launches(table["launch"], root, faults) if "launch" in table else _inferred_launches(root, faults)
    return rest, distinct(launches, rest, faults)


def distinct(launches: Sequence[RecordSource], rest: RecordSource | None, faults: list[Fault]) -> tuple[RecordSource, ...]:
    """Return the launches, each called by its file's own name without folders, unless two would then be called the same.

    A file that is named twice for the same run is a fault.
    """
    seen: dict[tuple[object, object], str] = {}
    for source in (*launches, *([rest] if rest else [])):
        if not isinstance(source.content, Path):
            continue
        key = (source.content, None if source.run is None else str(source.run))
        if key in seen:
            remedy = "Name each record once; counted twice it would make the scatter look smaller than it is."
            faults.append(Fault(source.field, f'"{source.name}" is named twice, as {seen[key]} and {source.field}.', remedy))
        seen[key] = source.field
    short = [_short(source.name) for source in launches]
    return tuple(
        replace(source, name=name if short.count(name) == 1 else source.name)
        for name, source in zip(short, launches, strict=True)
    )


def load(source: RecordSource, options: Mapping[str, str | int], faults: list[Fault]) -> Record | None:
    """Read one record; its faults are added under its name.

    options: keywords of `read_record` that hold for every record of the bench; a source's own run goes before them.
    """
    if isinstance(source.content, Record):
        return source.content
    from joulebook.readers.records import read_record

    keywords = dict(options)
    if source.run is not None:
        keywords["run"] = source.run
    try:
        return read_record(source.content, name=source.name, **keywords)  # type: ignore[arg-type]
    except RecordError as error:
        faults.append(Fault(source.name, error.message, error.remedy))
        for fault in error.faults:
            faults.append(Fault(f"{source.name}, {fault.where}" if fault.where else source.name, fault.what, fault.remedy))
    return None


def reading_options(written: object, faults: list[Fault]) -> dict[str, str | int]:
    """Return the table [reading] as keywords of `read_record`."""
    if written is None:
        return {}
    if not isinstance(written, Mapping):
        faults.append(Fault("reading", "must be a table.", 'Write [reading], and below it unit = "cm".'))
        return {}
    options: dict[str, str | int] = {}
    known = tuple(f"reading.{name}" for name in READING_OPTIONS)
    for key, value in written.items():
        if key not in READING_OPTIONS:
            faults.append(unknown_fault(f"reading.{key}", known))
        elif isinstance(value, bool) or not isinstance(value, str | int) or (key in _TEXTS and not isinstance(value, str)):
            what = "must be a text." if key in _TEXTS else "must be a name or a number counted from 1."
            example = f'Write {key} = "{_TEXTS[key]}".' if key in _TEXTS else f'Write {key} = "…" or {key} = 1.'
            faults.append(Fault(f"reading.{key}", what, example))
        else:
            options[key] = value
    return options


def read_run(written: object, where: str, faults: list[Fault]) -> str | int | None:
    """Read the name or number of a run inside a file; None where it is not given."""
    if written is None or (isinstance(written, str | int) and not isinstance(written, bool) and written != ""):
        return written
    faults.append(Fault(where, "must be the run's name or number.", "Write run = 2."))
    return None


def _rest(written: object, root: str, faults: list[Fault]) -> RecordSource | None:
    if isinstance(written, list):
        faults.append(Fault("files.rest", "must be one file.", 'Write rest = "rest.csv".'))
        return None
    source = _source(written, root, "files.rest", faults)
    return None if source is None else replace(source, name=_short(source.name))


def _launches(written: object, root: str, faults: list[Fault]) -> list[RecordSource]:
    entries = written if isinstance(written, list) else [written]
    if not entries or len(entries) > _MOST_LAUNCHES:
        what = f"names {len(entries)} launch records; an audit takes 1 to {_MOST_LAUNCHES}."
        faults.append(Fault("files.launch", what, 'Write launch = ["launch-1.csv", "launch-2.csv"].'))
        return []
    fields = ["files.launch"] if len(entries) == 1 else [f"files.launch[{number}]" for number in range(1, len(entries) + 1)]
    found = [_source(entry, root, field, faults) for entry, field in zip(entries, fields, strict=True)]
    return [source for source in found if source is not None]


def _source(written: object, root: str, field: str, faults: list[Fault]) -> RecordSource | None:
    """Read one entry of [files]: "launch-1.csv", "runs.csv#2" or {file = "runs.csv", run = 2}."""
    run: str | int | None = None
    if isinstance(written, Mapping):
        faults.extend(
            unknown_fault(f"{field}.{key}", (f"{field}.file", f"{field}.run")) for key in written if key not in ("file", "run")
        )
        run = read_run(written.get("run"), f"{field}.run", faults)
        written = written.get("file")
    if not isinstance(written, str) or not written.strip():
        faults.append(
            Fault(field, "must be a file's name.", 'Write it like "launch-1.csv", "runs.csv#2" or {file = "runs.csv", run = 2}.')
        )
        return None
    try:
        return _located(written.strip(), run, root, field)
    except InputError as error:
        faults.append(Fault(field, error.message, error.remedy))
        return None


def _located(text: str, run: str | int | None, root: str, field: str) -> RecordSource:
    """Find a file inside the folder; a # in the text parts file and run unless it belongs to a file's name."""
    path = _inside(text, root)
    if not os.path.isfile(path) and "#" in text and run is None:
        text, _, run = text.rpartition("#")
        if not run.strip():
            remedy = 'Write its number or name after the sign, as in "runs.csv#2".'
            raise InputError(f'"{text}#" names no run.', remedy=remedy)
        path = _inside(text, root)
    if not os.path.isfile(path):
        names = _names(root)
        near = did_you_mean(text, names)
        there = "is a folder, not a file." if os.path.isdir(path) else "is not in the bench's folder."
        remedy = (f'Did you mean "{near}"? ' if near else "") + _what_is_there(names)
        raise InputError(f'"{text[:100]}" {there}', remedy=remedy)
    return RecordSource(text if run is None else f"{text}#{run}", Path(path), run, field)


def _inside(text: str, root: str) -> str:
    """Return the file's path, links followed. Raises InputError where it lies outside the bench's folder."""
    local = text.replace("\\", "/")
    absolute = local.startswith("/") or re.match(r"[A-Za-z]:", local) is not None
    try:
        path = os.path.realpath(os.path.join(root, local))
    except (OSError, ValueError):  # a NUL
        raise InputError(f"{text[:60]!r} cannot be a file's name.", remedy="Write the name as the folder shows it.") from None
    if absolute or not f"{path}{os.sep}".startswith(f"{root.rstrip(os.sep)}{os.sep}"):
        raise InputError(
            f'"{text[:100]}" is not inside the bench\'s folder.',
            remedy="Copy it into the bench's folder and write its name alone.",
        )
    return path


def _what_is_there(names: Sequence[str]) -> str:
    if not names:
        return "No record files are there."
    shown = ", ".join(names[:_MOST_NAMES])
    return f"Files there: {shown}{f' and {len(names) - _MOST_NAMES} more' if len(names) > _MOST_NAMES else ''}."


def _names(root: str) -> list[str]:
    try:
        found = [
            entry.name
            for entry in os.scandir(root)
            if Path(entry.name).suffix.casefold() in RECORD_SUFFIXES and entry.is_file(follow_symlinks=False)
        ]
    except OSError:
        return []
    return sorted(found, key=_natural)


def _natural(name: str) -> tuple[list[tuple[int, int, str]], str]:
    """Sort launch-2 before launch-10."""
    parts = re.split(r"(\d+)", name.casefold())
    return [(1, int(part), "") if part.isdecimal() else (0, 0, part) for part in parts], name


def _inferred_rest(root: str, faults: list[Fault]) -> RecordSource | None:
    names = [name for name in _names(root) if name.casefold().startswith("rest")]
    if len(names) > 1:
        what = f"is not said, and {len(names)} files could be it: {', '.join(names[:_MOST_NAMES])}."
        faults.append(Fault("files.rest", what, f'Write [files], and below it rest = "{names[0]}".'))
    return _source(names[0], root, "files.rest", faults) if len(names) == 1 else None


def _inferred_launches(root: str, faults: list[Fault]) -> list[RecordSource]:
    names = _names(root)
    launches = [name for name in names if name.casefold().startswith("launch")]
    if launches:
        return _launches(launches, root, faults)
    remedy = f'Write [files], and below it launch = ["…"]. {_what_is_there(names)}'
    faults.append(Fault("files.launch", 'is not said, and no file here has a name that starts with "launch".', remedy))
    return []


def _short(name: str) -> str:
    """Return a file's own name, without folders."""
    return name.replace("\\", "/").rpartition("/")[2]
