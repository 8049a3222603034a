"""What each column of a block holds: first by its heading, and where headings are silent, by its numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from joulebook.readers.blocks import Block
from joulebook.readers.cells import is_blank
from joulebook.readers.headings import Heading, read_heading
from joulebook.readers.tables import Table
from joulebook.readers.units import SECOND, Unit, parse_unit
from joulebook.readers.words import ColumnKind

__all__ = ["Column", "is_count", "is_derivative", "is_evenly_rising", "name_columns", "spoilt_sample"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its index from 0, its heading as written, and what the heading says (see Heading).

    above: what stands over it in the row of run names, "" when nothing does.
    """

    index: int
    heading: str = ""
    kind: ColumnKind = "unknown"
    unit: Unit | None = None
    base: str = ""
    tag: str = ""
    word: bool = False
    above: str = ""

    @property
    def label(self) -> str:
        """The column as a sentence names it: column 2 “Position (m)”."""
        return f"column {self.index + 1} “{self.heading}”" if self.heading else f"column {self.index + 1}"


def name_columns(table: Table, block: Block) -> tuple[list[Column], bool]:
    """Return the block's columns of numbers with what their headings say, and whether any heading was understood."""
    width = max(block.columns) + 1
    names: dict[int, Heading] = {}
    units: dict[int, Unit] = {}
    named_row: int | None = None
    spoilt = spoilt_sample(table, block)
    for row in reversed(block.headers[-12:]):
        if row == spoilt and _understood(table, block, block.headers[:-1]):
            continue
        cells = [table.cell(row, c) for c in range(width)]
        filled = {c: cells[c] for c in block.columns if not is_blank(cells[c])}
        if not filled:
            continue
        found = {c: unit for c, cell in filled.items() if (unit := parse_unit(cell.strip("()[]{} "))) is not None}
        headings = {c: read_heading(cell) for c, cell in filled.items()}
        understood = any(h.kind in ("time", "position", "velocity", "acceleration") for h in headings.values())
        if len(found) == len(filled) and not units and not _symbols_only(headings):
            units = found
            continue
        if understood and (len(filled) > 1 or len(block.columns) == 1):
            names, named_row = headings, row
            break
        if not names and (len(filled) > 1 or len(block.columns) == 1):
            names, named_row = headings, row
    above = _run_names(table, block, named_row, width)
    columns = [_column(c, names.get(c), units.get(c), above.get(c, "")) for c in block.columns]
    columns = _lone_s(columns)
    return columns, any(column.kind in ("time", "position", "velocity", "acceleration") for column in columns)


def spoilt_sample(table: Table, block: Block) -> int | None:
    """Return the row directly above the data that looks like a first sample with a spoilt cell, and so like a heading; else None.

    It holds a number where the data have numbers, and its texts name nothing, or there are headings above it already.
    """
    if not block.headers or not block.rows or block.headers[-1] != block.rows[0] - 1:
        return None
    row = block.headers[-1]
    numbers = table.numbers[row]
    inside = [(c, numbers[c]) for c in block.columns if c < len(numbers)]
    if row not in table.text_rows or not any(value is not None and value == value for _, value in inside):
        return None
    if not any(value is None and not is_blank(table.cell(row, c)) for c, value in inside):
        return None
    return row if _understood(table, block, block.headers[:-1]) or not _understood(table, block, [row]) else None


def _understood(table: Table, block: Block, rows: list[int]) -> bool:
    """Return whether one of these rows names a time, a distance or their like over a column of numbers."""
    return any(
        read_heading(cell).kind in ("time", "position", "velocity", "acceleration")
        for row in rows[-12:]
        for c in block.columns
        if not is_blank(cell := table.cell(row, c))
    )


def is_evenly_rising(values: Array) -> bool:
    """Return whether numbers rise in even steps, as a clock does: few steps back, steps alike within a third."""
    steps = np.diff(values[np.isfinite(values)])
    if steps.size < 3 or np.count_nonzero(steps > 0) < 0.9 * steps.size:
        return False
    middle = float(np.median(steps))
    return (
        middle > 0
        and float(np.median(np.abs(steps - middle))) < 0.2 * middle
        and _share(np.abs(steps - middle) < middle / 3) > 0.8
    )


