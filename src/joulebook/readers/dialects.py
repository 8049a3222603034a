"""How a text table is written: which sign stands between its cells, and which inside its numbers.

Every pair of separator and decimal mark is tried on a sample of the lines; the one that turns most of them into rows of
numbers wins. Quoting follows RFC 4180, rules 5 to 7.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass

from joulebook.errors import RecordError
from joulebook.readers.cells import number

__all__ = ["Dialect", "sniff", "split_line"]

_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", " ": "space", "": "not"}
_SPACES = re.compile(r"[ \t]+")
_DIGITS = re.compile(r"[+-]?\d+")
_SAMPLE = 24


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a text table is written.

    delimiter: the separator; " " stands for a run of spaces, "" for none.
    decimal: "." or ",". quoted: cells may stand in double quotes.
    paired: commas do both duties ("0,05,0,312"), and every two cells are one number.
    """

    delimiter: str
    decimal: str
    quoted: bool = False
    paired: bool = False

    def __str__(self) -> str:
        mark = "decimal comma" if self.decimal == "," else "decimal point"
        return f"{_NAMES[self.delimiter]} separated, {mark}"


def sniff(lines: Sequence[str], *, decimal: str | None, name: str) -> Dialect:
    """Return the dialect in which most of the lines become numbers.

    lines: the lines that are not blank. decimal: the decimal mark where the user has given it, else None.
    Raises RecordError where commas separate and mark decimals so that the cells cannot be told apart.
    """
    step = max(1, len(lines) // _SAMPLE)
    sample = list(lines[step // 2 :: step])
    whole = "\n".join(sample)
    quoted = '"' in whole
    best, best_score = Dialect("", decimal or ".", quoted), 0.0
    for delimiter in ("\t", ";", "|", ",", " "):
        # Nearly all lines are rows of numbers already: no other separator can do clearly better.
        if delimiter not in whole or best_score > 0.9 * len(sample):
            continue
        rows = [split_line(line, delimiter, quoted=quoted) for line in sample]
        for mark in _marks(delimiter, decimal, whole, quoted):
            # A later candidate must be clearly better: a tab also counts as a space, a lone comma proves nothing.
            score = _score(rows, mark)
            if score > best_score + 1e-9:
                best, best_score = Dialect(delimiter, mark, quoted), score
    if best.delimiter == "," and best.decimal == "." and not quoted and "." not in whole and decimal != ".":
        return _check_commas(best, lines[:2000], name)
    return best


def split_line(line: str, delimiter: str, *, quoted: bool) -> list[str]:
    """Return the cells of one line."""
    if delimiter == "":
        return [line.strip().strip('"')]
    if delimiter == " ":
        return [cell.strip('"') for cell in _SPACES.split(line.strip(" \t"))]
    if quoted and '"' in line:
        try:
            return next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
        except csv.Error:
            pass
    return line.split(delimiter)


def _marks(delimiter: str, decimal: str | None, whole: str, quoted: bool) -> tuple[str, ...]:
    if decimal is not None:
        return (decimal,)
    if "," not in whole:
        return (".",)
    if delimiter == ",":
        return (".", ",") if quoted else (".",)
    # With no point anywhere, "1,234" is read as 1.234: a thousands comma is believed only beside decimal points.
    return (".", ",") if re.search(r"\d\.\d", whole) else (",",)


def _score(rows: Sequence[Sequence[str]], decimal: str) -> float:
    total = 0.0
    for cells in rows:
        numbers = texts = 0
        for cell in cells:
            value = number(cell, decimal)
            if value is None:
                texts += 1
            elif value == value:
                numbers += 1
        if numbers >= 2:
            total += max(0.0, (numbers - texts) / (numbers + texts))
        elif numbers == 1 and len(cells) > 1:
            total += 0.3 if not texts else 0.05
    return total


def _check_commas(best: Dialect, sample: Sequence[str], name: str) -> Dialect:
    """Whole numbers only, some with a leading zero ("0,05,0,312"): the commas are decimal marks as well."""
    rows = [cells for cells in (line.strip().split(",") for line in sample) if all(_DIGITS.fullmatch(c.strip()) for c in cells)]
    if len(rows) < 3 or not any(_padded(cell) for cells in rows for cell in cells):
        return best
    even = all(len(cells) % 2 == 0 and len(cells) >= 4 for cells in rows)
    if even and not any(_padded(cell) for cells in rows for cell in cells[::2]):
        return Dialect(",", ",", paired=True)
    raise RecordError(
        "commas stand both between the columns and inside the numbers, so that the numbers cannot be told apart.",
        remedy="Export it again with semicolons or tabs between the columns, or with decimal points.",
        source=name,
    )


def _padded(cell: str) -> bool:
    digits = cell.strip().lstrip("+-")
    return len(digits) > 1 and digits.startswith("0")
