"""Writing a table of records: every bench of a folder, a package or another table, in one Parquet file."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

from joulebook.api.sweeping.benches import BenchFiles, SweepBench
from joulebook.api.sweeping.inputs import SweepInput, open_input
from joulebook.api.sweeping.tables import bench_rows, record_schema, require_pyarrow
from joulebook.errors import InputError
from joulebook.store.archive import written_whole

__all__ = ["write_records"]

# A row group is what a reader holds at once.
_GROUP_BYTES, _GROUP_ROWS = 8 << 20, 4096


def write_records(
    source: str | os.PathLike[str] | SweepInput,
    path: str | os.PathLike[str],
    *,
    progress: Callable[[int, int], None] | None = None,
) -> int:
    """Write the records of all benches as a table, whole or not at all, and return how many benches it holds.

    source: what is to be swept. path: the .parquet file. progress: called with the benches done and all of them.
    A sweep of the table gives what a sweep of `source` gives; house files above the benches go with them.
    Raises InputError when a bench cannot be put into a table, OutputError when the file cannot be written.
    """
    arrow = require_pyarrow("A Parquet table")
    from pyarrow.parquet import ParquetWriter

    benches = open_input(source) if isinstance(source, str | os.PathLike) else source
    schema, total = record_schema(), len(benches.names)
    with written_whole(path, mode=0o666) as stream, ParquetWriter(stream, schema, compression="zstd") as writer:
        for done, rows in _groups(benches):
            writer.write_table(arrow.Table.from_pylist(rows, schema=schema))
            if progress is not None:
                progress(done, total)
    return total


def _groups(benches: SweepInput) -> Iterator[tuple[int, list[dict[str, Any]]]]:
    """Yield the rows of some benches at a time, with the number of benches so far."""
    rows: list[dict[str, Any]] = []
    size = done = 0
    for done, bench in enumerate(benches.benches(whole=True), 1):
        packed = _packed(bench)
        rows += bench_rows(packed)
        size += sum(map(len, packed.files.values()))
        if size > _GROUP_BYTES or len(rows) >= _GROUP_ROWS:
            yield done, rows
            rows, size = [], 0
    if rows:
        yield done, rows


def _packed(bench: SweepBench) -> BenchFiles:
    """Return a bench as it can stand in a table. Raises InputError where it cannot."""
    if isinstance(bench, BenchFiles):
        # The folder that is swept may be a bench itself; in a table it goes by its own name.
        named = replace(bench, name=bench.folder) if bench.name == "." else bench
        if all(_is_text(each) for each in (named.name, *named.files)):
            return named
    raise InputError(
        "This bench cannot be put into a table: a file of it cannot be read, lies elsewhere by a link, or has a name that is no text.",
        source=bench.name,
        remedy="Copy the files that it names into its folder under plain names, or take it out of the folder that is swept.",
    )


def _is_text(name: str) -> bool:
    return not any(0xD800 <= ord(character) <= 0xDFFF for character in name)
