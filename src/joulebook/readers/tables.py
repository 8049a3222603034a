"""A table: rows of cells as the file shows them, with the number in each, before anyone knows what the columns mean."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from joulebook.errors import RecordError
from joulebook.readers.limits import MAX_COLUMNS, MAX_ROWS

__all__ = ["Table", "check_size"]


@dataclass(frozen=True)
class Table:
    """One sheet of a workbook, or one text file.

    cells: rows of text. numbers: the same shape; NaN for a blank or a word that means missing, None for text.
    lines: each row's line (or spreadsheet row) in the file, counted from 1.
    gaps: indices of rows that follow at least one blank line.
    says: how the table is written ("comma separated, decimal point"). sheet: its name, "" for text.
    decimal: the decimal mark. exact: the cells are the printed digits, not a spreadsheet's floating-point numbers.
    """

    cells: list[list[str]]
    numbers: list[list[float | None]]
    lines: list[int]
    gaps: frozenset[int] = frozenset()
    says: str = ""
    sheet: str = ""
    decimal: str = "."
    exact: bool = True
    notices: tuple[str, ...] = ()
    _columns: dict[int, npt.NDArray[np.float64]] = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def width(self) -> int:
        """The number of columns of the widest row."""
        return max(map(len, self.cells), default=0)

    @cached_property
    def text_rows(self) -> frozenset[int]:
        """The indices of rows that hold text anywhere."""
        return frozenset(index for index, row in enumerate(self.numbers) if None in row)

    def column(self, index: int) -> npt.NDArray[np.float64]:
        """Return one column's numbers, shape (rows,), NaN for blanks and text; index counts from 0."""
        known = self._columns.get(index)
        if known is None:
            try:
                known = np.array([row[index] for row in self.numbers], dtype=float)  # None becomes NaN
            except IndexError:
                known = np.array([row[index] if index < len(row) else None for row in self.numbers], dtype=float)
            self._columns[index] = known
        return known

    @staticmethod
    def span(rows: list[int]) -> list[int] | slice:
        """Return rows as a slice where they follow each other, which NumPy takes without copying."""
        return slice(rows[0], rows[-1] + 1) if rows and rows[-1] - rows[0] + 1 == len(rows) else rows

    def printed(self, rows: list[int], index: int) -> list[str]:
        """Return the cells of one column in some rows."""
        try:
            return [self.cells[row][index] for row in rows]
        except IndexError:
            return [self.cell(row, index) for row in rows]

    def cell(self, row: int, index: int) -> str:
        """Return one cell's text, "" beyond the row's end."""
        cells = self.cells[row]
        return cells[index] if index < len(cells) else ""

    def is_text(self, row: int, index: int) -> bool:
        """Return whether a cell holds text that is neither a number nor a word for a missing value."""
        numbers = self.numbers[row]
        return index < len(numbers) and numbers[index] is None

    def where(self, row: int, index: int | None = None) -> str:
        """Return a place as a person looks for it: "line 12, column 3"."""
        place = f"sheet “{self.sheet}”, row {self.lines[row]}" if self.sheet else f"line {self.lines[row]}"
        return place if index is None else f"{place}, column {index + 1}"


def check_size(rows: int, columns: int, *, name: str) -> None:
    """Raise RecordError when a table has more rows or columns than a record may have."""
    if rows > MAX_ROWS:
        raise RecordError(
            f"the table has {rows:,} rows, more than the {MAX_ROWS:,} that a record may have.",
            remedy="Export only the launch, or fewer samples per second.",
            source=name,
        )
    if columns > MAX_COLUMNS:
        raise RecordError(
            f"the table has {columns:,} columns, more than the {MAX_COLUMNS} that a record may have.",
            remedy="Export only the columns of time and distance.",
            source=name,
        )
