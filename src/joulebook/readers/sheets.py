"""Workbooks (.xlsx, .ods, .xls) to tables, through python-calamine, after a look at what the file would unpack to.

Only cell values are read: macros, links to other files, pictures and formulas' texts are never followed.
"""

from __future__ import annotations

import datetime
import io
import math
import re
import zipfile
import zlib
from typing import Any, Final

from joulebook.errors import RecordError
from joulebook.readers.cells import number
from joulebook.readers.decoding import Kind
from joulebook.readers.limits import MAX_CELLS, MAX_COLUMNS, MAX_PARTS, MAX_RATIO, MAX_SHEETS, MAX_UNPACKED
from joulebook.readers.tables import Table, check_size

__all__ = ["first_sheet", "read_workbook"]

_SAVE: Final = "Save it again as a plain .xlsx, .ods or CSV file."
_CELL_PLACE = re.compile(rb'<(?:\w+:)?c\s[^>]*?\br="([A-Za-z]{1,7})(\d{1,9})"')
_ROW_PLACE = re.compile(rb'<(?:\w+:)?row\s[^>]*?\br="(\d{1,12})"')
_CELL = re.compile(rb"<(?:\w+:)?c[\s/>]")
_ROW = re.compile(rb"<(?:\w+:)?row[\s/>]")
_ODS_TOKEN = re.compile(rb"<(/?)table:(table-row|table-cell|covered-table-cell|table)\b([^>]*?)(/?)>")
_ODS_REPEAT = re.compile(rb'table:number-(?:rows|columns)-repeated="(\d{1,12})"')
_NESTED = (".zip", ".xlsx", ".xlsm", ".ods", ".xls", ".gz", ".7z", ".rar", ".tar", ".bz2")


def read_workbook(content: bytes, kind: Kind, *, name: str, decimal: str | None = None) -> list[Table]:
    """Return the tables of a workbook's sheets, empty sheets left out.

    content: the whole file. kind: "zip" or "ole", as its first bytes say.
    Raises RecordError for what is no workbook, is encrypted, damaged, or would unpack beyond the limits.
    """
    if kind == "zip":
        _check_zip(content, name)
    elif "EncryptedPackage".encode("utf-16-le") in content:
        raise _encrypted(name)
    sheets = _load(content, name)
    tables, total = [], 0
    for sheet, rows in sheets:
        check_size(len(rows), max(map(len, rows), default=0), name=name)
        total += sum(map(len, rows))
        if total > MAX_CELLS:
            raise _too_many_cells(name)
        table = _table(sheet, rows, decimal)
        if table is not None:
            tables.append(table)
    if not tables:
        raise RecordError("the workbook holds no cells.", remedy="Export the record again.", source=name)
    return tables


def first_sheet(content: bytes, *, name: str) -> list[list[Any]]:
    """Return the cells of a workbook's first sheet that holds any, row by row. Raises RecordError as `read_workbook`."""
    if content.startswith(b"PK"):
        _check_zip(content, name)
    sheets = _load(content, name)
    if not sheets:
        raise RecordError("the workbook holds no cells.", remedy="Fill it in and save it again.", source=name)
    rows = sheets[0][1]
    check_size(len(rows), max(map(len, rows), default=0), name=name)
    return rows


