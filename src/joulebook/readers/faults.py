"""What is wrong with a run, found before it becomes a record and told together."""

from __future__ import annotations

import numpy as np

from joulebook.errors import Fault, RecordError
from joulebook.readers.cells import is_blank, show
from joulebook.readers.columns import is_count
from joulebook.readers.limits import MAX_FAULTS, MIN_SAMPLES
from joulebook.readers.runs import Run

__all__ = ["check_columns", "data_faults"]


def check_columns(run: Run, *, name: str) -> None:
    """Raise RecordError when a run lacks a time column, or has neither a position nor a velocity column."""
    group = run.group
    seen = ", ".join(column.label for column in run.columns[:12]) or "none"
    if len(run.columns) > 12:
        seen += f" and {len(run.columns) - 12} more"
    faults = []
    if group.time is None:
        counts = [c.label for c in run.columns if is_count(run.table.column(c.index)[run.rows])]
        counted = f" ({counts[0]} only counts samples)" if counts else ""
        faults.append(
            Fault(
                _place(run),
                f"no column of time was found{counted}.",
                "Head it “Time (s)”, or name it by time_column.",
            )
        )
    # Without a time nothing can be told by numbers, so a column without a known heading may still be the distance.
    open_ones = [
        c
        for c in run.columns
        if c.kind == "position" or (c.kind == "unknown" and not is_count(run.table.column(c.index)[run.rows]))
    ]
    if group.position is None and (group.velocity is None or group.time is None) and (group.time is not None or not open_ones):
        why = f" ({group.velocity.label} is a velocity, which is not used)" if group.velocity is not None else ""
        faults.append(
            Fault(
                _place(run),
                f"no column of distance was found{why}.",
                "Head it “Distance (m)”, or name it by position_column.",
            )
        )
    if group.time is None or faults:
        raise RecordError(
            f"the table is not understood; its columns of numbers are: {seen}.",
            remedy="A record needs one column of time and one of distance.",
            source=name,
            faults=faults,
        )


def data_faults(run: Run, *, name: str) -> RecordError | None:
    """Return one error with all unreadable cells of a run and a lack of samples, None when there is nothing wrong."""
    time, position = run.group.time, run.group.position or run.group.velocity
    assert time is not None and position is not None
    table = run.table
    chosen = ((time, "a time"), (position, "a distance" if run.group.position is not None else "a velocity"))
    spoilt = table.text_rows.intersection(run.rows) if table.text_rows else frozenset()
    faults: list[Fault] = []
    for row in sorted(spoilt.union(run.junk)):
        if row in run.junk:
            text = "; ".join(cell.strip() for cell in table.cells[row] if not is_blank(cell))
            what = f"{show(text)} stands among the samples and holds no numbers."
            faults.append(Fault(table.where(row), what, "Correct or remove the line."))
            continue
        for column, kind in chosen:
            if table.is_text(row, column.index):
                what = f"{show(table.cell(row, column.index))} is not {kind}."
                faults.append(
                    Fault(table.where(row, column.index), what, "Correct it, or blank the cell if the reading was lost.")
                )
    rows = table.span(run.rows)
    pairs = np.isfinite(table.column(time.index)[rows]) & np.isfinite(table.column(position.index)[rows])
    samples = int(np.count_nonzero(pairs))
    few = samples < MIN_SAMPLES
    if few:
        faults.insert(
            0,
            Fault(
                _place(run),
                f"only {samples} sample{'s have' if samples != 1 else ' has'} both a time and a distance; "
                f"a record needs at least {MIN_SAMPLES}.",
                "Export the whole record.",
            ),
        )
    if not faults:
        return None
    more = f" ({len(faults) - MAX_FAULTS} more are not listed)" if len(faults) > MAX_FAULTS else ""
    count = len(faults)
    return RecordError(
        f"the record has {count} fault{'s' if count != 1 else ''}{more}.",
        remedy="Correct the file, or export it again.",
        source=name,
        faults=faults[:MAX_FAULTS],
    )


def _place(run: Run) -> str:
    parts = [f"sheet “{run.table.sheet}”" if run.table.sheet else "", f"run “{run.name}”" if run.name else ""]
    return ", ".join(part for part in parts if part) or "the table"
