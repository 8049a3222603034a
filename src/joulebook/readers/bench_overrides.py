"""A person's own choices for each launch of a bench file: release, apex, phases and the run inside the file."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import get_args

import numpy as np

from joulebook.engine.bench import Override
from joulebook.engine.record import Record
from joulebook.engine.report import PhaseKind
from joulebook.errors import Fault, InputError
from joulebook.readers.bench_records import RecordSource, read_run
from joulebook.readers.bench_values import did_you_mean, unknown_fault
from joulebook.uncertainty.notation import read_quantity

__all__ = ["check_times", "read_overrides"]


def read_overrides(
    written: object, sources: Sequence[RecordSource], faults: list[Fault]
) -> tuple[dict[str, Override], tuple[RecordSource, ...]]:
    """Return a person's choices by launch name, and the launches with the runs that the table [launches] names.

    written: the table [launches], by launch name: release, apex, phases, run.
    """
    if written is None:
        return {}, tuple(sources)
    if not isinstance(written, Mapping):
        faults.append(Fault("launches", "must be a table.", 'Write [launches."launch-1.csv"], and below it release = "1.13 s".'))
        return {}, tuple(sources)
    overrides: dict[str, Override] = {}
    by_name = {source.name: source for source in sources}
    for name, table in written.items():
        where = f'launches."{name}"'
        if name not in by_name:
            near = did_you_mean(name, by_name)
            remedy = f'Did you mean "{near}"?' if near else f"The launches are {', '.join(by_name) or 'none'}."
            faults.append(Fault(where, "is none of the launches.", remedy))
        elif not isinstance(table, Mapping):
            faults.append(Fault(where, "must be a table.", f'Write [{where}], and below it release = "1.13 s".'))
        else:
            by_name[name] = _with_run(by_name[name], table.get("run"), f"{where}.run", faults)
            overrides[name] = _override(table, where, faults)
    empty = Override()
    return {name: chosen for name, chosen in overrides.items() if chosen != empty}, tuple(by_name.values())


def check_times(override: Override, record: Record, faults: list[Fault]) -> None:
    """Add a fault for each time of an override that the record does not reach."""
    clock = record.time[np.isfinite(record.time)]
    if not clock.size:
        return
    first, last = float(clock.min()), float(clock.max())
    for what, time in (("release", override.release), ("apex", override.apex)):
        if time is not None and not first <= time <= last:
            remedy = f"Write a time between {first:g} s and {last:g} s."
            faults.append(Fault(f'launches."{record.file}".{what}', f"{time:g} s is outside the record.", remedy))
    for kind, start, end in override.edges:
        if end < first or start > last:
            what = f"{kind} from {start:g} s to {end:g} s lies outside the record."
            faults.append(Fault(f'launches."{record.file}".phases', what, f"The record runs from {first:g} s to {last:g} s."))


def _with_run(source: RecordSource, written: object, where: str, faults: list[Fault]) -> RecordSource:
    run = read_run(written, where, faults)
    if run is None:
        return source
    if source.run is not None and str(source.run) != str(run):
        faults.append(Fault(where, f"says run {run}, and {source.field} says run {source.run}.", "Say it once."))
    return replace(source, run=run)


def _override(table: Mapping[str, object], where: str, faults: list[Fault]) -> Override:
    known = ("release", "apex", "phases", "run")
    faults.extend(
        unknown_fault(f"{where}.{key}", tuple(f"{where}.{name}" for name in known)) for key in table if key not in known
    )
    release = _seconds(table["release"], f"{where}.release", faults) if "release" in table else None
    apex = _seconds(table["apex"], f"{where}.apex", faults) if "apex" in table else None
    if release is not None and apex is not None and apex <= release:
        faults.append(
            Fault(f"{where}.apex", f"{apex:g} s is not after the release at {release:g} s.", "The apex comes after the release.")
        )
    return Override(release, apex, _edges(table.get("phases", []), f"{where}.phases", faults))


def _edges(written: object, where: str, faults: list[Fault]) -> tuple[tuple[str, float, float], ...]:
    kinds: Collection[str] = get_args(PhaseKind)
    example = 'Write phases = [["handled", 0.0, 0.8], ["climb", 1.13, 1.68]], in seconds.'
    if not isinstance(written, list):
        faults.append(Fault(where, "must be a list.", example))
        return ()
    edges: list[tuple[str, float, float]] = []
    for number, entry in enumerate(written, 1):
        place = f"{where}[{number}]"
        if not isinstance(entry, list) or len(entry) != 3:
            faults.append(Fault(place, "must be a kind, a start and an end.", example))
            continue
        kind, start, end = entry[0], _seconds(entry[1], place, faults), _seconds(entry[2], place, faults)
        if not isinstance(kind, str) or kind not in kinds:
            faults.append(Fault(place, f"{str(kind)[:40]!r} is no kind of phase.", f"The kinds are {', '.join(kinds)}."))
        elif start is not None and end is not None:
            if not start < end:
                faults.append(Fault(place, f"ends at {end:g} s, which is not after its start at {start:g} s.", example))
            edges.append((kind, start, end))
    edges.sort(key=lambda edge: edge[1:])
    for before, after in pairwise(edges):
        if after[1] < before[2]:
            what = f"{before[0]} until {before[2]:g} s and {after[0]} from {after[1]:g} s overlap."
            faults.append(Fault(where, what, "A sample belongs to one phase."))
    return tuple(edges)


def _seconds(written: object, where: str, faults: list[Fault]) -> float | None:
    """Read a time on the record's clock: a text with its unit, or a bare number, which is in seconds as the clock is."""
    if isinstance(written, int | float) and not isinstance(written, bool):
        written = f"{written} s"
    try:
        return read_quantity(written, unit="s").value  # type: ignore[arg-type]  # a wrong type is a fault that it raises itself
    except InputError as error:
        faults.append(Fault(where, error.message, error.remedy))
        return None