def _check_zip(content: bytes, name: str) -> None:
    """Refuse a zip file that is no workbook, or that would unpack beyond the limits, before anything parses it."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            parts = archive.infolist()
            if len(parts) > MAX_PARTS:
                raise RecordError(f"the workbook has {len(parts):,} parts, more than {MAX_PARTS:,}.", remedy=_SAVE, source=name)
            names = {part.filename for part in parts}
            if any(part.flag_bits & 1 for part in parts):
                raise _encrypted(name)
            if "xl/workbook.bin" in names:
                raise RecordError("the workbook is of the binary kind (.xlsb), which is not read.", remedy=_SAVE, source=name)
            if not names & {"xl/workbook.xml", "content.xml"}:
                inside = ", ".join(sorted(n for n in names if "/" not in n)[:3]) or "no file"
                raise RecordError(
                    f"the file is a zip archive without a workbook in it (it holds {inside}).",
                    remedy="Unpack it and give the record file itself.",
                    source=name,
                )
            _check_declared(parts, name)
            cells = 0
            for part in parts:
                cells += _check_part(archive, part, name)
                if cells > MAX_CELLS:
                    raise _too_many_cells(name)
    except RecordError:
        raise
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError, OSError, RuntimeError, KeyError) as error:
        raise RecordError(f"the workbook is damaged ({error}).", remedy=_SAVE, source=name) from error


def _check_declared(parts: list[zipfile.ZipInfo], name: str) -> None:
    if not parts:
        return
    total = sum(part.file_size for part in parts)
    worst = max(parts, key=lambda part: part.file_size)
    ratio = worst.file_size / max(1, worst.compress_size)
    if total > MAX_UNPACKED or (worst.file_size > 1 << 20 and ratio > MAX_RATIO):
        raise RecordError(
            f"the workbook would unpack to {total:,} bytes (“{worst.filename[:60]}” to {ratio:.0f} "
            f"times its packed size), more than a record may.",
            remedy="Copy the two columns of time and distance into a new workbook.",
            source=name,
        )
    for part in parts:
        if part.filename.lower().endswith(_NESTED):
            raise RecordError(
                f"the workbook has another archive in it (“{part.filename[:60]}”).",
                remedy="Copy the record into a new workbook.",
                source=name,
            )
        if part.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise RecordError("the workbook is packed in a way that spreadsheets do not use.", remedy=_SAVE, source=name)


def _check_part(archive: zipfile.ZipFile, part: zipfile.ZipInfo, name: str) -> int:
    """Unpack one part to see that it is as large as declared (zipfile checks length and CRC); return its cells."""
    path = part.filename
    data = archive.read(part)
    if len(data) != part.file_size:
        raise RecordError(
            f"“{path[:60]}” unpacks to {len(data):,} bytes instead of the {part.file_size:,} declared.", remedy=_SAVE, source=name
        )
    if not path.endswith((".xml", ".rels")):
        return 0
    if b"<!DOCTYPE" in data or b"<!ENTITY" in data:
        raise RecordError(f"“{path[:60]}” defines XML entities, which no spreadsheet writes.", remedy=_SAVE, source=name)
    if path == "META-INF/manifest.xml" and b"encryption-data" in data:
        raise _encrypted(name)
    if path.startswith("xl/worksheets/") and path.endswith(".xml"):
        return _xlsx_cells(data)
    if path == "content.xml":
        return _ods_cells(data)
    return 0


def _xlsx_cells(data: bytes) -> int:
    """Return the area of the rectangle from A1 that a sheet's cells span: a parser may allot all of it."""
    places = _CELL_PLACE.findall(data)
    wide = [_column_number(letters) for letters in {letters for letters, _ in places}]
    tall = [int(digits) for _, digits in places]
    cells = len(_CELL.findall(data))
    if cells > len(places):
        # Cells without a place of their own follow each other in their row, whose number then counts too.
        tall += [int(digits) for digits in _ROW_PLACE.findall(data)] + [len(_ROW.findall(data))]
        wide.append(max(wide, default=0) + cells - len(places) if cells < MAX_COLUMNS else MAX_COLUMNS)
    return max(wide, default=0) * max(tall, default=0)


def _column_number(letters: bytes) -> int:
    value = 0
    for letter in letters.upper():
        value = value * 26 + letter - 64
    return value


def _ods_cells(data: bytes) -> int:
    """Return how many cells an OpenDocument sheet holds once repeated rows and columns are written out.

    Repeats without content at the end of a row or sheet are normal (a sheet is declared full size) and are not counted.
    """
    total = width = pending = repeat = 0
    waiting_rows = 0
    widest = 0
    for closing, token, attributes, empty in _ODS_TOKEN.findall(data):
        count = int(match[1]) if (match := _ODS_REPEAT.search(attributes)) else 1
        if token == b"table-row":
            if not closing:
                width, pending, repeat = 0, 0, count
            if closing or empty:
                if width:
                    total += widest * waiting_rows + width * repeat
                    widest, waiting_rows = max(widest, width), 0
                else:
                    waiting_rows += repeat
        elif token == b"table":
            widest = waiting_rows = 0
        elif not closing:
            if empty and b"office:value" not in attributes:
                pending += count
            else:
                width += pending + count
                pending = 0
    return total