def is_count(values: Array) -> bool:
    """Return whether numbers count 0, 1, 2 … or 1, 2, 3 … one by one."""
    finite = values[np.isfinite(values)]
    return bool(finite.size > 2 and finite[0] in (0.0, 1.0) and np.all(np.diff(finite) == 1.0))


def is_derivative(values: Array, of: Array, time: Array) -> bool:
    """Return whether one column is the rate of change of another, as a velocity is of a position.

    values, of, time: shape (n,). Both the central difference of `of` and `values` are averaged over seven samples, since
    exported velocities are smeared by three samples either side; they must agree in shape and, up to a unit, in size.
    """
    good = np.isfinite(values) & np.isfinite(of) & np.isfinite(time)
    if np.count_nonzero(good) < 12:
        return False
    q, p, t = values[good], of[good], time[good]
    span = t[2:] - t[:-2]
    if np.any(span <= 0):
        return False
    weights = np.full(7, 1.0 / 7.0)
    rate = np.convolve((p[2:] - p[:-2]) / span, weights, mode="valid")
    given = np.convolve(q[1:-1], weights, mode="valid")
    if rate.size < 4 or np.ptp(rate) == 0.0 or np.ptp(given) == 0.0:
        return False
    correlation = float(np.corrcoef(rate, given)[0, 1])
    size = float(np.std(given) / np.std(rate))
    return correlation > 0.9 and any(0.5 < size / unit < 2.0 for unit in (1.0, 0.01, 0.001, 100.0, 1000.0))


def _share(truths: npt.NDArray[np.bool_]) -> float:
    return float(np.count_nonzero(truths)) / truths.size


def _symbols_only(headings: dict[int, Heading]) -> bool:
    # "t" over "s" is a row of symbols although "s" alone could be a unit.
    return any(h.kind == "time" and h.unit is None for h in headings.values())


def _column(index: int, heading: Heading | None, unit: Unit | None, above: str) -> Column:
    if heading is None:
        heading = Heading("") if unit is None else read_heading(f"({unit.symbol})")
        heading = replace(heading, text="")
    kind, own = heading.kind, heading.unit or unit
    if unit is not None and heading.unit is None:
        joint = read_heading(f"{heading.text} ({unit.symbol})") if heading.text else heading
        kind = joint.kind
        own = joint.unit or (unit if joint.kind == "unknown" else None)
    return Column(index, heading.text, kind, own, heading.base, heading.tag, heading.word, above)


def _lone_s(columns: list[Column]) -> list[Column]:
    """A lone "s" beside a lone "m" or "cm" means seconds, not the distance s."""
    if any(c.kind == "time" for c in columns):
        return columns
    lengths = [c for c in columns if c.kind == "position" and c.unit is not None and c.unit.dimension == "length"]
    lone = [c for c in columns if c.heading.strip("()[] ").lower() == "s" and c.unit is None]
    if len(lone) == 1 and lengths:
        return [replace(c, kind="time", unit=SECOND, base="") if c is lone[0] else c for c in columns]
    return columns


def _run_names(table: Table, block: Block, named_row: int | None, width: int) -> dict[int, str]:
    """Return the names in the row above the headings, each carried over the blank cells to its right (merged cells)."""
    if named_row is None:
        return {}
    above = [row for row in block.headers if row < named_row]
    for row in reversed(above[-4:]):
        cells = [table.cell(row, c).strip() for c in range(width)]
        filled = [cell for cell in cells if not is_blank(cell)]
        if len(filled) < 2 or len(set(filled)) < 2 or all(parse_unit(cell.strip("()[] ")) for cell in filled):
            continue
        names, current = {}, ""
        for c, cell in enumerate(cells):
            current = cell if not is_blank(cell) else current
            names[c] = current
        return names
    return {}
