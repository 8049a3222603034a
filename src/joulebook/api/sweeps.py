"""Audit every bench folder below a folder: in order, in several processes, and whatever becomes of one of them.

Nothing heavy is imported here: this module is what a worker process loads first, before it says how many threads NumPy may use.
"""

from __future__ import annotations

import multiprocessing
import os
import re
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from pathlib import Path
from typing import Any

from joulebook.errors import InputError, JoulebookError

__all__ = ["BENCH_FILE", "bench_folders", "sweep"]

BENCH_FILE = "bench.toml"

_Line = dict[str, object]
_Job = Callable[[str], _Line]


def sweep(folder: str | os.PathLike[str], *, workers: int | None = 1, **options: Any) -> Iterator[dict[str, object]]:
    """Audit every bench folder in and below `folder` and yield a line for each, sorted by folder.

    folder: where to look for folders that hold a bench.toml.
    workers: processes to use; 1 stays in this one, None takes one per core. With more than one, a script needs the usual
        `if __name__ == "__main__":`. The lines do not depend on it.
    options: passed on to `audit` ("method", "draws", "seed" and so on).
    A line is {"folder", "ok": True, "audit": {…}} or {"folder", "ok": False, "error": {"code", "message", "remedy"}}; a bench
    that fails, in whatever way, never stops the rest. Raises InputError when there is no bench folder at all.
    """
    folders = bench_folders(folder)
    if not folders:
        raise InputError(
            f"No {BENCH_FILE} in this folder or below it.",
            source=os.fspath(folder),
            remedy=f"Name the folder that holds the bench folders; each has a file {BENCH_FILE}.",
        )
    count = min(workers if workers is not None else os.cpu_count() or 1, len(folders))
    if count < 1:
        raise InputError(f"{workers} workers cannot audit anything.", remedy="Give a number from 1 upwards.")
    job = partial(_line, os.fspath(folder), options=options)
    return map(job, folders) if count == 1 else _in_processes(job, folders, count)


def bench_folders(folder: str | os.PathLike[str]) -> list[str]:
    """Return the folders in and below `folder` that hold a bench.toml, relative to it; bench-2 comes before bench-10.

    Raises InputError when `folder` is not a folder or part of it cannot be looked into.
    """
    root = Path(folder)
    if not root.is_dir():
        raise InputError(
            "This is not a folder.", source=os.fspath(folder), remedy="Name the folder that holds the bench folders."
        )

    def refuse(error: OSError) -> None:
        raise InputError(
            f"{error.filename} cannot be looked into: {error.strerror}.",
            source=os.fspath(folder),
            remedy="Make it readable or move it elsewhere; benches in it would be passed over.",
        )

    found = [Path(place).relative_to(root).as_posix() for place, _, names in os.walk(root, onerror=refuse) if BENCH_FILE in names]
    return sorted(found, key=_natural)


def _natural(path: str) -> tuple[list[tuple[int, int, str]], str]:
    parts = re.split(r"(\d+)", path.casefold())
    return [(1, int(part), "") if part.isdecimal() else (0, 0, part) for part in parts], path


def _line(root: str, folder: str, *, options: Mapping[str, Any]) -> _Line:
    from joulebook.api.benches import audit

    try:
        return {"folder": folder, "ok": True, "audit": audit(Path(root, folder), **options).to_dict()}
    except JoulebookError as error:
        return {"folder": folder, "ok": False, "error": error.to_dict()}
    except Exception as error:  # a fault of ours on one bench must not cost the teacher the others
        message = f"joulebook itself failed here: {type(error).__name__}: {error}"
        return _failure(folder, "internal", message, "Audit this bench alone and report the fault with its files.")


def _failure(folder: str, code: str, message: str, remedy: str) -> _Line:
    return {"folder": folder, "ok": False, "error": {"code": code, "message": message, "remedy": remedy}}


def _in_processes(job: _Job, folders: list[str], workers: int) -> Iterator[_Line]:
    """Yield the lines in order; when a worker dies, its bench is found by auditing those in question one by one."""
    todo = deque(folders)
    while todo:
        pending: deque[tuple[str, Future[_Line]]] = deque()
        pool = _pool(workers)
        try:
            while todo or pending:
                while todo and len(pending) < 4 * workers:
                    pending.append((todo[0], pool.submit(job, todo[0])))
                    todo.popleft()
                line = pending[0][1].result()
                pending.popleft()
                yield line
        except BrokenProcessPool:
            yield from _one_by_one(job, [folder for folder, _ in pending])
        finally:
            pool.shutdown(cancel_futures=True)


def _one_by_one(job: _Job, folders: Iterable[str]) -> Iterator[_Line]:
    pool = _pool(1)
    try:
        for folder in folders:
            try:
                line = pool.submit(job, folder).result()
            except BrokenProcessPool:
                pool.shutdown()
                pool = _pool(1)
                line = _failure(
                    folder,
                    "crashed",
                    "The process that audited this bench was ended, most likely for want of memory.",
                    "Audit this bench alone, and look for a record far larger than the others.",
                )
            yield line
    finally:
        pool.shutdown(cancel_futures=True)


def _pool(workers: int) -> ProcessPoolExecutor:
    # New processes rather than forked ones: the same on every system, and no thread of this process is copied half-way.
    return ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"), initializer=_one_thread)


def _one_thread() -> None:
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
