"""From what a person wrote to an experiment's inputs and settings, with every fault by field.

Inputs that stand for the same thing form a group ("slope"), of which exactly one alternative may be given: the angle, or the
rise with the stretch along the track. Whatever is left out takes the experiment's documented default, and says so.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Collection, Mapping, Sequence

from joulebook.engine.bench import InputSpec, SettingSpec
from joulebook.errors import Fault, InputError
from joulebook.uncertainty import Input
from joulebook.uncertainty.notation import Reading, read_quantity

__all__ = ["Given", "did_you_mean", "fill_inputs", "fill_settings", "unknown_fault", "without_rivals"]

Given = Mapping[str, object]
"""What was written, by dotted name."""


def fill_inputs(given: Given, specs: Sequence[InputSpec], faults: list[Fault]) -> dict[str, Input]:
    """Return the inputs by dotted name, in the order of `specs`, defaults filled in and unused alternatives left out.

    given: what was written, by dotted name; names that are no input are passed over. faults: what is wrong is added here.
    """
    chosen = _chosen_alternatives(given, specs, faults)
    inputs: dict[str, Input] = {}
    for spec in specs:
        if spec.group and chosen.get(spec.group) != spec.alternative:
            # Of two rivals neither is used, but both are read, so that their other faults are told in the same breath.
            if spec.name in given:
                _given_input(given[spec.name], spec, faults)
        elif spec.name in given:
            item = _given_input(given[spec.name], spec, faults)
            if item is not None:
                inputs[spec.name] = item
        elif spec.default is not None:
            inputs[spec.name] = _default_input(spec, spec.default)
        elif spec.group:
            partners = [one.name for one in specs if one.group == spec.group and one.name in given]
            faults.append(Fault(spec.name, f"is missing; it goes with {_listed(partners)}.", f"Write {_line(spec)}."))
        elif spec.required:
            faults.append(Fault(spec.name, f"is missing: {spec.meaning}.", f"Write {_line(spec)}."))
    return inputs


def fill_settings(given: Given, specs: Sequence[SettingSpec], faults: list[Fault]) -> dict[str, float | str | None]:
    """Return every setting by dotted name, in the order of `specs`; None for what was left out and has no default.

    A numeric setting is kept in its specification's unit; an uncertainty that stands with it is read but not used.
    given, faults: as for `fill_inputs`.
    """
    settings: dict[str, float | str | None] = {}
    for spec in specs:
        settings[spec.name] = spec.default
        if spec.name not in given:
            continue
        written = given[spec.name]
        if spec.choices:
            settings[spec.name] = _word(written, spec, faults)
        else:
            reading = _quantity(written, spec.name, spec.unit or "1", faults)
            if reading is not None and _within(reading.value, spec, written, faults):
                settings[spec.name] = reading.value
    return settings


def without_rivals(given: Given, wins: Given, specs: Sequence[InputSpec]) -> dict[str, object]:
    """Return `given` overruled by `wins`, less those of its inputs whose group is given another way in `wins`."""
    groups = {spec.group: spec.alternative for spec in specs if spec.group and spec.name in wins}
    rivals = {spec.name for spec in specs if spec.group in groups and groups[spec.group] != spec.alternative}
    return {**{name: value for name, value in given.items() if name not in rivals}, **wins}


def unknown_fault(name: str, known: Collection[str], *, kind: str = "name") -> Fault:
    """Return the fault of a name that nothing knows, with the known one that looks most like it."""
    # By the last part: "track.zz" shares most of its letters with "track.rise", and "track.mass" is a mass in the wrong table.
    by_last: dict[str, list[str]] = {}
    for one in known:
        by_last.setdefault(one.rpartition(".")[2], []).append(one)
    near = by_last.get(did_you_mean(name.rpartition(".")[2], by_last), [])
    table = name.rpartition(".")[0]
    near = [one for one in near if one.rpartition(".")[0] == table] or near
    remedy = f"Did you mean {near[0]}?" if near else f"Known here: {', '.join(known)}."
    return Fault(name, f"is no {kind} that joulebook knows.", remedy)


def did_you_mean(name: str, known: Collection[str]) -> str:
    """Return the known name that looks most like this one, "" when none does."""
    alike = {one.casefold(): one for one in known}
    near = difflib.get_close_matches(name[:200].casefold(), alike, n=1, cutoff=0.6)
    return alike[near[0]] if near else ""


def _chosen_alternatives(given: Given, specs: Sequence[InputSpec], faults: list[Fault]) -> dict[str, str]:
    """Return the alternative used of each group; none for a group that is left out without default or given twice."""
    chosen: dict[str, str] = {}
    for group in dict.fromkeys(spec.group for spec in specs if spec.group):
        members = [spec for spec in specs if spec.group == group]
        written = [spec for spec in members if spec.name in given]
        ways = list(dict.fromkeys(spec.alternative for spec in written))
        if len(ways) == 1:
            chosen[group] = ways[0]
        elif len(ways) > 1:
            names = _listed([spec.name for spec in written])
            faults.append(
                Fault(written[0].name, f"the {group} is given {_times(len(ways))}, by {names}.", "Keep one of the ways.")
            )
        else:
            usual = [spec.alternative for spec in members if spec.default_alternative]
            if usual:
                chosen[group] = usual[0]
            elif any(spec.required for spec in members):
                faults.append(_group_missing(group, members))
    return chosen


def _group_missing(group: str, members: Sequence[InputSpec]) -> Fault:
    ways = []
    for alternative in dict.fromkeys(spec.alternative for spec in members):
        lines = [_line(spec) for spec in members if spec.alternative == alternative and spec.default is None]
        ways.append(" with ".join(lines))
    return Fault(members[0].name, f"the {group} is missing.", f"Write {', or '.join(ways)}.")


def _given_input(written: object, spec: InputSpec, faults: list[Fault]) -> Input | None:
    reading = _quantity(written, spec.name, spec.unit, faults)
    if reading is None or not _within(reading.value, spec, written, faults):
        return None
    if reading.stated:
        return Input(
            spec.name, reading.value, spec.unit, reading.u, reading.distribution, dof=reading.dof, note=f"Written as {written}."
        )
    half = max(spec.bare_half_width, spec.bare_relative * abs(reading.value))
    if half == 0.0:
        note = "Written without uncertainty, and the documented half-width is 0 for this value: taken as exact."
        return Input(spec.name, reading.value, spec.unit, 0.0, "constant", note=note)
    note = f"Written without uncertainty: the documented default of ± {_number(half, spec.unit)} is taken as limits."
    return Input(spec.name, reading.value, spec.unit, half / math.sqrt(3.0), "rectangular", note=note)


def _default_input(spec: InputSpec, value: float) -> Input:
    half = spec.default_half_width
    if half == 0.0:
        note = f"Left out: the documented default of {_number(value, spec.unit)} is taken as exact."
        return Input(spec.name, value, spec.unit, 0.0, "constant", origin="default", note=note)
    limits = f"{value:g} ± {half:g}" if spec.unit == "1" else f"({value:g} ± {half:g}) {spec.unit}"
    note = f"Left out: the documented default of {limits} is taken as limits."
    return Input(spec.name, value, spec.unit, half / math.sqrt(3.0), "rectangular", origin="default", note=note)


def _quantity(written: object, name: str, unit: str, faults: list[Fault]) -> Reading | None:
    """Read one quantity; what is wrong with it becomes the fault of its field."""
    try:
        return read_quantity(written, unit=unit)  # type: ignore[arg-type]  # a wrong type is a fault that it raises itself
    except InputError as error:
        faults.append(Fault(name, error.message, error.remedy))
        return None


def _within(value: float, spec: InputSpec | SettingSpec, written: object, faults: list[Fault]) -> bool:
    if spec.low <= value <= spec.high:
        return True
    unit = spec.unit or "1"
    limit, side = (spec.low, "below") if value < spec.low else (spec.high, "above")
    shown = f'"{written}"' if isinstance(written, str) else f"{written}"
    in_unit = "" if shown.strip('"') == _number(value, unit) else f", which is {_number(value, unit)},"
    what = f"{shown}{in_unit} is {side} the limit of {_number(limit, unit)} for the {spec.meaning}."
    faults.append(Fault(spec.name, what, "Look at the number and its unit."))
    return False


def _word(written: object, spec: SettingSpec, faults: list[Fault]) -> str | None:
    words = {word.casefold(): word for word in spec.choices}
    found = words.get(written.strip().casefold()) if isinstance(written, str) else None
    if found is None:
        choices = " or ".join(f'"{word}"' for word in spec.choices)
        shown = f'"{written[:40]}"' if isinstance(written, str) else str(written)[:40]
        faults.append(Fault(spec.name, f"{shown} is none of its words.", f"Write {choices}."))
    return found


def _line(spec: InputSpec) -> str:
    """Return the line of a bench file in which this input would be written."""
    return f'{spec.name} = "… ± …"' if spec.unit == "1" else f'{spec.name} = "… {spec.unit} ± … {spec.unit}"'


def _number(value: float, unit: str) -> str:
    return f"{value:g}" if unit == "1" else f"{value:g} {unit}"


def _times(count: int) -> str:
    return {2: "twice", 3: "three times"}.get(count, f"{count} times")


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
