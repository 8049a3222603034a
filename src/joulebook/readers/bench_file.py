"""Reading a bench file: one physical set-up, its records, and every fault of either in one go.

    bench = read_bench("bench-3")                       # the folder, or the bench.toml in it
    bench = make_bench(values={"track.angle": "9.8 deg ± 0.25 deg", "cart.mass": "0.25 kg"}, launches=["launch.csv"])

What may be written is documented in docs/inputs.md; which inputs there are is the experiment's affair.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol

from joulebook.engine.bench import Bench, InputSpec, Override, SettingSpec
from joulebook.engine.house import DEFAULT_HOUSE, House
from joulebook.engine.record import Record
from joulebook.errors import Fault, InputError
from joulebook.readers.bench_overrides import check_times, read_overrides
from joulebook.readers.bench_plan import PLAN_TABLE, as_planned, in_plan, read_plan, still_planned
from joulebook.readers.bench_records import RecordSource, distinct, find_records, load, reading_options
from joulebook.readers.bench_text import bench_error, find_bench_file, parse_bench_file
from joulebook.readers.bench_text import write_bench as write_bench
from joulebook.readers.bench_values import did_you_mean, fill_inputs, fill_settings, unknown_fault, without_rivals
from joulebook.uncertainty.notation import read_quantity

__all__ = ["DEFAULT_EXPERIMENT", "Tables", "make_bench", "read_bench"]

DEFAULT_EXPERIMENT = "ramp-launch"

_LONGEST_TITLE = 200
_OWN_TABLES = ("files", "reading", "launches", "house", PLAN_TABLE)
_OWN_KEYS = ("title", "experiment")


class Tables(Protocol):
    """What the reader must know of an experiment: its inputs and its settings."""

    @property
    def inputs(self) -> tuple[InputSpec, ...]:
        """The inputs that it knows."""

    @property
    def settings(self) -> tuple[SettingSpec, ...]:
        """The settings that it knows."""


@dataclass(frozen=True, slots=True)
class _Relaxed:
    """An experiment's tables with nothing required."""

    known: Tables

    @property
    def inputs(self) -> tuple[InputSpec, ...]:
        return tuple(replace(spec, required=False) for spec in self.known.inputs)

    @property
    def settings(self) -> tuple[SettingSpec, ...]:
        return self.known.settings


def read_bench(
    path: str | os.PathLike[str],
    *,
    values: Mapping[str, str | float] | None = None,
    reading: Mapping[str, str | int] | None = None,
    overrides: Mapping[str, Override] | None = None,
    tables: Callable[[str], Tables] | None = None,
    house: House | None = None,
    with_records: bool = True,
) -> Bench:
    """Read a bench file with its records.

    path: a bench file, or the folder that holds a bench.toml.
    values: inputs and settings by dotted name that win over the file's; a way of giving the slope wins over the file's other way.
    reading: time_column, position_column, unit, run, decimal for every record; they win over those of the file.
    overrides: by launch file name; "" stands for every launch that has none here; they win over those of the file.
    tables: the inputs and settings of an experiment by its name, KeyError for an unknown one; those of `joulebook.experiments`
        unless given.
    house: rules that stand where the bench file says nothing (g, tolerance).
    with_records: False leaves the records alone, which need not be there yet, and lets required inputs be missing: the set-up
        as it is known before the class. The bench then has no launches.
    Raises BenchFileError with every fault found, in the bench file and in its records, by field.
    """
    file = find_bench_file(Path(path))
    source = os.fspath(file)
    document = parse_bench_file(file)
    faults: list[Fault] = []
    known = _experiment(document.get("experiment", DEFAULT_EXPERIMENT), tables, faults)
    given = _given(document, known, faults)
    planned: dict[str, object] = {}
    if known is not None:
        _check_names(values or {}, known, faults)
        given = without_rivals(given, values or {}, known.inputs)
        planned = still_planned(read_plan(document.get(PLAN_TABLE), _names(known), faults), given, known.inputs)
    title = document["title"] if "title" in document else file.resolve().parent.name
    if not with_records:
        return _assembled(
            title=title,
            experiment=document.get("experiment", DEFAULT_EXPERIMENT),
            known=None if known is None else _Relaxed(known),
            given=given,
            planned=planned,
            rest=None,
            launches=(),
            overrides={},
            options={},
            tolerance=_tolerance(document.get("house"), faults, house),
            folder=os.fspath(file.parent),
            source=source,
            faults=faults,
            house=house,
        )
    rest, launches = find_records(document.get("files"), file.parent, faults)
    chosen, launches = read_overrides(document.get("launches"), launches, faults)
    chosen.update(_by_launch(overrides or {}, launches, faults))
    options = {**reading_options(document.get("reading"), faults), **(reading or {})}
    return _assembled(
        title=title,
        experiment=document.get("experiment", DEFAULT_EXPERIMENT),
        known=known,
        given=given,
        planned=planned,
        rest=rest,
        launches=launches,
        overrides=chosen,
        options=options,
        tolerance=_tolerance(document.get("house"), faults, house),
        folder=os.fspath(file.parent),
        source=source,
        faults=faults,
        house=house,
    )


