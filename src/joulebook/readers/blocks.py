"""Where in a table the numbers stand: blocks of data rows, each with the heading rows above it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from joulebook.readers.cells import is_blank
from joulebook.readers.tables import Table

__all__ = ["Block", "find_blocks", "is_comment"]

_COMMENT_SIGNS = ("#", "%", "//", ";", "!", "*")


@dataclass(slots=True)
class Block:
    """Consecutive data rows with their headings.

    rows: indices of the data rows. headers: indices of the text rows above them.
    columns: indices of the columns that hold numbers.
    passed: text rows inside or below the data that were passed over; junk: such rows that look like spoilt data.
    """

    rows: list[int]
    headers: list[int]
    columns: list[int]
    passed: list[int] = field(default_factory=list)
    junk: list[int] = field(default_factory=list)


def find_blocks(table: Table) -> list[Block]:
    """Return the blocks of a table from top to bottom; empty when it holds no numbers."""
    columns = _numeric_columns(table)
    if not columns:
        return []
    texts_in = table.text_rows
    heads = len(texts_in)
    if heads < len(table.cells) and all(k in texts_in for k in range(heads)):
        body = table.numbers[heads]
        if heads and _finite(body, set(columns)) == len(body):
            # Headings above and nothing but numbers below, as nearly all files are.
            return [Block(list(range(heads, len(table.cells))), list(range(heads)), columns)]
    inside = set(columns)
    blocks: list[Block] = []
    headers: list[int] = []
    rows: list[int] = []
    heading_cells: set[str] = set()
    first = _column_numbers_row(table)
    for index, numbers in enumerate(table.numbers):
        if index == first:
            headers.append(index)
        elif index not in texts_in:
            # A row of blanks and words for "missing" belongs to the data only once they have begun.
            if rows or _finite(numbers, inside):
                rows.append(index)
            elif not all(map(is_blank, table.cells[index])):
                headers.append(index)
        else:
            texts = sum(1 for c in columns if c < len(numbers) and numbers[c] is None)
            found = _finite(numbers, inside)
            repeated = bool(heading_cells) and all(
                table.cells[index][c] in heading_cells for c, value in enumerate(numbers) if value is None
            )
            if found and (not texts or (rows and not repeated)):
                rows.append(index)
            else:
                if rows:
                    blocks.append(Block(rows, headers, columns))
                    headers, rows = [], []
                headers.append(index)
                heading_cells.update(cell for cell in table.cells[index] if not is_blank(cell))
    if rows:
        blocks.append(Block(rows, headers, columns))
        headers = []
    if headers and blocks:
        blocks[-1].passed.extend(headers)
    _take_footers(table, blocks)
    return blocks


def is_comment(table: Table, row: int) -> bool:
    """Return whether a text row is a remark: it starts with a comment sign, or has one cell only."""
    filled = [cell for cell in table.cells[row] if not is_blank(cell)]
    return len(filled) <= 1 or filled[0].lstrip(" \t'\"").startswith(_COMMENT_SIGNS)


def _numeric_columns(table: Table) -> list[int]:
    width = table.width
    numbers = [int(np.count_nonzero(np.isfinite(table.column(c)))) for c in range(width)]
    if not table.text_rows:
        return [c for c in range(width) if numbers[c]]
    texts = [0] * width
    for row in table.text_rows:
        for c, value in enumerate(table.numbers[row]):
            if value is None:
                texts[c] += 1
    # Headings repeated above short runs count as text, so a column of numbers need only hold no fewer numbers than texts.
    return [c for c in range(width) if numbers[c] >= max(1, texts[c])]


def _finite(numbers: list[float | None], inside: set[int]) -> int:
    return sum(1 for c, value in enumerate(numbers) if value is not None and value == value and c in inside)


def _column_numbers_row(table: Table) -> int:
    """Return the index of a first row that numbers the columns 0, 1, 2 … instead of holding data, else -1."""
    if len(table.numbers) < 6:
        return -1
    head, data = table.numbers[0], table.numbers[1:6]
    start = 1 if head and head[0] != head[0] else 0
    if len(head) - start < 1 or any(None in row or len(row) != len(head) for row in data):
        return -1
    if [value for value in head[start:]] not in ([float(k) for k in range(len(head) - start)],) or not all(
        cell.strip().isdigit() for cell in table.cells[0][start:]
    ):
        return -1
    if start:
        return 0 if all(row[0] == row[0] for row in data) else -1
    # "0,1" may be a sample at 0 s: it is a heading only if the next row starts at 0 again.
    second, third = data[0][0], data[1][0]
    return 0 if second is not None and third is not None and second <= 0.0 < third else -1


def _take_footers(table: Table, blocks: list[Block]) -> None:
    """Move last rows whose first numeric cell is text ("Mean", 0.312) from the data to what is passed over."""
    if not blocks:
        return
    block = blocks[-1]
    while len(block.rows) > 1:
        last = block.rows[-1]
        first = next((c for c in block.columns if c < len(table.cells[last]) and not is_blank(table.cell(last, c))), None)
        if first is None or not table.is_text(last, first):
            return
        block.passed.insert(0, block.rows.pop())
