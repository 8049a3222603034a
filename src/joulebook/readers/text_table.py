"""Reading a table of texts, one row to a person: delimited text of any common kind, .xlsx or .ods."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass

from joulebook.errors import Fault, InputError, RecordError
from joulebook.readers.decoding import decode, kind_of

__all__ = ["TextTable", "read_text_table"]

_MOST_ROWS, _MOST_COLUMNS, _LONGEST_CELL = 2_000, 200, 4_000
_DELIMITERS = (";", "\t", ",")


@dataclass(frozen=True, slots=True)
class TextTable:
    """A table with one line of headings. headings: as written. rows: (line or row number in the file, texts by heading)."""

    headings: tuple[str, ...]
    rows: tuple[tuple[int, dict[str, str]], ...]


def read_text_table(content: bytes, *, name: str) -> TextTable:
    """Read a table of texts.

    content: the file's bytes. name: what the file is called in messages. Blank rows are left out; a text that a spreadsheet was
    kept from running by an apostrophe loses it.
    Raises InputError when it is no table, has no headings, two columns of one heading, or is too large.
    """
    try:
        kind = kind_of(content, name=name)
        cells = _text_cells(decode(content, name=name)[0]) if kind == "text" else _workbook_cells(content, name)
    except RecordError as error:
        raise InputError(error.message, remedy="Save the table as CSV or .xlsx.", source=name, faults=error.faults) from None
    filled = [(number, row) for number, row in enumerate(cells, 1) if any(cell.strip() for cell in row)]
    if len(filled) < 2:
        raise InputError("The table has no rows below its headings.", remedy="Write one row for each student.", source=name)
    if len(filled) > _MOST_ROWS or max(len(row) for _, row in filled) > _MOST_COLUMNS:
        what = f"The table has {len(filled)} rows; {_MOST_ROWS} rows and {_MOST_COLUMNS} columns are the most that is read."
        raise InputError(what, remedy="Split it.", source=name)
    headings = tuple(cell.strip() for cell in filled[0][1])
    named = [heading for heading in headings if heading]
    twice = sorted({heading for heading in named if named.count(heading) > 1})
    if twice:
        faults = [Fault(heading, "heads more than one column.", "Rename one.") for heading in twice]
        raise InputError("Headings are not clear.", remedy="Give every column its own.", source=name, faults=faults)
    rows = []
    for number, row in filled[1:]:
        texts = {heading: _plain(cell) for heading, cell in zip(headings, row, strict=False) if heading}
        if any(len(text) > _LONGEST_CELL for text in texts.values()):
            raise InputError(
                f"Row {number} holds a text of more than {_LONGEST_CELL} characters.", remedy="Shorten it.", source=name
            )
        rows.append((number, texts))
    return TextTable(headings, tuple(rows))


def _text_cells(text: str) -> list[list[str]]:
    first = text.lstrip("\ufeff").split("\n", 1)[0]
    delimiter = max(_DELIMITERS, key=lambda sign: (first.count(sign), -_DELIMITERS.index(sign)))
    return [list(row) for row in csv.reader(io.StringIO(text.lstrip("\ufeff")), delimiter=delimiter)]


def _workbook_cells(content: bytes, name: str) -> list[list[str]]:
    from joulebook.readers.sheets import first_sheet

    return [[_shown(cell) for cell in row] for row in first_sheet(content, name=name)]


def _shown(cell: object) -> str:
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    return "" if cell is None else str(cell)


def _plain(cell: str) -> str:
    text = cell.strip()
    return text[1:] if len(text) > 1 and text[0] == "'" and text[1:].lstrip()[:1] in "=+-@" else text