def make_bench(
    *,
    values: Mapping[str, str | float],
    launches: Sequence[str | os.PathLike[str] | tuple[str, bytes] | Record],
    rest: str | os.PathLike[str] | tuple[str, bytes] | Record | None = None,
    title: str = "Bench",
    experiment: str = DEFAULT_EXPERIMENT,
    overrides: Mapping[str, Override] | None = None,
    reading: Mapping[str, str | int] | None = None,
    tolerance: str | float | None = None,
    tables: Callable[[str], Tables] | None = None,
    house: House | None = None,
) -> Bench:
    """Return a bench made without a bench file, with the same checks.

    values: inputs and settings by dotted name, written as in a bench file. launches: records in order: a path ("runs.csv#2" for
        one of several runs), a name with the file's bytes, or a record. rest: the rest record, likewise.
    overrides: by launch file name; "" stands for every launch that has none of its own.
    reading: time_column, position_column, unit, run, decimal, for every record that is read here.
    tolerance: a fraction, or "5 %"; None for the house's.
    tables, house: as for `read_bench`.
    Raises BenchFileError with every fault found, by field.
    """
    faults: list[Fault] = []
    known = _experiment(experiment, tables, faults)
    if known is not None:
        _check_names(values, known, faults)
    sources = [_outside(one, f"launch {number}", faults) for number, one in enumerate(launches, 1)]
    if not sources:
        faults.append(Fault("launch", "there is no launch record.", "Name at least one."))
    rest_source = None if rest is None else _outside(rest, "rest", faults)
    named = distinct([source for source in sources if source is not None], rest_source, faults)
    return _assembled(
        title=title,
        experiment=experiment,
        known=known,
        given=dict(values),
        planned={},
        rest=rest_source,
        launches=named,
        overrides=_by_launch(overrides or {}, named, faults),
        options=dict(reading or {}),
        tolerance=_tolerance(None if tolerance is None else {"tolerance": tolerance}, faults, house),
        folder="",
        source="",
        faults=faults,
        house=house,
    )


def _assembled(
    *,
    title: object,
    experiment: object,
    known: Tables | None,
    given: Mapping[str, object],
    planned: Mapping[str, object],
    rest: RecordSource | None,
    launches: Sequence[RecordSource],
    overrides: Mapping[str, Override],
    options: Mapping[str, str | int],
    tolerance: float,
    folder: str,
    source: str,
    faults: list[Fault],
    house: House | None,
) -> Bench:
    """Fill in the values, read the records, and return the bench or raise all faults together."""
    stated = {**planned, **given}
    found: list[Fault] = []
    inputs = fill_inputs(stated, known.inputs, found) if known is not None else {}
    inputs = {name: as_planned(item) if name in planned else item for name, item in inputs.items()}
    if house is not None and house.gravity is not None and known is not None and "place.gravity" in inputs:
        groups = {spec.group for spec in known.inputs if spec.name == "place.gravity"}
        if not any(spec.name in given for spec in known.inputs if spec.group in groups):
            inputs["place.gravity"] = house.gravity
    settings = fill_settings(stated, known.settings, found) if known is not None else {}
    faults += in_plan(found, planned)
    if not isinstance(title, str) or not 0 < len(title.strip()) <= _LONGEST_TITLE:
        faults.append(Fault("title", f"must be a text of 1 to {_LONGEST_TITLE} characters.", 'Write title = "Bench 3".'))
    records = [load(launch, options, faults) for launch in launches]
    # A run chosen for the launches is not the rest record's.
    rest_record = None if rest is None else load(rest, {name: value for name, value in options.items() if name != "run"}, faults)
    for launch, record in zip(launches, records, strict=True):
        if record is not None and launch.name in overrides:
            check_times(overrides[launch.name], record, faults)
    if faults:
        raise bench_error(faults, source)
    return Bench(
        title=str(title).strip(),
        experiment=str(experiment),
        inputs=inputs,
        settings=settings,
        launches=tuple(record for record in records if record is not None),
        rest=rest_record,
        overrides=dict(overrides),
        tolerance=tolerance,
        folder=folder,
    )


