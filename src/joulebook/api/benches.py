"""Audit one bench, given as a folder, as a bench file, or as records and measurements."""

from __future__ import annotations

import os
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeAlias

from joulebook.errors import BenchFileError, Fault, InputError

if TYPE_CHECKING:
    from joulebook.engine.bench import Bench, Override
    from joulebook.engine.house import House
    from joulebook.engine.record import Record
    from joulebook.engine.report import Audit

__all__ = ["RecordLike", "audit", "bench_of", "full_names", "house_of"]

RecordLike: TypeAlias = "str | os.PathLike[str] | tuple[str, bytes] | Record"

_EXPERIMENT = "ramp-launch"


def audit(
    bench: str | os.PathLike[str] | Bench | None = None,
    *,
    launch: RecordLike | Sequence[RecordLike] = (),
    rest: RecordLike | None = None,
    title: str | None = None,
    experiment: str | None = None,
    overrides: Mapping[str, Override] | None = None,
    reading: Mapping[str, str | int] | None = None,
    tolerance: str | float | None = None,
    method: str = "auto",
    draws: int | None = None,
    interval: str = "symmetric",
    seed: int | None = None,
    values: Mapping[str, str | float] | None = None,
    house: House | str | os.PathLike[str] | None = None,
    **named: str | float,
) -> Audit:
    """Audit one bench: energies with uncertainties, verdict and findings.

    bench, launch, rest, title, experiment, overrides, reading, tolerance, values, house, named: as for `bench_of`.
    method: "auto" (linear, and Monte Carlo where the linear interval is not validated), "linear", "monte-carlo" or "adaptive".
    draws: number of Monte Carlo draws. interval: "symmetric" (equal tails) or "shortest". seed: of the draws; fixed unless given.
    Raises a JoulebookError when there is nothing to analyse; energy not being conserved is a verdict.
    """
    from joulebook.analysis import audit_bench

    _show_in_notebooks()

    subject = bench_of(
        bench,
        launch=launch,
        rest=rest,
        title=title,
        experiment=experiment,
        overrides=overrides,
        reading=reading,
        tolerance=tolerance,
        values=values,
        house=house,
        **named,
    )
    chosen: dict[str, Any] = {"method": method, "interval": interval}
    if draws is not None:
        chosen["draws"] = draws
    if seed is not None:
        chosen["seed"] = seed
    return audit_bench(subject, **chosen)


def bench_of(
    bench: str | os.PathLike[str] | Bench | None = None,
    *,
    launch: RecordLike | Sequence[RecordLike] = (),
    rest: RecordLike | None = None,
    title: str | None = None,
    experiment: str | None = None,
    overrides: Mapping[str, Override] | None = None,
    reading: Mapping[str, str | int] | None = None,
    tolerance: str | float | None = None,
    values: Mapping[str, str | float] | None = None,
    house: House | str | os.PathLike[str] | None = None,
    **named: str | float,
) -> Bench:
    """Return the bench that these arguments describe.

    bench: a bench file or its folder, a bench that was read before, or None when the records are given instead.
    launch: one launch record or several: paths ("runs.csv#2" for one of several runs), names with the files' bytes, or records.
    rest: the rest record, likewise. title, experiment: as in a bench file.
    overrides: a person's own choices by launch file name; "" stands for every launch that has none of its own.
    reading: time_column, position_column, unit, run, for the records that are read here.
    tolerance: relative uncertainty up to which "no difference seen" may be called conserved.
    values: inputs and settings as in a bench file, by name ("track.angle") or its last part ("angle"); they win over the file's.
    house: house rules, or the house.toml that holds them, for what neither the bench file nor the arguments say (g, tolerance).
        None looks for a house.toml in the bench's folder and the two above it.
    named: the same as keywords: angle="9.8 deg ± 0.25 deg", mass="0.25 kg".
    Raises BenchFileError with every fault, InputError when the arguments contradict each other.
    """
    from joulebook.engine.bench import Bench
    from joulebook.readers.bench_file import make_bench, read_bench

    launches = _launches(launch)
    given = full_names({**(values or {}), **named}, experiment or _EXPERIMENT)
    rules = house_of(house, None if isinstance(bench, Bench) else bench)
    if bench is None:
        if not launches:
            raise InputError("There is nothing to audit.", remedy="Name a bench file or folder, or give launch, angle and mass.")
        more: dict[str, Any] = {} if tolerance is None else {"tolerance": tolerance}
        return make_bench(
            values=given,
            launches=launches,
            rest=rest,
            title=title or "Bench",
            experiment=experiment or _EXPERIMENT,
            overrides=overrides,
            reading=reading,
            house=rules,
            **more,
        )
    if launches or rest is not None:
        raise InputError("A bench names its own records.", remedy="Leave out the bench, or the launch and rest records.")
    if isinstance(bench, Bench):
        if given or reading or house is not None:
            what = ", ".join([*given, *(reading or {}), *(["house"] if house is not None else [])])
            raise InputError(
                f"This bench was read already: {what} can no longer be set.", remedy="Set it when the bench is read."
            )
        found = bench
    else:
        found = read_bench(bench, values=given, reading=reading, house=rules)
    if experiment is not None and experiment != found.experiment:
        raise InputError(f"This bench's experiment is {found.experiment}, not {experiment}.", remedy="Leave out the experiment.")
    return _changed(found, title, overrides, tolerance)


