"""Read a distance-time record from a file of any common kind, and say back what was understood."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from joulebook.engine.record import Record
from joulebook.errors import RecordError
from joulebook.readers.cells import show
from joulebook.readers.choices import Choices, pick_run
from joulebook.readers.columns import Column
from joulebook.readers.decoding import decode, kind_of
from joulebook.readers.delimited import read_text
from joulebook.readers.digits import printed_step
from joulebook.readers.faults import check_columns, data_faults
from joulebook.readers.limits import MAX_BYTES
from joulebook.readers.runs import Run, RunInfo, find_runs, passed_over
from joulebook.readers.scales import Scale, choose_units
from joulebook.readers.tables import Table
from joulebook.readers.units import Unit

__all__ = ["RunInfo", "list_runs", "read_record", "read_records"]

Source = str | Path | bytes
Array = npt.NDArray[np.float64]


def read_record(
    path_or_bytes: Source,
    *,
    name: str | None = None,
    time_column: int | str | None = None,
    position_column: int | str | None = None,
    unit: str | None = None,
    run: int | str | None = None,
    decimal: str | None = None,
) -> Record:
    """Return one run of a record file: delimited text of any kind, .xlsx, .ods or .xls, told apart by its bytes.

    path_or_bytes: the file's path, or its bytes. name: what the file is called in messages; by default the path's last part.
    time_column, position_column: a column's number from 1, or its heading, to overrule the choice.
    unit: the distance's unit ("cm"), the time's ("ms"), or both ("ms, cm"), to overrule headings and plausibility.
    run: a run's name, or its number from 1; by default the first run, and a notice lists the others.
    decimal: "." or ",", to overrule the decimal mark.
    Raises RecordError: everything that is wrong with the file, together, by line and column.
    """
    content, shown = _content(path_or_bytes, name)
    choices = Choices.of(time_column, position_column, unit, run, decimal, name=shown)
    tables = _tables(content, shown, choices.decimal)
    runs = find_runs(tables, choices.groups if choices.columns_given else None, name=shown)
    if not runs:
        choices.check_used(tables)
        raise _no_numbers(tables, shown)
    choices.check_used(tables)
    chosen = pick_run(runs, choices.run, name=shown)
    notices = []
    if len(runs) > 1 and choices.run is None:
        others = ", ".join(f"“{other.name}” ({len(other.rows)} rows)" for other in runs[1:6])
        more = f" and {len(runs) - 6} more" if len(runs) > 6 else ""
        notices.append(f"the file holds {len(runs)} runs; the first, “{chosen.name}”, is read, not {others}{more}; choose by run")
    return _record(chosen, choices, content, shown, tuple(notices), several=len(runs) > 1)


def read_records(
    path_or_bytes: Source, *, name: str | None = None, unit: str | None = None, decimal: str | None = None
) -> tuple[Record, ...]:
    """Return every run of a record file in file order; arguments and errors as of `read_record`."""
    content, shown = _content(path_or_bytes, name)
    choices = Choices.of(None, None, unit, None, decimal, name=shown)
    tables = _tables(content, shown, choices.decimal)
    runs = find_runs(tables, name=shown)
    if not runs:
        raise _no_numbers(tables, shown)
    return tuple(_record(run, choices, content, shown, (), several=len(runs) > 1) for run in runs)


def list_runs(path_or_bytes: Source, *, name: str | None = None) -> tuple[RunInfo, ...]:
    """Return the name, number, samples and columns of every run of a record file; errors as of `read_record`."""
    content, shown = _content(path_or_bytes, name)
    tables = _tables(content, shown, None)
    runs = find_runs(tables, name=shown)
    if not runs:
        raise _no_numbers(tables, shown)
    return tuple(run.info() for run in runs)


def _content(source: Source, name: str | None) -> tuple[bytes, str]:
    if isinstance(source, bytes | bytearray | memoryview):
        return bytes(source), name or "record"
    path = Path(source)
    shown = name or path.name
    try:
        size = path.stat().st_size
        if path.is_file() and size > MAX_BYTES:
            with path.open("rb") as file:
                return file.read(MAX_BYTES + 1), shown
        return path.read_bytes(), shown
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise RecordError(
            f"the file cannot be opened ({reason}).", remedy=f"Check the path {show(str(source), 200)}.", source=shown
        ) from error


def _tables(content: bytes, name: str, decimal: str | None) -> list[Table]:
    kind = kind_of(content, name=name)
    if kind == "text":
        text, encoding = decode(content, name=name)
        table = read_text(text, name=name, decimal=decimal)
        if encoding not in ("ASCII", "UTF-8"):
            table = dataclasses.replace(table, says=f"{table.says}, {encoding}", _columns={})
        return [table]
    from joulebook.readers.sheets import read_workbook

    return read_workbook(content, kind, name=name, decimal=decimal)


def _no_numbers(tables: Sequence[Table], name: str) -> RecordError:
    rows = sum(len(table.cells) for table in tables)
    first = next((" ".join(row).strip() for table in tables for row in table.cells), "")
    return RecordError(
        f"there are no rows of numbers among the {rows} rows; the first reads {show(first, 60)}.",
        remedy="Export the record as a table with a column of time and a column of distance.",
        source=name,
    )


def _record(run: Run, choices: Choices, content: bytes, name: str, notices: tuple[str, ...], *, several: bool) -> Record:
    check_columns(run, name=name)
    time_column = run.group.time
    assert time_column is not None
    position = run.group.position
    faults = data_faults(run, name=name)
    if faults is not None:
        raise faults
    rows = run.table.span(run.rows)
    raw_time = run.table.column(time_column.index)[rows]
    said = [*run.table.notices, *notices]
    if position is None:
        scale = choose_units(raw_time, raw_time * np.nan, time_unit=choices.time_unit or time_column.unit, position_unit=None)
        time = raw_time * scale.time.factor
        velocity = run.group.velocity
        assert velocity is not None
        text = (
            f"Read {time.size} samples: time from {time_column.label} in {scale.time.symbol}; {velocity.label} is a "
            f"velocity, which is not used, and there is no distance; {run.table.says}."
        )
        return Record(
            file=name,
            time=time,
            distance=np.full(time.size, np.nan),
            read_as=text,
            content=content,
            run=run.name if several else "",
            notices=(*said, *passed_over(run)),
            velocity_only=True,
        )
    raw = run.table.column(position.index)[rows]
    cells = run.table.printed(run.rows, position.index)
    step = printed_step(cells, raw, decimal=run.table.decimal, exact=run.table.exact)
    scale = choose_units(
        raw_time, raw,
        time_unit=choices.time_unit or _of(time_column, "time"), position_unit=choices.length_unit or _of(position, "length"),
        time_fixed=choices.time_unit is not None, position_fixed=choices.length_unit is not None,
        time_label=time_column.label, position_label=position.label, whole=step >= 1.0,
    )  # fmt: skip
    said += scale.notices
    said += _choice_notices(run)
    blank = int(np.count_nonzero(np.isnan(raw_time) | np.isnan(raw)))
    # Powers of ten divide exactly where multiplying by 0.01 would leave 0.30000000000000004.
    return Record(
        file=name,
        time=_scaled(raw_time, scale.time.factor),
        distance=_scaled(raw, scale.position.factor),
        read_as=_read_as(run, scale, blank, several),
        content=content,
        run=run.name if several else "",
        notices=(*said, *passed_over(run)),
        distance_step=float(_scaled(np.array([step]), scale.position.factor)[0]),
        unit_doubt=scale.position_doubt,
        time_doubt=scale.time_doubt,
    )


def _of(column: Column, dimension: str) -> Unit | None:
    return column.unit if column.unit is not None and column.unit.dimension == dimension else None


def _scaled(values: Array, factor: float) -> Array:
    if factor == 1.0:
        return values.copy()
    inverse = round(1.0 / factor)
    return values / inverse if factor < 1.0 and abs(inverse * factor - 1.0) < 1e-12 else values * factor


def _choice_notices(run: Run) -> list[str]:
    group = run.group
    notices = []
    if "distance" in group.by_numbers and group.position is not None and group.position.heading:
        notices.append(
            f"the heading of {group.position.label} does not say what it holds; it was taken as the distance by its numbers"
        )
    if "time" in group.by_numbers and group.time is not None and group.time.heading:
        notices.append(
            f"the heading of {group.time.label} does not say what it holds; it was taken as the time by its even steps"
        )
    if group.others:
        names = ", ".join(column.label for column in group.others[:4])
        notices.append(f"{names} could be the distance too; position_column chooses")
    return notices


def _read_as(run: Run, scale: Scale, blank: int, several: bool) -> str:
    group = run.group
    assert group.time is not None and group.position is not None
    cells = f"; {blank} blank cell{'s' if blank != 1 else ''}" if blank else ""
    of = f" of run “{run.name}”" if several else ""
    return (
        f"Read {len(run.rows)} samples{of}: time from {group.time.label} in {scale.time.symbol}, distance from "
        f"{group.position.label} in {scale.position.symbol}; {run.table.says}{cells}."
    )
