"""Writes a simulated bench as a folder: bench.toml and the record files, in the dialects that loggers and spreadsheets speak."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

from joulebook.engine.record import Record
from joulebook.errors import OutputError
from joulebook.planning.ranger import Reading
from joulebook.planning.simulate import SimulatedBench

__all__ = ["DIALECTS", "Dialect", "bench_file_text", "smeared_velocity", "write_bench_folder"]

Floats = npt.NDArray[np.float64]
Column = tuple[Floats, int]


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a record file is written.

    headings: of time, distance, velocity and acceleration; empty for none. delimiter, decimal: characters. factor: what
    metres are multiplied by for the file's unit, `digits` fewer decimals with it. derived: velocity and acceleration follow.
    encoding, newline, quoted: of the text. exponent: numbers in E notation. first_lines: what stands above the heading.
    suffix: of the file's name; ".xlsx" is a workbook.
    """

    headings: tuple[str, ...] = ("Time (s)", "Distance (m)", "Velocity (m/s)", "Acceleration (m/s^2)")
    delimiter: str = ","
    decimal: str = "."
    factor: float = 1.0
    digits: int = 0
    derived: bool = False
    encoding: str = "utf-8"
    newline: str = "\n"
    quoted: bool = False
    exponent: bool = False
    first_lines: tuple[str, ...] = ()
    suffix: Literal[".csv", ".txt", ".xlsx"] = ".csv"


DIALECTS: dict[str, Dialect] = {
    "plain": Dialect(),
    "decimal-comma": Dialect(("Zeit [s]", "Weg [m]", "v [m/s]", "a [m/s²]"), ";", ",", newline="\r\n", encoding="utf-8-sig"),
    "centimetres": Dialect(("t/s", "d/cm", "v/(cm/s)", "a/(cm/s²)"), "\t", factor=100.0, digits=2, suffix=".txt"),
    "logger": Dialect(derived=True, quoted=True, newline="\r\n", encoding="utf-8-sig"),
    "bare": Dialect((), " ", suffix=".txt"),
    "exponent": Dialect(("Temps (s)", "Position (m)", "Vitesse (m/s)", "Accélération"), ";", exponent=True, encoding="latin-1"),
    "wide": Dialect(("time_s", "position_m", "velocity", "acceleration"), "\t", encoding="utf-16", first_lines=("run 1", "")),
    "workbook": Dialect(suffix=".xlsx"),
}
"""The dialects by name; "workbook" needs xlsxwriter."""


def write_bench_folder(simulated: SimulatedBench, folder: str | Path, *, dialect: str | Dialect = "plain") -> Path:
    """Write bench.toml and the record files into a folder, made if it is missing, and return the path of bench.toml.

    dialect: a name in DIALECTS or a Dialect. Raises OutputError when the folder cannot be written, KeyError for an unknown name.
    """
    chosen = DIALECTS[dialect] if isinstance(dialect, str) else dialect
    target = Path(folder)
    pairs = list(zip(simulated.bench.launches, simulated.readings, strict=True))
    if simulated.bench.rest is not None and simulated.rest_reading is not None:
        pairs.insert(0, (simulated.bench.rest, simulated.rest_reading))
    try:
        target.mkdir(parents=True, exist_ok=True)
        for record, reading in pairs:
            name = target / _file_name(record, chosen)
            columns = _columns(record, reading, chosen, simulated)
            if chosen.suffix == ".xlsx":
                _write_workbook(name, columns, _headings(record, chosen))
            else:
                name.write_bytes(_record_text(columns, _headings(record, chosen), chosen).encode(chosen.encoding))
        path = target / "bench.toml"
        path.write_text(bench_file_text(simulated, dialect=chosen), encoding="utf-8", newline="\n")
    except OSError as error:
        raise OutputError(
            f"the bench folder cannot be written: {error.strerror or error}.",
            remedy="Choose a folder that you may write to.",
            source=str(target),
        ) from error
    return path