def house_of(
    house: House | str | os.PathLike[str] | None,
    place: str | os.PathLike[str] | None = None,
    *,
    section: str | os.PathLike[str] | None = None,
) -> House:
    """Return the house rules: those given, else those of the nearest house.toml, else the defaults.

    house: rules, or the file that holds them. place: where the search begins, a bench or a folder of benches; None: no search.
    section: the folder at which it ends; two above `place` unless given.
    Raises BenchFileError with every fault of the file.
    """
    from joulebook.engine.house import DEFAULT_HOUSE, House
    from joulebook.readers.house_file import find_house, read_house

    if isinstance(house, House):
        return house
    found = house if house is not None else None if place is None else find_house(place, section=section)
    return DEFAULT_HOUSE if found is None else read_house(found)


def full_names(values: Mapping[str, Any], experiment: str = _EXPERIMENT) -> dict[str, Any]:
    """Return values with "angle" spelt out as "track.angle"; an unknown name is kept, for the reader to refuse.

    Raises InputError when one thing is given under both names.
    """
    from joulebook.experiments import EXPERIMENTS

    if experiment not in EXPERIMENTS:
        return dict(values)
    tables = EXPERIMENTS[experiment]
    known = [spec.name for spec in tables.inputs] + [spec.name for spec in tables.settings]
    full: dict[str, Any] = {}
    for name, value in values.items():
        meant = [each for each in known if name in (each, each.rpartition(".")[2])]
        key = meant[0] if len(meant) == 1 else name
        if key in full:
            raise InputError(f"{key} is given twice: {full[key]!r} and {value!r}.", remedy="Keep one.")
        full[key] = value
    return full


def _launches(launch: RecordLike | Sequence[RecordLike]) -> list[Any]:
    if isinstance(launch, list) or (isinstance(launch, tuple) and not (len(launch) == 2 and isinstance(launch[1], bytes))):
        return list(launch)
    return [launch]


def _changed(bench: Bench, title: str | None, overrides: Mapping[str, Override] | None, tolerance: str | float | None) -> Bench:
    """Return the bench with a person's own title, tolerance and choices in place of those of its file."""
    changes: dict[str, Any] = {}
    if title:
        changes["title"] = title
    if tolerance is not None:
        changes["tolerance"] = _tolerance(tolerance)
    if overrides:
        changes["overrides"] = _merged(bench, overrides)
    return replace(bench, **changes)


def _tolerance(tolerance: str | float) -> float:
    from joulebook.uncertainty.notation import read_quantity

    share = read_quantity(tolerance, unit="1").value
    if not 0.0 < share < 1.0:
        raise InputError(f"A tolerance of {share:g} is not between 0 and 1.", remedy='Write it like 0.05 or "5 %".')
    return share


def _merged(bench: Bench, overrides: Mapping[str, Override]) -> dict[str, Override]:
    from joulebook.engine.bench import Override
    from joulebook.readers.bench_overrides import check_times

    faults: list[Fault] = []
    names = [record.file for record in bench.launches]
    merged = dict(bench.overrides)
    for name in overrides:
        if name and name not in names:
            faults.append(Fault(name, "is none of this bench's launches.", f"They are {', '.join(names)}."))
    for record in bench.launches:
        wanted = overrides.get(record.file, overrides.get(""))
        if wanted is None:
            continue
        before = merged.get(record.file, Override())
        merged[record.file] = Override(
            release=before.release if wanted.release is None else wanted.release,
            apex=before.apex if wanted.apex is None else wanted.apex,
            edges=wanted.edges or before.edges,
        )
        check_times(merged[record.file], record, faults)
    if faults:
        raise BenchFileError("What was chosen for a launch does not fit.", remedy="Correct what is named here.", faults=faults)
    return merged


def _bundle(audit: Audit, include: Collection[str] | None = None, exclude: Collection[str] | None = None) -> dict[str, str]:
    from joulebook.render.notebook import display_bundle

    return display_bundle(audit, include, exclude)


def _show_in_notebooks() -> None:
    """Hang a notebook's way to show an audit on it: the engine may not know the reports."""
    from joulebook.engine.report import Audit

    setattr(Audit, "_repr_mimebundle_", _bundle)  # noqa: B010
