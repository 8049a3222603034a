"""A section as a data package (Frictionless Data Package 2.0): written for anyone to read, and taken in again without loss.

    export_package(store, section, "second-period.zip")
    section = import_package(store, "second-period.zip")
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
import os
import secrets
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from typing import Any

from joulebook.classroom.judging import values_in_force
from joulebook.classroom.section import HeldRecord
from joulebook.engine.bench import Override
from joulebook.errors import InputError
from joulebook.experiments import get_experiment
from joulebook.readers.bench_text import write_bench
from joulebook.render.plain import spreadsheet_text
from joulebook.store.archive import Archive, ArchiveWriter, open_archive, write_archive
from joulebook.store.change_lines import read_changes, record_hashes, write_changes
from joulebook.store.section_tables import Export, ExportedBench, Table, gather, placed, section_tables
from joulebook.store.store import KeptSection, Store
from joulebook.version import VERSION

__all__ = ["FORMAT", "export_package", "import_package"]

FORMAT = "joulebook/section-1"

_DESCRIPTION, _LOG, _HOUSE = "datapackage.json", "changes.jsonl", "house.toml"
_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
_EXPERIMENT = "ramp-launch"
_LARGEST_DESCRIPTION = 16 * 1024 * 1024
_REMEDY = "Take another copy of the package, or export the section again."

_READ_ME = """{title}

One section of a ramp-launch lab, written by joulebook {version} as a data package (datapackage.json describes every file).

benches.csv      a row for each bench: verdict, findings, times
set_up.csv       what each bench measured, as it was written
records.csv      a row for each record: where it lies, whether it counts
quantities.csv   a row for each bench and quantity: value, standard uncertainty, coverage interval, unit
bench-N          the bench file and the records as they came, byte for byte; those that do not count are in bench-N/not-used
audits           each bench's audit as JSON
house.toml       the rules of the class
changes.jsonl    the log of the section: everything that was entered, in order

Unpacked, the folder can be audited again:  joulebook sweep FOLDER
Taken into a store again, with new codes:   joulebook store import FILE