def _experiment(name: object, tables: Callable[[str], Tables] | None, faults: list[Fault]) -> Tables | None:
    """Return the experiment's tables; None, with a fault, when there is no such experiment."""
    if not isinstance(name, str):
        faults.append(Fault("experiment", "must be a name.", f'Write experiment = "{DEFAULT_EXPERIMENT}".'))
        return None
    known: list[str] = []
    if tables is None:
        from joulebook.experiments import EXPERIMENTS, get_experiment

        tables, known = get_experiment, list(EXPERIMENTS)
    try:
        return tables(name)
    except KeyError:
        names = known or [DEFAULT_EXPERIMENT]
        near = did_you_mean(name, names)
        hint = f'Did you mean "{near}"? ' if near else ""
        fault = Fault("experiment", f'"{name[:60]}" is no experiment that joulebook knows.', f"{hint}Known: {', '.join(names)}.")
        faults.append(fault)
        return None


def _given(document: Mapping[str, Any], known: Tables | None, faults: list[Fault]) -> dict[str, object]:
    """Return the experiment's inputs and settings as they were written, by dotted name; unknown names are faults."""
    if known is None:
        return {}
    names = _names(known)
    own_tables = list(dict.fromkeys(name.partition(".")[0] for name in names))
    given: dict[str, object] = {}
    for table, content in document.items():
        if table in own_tables:
            if not isinstance(content, Mapping):
                faults.append(Fault(table, "must be a table.", f"Write [{table}] on a line of its own, and its values below."))
                continue
            written = {f"{table}.{key}": value for key, value in content.items()}
            _check_names(written, known, faults)
            given.update({name: value for name, value in written.items() if name in names})
        elif table not in (*_OWN_TABLES, *_OWN_KEYS):
            faults.append(unknown_fault(table, (*_OWN_KEYS, *own_tables, *_OWN_TABLES, *names)))
    return given


def _check_names(given: Mapping[str, object], known: Tables, faults: list[Fault]) -> None:
    names = _names(known)
    faults.extend(unknown_fault(name, names) for name in given if name not in names)


def _names(known: Tables) -> tuple[str, ...]:
    return (*(spec.name for spec in known.inputs), *(spec.name for spec in known.settings))


def _by_launch(overrides: Mapping[str, Override], launches: Sequence[RecordSource], faults: list[Fault]) -> dict[str, Override]:
    """Return each launch's override, "" having stood for those that are not named."""
    names = [launch.name for launch in launches]
    faults.extend(unknown_fault(name, names, kind="launch") for name in overrides if name and name not in names)
    found = {name: overrides.get(name, overrides.get("")) for name in names}
    return {name: override for name, override in found.items() if override is not None}


def _tolerance(house: object, faults: list[Fault], rules: House | None) -> float:
    """Return the tolerance of the table [house] (DESIGN §5), that of the house rules where the table says nothing."""
    usual = (rules or DEFAULT_HOUSE).tolerance
    if house is None:
        return usual
    if not isinstance(house, Mapping):
        faults.append(Fault("house", "must be a table.", "Write [house], and below it tolerance = 0.05."))
        return usual
    faults.extend(unknown_fault(f"house.{key}", ("house.tolerance",)) for key in house if key != "tolerance")
    written = house.get("tolerance", usual)
    try:
        tolerance = read_quantity(written, unit="1").value
    except InputError as error:
        faults.append(Fault("house.tolerance", error.message, error.remedy))
        return usual
    if not 0.0 < tolerance < 1.0:
        what = f"{tolerance:g} is not between 0 and 1."
        faults.append(Fault("house.tolerance", what, 'Write the part of the energy that you let pass, as in 0.05 or "5 %".'))
    return tolerance


def _outside(given: str | os.PathLike[str] | tuple[str, bytes] | Record, field: str, faults: list[Fault]) -> RecordSource | None:
    """Return the source of a record that was named outside a bench file, and so may lie anywhere."""
    if isinstance(given, Record):
        return RecordSource(given.file, given, field=field)
    if isinstance(given, tuple):
        return RecordSource(given[0], given[1], field=field)
    text, run = os.fspath(given), None
    path = Path(text)
    try:
        if not path.is_file() and "#" in text:
            text, _, run = text.rpartition("#")
            path = Path(text)
        if path.is_file():
            return RecordSource(path.as_posix() if run is None else f"{path.as_posix()}#{run}", path.resolve(), run, field)
    except (OSError, ValueError):
        pass
    faults.append(Fault(field, f"there is no file {text[:100]!r}.", "Look at its name and folder."))
    return None
