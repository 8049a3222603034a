"""A sweep into files: each bench exactly once, in order, the same bytes whoever audits it and however often the sweep is killed."""

from __future__ import annotations

import hashlib
import os
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from itertools import islice
from typing import TYPE_CHECKING, Any, TypeAlias

from joulebook.api.sweeping.crews import in_order
from joulebook.api.sweeping.inputs import SweepInput, open_input
from joulebook.api.sweeping.journal import Journal
from joulebook.api.sweeping.muster import crew_of
from joulebook.api.sweeping.packing import digest_of
from joulebook.api.sweeping.rows import arrow_schema
from joulebook.api.sweeping.summary import SweepSummary
from joulebook.api.sweeping.tables import require_pyarrow
from joulebook.api.sweeping.work import Task, made_with, sweep_options
from joulebook.errors import InputError, OutputError
from joulebook.store.archive import written_whole

if TYPE_CHECKING:
    from joulebook.api.sweeping.benches import SweepBench

__all__ = ["Progress", "write_sweep"]

Progress: TypeAlias = Callable[[int, int, int], None]
"""Called with the benches that are done, those of them that were done before this run, and all of them."""

# Rows are turned into columns a few at a time, for as Python objects they are large, and written many at a time.
_ROWS_TURNED, _ROWS_WRITTEN = 256, 8192


def write_sweep(
    source: str | os.PathLike[str] | SweepInput,
    *,
    jsonl: str | os.PathLike[str] | None = None,
    parquet: str | os.PathLike[str] | None = None,
    workers: int | None = 1,
    scheduler: str | None = None,
    resume: bool = False,
    progress: Progress | None = None,
    **options: Any,
) -> SweepSummary:
    """Audit every bench and write the result, whole or not at all; return what came of it in numbers.

    source: a folder, a section package or a table of records, see docs/sweep.md; or what `open_input` returned.
    jsonl: a file for a line of JSON a bench. parquet: a file for a flat row a bench; needs pyarrow. One of them at least.
    workers, scheduler, options: as for `sweep`; the result does not depend on the first two.
    resume: go on with a sweep into the same files that was stopped. What it finished is kept, but for benches whose files have
        changed, were added or are gone.
    progress: called now and then.
    What is finished is kept in a journal beside the result until the result is there.
    Raises InputError when a stopped sweep's journal is in the way or was begun with other options, house rules or versions;
    OutputError when a file cannot be written.
    """
    outputs = [os.fspath(path) for path in (jsonl, parquet) if path is not None]
    if not outputs:
        raise InputError(
            "There is no file to write the sweep into.", remedy="Name one for lines of JSON or one for a Parquet table."
        )
    for path in outputs:
        if os.path.isdir(path):
            raise OutputError("This is a folder.", source=path, remedy="Name a file inside it.")
        if not os.path.isdir(os.path.dirname(os.path.realpath(path))):
            raise OutputError("Its folder is not there.", source=path, remedy="Make the folder first, or name another place.")
    if parquet is not None:
        require_pyarrow("A Parquet table")
    benches = open_input(source) if isinstance(source, str | os.PathLike) else source
    chosen = sweep_options(options)
    versions = made_with()
    task = Task(chosen, "row" if jsonl is None else "text", versions)
    total = len(benches.names)
    crew = crew_of(workers, scheduler, total)
    try:
        journal = Journal(outputs[0], benches.names, {**versions, **_told(chosen)}, lines=jsonl is not None, resume=resume)
    except BaseException:
        crew.close()
        raise
    try:
        todo = _Unfinished(benches, journal, whole=crew.whole)
        tell = progress or _tell_nobody
        done = 0
        for outcomes in in_order(todo, task, crew, total=total):
            for outcome in outcomes:
                journal.add(todo.handed_on.popleft(), outcome)
            journal.flush()
            done += len(outcomes)
            tell(todo.kept + done, todo.kept, total)
        tell(total, todo.kept, total)
        return _finish(journal, jsonl, parquet)
    finally:
        crew.close()
        journal.close()


class _Unfinished:
    """The benches that are still to be audited. kept: how many were passed over so far. handed_on: the numbers of the others."""

    def __init__(self, benches: SweepInput, journal: Journal, *, whole: bool) -> None:
        self._benches, self._journal, self._whole = benches, journal, whole
        self.kept = 0
        self.handed_on: deque[int] = deque()

    def __iter__(self) -> Iterator[SweepBench]:
        for number, bench in enumerate(self._benches.benches(whole=self._whole)):
            before = self._journal.digest(number)
            if before and digest_of(bench) == before:
                self.kept += 1
                continue
            self.handed_on.append(number)
            yield bench


def _finish(journal: Journal, jsonl: str | os.PathLike[str] | None, parquet: str | os.PathLike[str] | None) -> SweepSummary:
    """Write the results from the journal, which holds every bench now, and remove it."""
    summary = SweepSummary()
    if parquet is None:
        for row in journal.rows():
            summary.add(row)
    else:
        _write_rows(journal.rows(), parquet, summary)
    if jsonl is not None:
        journal.write_lines(jsonl)
    journal.remove()
    return summary


def _write_rows(rows: Iterator[dict[str, Any]], path: str | os.PathLike[str], summary: SweepSummary) -> None:
    """Write rows as a Parquet file, some thousands at a time."""
    pyarrow = require_pyarrow("A Parquet table")
    from pyarrow.parquet import ParquetWriter

    schema = arrow_schema()
    with written_whole(path, mode=0o666) as stream, ParquetWriter(stream, schema, compression="zstd") as writer:
        turned: list[Any] = []
        while together := list(islice(rows, _ROWS_TURNED)):
            for row in together:
                summary.add(row)
            turned.append(pyarrow.RecordBatch.from_pylist([_writable(row) for row in together], schema=schema))
            if len(turned) * _ROWS_TURNED >= _ROWS_WRITTEN:
                writer.write_table(pyarrow.Table.from_batches(turned))
                turned = []
        if turned:
            writer.write_table(pyarrow.Table.from_batches(turned))


def _writable(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return a row whose texts are Unicode: what a file's name has that is none is written as JSON writes it."""
    return {
        name: value.encode("utf-8", "backslashreplace").decode() if isinstance(value, str) else value
        for name, value in row.items()
    }


def _told(options: Mapping[str, Any]) -> dict[str, object]:
    """Return options as the journal compares them; a house, and what else has no simple form, by its digest."""
    told: dict[str, object] = {}
    for name, value in options.items():
        if value is None or isinstance(value, str | int | float):
            told[name] = value
        else:
            plain = replace(value, source="") if hasattr(value, "source") else value
            told[name] = hashlib.sha256(repr(plain).encode()).hexdigest()[:16]
    return told


def _tell_nobody(done: int, kept: int, total: int) -> None:
    """Keep the progress to oneself."""