{people}
In the .csv files a text that a spreadsheet would take for a formula is preceded by an apostrophe.
"""
_WITHOUT_NAMES = """No codes of benches are in it, and the names that groups gave themselves are left out. What students and
teacher wrote in their own words (claims, notes, comments, codes of write-ups) stands in changes.jsonl: look through that file before
you give the package away."""
_WITH_NAMES = """No codes of benches are in it. The names that groups gave themselves are. What students and teacher wrote in
their own words (claims, notes, comments, codes of write-ups) stands in changes.jsonl: look through that file before you give the
package away."""


def export_package(store: Store, section: str, path: str | os.PathLike[str], *, pseudonyms: bool = False) -> None:
    """Write a section as a zipped data package, whole or not at all.

    pseudonyms: whether the names that groups gave themselves go with it. Every bench is audited anew where the store holds no
    audit of its present state. Raises InputError when there is no such section, OutputError when the file cannot be written.
    """
    export = gather(store, section, pseudonyms=pseudonyms)
    with write_archive(path) as archive:
        package = _Package(archive)
        for table in section_tables(export):
            package.add_table(table)
        for number, (_, place, record, _) in enumerate(placed(export), 1):
            package.add(f"record-{number}", place, store.content(section, record.sha256), format="bin")
        for bench in export.benches:
            name = f"bench-{bench.state.number}"
            package.add(f"{name}-file", f"{name}/bench.toml", _bench_file(bench), format="toml")
            if bench.audit is not None:
                text = json.dumps(_finite(bench.audit), indent=2, ensure_ascii=False) + "\n"
                package.add(f"{name}-audit", f"audits/{name}.json", text, format="audit-1", mediatype="application/json")
        house = "# The rules of the class.\n" + write_bench(export.section.house_tables)
        package.add("house", _HOUSE, house, format="toml")
        package.add("changes", _LOG, write_changes(export.changes), format="log")
        people = _WITH_NAMES if pseudonyms else _WITHOUT_NAMES
        archive.add("README.txt", _READ_ME.format(title=_one_line(export.section.title), version=VERSION, people=people))
        archive.add(_DESCRIPTION, json.dumps(package.description(export), indent=2, ensure_ascii=False) + "\n")


def import_package(store: Store, path: str | os.PathLike[str]) -> str:
    """Take an exported section into a store under a new id and with new codes, and return the id.

    Its log, and with it everything that was entered, comes back as it was; audits are worked out anew.
    Raises InputError (code "package") when the file is no such package, is damaged, or was altered; nothing is taken in then.
    """
    with open_archive(path) as archive:
        resources = _resources(archive)
        changes, _ = read_changes(_checked(archive, _LOG, resources), source=archive.source)
        places = {digest: place for place, (_, digest) in resources.items() if place != _LOG}
        missing = next((sha for sha in record_hashes(changes) if sha not in places), None)
        if missing is not None:
            raise _faulty(f"it lacks the bytes of the record {missing[:12]}…", archive.source)
        files = _PackedRecords(archive, {sha: places[sha] for sha in record_hashes(changes)}, resources)
        files.check()
        section = secrets.token_hex(5)
        store.put_section(KeptSection(section, changes, files))
    return section


class _PackedRecords(Mapping[str, bytes]):
    """The records of a package by SHA-256, each read when it is asked for: a section of thousands needs no more memory than one."""

    def __init__(self, archive: Archive, places: Mapping[str, str], resources: Mapping[str, tuple[int, str]]) -> None:
        self._archive, self._places, self._resources = archive, places, resources

    def check(self) -> None:
        """Read all of them once. Raises InputError for one that is damaged or was altered, before anything is taken in."""
        for sha in self:
            self[sha]  # reading checks it

    def __getitem__(self, sha: str) -> bytes:
        return _checked(self._archive, self._places[sha], self._resources)

    def __iter__(self) -> Iterator[str]:
        return iter(self._places)

    def __len__(self) -> int:
        return len(self._places)


class _Package:
    """A package that is being filled: each file goes into the archive and into the description."""

    def __init__(self, archive: ArchiveWriter) -> None:
        self._archive = archive
        self._resources: list[dict[str, object]] = []

    def add(self, name: str, path: str, content: bytes | str, **more: object) -> None:
        # What is no table gets a format that no program takes for one: records are as they came, and may hold anything.
        data = content.encode() if isinstance(content, str) else content
        self._archive.add(path, data)
        digest = f"sha256:{hashlib.sha256(data).hexdigest()}"
        self._resources.append({"name": name, "path": path, **more, "bytes": len(data), "hash": digest})

    def add_table(self, table: Table) -> None:
        fields = [
            {"name": column.name, "type": column.kind, "description": column.meaning}
            | ({"constraints": {"required": True}} if column.required else {})
            for column in table.columns
        ]
        self.add(
            table.name.replace("_", "-"), f"{table.name}.csv", _csv(table), title=table.title, type="table", format="csv",
            mediatype="text/csv", encoding="utf-8",
            schema={"fields": fields, "primaryKey": list(table.key), "missingValues": [""]},
        )  # fmt: skip

    def description(self, export: Export) -> dict[str, object]:
        return {
            "$schema": _PROFILE, "name": "section", "title": export.section.title,
            "created": datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
            "joulebook": {"format": FORMAT, "version": VERSION, "made_at": export.section.made_at,
                          "group_names": export.named},
            "resources": self._resources,
        }  # fmt: skip


def _csv(table: Table) -> str:
    """Return a table as RFC 4180 text with one line of headings."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([column.name for column in table.columns])
    writer.writerows([_cell(value) for value in row] for row in table.rows)
    return out.getvalue()


def _cell(value: str | float | bool | None) -> str:
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return spreadsheet_text(value) if isinstance(value, str) else repr(value)


