"""Write-ups in a table, one row to a student; and the gradebook that goes out."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence

from joulebook.classroom.criteria import Criterion, points_of
from joulebook.classroom.mark_book import MarkBook
from joulebook.classroom.own_work import FIELDS
from joulebook.classroom.write_up import WriteUp
from joulebook.errors import Fault, InputError
from joulebook.readers.text_table import read_text_table
from joulebook.render.plain import spreadsheet_text

__all__ = ["TEMPLATE_HEADINGS", "gradebook_rows", "read_write_ups", "template_rows", "to_csv"]

_VALUES = {"mass": "cart.mass", "angle": "track.angle", "rise": "track.rise", "along": "track.along"}
_VALUE_UNITS = {"mass": "kg", "angle": "deg", "rise": "m", "along": "m"}
_FIELD_NAMES = tuple(field.name for step in FIELDS.values() for field in step)

TEMPLATE_HEADINGS = ("code", "bench", *_VALUES, *_FIELD_NAMES)
"""The headings of the table of write-ups, in the order of the template."""


def template_rows(codes: Sequence[tuple[str, int]] = ()) -> list[tuple[str, ...]]:
    """Return the rows of an empty table of write-ups: headings, what each holds, and a row for each (code, bench)."""
    labels = {field.name: field for step in FIELDS.values() for field in step}
    says = {
        "code": "student's number or pseudonym", "bench": "number of the bench", "mass": "e.g. 0.2513 kg ± 0.0005 kg",
        "angle": "e.g. 8.0 deg ± 0.25 deg, or rise and along", "rise": "e.g. 14.1 cm ± 0.1 cm", "along": "e.g. 100.0 cm ± 0.1 cm",
    }  # fmt: skip
    for name, field in labels.items():
        choices = "one of: " + ", ".join(word for word, _ in field.choices) if field.choices else ""
        says[name] = choices or (f"number, {field.unit}" if field.unit else field.shape)
    rows = [TEMPLATE_HEADINGS, tuple(f"({says[heading]})" for heading in TEMPLATE_HEADINGS)]
    return rows + [(code, str(bench), *[""] * (len(TEMPLATE_HEADINGS) - 2)) for code, bench in codes]


def read_write_ups(content: bytes, *, name: str) -> tuple[WriteUp, ...]:
    """Read a table of write-ups: CSV, .xlsx or .ods, with the headings of the template in any order.

    content: the file's bytes. name: of the file, for messages. A row whose first cell stands in brackets explains and is left out.
    Raises InputError with every fault: headings missing or unknown, a bench that is no number, a code twice or missing.
    """
    table = read_text_table(content, name=name)
    folded = {heading: heading.strip().casefold().replace(" ", "_") for heading in table.headings if heading}
    faults = [
        Fault(heading, "is no heading that joulebook knows.", "Write the template with: joulebook mark --template FILE.")
        for heading, known in folded.items()
        if known not in TEMPLATE_HEADINGS
    ]
    faults += [Fault(needed, "is missing.", "Add this column.") for needed in ("code", "bench") if needed not in folded.values()]
    if faults:
        raise InputError(
            "The headings are not those of a table of write-ups.", remedy="Correct them.", source=name, faults=faults
        )
    found: dict[str, WriteUp] = {}
    for number, texts in table.rows:
        row = {folded[heading]: text for heading, text in texts.items()}
        if row["code"].startswith("("):
            continue
        write_up = _write_up(number, row, faults)
        if write_up is None:
            continue
        if write_up.code in found:
            faults.append(Fault(f"row {number}", f"the code {write_up.code!r} stands twice.", "Give each student a code."))
        found[write_up.code] = write_up
    if faults:
        raise InputError(
            "Some rows cannot be used.", remedy="Correct them; nothing was taken in.", source=name, faults=faults[:20]
        )
    return tuple(found.values())


def gradebook_rows(write_ups: Iterable[WriteUp], book: MarkBook, *, points: bool = True) -> list[tuple[str, ...]]:
    """Return the gradebook: code, bench, a column to each criterion, total, comment. Only confirmed marks are in it.

    points: whether points and their total are given; the level's words otherwise, and no total.
    A total stands only where every criterion is marked.
    """
    criteria = tuple(book.criteria.values())
    rows = [("code", "bench", *(criterion.name for criterion in criteria), *(("total",) if points else ()), "comment")]
    for write_up in write_ups:
        marks = [book.mark(write_up.code, criterion.name) for criterion in criteria]
        cells = [
            "" if mark is None else _shown(criterion, mark.level, points) for criterion, mark in zip(criteria, marks, strict=True)
        ]
        total: tuple[str, ...] = ()
        if points:
            whole = all(mark is not None for mark in marks)
            total = (_number(sum(points_of(c, m.level) for c, m in zip(criteria, marks, strict=True) if m)) if whole else "",)
        comment = " ".join(mark.comment.strip() for mark in marks if mark is not None and mark.comment.strip())
        rows.append((write_up.code, str(write_up.bench), *cells, *total, comment))
    return rows


def to_csv(rows: Iterable[Sequence[str]]) -> str:
    """Return rows as RFC 4180 text in which no cell is a formula."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerows([[spreadsheet_text(cell) for cell in row] for row in rows])
    return out.getvalue()


def _write_up(number: int, row: Mapping[str, str], faults: list[Fault]) -> WriteUp | None:
    where, code = f"row {number}", row["code"].strip()
    if not code or len(code) > 40:
        faults.append(Fault(where, "has no code of 1 to 40 characters.", "Use a number or a pseudonym, not a name."))
        return None
    digits = row["bench"].casefold().replace("bench", "").strip()
    if not digits.isdecimal() or not 1 <= int(digits) <= 1000:
        faults.append(Fault(where, f"{row['bench'][:20]!r} is no bench.", "Write the bench's number."))
        return None
    values = {_VALUES[name]: _with_unit(row[name], _VALUE_UNITS[name]) for name in _VALUES if row.get(name, "").strip()}
    fields = {name: row[name].strip() for name in _FIELD_NAMES if row.get(name, "").strip()}
    return WriteUp(code, int(digits), values, fields)


def _with_unit(text: str, unit: str) -> str:
    """Return a set-up reading with its unit: a bare number is in the template's."""
    bare = text.strip().replace(",", ".") if text.count(",") == 1 and "." not in text else text.strip()
    try:
        float(bare)
    except ValueError:
        return text.strip()
    return f"{bare} {unit}"


def _shown(criterion: Criterion, level: str, points: bool) -> str:
    return _number(points_of(criterion, level)) if points else level


def _number(value: float) -> str:
    return f"{value:g}"