def bench_file_text(simulated: SimulatedBench, *, dialect: Dialect) -> str:
    """Return the text of bench.toml for a simulated bench whose records are written in this dialect."""
    design, bench = simulated.design, simulated.bench
    tables: dict[str, list[str]] = {"cart": [], "track": [], "sensor": [], "place": []}
    for statement in design.statements:
        table, key = statement.name.split(".")
        if statement.text():
            tables[table].append(f'{key} = "{statement.text()}"')
    if design.stated_length is not None:
        tables["track"].append(f'length = "{design.stated_length:.2f} m"')
    if design.stated_placed is not None:
        tables["sensor"].append(f'placed = "{design.stated_placed}"')
    if design.stated_min_range is not None:
        tables["sensor"].append(f'min_range = "{design.stated_min_range:.2f} m"')
    if design.stated_max_range is not None:
        tables["sensor"].append(f'max_range = "{design.stated_max_range:.2f} m"')
    title = bench.title.replace("\\", "\\\\").replace('"', '\\"')
    lines = [f'title = "{title}"', f'experiment = "{bench.experiment}"']
    for table, entries in tables.items():
        if entries:
            lines += ["", f"[{table}]", *entries]
    launches = ", ".join(f'"{_file_name(record, dialect)}"' for record in bench.launches)
    lines += ["", "[files]"]
    if bench.rest is not None:
        lines.append(f'rest = "{_file_name(bench.rest, dialect)}"')
    lines.append(f"launch = [{launches}]")
    return "\n".join(lines) + "\n"


def smeared_velocity(time: Floats, distance: Floats) -> Floats:
    """Return what a logger's velocity column holds: the 3:2:1 weighted mean of the ±1, ±2 and ±3-sample central differences.

    BENCH_FACTS: seen in real published records. At the ends the differences that fit are used; NaN where there are none.
    """
    total, weight = np.zeros(time.size), np.zeros(time.size)
    for reach, share in ((1, 3.0), (2, 2.0), (3, 1.0)):
        if time.size <= 2 * reach:
            continue
        span = time[2 * reach :] - time[: -2 * reach]
        slope = (distance[2 * reach :] - distance[: -2 * reach]) / np.where(span == 0.0, np.nan, span)
        known = np.isfinite(slope)
        total[reach:-reach] += share * np.where(known, slope, 0.0)
        weight[reach:-reach] += share * known
    return np.where(weight > 0.0, total / np.where(weight > 0.0, weight, 1.0), np.nan)


def _file_name(record: Record, dialect: Dialect) -> str:
    return Path(record.file).stem + dialect.suffix


def _columns(record: Record, reading: Reading, dialect: Dialect, simulated: SimulatedBench) -> list[Column]:
    """Return each column of the file with the number of its decimals."""
    ranger = simulated.design.ranger
    places = max(ranger.decimals - dialect.digits, 0)
    time = (record.time, ranger.time_decimals)
    if record.velocity_only:
        return [time, (smeared_velocity(record.time, reading.distance * dialect.factor), 3)]
    distance = record.distance * dialect.factor
    columns = [time, (distance, places)]
    if dialect.derived:
        velocity = smeared_velocity(record.time, distance)
        columns += [(velocity, 3), (smeared_velocity(record.time, velocity), 2)]
    return columns


def _headings(record: Record, dialect: Dialect) -> tuple[str, ...]:
    if not dialect.headings:
        return ()
    if record.velocity_only:
        return (dialect.headings[0], dialect.headings[2])
    return dialect.headings if dialect.derived else dialect.headings[:2]


def _record_text(columns: list[Column], headings: tuple[str, ...], dialect: Dialect) -> str:
    def cell(value: float, places: int) -> str:
        if not np.isfinite(value):
            return ""
        text = f"{value:.{places + 1}E}" if dialect.exponent else f"{value:.{places}f}"
        return text.replace(".", dialect.decimal)

    lines = list(dialect.first_lines)
    if headings:
        lines.append(dialect.delimiter.join(f'"{heading}"' if dialect.quoted else heading for heading in headings))
    texts = [[cell(value, places) for value in values.tolist()] for values, places in columns]
    lines += [dialect.delimiter.join(row) for row in zip(*texts, strict=True)]
    return dialect.newline.join(lines) + dialect.newline


def _write_workbook(path: Path, columns: list[Column], headings: tuple[str, ...]) -> None:
    import xlsxwriter

    with xlsxwriter.Workbook(str(path), {"in_memory": True}) as workbook:
        # A fixed date: the same bench gives the same bytes.
        workbook.set_properties({"created": datetime(2000, 1, 1)})
        sheet = workbook.add_worksheet("run 1")
        for column, heading in enumerate(headings):
            sheet.write_string(0, column, heading)
        for column, (values, places) in enumerate(columns):
            for row, value in enumerate(values.tolist(), start=1):
                if np.isfinite(value):
                    sheet.write_number(row, column, round(value, places))
