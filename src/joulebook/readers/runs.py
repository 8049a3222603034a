"""The runs in a file: side by side, one below the other, or a sheet each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from joulebook.errors import RecordError
from joulebook.readers.blocks import Block, find_blocks, is_comment
from joulebook.readers.cells import is_blank, show
from joulebook.readers.columns import Column, is_count, name_columns, spoilt_sample
from joulebook.readers.groups import Group, group_columns
from joulebook.readers.limits import MAX_RUNS, MIN_SAMPLES
from joulebook.readers.tables import Table

__all__ = ["Run", "RunInfo", "find_runs", "passed_over"]


@dataclass(frozen=True, slots=True)
class RunInfo:
    """One run of a file, for choosing it.

    name: as `run=` takes it. number: counted from 1 in file order, also taken by `run=`.
    samples: rows with a time or a distance. columns: the headings (or "column 2") of its time and distance.
    """

    name: str
    number: int
    samples: int
    columns: tuple[str, ...]


@dataclass(slots=True)
class Run:
    """One run: which rows and columns of which table.

    time, position: its columns, None where there is none. others: columns that could be its position too.
    velocity: its velocity column. columns: all columns of numbers of its block. junk: rows that look like spoilt data.
    spoilt: a row above the data that was taken for a heading and may be a sample, None for none.
    """

    table: Table
    rows: list[int]
    group: Group
    columns: list[Column]
    name: str = ""
    number: int = 0
    passed: list[int] = field(default_factory=list)
    junk: list[int] = field(default_factory=list)
    spoilt: int | None = None

    def info(self) -> RunInfo:
        """Return what a person needs in order to choose this run."""
        shown = [c for c in (self.group.time, self.group.position or self.group.velocity) if c is not None]
        return RunInfo(self.name, self.number, len(self.rows), tuple(c.heading or f"column {c.index + 1}" for c in shown))


Choose = Callable[[Table, list[int], list[Column], list[Group]], list[Group]]


def find_runs(tables: Sequence[Table], choose: Choose | None = None, *, name: str = "") -> list[Run]:
    """Return the runs of a file in order, named and numbered.

    choose: replaces the groups of columns found in a block by those that the user asks for. name: the file's name.
    Raises RecordError when there are more than MAX_RUNS.
    Runs with too few samples are left out as long as there are others.
    """
    runs: list[Run] = []
    for table in tables:
        found = _runs_of_table(table, choose, name)
        if len(runs) + len(found) > MAX_RUNS:
            raise _too_many(len(runs) + len(found), name)
        names = [run.name for run in found]
        for run in found:
            if len(tables) > 1 and table.sheet:
                run.name = f"{table.sheet}: {run.name}" if len(found) > 1 or run.name else table.sheet
            elif names.count(run.name) > 1:
                run.name = ""
        runs += found
    large = [run for run in runs if _samples(run) >= MIN_SAMPLES]
    # Sheets and blocks without a time and a distance are notes as long as another one has both.
    whole = [run for run in large if run.group.time is not None and (run.group.position or run.group.velocity) is not None]
    kept = whole or large or sorted(runs, key=_samples, reverse=True)[:1]
    for number, run in enumerate(kept, start=1):
        run.number = number
        if len(kept) > 1 and (not run.name or run.name.endswith(": ")):
            run.name += f"Run {number}"
    if len(kept) == 1:
        kept[0].name = ""
    return _distinct(kept)


def _distinct(runs: list[Run]) -> list[Run]:
    seen: set[str] = set()
    for run in runs:
        if len(runs) > 1 and run.name.casefold() in seen:
            run.name = f"{run.name} ({run.number})"
        seen.add(run.name.casefold())
    return runs


def _samples(run: Run) -> int:
    if run.group.time is None:
        return len(run.rows)
    rows = run.table.span(run.rows)
    good = np.isfinite(run.table.column(run.group.time.index)[rows])
    value = run.group.position or run.group.velocity
    if value is not None:
        good &= np.isfinite(run.table.column(value.index)[rows])
    return int(np.count_nonzero(good))


def _too_many(count: int, name: str) -> RecordError:
    return RecordError(
        f"the file falls into {count:,} runs, more than the {MAX_RUNS:,} that a record may have.",
        remedy="Export each run to a file of its own, or look for lines of text between the samples.",
        source=name,
    )


def _runs_of_table(table: Table, choose: Choose | None, name: str) -> list[Run]:
    parts: list[tuple[Block, list[Column], list[Group], str]] = []
    blocks = find_blocks(table)
    if len(blocks) > MAX_RUNS:
        raise _too_many(len(blocks), name)
    for block in blocks:
        columns, understood = name_columns(table, block)
        previous = parts[-1] if parts else None
        title = _title(table, block)
        if previous is not None and not understood:
            before, known, groups, _ = previous
            if {c.index for c in columns} <= {c.index for c in known}:
                if _continues(table, before, block, groups):
                    before.passed += block.headers
                    before.junk += [row for row in block.headers if not is_comment(table, row)]
                    before.passed = [row for row in before.passed if row not in before.junk]
                    before.rows += block.rows
                    before.passed += block.passed
                    continue
                columns = known
        if previous is not None and understood and not title and _repeats(previous[1], columns):
            before, _, groups, _ = previous
            if _continues(table, before, block, groups):
                # A heading printed again on each page interrupts nothing as long as the clock runs on.
                before.rows += block.rows
                before.passed += block.passed
                continue
        groups = group_columns(table, block.rows, columns)
        if choose is not None:
            groups = choose(table, block.rows, columns, groups)
        parts.append((block, columns, groups, title))
    runs = []
    for block, columns, groups, title in parts:
        for group in groups:
            for rows, label in _split_restarts(table, block.rows, columns, group):
                names = [name for name in (title if len(parts) > 1 else "", group.name, label) if name]
                kept = _trim(table, rows, group)
                inside = [row for row in block.passed if not rows or row > rows[0]]
                if kept:
                    spoilt = spoilt_sample(table, block) if kept[0] == block.rows[0] else None
                    runs.append(Run(table, kept, group, columns, ", ".join(names), 0, inside, block.junk, spoilt))
    return runs


def _title(table: Table, block: Block) -> str:
    """Return the one cell that stands alone in the last such row above the headings."""
    for row in reversed(block.headers):
        filled = [cell.strip() for cell in table.cells[row] if not is_blank(cell)]
        if len(filled) == 1 and len(block.columns) > 1 and len(filled[0]) <= 60:
            return filled[0].strip("#%/;:*= \t")
    return ""


def _repeats(before: Sequence[Column], columns: Sequence[Column]) -> bool:
    return [(c.index, c.heading) for c in before] == [(c.index, c.heading) for c in columns]


def _continues(table: Table, before: Block, block: Block, groups: Sequence[Group]) -> bool:
    time = groups[0].time if groups else None
    if time is None:
        return False
    values = table.column(time.index)
    old, new = values[table.span(before.rows)], values[table.span(block.rows)]
    old, new = old[np.isfinite(old)], new[np.isfinite(new)]
    return bool(old.size and new.size and new[0] > old[-1])


def _split_restarts(table: Table, rows: list[int], columns: Sequence[Column], group: Group) -> list[tuple[list[int], str]]:
    """Split rows where the clock starts again: after a blank line, with a new run number, or near its first value."""
    if group.time is None:
        return [(rows, "")]
    time = table.column(group.time.index)[table.span(rows)]
    good = np.flatnonzero(np.isfinite(time))
    finite = time[good]
    drops = np.flatnonzero(np.diff(finite) < 0) + 1
    if drops.size == 0:
        return [(rows, "")]
    steps = np.diff(finite)
    step = float(np.median(steps[steps > 0])) if np.any(steps > 0) else 0.0
    counter = _run_counter(table, rows, columns, group)
    counts = None if counter is None else table.column(counter.index)[rows]
    cuts = [0]
    for drop in drops:
        first, before = int(good[drop]), int(good[drop - 1])
        after = finite[drop : drop + MIN_SAMPLES]
        blank = any(rows[k] in table.gaps for k in range(before + 1, first + 1))
        renumbered = counts is not None and counts[first] != counts[before]
        # Without a blank line or number, only a clock that goes back to its start and then runs on is a new run.
        restart = (
            finite[drop] <= finite[0] + 2 * step
            and first - cuts[-1] >= MIN_SAMPLES
            and after.size == MIN_SAMPLES
            and bool(np.all(np.diff(after) > 0))
        )
        if blank or renumbered or restart:
            cuts.append(first)
    parts = []
    for start, stop in zip(cuts, [*cuts[1:], len(rows)], strict=True):
        label = ""
        if counter is not None and counts is not None and len(cuts) > 1 and np.isfinite(counts[start]):
            label = f"{counter.heading.strip('# :.') or 'Run'} {counts[start]:g}".strip()
        parts.append((rows[start:stop], label))
    return parts


def _run_counter(table: Table, rows: list[int], columns: Sequence[Column], group: Group) -> Column | None:
    """Return a column that numbers the runs: whole numbers that change a few times only."""
    taken = {c.index for c in (group.time, group.position, group.velocity) if c is not None}
    for column in columns:
        if column.index in taken or column.kind not in ("index", "unknown"):
            continue
        values = table.column(column.index)[rows]
        finite = values[np.isfinite(values)]
        changes = np.count_nonzero(np.diff(finite))
        if (
            finite.size
            and np.all(finite == np.rint(finite))
            and 0 < changes <= finite.size / MIN_SAMPLES
            and not is_count(finite)
        ):
            return column
    return None


def _trim(table: Table, rows: list[int], group: Group) -> list[int]:
    """Drop rows at both ends in which the run has no cell: runs side by side end at different rows."""
    shown = [c.index for c in (group.time, group.position or group.velocity) if c is not None]
    if not shown:
        return rows
    # With one clock for several runs, the clock runs on after a shorter run has ended.
    if group.shared and group.position is not None:
        shown = [group.position.index]

    def empty(row: int) -> bool:
        return all(is_blank(table.cell(row, c)) for c in shown)

    first, last = 0, len(rows)
    while last > first and empty(rows[last - 1]):
        last -= 1
    while first < last and empty(rows[first]):
        first += 1
    return rows[first:last]


def passed_over(run: Run) -> list[str]:
    """Return a sentence for each text row inside or below the data that is no sample, and for a heading that may be one."""
    sentences = []
    if run.spoilt is not None:
        text = "; ".join(cell.strip() for cell in run.table.cells[run.spoilt] if not is_blank(cell))
        sentences.append(
            f"{run.table.where(run.spoilt)} ({show(text)}) was taken for a heading though it holds a number; if it is the first "
            "sample, correct its other cell"
        )
    for row in sorted(set(run.passed))[:5]:
        text = "; ".join(cell.strip() for cell in run.table.cells[row] if not is_blank(cell))
        sentences.append(f"{run.table.where(row)} ({show(text)}) is no sample and was passed over")
    if len(set(run.passed)) > 5:
        sentences.append(f"{len(set(run.passed)) - 5} more such lines were passed over")
    return sentences
