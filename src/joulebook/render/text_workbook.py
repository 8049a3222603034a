"""Tables of texts as an .xlsx workbook in which nothing is a formula."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence

from joulebook.render.plain import clean_text

__all__ = ["write_text_workbook"]

_WIDEST, _CELL_LIMIT = 60, 32_000


def write_text_workbook(tables: Mapping[str, Sequence[Sequence[str]]]) -> bytes:
    """Return a workbook with a sheet to each table. tables: rows of texts by the sheet's name; the first row heads it.

    A text that is a number becomes a number; every other one stays a text, whatever it begins with.
    """
    import xlsxwriter

    out = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(out, options) as book:
        bold, wrap = book.add_format({"bold": True, "text_wrap": True}), book.add_format({"text_wrap": True, "valign": "top"})
        for name, rows in tables.items():
            sheet = book.add_worksheet(name[:31])
            sheet.freeze_panes(1, 1)
            for index, row in enumerate(rows):
                for column, cell in enumerate(row):
                    text = clean_text(cell)[:_CELL_LIMIT]
                    number = _number(text) if index else None
                    if number is None:
                        sheet.write_string(index, column, text, wrap if index else bold)
                    else:
                        sheet.write_number(index, column, number, wrap)
            for column in range(max(map(len, rows), default=0)):
                longest = max((len(row[column]) for row in rows if column < len(row)), default=0)
                sheet.set_column(column, column, min(max(longest + 2, 8), _WIDEST))
    return out.getvalue()


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    # A code such as 007 or 1e5 is a text.
    return value if text == f"{value:g}" else None
