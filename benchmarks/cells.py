"""Long measurements cell by cell: a raw result for each cell in a file of JSON lines, so that a run that is ended goes on where it was."""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol

import joulebook

__all__ = ["OverSeeds", "cell_choices", "measure_cells", "read_cells", "workers"]

Cell = dict[str, Any]


class OverSeeds(Protocol):
    """Calls a function for each seed, here or in other processes, and returns what came out, in order."""

    def __call__(self, job: Callable[[int], Any], seeds: range) -> list[Any]: ...


@contextmanager
def workers(count: int) -> Iterator[OverSeeds]:
    """Give a way to call a function for many seeds in so many processes; 1 is this one. NumPy keeps to one thread in each."""
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    if count == 1:
        yield lambda job, seeds: [job(seed) for seed in seeds]
        return
    with ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn")) as pool:
        yield lambda job, seeds: list(pool.map(job, seeds, chunksize=max(1, min(10, len(seeds) // 8))))


def cell_choices(about: str | None, arguments: Sequence[str] | None, *, out: Path, benches: int, each: str) -> argparse.Namespace:
    """Return what the command line of a measurement of simulated benches says; `benches` with --quick taken into account.

    about: the module's docstring. out: where the results go. benches: of each cell, called `each` in the help.
    """
    parser = argparse.ArgumentParser(description=about, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--benches", type=int, default=benches, help=f"benches {each}; {benches}")
    parser.add_argument("--workers", type=int, default=1, help="processes; 1")
    parser.add_argument("--keep", action="store_true", help="take over what the finished results hold already")
    parser.add_argument("--quick", action="store_true", help="a twentieth of the benches")
    parser.add_argument("--out", type=Path, default=out, help="where the results go")
    chosen = parser.parse_args(arguments)
    if chosen.quick:
        chosen.benches = max(2, chosen.benches // 20)
    return chosen


def measure_cells(
    path: Path,
    names: Sequence[str],
    measure: Callable[[str], Mapping[str, Any]],
    *,
    settings: Mapping[str, Any],
    keep: bool = False,
) -> list[Cell]:
    """Measure all cells, write their lines to the file at `path`, in order, and return them.

    names: of the cells. measure: gives a cell's results as plain JSON types. settings: what a result depends on besides its cell,
    such as the number of benches. keep: take over what a finished file at `path` holds already.
    A line is {"cell", "settings", "version", "seconds"} and the results. Until all are there they stand in a file of the same name with
    ".part" at its end, each on the disk before the next cell begins. When a run is ended, the next one goes on from that file; lines
    made with other settings, or by another version of joulebook, are measured again.
    """
    asked = {"settings": dict(settings), "version": joulebook.__version__}
    part = path.with_name(path.name + ".part")
    known = [*(read_cells(path) if keep else ()), *read_cells(part)]
    done = {str(each["cell"]): each for each in known if asked.items() <= each.items() and each["cell"] in set(names)}
    # What a killed run left half written goes with this.
    _write(part, list(done.values()))
    begin, todo = time.perf_counter(), [name for name in names if name not in done]
    for number, name in enumerate(todo, start=1):
        start = time.perf_counter()
        results = dict(measure(name))
        done[name] = {"cell": name, **asked, "seconds": round(time.perf_counter() - start, 2), **results}
        with part.open("a", encoding="utf-8") as stream:
            stream.write(_line(done[name]))
            stream.flush()
            os.fsync(stream.fileno())
        each = (time.perf_counter() - begin) / number
        left = each * (len(todo) - number) / 60.0
        print(f"{path.stem}: {len(done)} of {len(names)}, {each:.1f} s each, {left:.1f} min left", file=sys.stderr)
    lines = [done[name] for name in names]
    _write(path, lines)
    part.unlink()
    return lines


def read_cells(path: Path) -> list[Cell]:
    """Return the lines of a file of results, none when there is no file; a last line that was cut off is left out."""
    if not path.is_file():
        return []
    lines = path.read_text(encoding="utf-8").split("\n")
    return [json.loads(line) for line in lines[:-1] if line]  # what follows the last line's end is empty, or was cut off


def _write(path: Path, lines: Sequence[Cell]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    new = path.with_name(path.name + ".new")
    new.write_text("".join(map(_line, lines)), encoding="utf-8")
    os.replace(new, path)


def _line(cell: Cell) -> str:
    return json.dumps(cell, sort_keys=True, separators=(",", ":"), allow_nan=False) + "\n"
