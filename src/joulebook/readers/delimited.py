"""Delimited text to a table."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from joulebook.errors import RecordError
from joulebook.readers.cells import is_blank, numbers_of_rows
from joulebook.readers.dialects import Dialect, sniff, split_line
from joulebook.readers.limits import MAX_CELLS
from joulebook.readers.tables import Table, check_size

__all__ = ["read_text"]

_WHOLE_ROW = re.compile(r'\s*"((?:[^"]|"")*)"[\s;,\t|]*')
_COMMENT = re.compile(r"\s*(?:#|%|//|;|')+\s*")
_BEFORE_BRACKET = re.compile(r"\s+(?=[(\[{])|(?<=/)\s+|\s+(?=/)")
_WIDE = re.compile(r"\t+| {2,}")


def read_text(text: str, *, name: str, decimal: str | None = None) -> Table:
    """Return the table in a text file.

    text: the decoded file. decimal: "." or "," to overrule the decimal mark.
    Raises RecordError when the table is too large or its commas are ambiguous.
    """
    text = text.replace("\r\r\n", "\n").replace("\r\n", "\n").replace("\r", "\n").replace("\v", "\n").replace("\f", "\n")
    lines = text.split("\n")
    check_size(len(lines) - 1, 0, name=name)
    notices: list[str] = []
    full = [line for line in lines if line and not line.isspace()]
    if '"' in text:
        lines, full, unwrapped = _unwrap(lines, full)
        if unwrapped:
            notices.append(f"{unwrapped} rows stood whole inside one pair of quotation marks and were taken apart")
    dialect = sniff(full, decimal=decimal, name=name)
    if dialect.paired:
        notices.append("commas stand both between the columns and inside the numbers: every two cells were read as one number")
    rows, numbered = _split(lines, dialect)
    check_size(0, max(map(len, rows), default=0), name=name)
    total = sum(map(len, rows))
    if total > MAX_CELLS:
        raise RecordError(
            f"the table has {total:,} cells, more than the {MAX_CELLS:,} that a record may have.",
            remedy="Export only the columns of time and distance.",
            source=name,
        )
    cells, kept, gaps = _without_blank_rows(rows, numbered, lines, dialect)
    # Headings come first: what follows the first row that starts with a digit is likely to be numbers throughout.
    start = next((k for k, row in enumerate(cells[:40]) if row[0][:1].isdecimal()), 0)
    underscores = "_" in text
    numbers = numbers_of_rows(cells[:start], dialect.decimal)
    numbers += numbers_of_rows(cells[start:], dialect.decimal, underscores=underscores)
    _mend_headings(cells, numbers, lines, kept, dialect)
    return Table(cells, numbers, kept, frozenset(gaps), str(dialect), decimal=dialect.decimal, notices=tuple(notices))


def _unwrap(lines: list[str], full: Sequence[str]) -> tuple[list[str], list[str], int]:
    """Take rows apart that stand whole in one quoted field, as a spreadsheet leaves them after a wrong import."""
    inner = [(match[1].replace('""', '"') if (match := _WHOLE_ROW.fullmatch(line)) else None) for line in full]
    wrapped = sum(1 for text in inner if text is not None and re.search(r"[,;\t| ]", text))
    # One quoted column among others never fills a whole line, and a file with one column has no separators inside.
    if wrapped < 3 or 2 * wrapped < len(full):
        return lines, list(full), 0
    changed = iter(inner)
    out = []
    for line in lines:
        if line and not line.isspace():
            text = next(changed)
            out.append(line if text is None else text)
        else:
            out.append(line)
    return out, [line for line in out if line and not line.isspace()], wrapped


def _split(lines: Sequence[str], dialect: Dialect) -> tuple[list[list[str]], Sequence[int]]:
    delimiter = dialect.delimiter
    if dialect.paired:
        whole = [line.split(",") for line in lines]
        rows = [[",".join(r[k : k + 2]) for k in range(0, len(r), 2)] if _pairs(r) else r for r in whole]
        return rows, range(1, len(lines) + 1)
    if dialect.quoted and delimiter not in (" ", ""):
        parsed = _split_quoted(lines, delimiter)
        if parsed is not None:
            return parsed
    if delimiter in (" ", "") or dialect.quoted:
        return [split_line(line, delimiter, quoted=dialect.quoted) for line in lines], range(1, len(lines) + 1)
    return [line.split(delimiter) for line in lines], range(1, len(lines) + 1)


def _without_blank_rows(
    rows: list[list[str]], numbered: Sequence[int], lines: Sequence[str], dialect: Dialect
) -> tuple[list[list[str]], list[int], set[int]]:
    """Return the rows that are not blank, their lines, and the indices of those that follow a blank one."""
    if len(rows) == len(lines):
        signs = f" \t{dialect.delimiter}"
        blank = {k for k, line in enumerate(lines) if not line.strip(signs)}
    else:
        blank = set()
    blank |= {k for k, row in enumerate(rows) if not "".join(row).strip()} if dialect.quoted or not lines[0].isascii() else set()
    if not blank:
        return rows, list(numbered), set()
    kept = [k for k in range(len(rows)) if k not in blank]
    gaps = {k for k, (before, here) in enumerate(pairwise(kept), start=1) if here - before > 1}
    return [rows[k] for k in kept], [numbered[k] for k in kept], gaps


def _pairs(cells: Sequence[str]) -> bool:
    return len(cells) % 2 == 0 and all(cell.strip().lstrip("+-").isdigit() for cell in cells)


def _split_quoted(lines: Sequence[str], delimiter: str) -> tuple[list[list[str]], list[int]] | None:
    """RFC 4180 with line breaks inside quotes; None when a quote that is never closed has swallowed lines."""
    reader = csv.reader((f"{line}\n" for line in lines), delimiter=delimiter, skipinitialspace=True)
    rows, numbered, before = [], [], 0
    try:
        for row in reader:
            if reader.line_num - before > 4:
                return None
            rows.append([cell.replace("\n", " ") if "\n" in cell else cell for cell in row])
            numbered.append(before + 1)
            before = reader.line_num
    except csv.Error:
        return None
    return rows, numbered


def _mend_headings(
    cells: list[list[str]], numbers: list[list[float | None]], lines: Sequence[str], kept: Sequence[int], dialect: Dialect
) -> None:
    """Split heading lines again where they did not fall into as many cells as the data rows have.

    "Time (s)   Position (m)" over columns separated by spaces has four words for two columns; a comment sign in front of
    the headings makes one cell too many; headings may have another separator than the numbers.
    """
    text_rows = [i for i, row in enumerate(numbers) if None in row]
    if not text_rows or len(text_rows) == len(numbers):
        return
    plain = Counter(len(row) for row in numbers if None not in row)
    width = plain.most_common(1)[0][0]
    for index in text_rows[:1000]:
        line = lines[kept[index] - 1]
        bare = _COMMENT.sub("", line, count=1) if _COMMENT.match(line) else line
        if len(cells[index]) == width and bare == line:
            continue
        for row in _ways(bare, dialect):
            if len(row) == width:
                break
        else:
            if dialect.delimiter != " ":
                continue
            row = [bare.strip()]
        if sum(map(is_blank, row)) == len(row):
            continue
        cells[index] = row
        numbers[index] = numbers_of_rows([row], dialect.decimal)[0]


def _ways(line: str, dialect: Dialect) -> list[list[str]]:
    strong = [d for d in (dialect.delimiter, "\t", ";", "|", ",") if d.strip(" ") and d in line]
    ways = [split_line(line, d, quoted=dialect.quoted) for d in dict.fromkeys(strong)]
    stripped = line.strip()
    if dialect.delimiter == " ":
        ways.append(_WIDE.split(stripped))
        ways.append(_BEFORE_BRACKET.sub("\u00a0", stripped).split(" "))
        ways.append([cell for cell in _BEFORE_BRACKET.sub("\u00a0", stripped).replace("\t", " ").split(" ") if cell])
    return [[cell.replace("\u00a0", " ") for cell in way] for way in ways]
