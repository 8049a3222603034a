"""Audit every bench below a folder, of a package or of a table: in order, whoever does it, and whatever becomes of one of them.

Nothing heavy is imported at the top: `import joulebook.api` comes by here.
"""

from __future__ import annotations

import os
from collections.abc import Generator, Iterator, Sequence
from contextlib import closing
from typing import Any

from joulebook.api.sweeping.benches import BENCH_FILE
from joulebook.api.sweeping.crews import in_order
from joulebook.api.sweeping.folders import bench_folders
from joulebook.api.sweeping.inputs import SweepInput, open_input
from joulebook.api.sweeping.muster import crew_of
from joulebook.api.sweeping.work import Outcome, Task, made_with, sweep_options

__all__ = ["BENCH_FILE", "bench_folders", "sweep"]


def sweep(
    folder: str | os.PathLike[str] | SweepInput, *, workers: int | None = 1, scheduler: str | None = None, **options: Any
) -> Iterator[dict[str, object]]:
    """Audit every bench in and below `folder` and yield a line for each, in order.

    folder: where to look for folders that hold a bench.toml; or a section package (.zip), a table of records (.parquet), a folder
        of such files, see docs/sweep.md; or what `open_input` returned.
    workers: processes to use; 1 stays in this one, None takes one per core. With more than one, a script needs the usual
        `if __name__ == "__main__":`. The lines do not depend on it.
    scheduler: the address of a Dask scheduler whose workers do it instead, such as "tcp://host:8786"; needs distributed.
    options: passed on to `audit` ("method", "draws", "seed" and so on).
    A line is {"folder", "ok": True, "audit": {…}} or {"folder", "ok": False, "error": {"code", "message", "remedy"}}; a bench
    that fails, in whatever way, never stops the rest. Raises InputError when there is no bench at all.
    """
    benches = open_input(folder) if isinstance(folder, str | os.PathLike) else folder
    total = len(benches.names)
    crew = crew_of(workers, scheduler, total)
    task = Task(sweep_options(options), "line", made_with())
    return _lines(in_order(benches.benches(whole=crew.whole), task, crew, total=total))


def _lines(results: Generator[Sequence[Outcome], None, None]) -> Iterator[dict[str, object]]:
    with closing(results):  # whoever stops half-way lets the workers go at once
        for outcomes in results:
            for outcome in outcomes:
                yield outcome.line
