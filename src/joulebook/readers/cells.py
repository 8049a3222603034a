"""A cell of a table: is it a number, a blank, or text?"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

__all__ = ["MISSING_WORDS", "is_blank", "number", "numbers_of_rows", "show"]

# Words that loggers and spreadsheets write where there is no value (common practice, no source).
MISSING_WORDS = frozenset(
    {
        "", "-", "--", "---", "----", "*", "**", "***", ".", "..", "...", "?", "??", "nan", "-nan", "nan(ind)", "1.#qnan",
        "-1.#ind", "na", "n/a", "n.a.", "#n/a", "#na", "#nv", "#n/d", "#n/v", "#value!", "#wert!", "#valeur!", "#valor!",
        "#div/0!",
        "#ref!", "#bezug!", "#num!", "#zahl!", "#name?", "#null!", "null", "none", "nil", "void", "inf", "+inf", "-inf",
        "infinity",
        "-infinity", "∞", "-∞", "missing", "no data", "no echo", "out of range", "oor", "err", "error", "undefined", "undef",
        "fehlt", "blank", "empty",
    }
)  # fmt: skip

# Minus signs that are not the hyphen, and spaces that typesetting and thousands grouping put inside numbers.
_MINUS = {0x2212: "-", 0x2013: "-", 0x2014: "-", 0x2010: "-", 0x2011: "-", 0xFE63: "-", 0xFF0D: "-"}
_SPACES = dict.fromkeys((0x2007, 0x2008, 0x2009, 0x200A, 0x200B, 0x202F, 0x2060, 0xFEFF, 0x00A0, 0x200E, 0x200F))
_CLEAN: dict[int, str | None] = {**_MINUS, **_SPACES}
_GROUPED_POINT = re.compile(r"[+-]?\d{1,3}(?:[,' ’]\d{3})+(?:\.\d*)?")
_GROUPED_COMMA = re.compile(r"[+-]?\d{1,3}(?:[' ’]\d{3})+(?:,\d*)?|[+-]?\d{1,3}(?:\.\d{3})+,\d*")
_GROUP_SIGNS = re.compile(r"[' ’]")
_FORTRAN = re.compile(r"([+-]?[\d.]+)d([+-]?\d+)")


def number(cell: str, decimal: str = ".") -> float | None:
    """Return the number in a cell, NaN for a blank or a word that means missing, None for other text.

    decimal: "." or ",", the table's decimal mark.
    """
    if "_" not in cell:
        plain = cell.replace(",", ".") if decimal == "," and "." not in cell else cell
        try:
            value = float(plain)
        except ValueError:
            pass
        else:
            return value if math.isfinite(value) else math.nan
    text = cell.translate(_CLEAN).strip().lower()
    if text in MISSING_WORDS:
        return math.nan
    text = text.removeprefix("=").strip("\"'")
    if decimal == ",":
        if _GROUPED_COMMA.fullmatch(text):
            text = _GROUP_SIGNS.sub("", text)
            if "," in text:
                text = text.replace(".", "")
        text = text.replace(",", ".")
    elif _GROUPED_POINT.fullmatch(text):
        text = _GROUP_SIGNS.sub("", text).replace(",", "")
    if "d" in text and (match := _FORTRAN.fullmatch(text)):
        text = f"{match[1]}e{match[2]}"
    if "_" in text:
        return None
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else math.nan


def numbers_of_rows(rows: Sequence[Sequence[str]], decimal: str = ".", *, underscores: bool = True) -> list[list[float | None]]:
    """Return `number` of every cell, row by row.

    Rows of plain numbers, which nearly all are, take one pass through `float`. underscores: the cells may hold "_".
    """
    plain = _columns_of_numbers(rows, decimal, underscores)
    if plain is not None:
        return plain
    table: list[list[float | None]] = []
    convert = _comma if decimal == "," else _without_underscores if underscores else float
    for row in rows:
        try:
            values: list[float | None] = list(map(convert, row))
        except ValueError:
            values = [number(cell, decimal) for cell in row]
        else:
            # One sum finds NaN and infinity anywhere in the row; an overflow merely takes the slow way.
            if not math.isfinite(sum(values)):  # type: ignore[arg-type]
                values = [number(cell, decimal) for cell in row]
        table.append(values)
    return table


def _columns_of_numbers(rows: Sequence[Sequence[str]], decimal: str, underscores: bool) -> list[list[float | None]] | None:
    """Return `numbers_of_rows` by columns, which is twice as fast; None unless all rows are alike and hold numbers only."""
    if len(rows) < 2 or len(set(map(len, rows))) != 1:
        return None
    try:
        columns = []
        for column in zip(*rows, strict=True):
            whole = "\n".join(column)
            if decimal == "," and "." not in whole:
                column = tuple(whole.replace(",", ".").split("\n"))
            if underscores and "_" in whole:
                return None
            columns.append(list(map(float, column)))
    except ValueError:
        return None
    if not math.isfinite(sum(map(sum, columns))):
        return None
    return list(map(list, zip(*columns, strict=True)))


def is_blank(cell: str) -> bool:
    """Return whether a cell shows nothing."""
    return not cell or not cell.translate(_CLEAN).strip()


def show(text: str, length: int = 40) -> str:
    """Return a cell's text in quotation marks for a message, shortened and without control characters."""
    clean = "".join(c if c.isprintable() else "·" for c in " ".join(text.split()))
    return f"“{clean if len(clean) <= length else clean[: length - 1] + '…'}”"


def _comma(cell: str) -> float:
    # Two kinds of mark in one cell ("1.234,5") raise here and go the slow way.
    return _without_underscores(cell.replace(",", "."))


def _without_underscores(cell: str) -> float:
    # Python reads "1_000" as a number; no logger means it so.
    if "_" in cell:
        raise ValueError(cell)
    return float(cell)