def _load(content: bytes, name: str) -> list[tuple[str, list[list[Any]]]]:
    try:
        import python_calamine
    except ImportError as error:
        raise RecordError(
            "the file is a workbook, and the package python-calamine, which reads workbooks, is not installed.",
            remedy="Install joulebook with its spreadsheet extra, or export the record as CSV.",
            source=name,
        ) from error
    try:
        workbook = python_calamine.load_workbook(io.BytesIO(content))
        names = workbook.sheet_names
        if len(names) <= MAX_SHEETS:
            sheets = []
            for sheet_name in names:
                sheet = workbook.get_sheet_by_name(sheet_name)
                end = sheet.end
                if end is not None:
                    if (end[0] + 1) * (end[1] + 1) > MAX_CELLS:
                        raise _too_many_cells(name)
                    sheets.append((sheet_name, sheet.to_python(skip_empty_area=False)))
            return sheets
    except RecordError:
        raise
    except python_calamine.PasswordError as error:
        raise _encrypted(name) from error
    except (KeyboardInterrupt, SystemExit, GeneratorExit, MemoryError):
        raise
    # A panic inside the parser arrives as a BaseException of its own; it means a damaged file, not a broken program.
    except BaseException as error:
        text = " ".join(str(error).split())[:120] or type(error).__name__
        if "password" in text.lower() or "encrypted" in text.lower():
            raise _encrypted(name) from None
        raise RecordError(f"the workbook cannot be read ({text}).", remedy=_SAVE, source=name) from None
    raise RecordError(
        f"the workbook has {len(names)} sheets, more than {MAX_SHEETS}.", remedy="Save the record's sheet alone.", source=name
    )


def _table(sheet: str, rows: list[list[Any]], decimal: str | None) -> Table | None:
    texts = [cell for row in rows for cell in row if isinstance(cell, str) and re.fullmatch(r"\s*[-+−]?\d+,\d+\s*", cell)]
    mark = decimal or ("," if texts else ".")
    cells: list[list[str]] = []
    numbers: list[list[float | None]] = []
    lines: list[int] = []
    gaps: set[int] = set()
    gap = False
    for offset, row in enumerate(rows):
        # Rows of numbers alone, which nearly all are, need no look at each cell; one sum finds what is not finite.
        plain = set(map(type, row)) == {float} and math.isfinite(sum(row))
        if not plain and all(cell == "" or (isinstance(cell, str) and cell.isspace()) for cell in row):
            gap = True
            continue
        if gap and cells:
            gaps.add(len(cells))
        gap = False
        shown, values = (map(_shown, row), row) if plain else zip(*(_cell(cell, mark) for cell in row), strict=True)
        cells.append(list(shown))
        numbers.append(list(values))
        lines.append(offset + 1)
    if not cells:
        return None
    return Table(cells, numbers, lines, frozenset(gaps), f"sheet “{sheet}”", sheet=sheet, decimal=mark, exact=False)


def _cell(cell: Any, mark: str) -> tuple[str, float | None]:
    if isinstance(cell, bool):
        return str(cell), None
    if isinstance(cell, int | float):
        value = float(cell)
        return _shown(value), value if math.isfinite(value) else math.nan
    if isinstance(cell, str):
        return cell, number(cell, mark)
    if isinstance(cell, datetime.timedelta):
        return str(cell), cell.total_seconds()
    if isinstance(cell, datetime.time):
        return str(cell), cell.hour * 3600.0 + cell.minute * 60.0 + cell.second + cell.microsecond * 1e-6
    return str(cell), None


def _shown(value: float) -> str:
    return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)


def _encrypted(name: str) -> RecordError:
    return RecordError("the workbook is encrypted with a password.", remedy="Save it without a password.", source=name)


def _too_many_cells(name: str) -> RecordError:
    return RecordError(
        f"the workbook's cells span more than {MAX_CELLS:,} cells.",
        remedy="Copy the two columns of time and distance into a new workbook.",
        source=name,
    )
