"""A Parquet table of records: one row for each record of each bench, read some rows at a time, and written from bench folders.

What its columns hold is documented in docs/sweep.md.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from operator import itemgetter
from typing import TYPE_CHECKING, Any

from joulebook.api.sweeping.benches import BENCH_FILE, BenchFiles, SweepBench, Unreadable
from joulebook.api.sweeping.packing import bench_tables, bench_text, wanted_files
from joulebook.errors import InputError
from joulebook.readers.bench_text import write_bench

if TYPE_CHECKING:
    import pyarrow

__all__ = ["FORMAT", "KINDS", "RecordTable", "bench_rows", "record_schema", "require_pyarrow"]

FORMAT = "joulebook/records-1"

KINDS = ("launch", "rest", "other")
"""What a record is to its bench; "other" is there, but not used."""

_ROWS_TOGETHER = 64
_BUFFER = 1 << 20
_NEEDED = ("bench", "bench_file", "file")
_OPTIONAL = ("house_file", "kind", "content", "time_s", "distance_m")

_WANTED = {
    "bench": "text", "bench_file": "text or bytes", "file": "text", "house_file": "text or bytes", "kind": "text",
    "content": "text or bytes", "time_s": "lists of numbers", "distance_m": "lists of numbers",
}  # fmt: skip

_Row = Mapping[str, Any]


class RecordTable:
    """The benches of a table of records.

    names: of the benches, in the order of the table.
    Raises InputError when it is no Parquet file, lacks a column, or the rows of a bench do not stand together.
    """

    def __init__(self, path: str) -> None:
        self._path = path
        self.files: Sequence[str] = (path,)
        self.left_alone: Sequence[str] = ()
        with self._opened() as table:
            have = table.schema_arrow.names
            if missing := [name for name in _NEEDED if name not in have]:
                raise self._error(f"This table has no column {' and no column '.join(missing)}.")
            self._columns = [name for name in (*_NEEDED, *_OPTIONAL) if name in have]
            if "content" not in have and not {"time_s", "distance_m"} <= set(have):
                raise self._error("This table has neither a column content nor columns time_s and distance_m.")
            for name in self._columns:
                found = table.schema_arrow.field(name).type
                if not _fits(found, _WANTED[name]):
                    raise self._error(f"Column {name} of this table holds {found}, not {_WANTED[name]}.")
        self.names: Sequence[str] = self._named()

    def benches(self, *, whole: bool) -> Iterator[SweepBench]:
        """Yield the benches in the order of the table."""
        for name, rows in groupby(self._rows(self._columns), itemgetter("bench")):
            try:
                yield _bench(name, list(rows))
            except InputError as error:
                yield Unreadable(name, error.to_dict())

    def _named(self) -> list[str]:
        names: dict[str, None] = {}
        last: str | None = None
        for number, row in enumerate(self._rows(["bench"]), 1):
            name = row["bench"]
            if name == last:
                continue
            if not isinstance(name, str) or not name:
                raise self._error(f"Row {number} of this table has no text in column bench.")
            if name in names:
                raise self._error(f"The rows of {name[:80]!r} do not stand together: row {number} is one of them too.")
            names[name] = None
            last = name
        if not names:
            raise self._error("There is no row in this table.")
        return list(names)

    def _rows(self, columns: list[str]) -> Iterator[_Row]:
        import pyarrow

        with self._opened() as table:
            try:
                for batch in table.iter_batches(_ROWS_TOGETHER if len(columns) > 1 else 8192, columns=columns, use_threads=False):
                    yield from batch.to_pylist()
            except (pyarrow.ArrowException, OSError, ValueError) as error:
                raise self._error(f"This table is damaged ({_first_line(error)}).") from error

    def _opened(self) -> Any:
        pyarrow = require_pyarrow("A Parquet table")
        from pyarrow.parquet import ParquetFile

        try:
            # Without buffering ahead, a table of one huge row group takes no more memory than one of many.
            return ParquetFile(self._path, buffer_size=_BUFFER, pre_buffer=False)
        except (pyarrow.ArrowException, OSError) as error:
            raise self._error(f"This is no whole Parquet file ({_first_line(error)}).") from error

    def _error(self, what: str) -> InputError:
        remedy = "Write it as docs/sweep.md describes it, or with “joulebook sweep FOLDER --records-to FILE”."
        return InputError(what, source=self._path, remedy=remedy, code="record-table")


def bench_rows(bench: BenchFiles) -> Iterator[dict[str, Any]]:
    """Yield the rows of a bench: one for each record file, or a single one for a bench without any.

    The bench file and the house file stand in the first row.
    """
    kinds = _kinds(bench.files)
    files: list[str | None] = [name for name in bench.files if name != BENCH_FILE]
    for number, file in enumerate(files or [None]):
        kind = None if file is None else kinds.get(file, "other")
        yield {
            "bench": bench.name,
            "bench_file": bench.files[BENCH_FILE] if number == 0 else None,
            "house_file": bench.house if number == 0 else None,
            "kind": kind,
            "file": file,
            "content": None if file is None or file.endswith("/") or kind == "other" else bench.files[file],
            "time_s": None,
            "distance_m": None,
        }


def record_schema() -> pyarrow.Schema:
    """Return the schema of a table of records; needs pyarrow."""
    pyarrow = require_pyarrow("A Parquet table")
    numbers, text, data = pyarrow.list_(pyarrow.float64()), pyarrow.string(), pyarrow.binary()
    fields = {
        "bench": text, "bench_file": data, "house_file": data, "kind": text, "file": text, "content": data,
        "time_s": numbers, "distance_m": numbers,
    }  # fmt: skip
    return pyarrow.schema([pyarrow.field(name, kind, nullable=name != "bench") for name, kind in fields.items()],
                          metadata={"format": FORMAT})  # fmt: skip


def require_pyarrow(what: str) -> Any:
    """Return pyarrow. what: that needs it, for the message. Raises InputError where it is not installed."""
    try:
        import pyarrow
    except ModuleNotFoundError as error:
        raise InputError(
            f"{what} needs the library {error.name}, which is not installed.",
            remedy="Install joulebook for large sweeps: pip install 'joulebook[scale]'.",
        ) from error
    return pyarrow


def _bench(name: str, rows: Sequence[_Row]) -> BenchFiles:
    """Return a bench from its rows. Raises InputError, with the bench as its source, when they contradict each other."""
    told = _only(rows, "bench_file", name)
    files: dict[str, bytes] = {} if told is None else {BENCH_FILE: told}
    kinds: dict[str, str] = {}
    for row in rows:
        file, kind = row["file"], row.get("kind")
        if file is None:
            continue
        if kind is not None and kind not in KINDS:
            raise _fault(f"{str(kind)[:40]!r} is no kind of record.", f"Write one of {', '.join(KINDS)}.", name)
        if file in files:
            raise _fault(f"It has two rows of the file {file[:80]!r}.", "Give each record a name of its own.", name)
        files[file] = _content(row, name)
        if kind is not None:
            kinds[file] = kind
    if told is not None:
        files[BENCH_FILE] = _with_records(told, kinds)
    return BenchFiles(name, name.rstrip("/").rpartition("/")[2], files, _only(rows, "house_file", name))


def _only(rows: Sequence[_Row], column: str, name: str) -> bytes | None:
    """Return what stands in a column of the rows of one bench, in the first of them or in all alike."""
    found = {value.encode() if isinstance(value, str) else value for row in rows if (value := row.get(column)) is not None}
    if len(found) > 1:
        raise _fault(f"Its rows do not agree on {column}.", "Write it in the first row, or alike in all.", name)
    return next(iter(found), None)


def _content(row: _Row, name: str) -> bytes:
    """Return the bytes of a record: as they came, or as the CSV file that holds the numbers of the row, every digit."""
    content, times, distances = (row.get(column) for column in ("content", "time_s", "distance_m"))
    if content is not None:
        return content.encode() if isinstance(content, str) else bytes(content)
    if times is None and distances is None:
        return b""
    if times is None or distances is None or len(times) != len(distances):
        counts = ["no" if values is None else str(len(values)) for values in (times, distances)]
        what = f"{row['file'][:80]!r} has {counts[0]} times and {counts[1]} distances."
        raise _fault(what, "Give each sample both; one that is missing is null or NaN.", name)
    lines = (f"{_number(time)},{_number(distance)}\n" for time, distance in zip(times, distances, strict=True))
    return ("Time (s),Distance (m)\n" + "".join(lines)).encode()


def _number(value: float | None) -> str:
    return "" if value is None or not math.isfinite(value) else repr(float(value))


def _with_records(text: bytes, kinds: Mapping[str, str]) -> bytes:
    """Return a bench file that names its records, where it does not and they would not be found by their names."""
    from joulebook.readers.bench_records import RECORD_SUFFIXES

    tables = bench_tables(text)
    if tables is None or "files" in tables or not kinds:
        return text
    launches = [file for file, kind in kinds.items() if kind == "launch"]
    rests = [file for file, kind in kinds.items() if kind == "rest"]
    likely = [file for file in kinds if "/" not in file and os.path.splitext(file)[1].casefold() in RECORD_SUFFIXES]
    found = [[file for file in likely if file.casefold().startswith(kind)] for kind in ("launch", "rest")]
    if [launches, rests] == found or not launches or len(rests) > 1:
        return text
    named = write_bench({"files": {"rest": rests[0] if rests else None, "launch": launches}})
    return f"{bench_text(text)}\n\n{named}".encode()


def _kinds(files: Mapping[str, bytes]) -> dict[str, str]:
    """Return what each record is to its bench, as its bench file or the files' names say."""
    tables = bench_tables(files[BENCH_FILE]) or {}
    named, starts = wanted_files(files[BENCH_FILE])
    table = tables.get("files")
    rest = table.get("rest") if isinstance(table, Mapping) else None
    rest = rest.get("file") if isinstance(rest, Mapping) else rest
    kinds = {path: "launch" for path in named}
    if isinstance(rest, str) and (file := rest.strip().replace("\\", "/")) in kinds:
        kinds[file] = "rest"
    for file in files:
        if file not in kinds and "/" not in file and file.casefold().startswith(starts):
            kinds[file] = "rest" if file.casefold().startswith("rest") else "launch"
    return kinds


def _fits(found: Any, wanted: str) -> bool:
    """Whether the values of a column are of the kind wanted, one of those in _WANTED."""
    from pyarrow import types

    if types.is_dictionary(found):
        found = found.value_type
    if wanted == "lists of numbers":
        inner = (
            found.value_type if types.is_list(found) or types.is_large_list(found) or types.is_fixed_size_list(found) else found
        )
        return types.is_null(found) or (inner is not found and (types.is_floating(inner) or types.is_integer(inner)))
    text = types.is_string(found) or types.is_large_string(found) or types.is_string_view(found)
    data = types.is_binary(found) or types.is_large_binary(found) or types.is_binary_view(found)
    return text or (data and wanted == "text or bytes") or (types.is_null(found) and wanted != "text")


def _fault(what: str, remedy: str, name: str) -> InputError:
    return InputError(what, remedy=remedy, source=name, code="record-table")


def _first_line(error: BaseException) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0].rstrip(".")
