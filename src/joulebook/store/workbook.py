"""A section as a workbook: the tables of the data package, and the log in sentences."""

from __future__ import annotations

import math
import os
from typing import Any

from joulebook.errors import InputError
from joulebook.render.plain import spreadsheet_text
from joulebook.store.archive import written_whole
from joulebook.store.section_tables import Column, Table, gather, log_table, section_tables
from joulebook.store.store import Store

__all__ = ["export_workbook"]

_NOTES = (
    "One section of a ramp-launch lab. The sheets hold what the files of the exported data package hold; that one, not this "
    "workbook, is what can be taken in again.",
    "Benches: a row for each bench. Set-up: what each bench measured, as it was written. Records: every record and whether it "
    "counts. Quantities: a row for each bench and quantity, with its standard uncertainty and coverage interval. Log: what was "
    "done, in order.",
    "A text that a spreadsheet would take for a formula is preceded by an apostrophe.",
)
_WIDTHS = {"integer": 9, "number": 14, "boolean": 10, "string": 22}
_LONGEST_CELL = 32_000


def export_workbook(store: Store, section: str, path: str | os.PathLike[str], *, pseudonyms: bool = False) -> None:
    """Write a section as .xlsx, whole or not at all; without macros, formulas or links.

    pseudonyms: whether the names that groups gave themselves go with it. Raises InputError when there is no such section or the
    package xlsxwriter is not installed, OutputError when the file cannot be written.
    """
    try:
        import xlsxwriter
    except ImportError:
        remedy = "Install it with: python -m pip install 'joulebook[reports]'."
        raise InputError("Writing workbooks needs the package xlsxwriter.", remedy=remedy, code="packages") from None
    export = gather(store, section, pseudonyms=pseudonyms)
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with written_whole(path) as stream, xlsxwriter.Workbook(stream, options) as book:
        book.set_properties({"title": _text(export.section.title), "comments": "Written by joulebook."})
        bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
        wrapped = book.add_format({"text_wrap": True, "valign": "top"})
        for table in (*section_tables(export), log_table(export)):
            _write(book.add_worksheet(table.title), table, bold)
        notes = book.add_worksheet("Read me")
        notes.set_column(0, 0, 100)
        notes.write_string(0, 0, _text(export.section.title), bold)
        for row, note in enumerate(_NOTES, 1):
            notes.write_string(row, 0, note, wrapped)


def _write(sheet: Any, table: Table, bold: Any) -> None:
    for place, column in enumerate(table.columns):
        sheet.set_column(place, place, _WIDTHS[column.kind])
        sheet.write_string(0, place, column.name.replace("_", " "), bold)
        # What the column means stands where a reader of the sheet meets it.
        sheet.write_comment(0, place, column.meaning)
    sheet.freeze_panes(1, 1)
    for number, row in enumerate(table.rows, 1):
        for place, (value, column) in enumerate(zip(row, table.columns, strict=True)):
            _write_cell(sheet, number, place, value, column)
    if table.rows:
        sheet.autofilter(0, 0, len(table.rows), len(table.columns) - 1)


def _write_cell(sheet: Any, row: int, place: int, value: object, column: Column) -> None:
    if value is None or value == "" or (isinstance(value, float) and not math.isfinite(value)):
        return
    if isinstance(value, bool):
        sheet.write_boolean(row, place, value)
    elif isinstance(value, int | float) and column.kind != "string":
        sheet.write_number(row, place, value)
    else:
        sheet.write_string(row, place, _text(str(value)))


def _text(text: str) -> str:
    return spreadsheet_text(text)[:_LONGEST_CELL]
