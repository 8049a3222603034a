"""Worksheets and their cell formats: the few things that every sheet of the workbook does."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from joulebook.render.plain import clean_text

__all__ = ["Sheet", "Styles", "cell_text", "column_letters"]

_CELL_LIMIT = 32_000


@dataclass(slots=True, eq=False)
class Styles:
    """The cell formats of one workbook, made once."""

    book: Any
    named: dict[str, Any] = field(default_factory=dict)

    @classmethod
    def for_book(cls, book: Any) -> Styles:
        """Return the formats of a new workbook."""
        styles = cls(book)
        for name, properties in {
            "title": {"bold": True, "font_size": 15},
            "verdict": {"text_wrap": True, "font_size": 12, "valign": "top", "bold": True},
            "header": {"bold": True, "bottom": 1, "text_wrap": True, "valign": "bottom"},
            "label": {"bold": True, "valign": "top"},
            "text": {"valign": "top"},
            "wrap": {"text_wrap": True, "valign": "top"},
            "note": {"italic": True},
            "number": {"num_format": "General", "valign": "top"},
            "input": {"num_format": "General", "border": 1, "valign": "top", "locked": False},
            "whole": {"num_format": "0"},
            "one": {"num_format": "0.0", "valign": "top"},
            "trace": {"num_format": "0.0000"},
            "percent": {"num_format": "0.0 %", "valign": "top"},
            "small": {"num_format": "0.00000", "valign": "top"},
            "exponent": {"num_format": "0.000E+00", "valign": "top"},
        }.items():
            styles.named[name] = book.add_format(properties)
        return styles

    def by_uncertainty(self, expanded: float, *, percent: bool = False) -> str:
        """Return the name of a number format that shows two figures of an expanded uncertainty."""
        size = expanded * (100 if percent else 1)
        if not math.isfinite(size) or size <= 0:
            return "percent" if percent else "number"
        places = 1 - math.floor(math.log10(size))
        if not 0 <= places <= 9:
            return "exponent" if not percent else "percent"
        name = f"places-{places}{'-percent' if percent else ''}"
        if name not in self.named:
            digits = "0" + ("." + "0" * places if places else "")
            self.named[name] = self.book.add_format({"num_format": digits + (" %" if percent else ""), "valign": "top"})
        return name


@dataclass(slots=True, eq=False)
class Sheet:
    """One worksheet. `names` collects the defined names that point into it; text is written as text, whatever it begins with."""

    raw: Any
    name: str
    styles: Styles
    names: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.raw.set_landscape()
        self.raw.fit_to_pages(1, 0)
        self.raw.set_header(f"&R{self.name}, page &P of &N")

    def columns(self, *widths: float) -> None:
        """Set the widths of the first columns, in characters."""
        for column, width in enumerate(widths):
            self.raw.set_column(column, column, width)

    def text(self, row: int, column: int, text: str, style: str = "text") -> None:
        """Write text."""
        if text:
            self.raw.write_string(row, column, text, self.styles.named[style])

    def merged(self, row: int, first: int, last: int, text: str, style: str, *, height: float) -> None:
        """Write text across several columns of one row."""
        self.raw.set_row(row, height)
        self.raw.merge_range(row, first, row, last, "", self.styles.named[style])
        self.raw.write_string(row, first, text, self.styles.named[style])

    def number(self, row: int, column: int, value: float, style: str = "number", *, name: str = "") -> None:
        """Write a number; one that is not finite is written as words."""
        if math.isfinite(value):
            self.raw.write_number(row, column, value, self.styles.named[style])
        else:
            self.raw.write_string(row, column, "not known", self.styles.named[style])
        self._named(row, column, name)

    def formula(self, row: int, column: int, formula: str, value: float | str, style: str = "number", *, name: str = "") -> None:
        """Write a formula with its value."""
        self.raw.write_formula(row, column, formula, self.styles.named[style], value)
        self._named(row, column, name)

    def header(self, row: int, titles: Sequence[str]) -> None:
        """Write a row of column headings, repeated on each printed page."""
        for column, title in enumerate(titles):
            self.raw.write_string(row, column, title, self.styles.named["header"])
        self.raw.repeat_rows(row)

    def _named(self, row: int, column: int, name: str) -> None:
        if name:
            self.names[name] = f"${column_letters(column)}${row + 1}"


def column_letters(column: int) -> str:
    """Return the letters of a column, counted from 0."""
    text = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(65 + rest) + text
    return text


def cell_text(text: str) -> str:
    """Return text that a cell can hold, cut with a word of warning where it is too long."""
    clean = clean_text(text)
    return clean if len(clean) <= _CELL_LIMIT else clean[:_CELL_LIMIT] + " … (cut here: a cell holds no more)"
