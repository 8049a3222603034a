"""Reading a kit file: what the cupboard holds, with a documented default for whatever is left out, and every fault at once.

    kit = read_kit("kit.toml")
    kit = make_kit(values={"track.length": "1.80 m", "cart.mass": ["0.25 kg", "0.50 kg"]})

What may be written is documented in docs/planning.md.
"""

from __future__ import annotations

import math
import os
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path

from joulebook.errors import Fault, InputError
from joulebook.experiments.ramp_kit import KIT_SPECS, METHOD_DEFAULTS, AngleMethod, Kit, KitSpec
from joulebook.readers.bench_values import unknown_fault
from joulebook.uncertainty import Input
from joulebook.uncertainty.notation import Reading, read_quantity

__all__ = ["KIT_FILE", "make_kit", "read_kit"]

KIT_FILE = "kit.toml"

_METHODS = "angle.methods"
_SPECS = {spec.name: spec for spec in KIT_SPECS}
_NAMES = (*_SPECS, _METHODS)
_LARGEST = 64 * 1024


def read_kit(path: str | os.PathLike[str], *, values: Mapping[str, object] | None = None) -> Kit:
    """Read a kit file.

    path: a kit file, or the folder that holds a kit.toml. values: entries by dotted name or its last part that win over the
    file's.
    Raises InputError (code "kit-file") with every fault, by field.
    """
    file = Path(path)
    file = file / KIT_FILE if file.is_dir() else file
    source = os.fspath(file)
    try:
        content = file.read_bytes()
    except OSError as error:
        raise _error(f"the kit file cannot be read: {error.strerror}.", source, remedy="Look at its name.") from None
    try:
        if len(content) > _LARGEST:
            raise ValueError(f"it is longer than {_LARGEST // 1024} KiB, which no kit file is")
        document = tomllib.loads(content.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        what = f"the kit file is not TOML in UTF-8: {error}."
        raise _error(what, source, remedy='A value with a unit stands in quotes, as in length = "1.20 m".') from None
    faults: list[Fault] = []
    written: dict[str, object] = {}
    title = document.pop("title", file.resolve().parent.name)
    for table, entries in document.items():
        if isinstance(entries, Mapping):
            written |= {f"{table}.{key}": value for key, value in entries.items()}
        else:
            faults.append(unknown_fault(table, ("title", *_NAMES)))
    return _made(title, written, _full(values or {}, faults), faults, source)


def make_kit(*, title: str = "Kit", values: Mapping[str, object] | None = None, **named: object) -> Kit:
    """Return the kit that these entries describe, with defaults for the rest.

    values: by dotted name ("track.length") or its last part; named: the same as keywords: length="1.80 m".
    Raises InputError (code "kit-file") with every fault, by field.
    """
    faults: list[Fault] = []
    return _made(title, {}, _full({**(values or {}), **named}, faults), faults, "")


def _full(values: Mapping[str, object], faults: list[Fault]) -> dict[str, object]:
    full: dict[str, object] = {}
    for name, value in values.items():
        meant = [each for each in _NAMES if name in (each, each.partition(".")[2])]
        key = meant[0] if len(meant) == 1 else name
        if key in full:
            faults.append(Fault(key, "is given twice.", "Keep one."))
        full[key] = value
    return full


def _made(title: object, written: Mapping[str, object], wins: Mapping[str, object], faults: list[Fault], source: str) -> Kit:
    if {"launch.speeds"} & set(wins):
        written = {name: value for name, value in written.items() if name not in ("launch.stiffness", "launch.strokes")}
    if {"launch.strokes"} & set(wins):
        written = {name: value for name, value in written.items() if name != "launch.speeds"}
    given = {**written, **wins}
    faults.extend(unknown_fault(name, _NAMES) for name in given if name not in _NAMES)
    if not isinstance(title, str):
        faults.append(Fault("title", "must be a text.", 'Write title = "Room 12".'))
    read = {spec.name: _entry(spec, given.get(spec.name, spec.default), faults, spec.name in given) for spec in KIT_SPECS}
    strokes = "launch.strokes" in given
    if strokes and "launch.speeds" in given:
        faults.append(Fault("launch", "both speeds and strokes are given.", "Keep the speeds, or stiffness with strokes."))
    if strokes and "launch.stiffness" not in given:
        faults.append(Fault("launch.stiffness", "is missing; it goes with launch.strokes.", 'Write stiffness = "200 N/m".'))
    methods = _methods(given.get(_METHODS), faults)
    _check_together(read, faults)
    if faults:
        distinct = tuple(dict.fromkeys(faults))
        count = "there is a fault" if len(distinct) == 1 else f"there are {len(distinct)} faults"
        raise InputError(
            f"{count} in this kit.", remedy="Correct what is named here.", code="kit-file", source=source, faults=distinct
        )
    value = {name: _number(items) for name, items in read.items()}
    several = {name: tuple(item.value for item in items) for name, items in read.items() if isinstance(items, tuple)}
    return Kit(
        title=str(title)[:200],
        track_length=value["track.length"],
        start=value["track.start"],
        masses=_inputs(read, "cart.mass"),
        rotating_fraction=_inputs(read, "cart.rotating_fraction")[0],
        drag_area=_inputs(read, "cart.drag_area")[0],
        rolling_resistance=_inputs(read, "cart.rolling_resistance")[0],
        speeds=() if strokes else several["launch.speeds"],
        stiffness=several["launch.stiffness"][0] if several["launch.stiffness"] else None,
        strokes=several["launch.strokes"],
        repeat=value["launch.repeat"],
        numbers=tuple(sorted({int(each) for each in several["launch.numbers"]})),
        restitution=value["launch.restitution"],
        flights=int(value["launch.flights"]),
        rates=tuple(sorted(several["sensor.rates"])),
        noise=value["sensor.noise"],
        step=value["sensor.step"],
        min_range=value["sensor.min_range"],
        max_range=value["sensor.max_range"],
        scale=_inputs(read, "sensor.scale")[0],
        placed="bottom" if read["sensor.placed"] == "bottom" else "top",
        behind=value["sensor.behind"],
        angles=tuple(sorted(several["angle.angles"])),
        methods=methods,
        gravity=_inputs(read, "place.gravity")[0],
        air_density=_inputs(read, "place.air_density")[0],
        benches=int(value["class.benches"]),
        period=value["class.period"],
        launch_time=value["class.launch_time"],
        defaults=tuple(
            spec.name
            for spec in KIT_SPECS
            if spec.name not in given and spec.default != () and not (strokes and spec.name == "launch.speeds")
        ),
    )


_Entry = tuple[Input, ...] | str


def _entry(spec: KitSpec, written: object, faults: list[Fault], given: bool) -> _Entry:
    """Return an entry's values as inputs, or its word; a fault leaves it empty."""
    if spec.choices:
        if written in spec.choices:
            return str(written)
        faults.append(Fault(spec.name, f"{str(written)[:40]!r} is none of its words.", f"Write {' or '.join(spec.choices)}."))
        return spec.choices[0]
    several = list(written) if isinstance(written, list | tuple) else [written]
    if given and not spec.many and len(several) != 1:
        faults.append(Fault(spec.name, f"holds {len(several)} values, and one is wanted.", "Keep one."))
    if given and not several:
        faults.append(Fault(spec.name, "is an empty list.", "Write at least one value, or leave it out."))
    items = [_quantity(spec, each, faults, given) for each in several]
    whole = spec.name in ("launch.numbers", "launch.flights", "class.benches")
    for item in items:
        if item is not None and whole and item.value != int(item.value):
            faults.append(Fault(spec.name, f"{item.value:g} is no whole number.", "Count them."))
    return tuple(item for item in items if item is not None)


def _quantity(spec: KitSpec, written: object, faults: list[Fault], given: bool) -> Input | None:
    try:
        reading: Reading = read_quantity(written, unit=spec.unit)  # type: ignore[arg-type]  # a wrong type is its own fault
    except InputError as error:
        faults.append(Fault(spec.name, error.message, error.remedy))
        return None
    if not spec.low <= reading.value <= spec.high:
        unit = "" if spec.unit == "1" else f" {spec.unit}"
        limit, side = (spec.low, "below") if reading.value < spec.low else (spec.high, "above")
        what = f"{reading.value:g}{unit} is {side} the limit of {limit:g}{unit} for the {spec.meaning.partition(';')[0]}."
        faults.append(Fault(spec.name, what, "Look at the number and its unit."))
        return None
    origin = "given" if given else "default"
    if not spec.spread:
        return Input(spec.name, reading.value, spec.unit, 0.0, "constant", origin)  # type: ignore[arg-type]
    u, distribution = reading.u, reading.distribution
    if not reading.stated:
        u, distribution = spec.bare * abs(reading.value) / math.sqrt(3.0), "rectangular" if reading.value else "constant"
    return Input(spec.name, reading.value, spec.unit, u, distribution, origin)  # type: ignore[arg-type]


def _methods(written: object, faults: list[Fault]) -> tuple[AngleMethod, ...]:
    if written is None:
        return METHOD_DEFAULTS
    if not isinstance(written, Sequence) or isinstance(written, str) or not written:
        faults.append(Fault(_METHODS, "must be one or more tables.", "Write [[angle.methods]], with name and limits below it."))
        return METHOD_DEFAULTS
    found = [_method(each, f"{_METHODS} {place}", faults) for place, each in enumerate(written, 1)]
    names = [method.name for method in found]
    for name in sorted({name for name in names if names.count(name) > 1}):
        faults.append(Fault(_METHODS, f'two ways are called "{name}".', "Give each its own name."))
    return tuple(found)


def _method(entry: object, where: str, faults: list[Fault]) -> AngleMethod:
    if isinstance(entry, AngleMethod):
        return entry
    nothing = METHOD_DEFAULTS[0]
    if not isinstance(entry, Mapping):
        faults.append(Fault(where, "must be a table.", 'Write name = "protractor" and limits = "0.5 deg".'))
        return nothing
    keys = ("name", "limits", "u", "reading", "over")
    before = len(faults)
    faults.extend(unknown_fault(f"{where}.{key}", [f"{where}.{each}" for each in keys]) for key in entry if key not in keys)
    name = entry.get("name")
    if not isinstance(name, str) or not name.strip():
        faults.append(Fault(f"{where}.name", "is missing.", 'Write name = "protractor".'))
    ways = [key for key in ("limits", "u", "over") if key in entry]
    if len(ways) != 1:
        what = "is measured in no way." if not ways else f"is measured in {len(ways)} ways: {', '.join(ways)}."
        faults.append(
            Fault(where, what, 'Write limits = "0.5 deg", or u = "0.3 deg", or over = "1.00 m ± 1 mm" with reading = "1 mm".')
        )
        return nothing
    numbers = {
        key: _plain(entry[key], "deg" if key in ("limits", "u") else "m", f"{where}.{key}", faults)
        for key in keys[1:]
        if key in entry
    }
    if len(faults) > before:
        return nothing
    text = str(name).strip()[:60]
    root = math.sqrt(3.0)
    if ways == ["over"]:
        over, reading = numbers["over"], numbers.get("reading")
        length_u = over.u if over.stated else 0.001 / root
        return AngleMethod(text, over=over.value, over_u=length_u, reading_u=(0.001 if reading is None else reading.value) / root)
    if ways == ["u"]:
        return AngleMethod(text, u=numbers["u"].value, distribution="normal")
    return AngleMethod(text, u=numbers["limits"].value / root)


def _plain(written: object, unit: str, where: str, faults: list[Fault]) -> Reading:
    try:
        reading = read_quantity(written, unit=unit)  # type: ignore[arg-type]  # a wrong type is its own fault
    except InputError as error:
        faults.append(Fault(where, error.message, error.remedy))
        return Reading(1.0)
    if not reading.value > 0.0:
        faults.append(
            Fault(where, f"{reading.value:g} {unit} is not above zero.", "Write the size of the uncertainty or length.")
        )
    return reading


def _check_together(read: Mapping[str, _Entry], faults: list[Fault]) -> None:
    length, start = _number(read["track.length"]), _number(read["track.start"])
    if start >= length:
        faults.append(Fault("track.start", f"{start:g} m lies beyond the track's end at {length:g} m.", "Look at both."))
    low, high = _number(read["sensor.min_range"]), _number(read["sensor.max_range"])
    if low >= high:
        faults.append(Fault("sensor.min_range", f"{low:g} m is not below sensor.max_range, {high:g} m.", "Look at both."))


def _inputs(read: Mapping[str, _Entry], name: str) -> tuple[Input, ...]:
    items = read[name]
    assert isinstance(items, tuple)
    return items


def _number(items: _Entry) -> float:
    return items[0].value if isinstance(items, tuple) and items else math.nan


def _error(message: str, source: str, *, remedy: str) -> InputError:
    return InputError(message, remedy=remedy, code="kit-file", source=source)