def _bench_file(bench: ExportedBench) -> str:
    """Return the bench file with which an audit of the unpacked folder gives the same again."""
    state, experiment = bench.state, get_experiment(_EXPERIMENT)
    known = {spec.name for spec in experiment.inputs} | {spec.name for spec in experiment.settings}
    document: dict[str, object] = {"title": state.title, "experiment": _EXPERIMENT}
    # Names that are no inputs would make the whole file unreadable; they stand in the log.
    document |= {name: text for name, text in values_in_force(state)[0].items() if name in known}
    launches = [record for record in state.launches if record.id in bench.counted]
    files: dict[str, object] = {"launch": [record.name for record in launches]}
    rest = state.rest
    if rest is not None and rest.id in bench.counted:
        files = {"rest": {"file": rest.name, "run": rest.run} if rest.run else rest.name, **files}
    document["files"] = files
    chosen = {record.name: _choices(record) for record in launches}
    document["launches"] = {name: table for name, table in chosen.items() if table}
    if not document["launches"]:
        del document["launches"]
    return write_bench(document)


def _choices(record: HeldRecord) -> dict[str, object]:
    """Return what a person chose for a launch: its run in a file of several, release, apex and phases."""
    override: Override = record.override
    table: dict[str, object] = {"run": record.run or None, "release": override.release, "apex": override.apex}
    table["phases"] = [list(edge) for edge in override.edges] or None
    return {name: value for name, value in table.items() if value is not None}


def _resources(archive: Archive) -> dict[str, tuple[int, str]]:
    """Return size and SHA-256 of every file of a package by its path, as its description has them."""
    if _DESCRIPTION not in archive.names:
        remedy = "Name a file that “joulebook store export” wrote; a backup of a whole store is taken in by “joulebook store restore”."
        what = f"It is no exported section: it holds no {_DESCRIPTION}."
        raise InputError(what, remedy=remedy, source=archive.source, code="package")
    try:
        found = json.loads(archive.read(_DESCRIPTION, limit=_LARGEST_DESCRIPTION))
    except (ValueError, RecursionError):
        raise _faulty(f"{_DESCRIPTION} is not understood", archive.source) from None
    own = found.get("joulebook") if isinstance(found, dict) else None
    named = own.get("format") if isinstance(own, dict) else None
    if named != FORMAT:
        what = f"It is no section that this version reads: its format is {str(named)[:60]}, not {FORMAT}."
        raise InputError(what, remedy="Use the version of joulebook that wrote it.", source=archive.source, code="package")
    resources: dict[str, tuple[int, str]] = {}
    try:
        for each in found["resources"]:
            resources[str(each["path"])] = (int(each["bytes"]), str(each["hash"]).removeprefix("sha256:"))
    except (AttributeError, KeyError, TypeError, ValueError):
        raise _faulty(f"{_DESCRIPTION} says of a file what cannot be", archive.source) from None
    if _LOG not in resources:
        raise _faulty(f"{_DESCRIPTION} does not speak of {_LOG}", archive.source)
    return resources


def _checked(archive: Archive, place: str, resources: Mapping[str, tuple[int, str]]) -> bytes:
    """Return the bytes of a file of the package if they are those that were written."""
    size, digest = resources[place]
    content = archive.read_log(place) if place == _LOG else archive.read(place)
    if len(content) != size or hashlib.sha256(content).hexdigest() != digest:
        raise _faulty(f"“{place[:80]}” was altered since it was written", archive.source)
    return content


def _finite(value: Any) -> Any:
    """Return the same with null for what JSON has no number for."""
    if isinstance(value, Mapping):
        return {str(key): _finite(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(each) for each in value]
    if hasattr(value, "tolist"):  # a NumPy number or array
        return _finite(value.tolist())
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _faulty(what: str, source: str) -> InputError:
    return InputError(f"The package is not taken in: {what}.", remedy=_REMEDY, source=source, code="package")
