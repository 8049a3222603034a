"""What a plan or a set of bench files says of each bench before anything is measured: the planned set-up of a section."""

from __future__ import annotations

import io
import json
import re
import tomllib
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import Any

from joulebook.errors import Fault, InputError
from joulebook.experiments import get_experiment
from joulebook.readers.bench_plan import PLAN_TABLE, read_plan
from joulebook.readers.bench_values import fill_inputs, fill_settings, unknown_fault
from joulebook.readers.house_file import HOUSE_FILE, make_house

__all__ = ["PlannedBench", "PlannedSection", "read_planned"]

_FORMAT = "joulebook/plan-1"
_MOST_FILES, _LARGEST_FILE, _LARGEST_PLAN = 200, 256 * 1024, 16 * 1024 * 1024
_TABLES = ("cart", "track", "sensor", "place")


@dataclass(frozen=True, slots=True)
class PlannedBench:
    """One bench as planned. title: its own. values: by input name, written as in a bench file; none of them is measured."""

    title: str
    values: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class PlannedSection:
    """What was found. title: the plan's, "" for none. benches: in order. house: the tables of a house file that lay with them."""

    title: str
    benches: tuple[PlannedBench, ...]
    house: Mapping[str, Any] = field(default_factory=dict)


def read_planned(files: Sequence[tuple[str, bytes]]) -> PlannedSection:
    """Read a plan, or the bench files that `joulebook plan --benches` wrote.

    files: names with folders where they are known, and bytes: one plan in JSON, one zip, or bench files (*.toml) with a house
    file among them or not. Raises InputError with every fault found.
    """
    named = [(name, content) for name, content in files if content]
    if len(named) == 1 and named[0][1][:4] == b"PK\x03\x04":
        named = _unzipped(named[0][1])
    plans = [(name, content) for name, content in named if name.casefold().endswith(".json")]
    if plans:
        return _of_plan(*plans[0])
    benches = [(name, content) for name, content in named if name.casefold().endswith(".toml") and not _is_house(name)]
    if not benches:
        what = "There is no plan and no bench file among these files."
        raise InputError(
            what, remedy="Choose plan.json, a zip, or the folder that `joulebook plan --benches` wrote.", code="plan"
        )
    faults: list[Fault] = []
    made = [_of_bench_file(name, content, faults) for name, content in sorted(benches, key=lambda each: _natural(each[0]))]
    house = next((content for name, content in named if _is_house(name) and "kit" not in name.casefold()), None)
    tables = {} if house is None else _toml(HOUSE_FILE, house, faults)
    if faults:
        raise InputError("These bench files cannot be used.", remedy="Correct what is named here.", faults=faults, code="plan")
    make_house(tables)
    return PlannedSection(str(tables.get("title", "")), tuple(made), tables)


def _of_plan(name: str, content: bytes) -> PlannedSection:
    remedy = "Choose the file that `joulebook plan --json` wrote."
    try:
        if len(content) > _LARGEST_PLAN:
            raise ValueError("too large")
        plan = json.loads(content)
        if not isinstance(plan, dict) or plan.get("format") != _FORMAT:
            raise InputError(f"{name} is no plan of the format {_FORMAT}.", remedy=remedy, code="plan")
        listed = plan["benches"] or [{"title": "", **plan["recommended"]}]
        benches = tuple(PlannedBench(str(each["title"]), _values_of_set_up(each["set_up"])) for each in listed)
        return PlannedSection(str(plan.get("title", "")), benches)
    except (ValueError, KeyError, TypeError, RecursionError):
        raise InputError(f"{name} is not a plan that can be read.", remedy=remedy, code="plan") from None


def _values_of_set_up(set_up: Mapping[str, Any]) -> dict[str, str]:
    values = {
        "cart.mass": f"{float(set_up['mass_kg']):.3g} kg", "track.angle": f"{float(set_up['angle_deg']):.3g} deg",
        "track.length": f"{float(set_up['track_length_m']):.4g} m", "sensor.placed": str(set_up["placed"]),
    }  # fmt: skip
    faults: list[Fault] = []
    _check(values, "", faults)
    if faults:
        raise ValueError(faults[0].what)
    return values


def _of_bench_file(name: str, content: bytes, faults: list[Fault]) -> PlannedBench:
    found: list[Fault] = []
    document = _toml(name, content, found)
    known = _known()
    given = {
        f"{table}.{key}": value for table in _TABLES if isinstance(document.get(table), Mapping)
        for key, value in document[table].items()
    }  # fmt: skip
    found += [unknown_fault(each, known) for each in given if each not in known]
    planned = read_plan(document.get(PLAN_TABLE), known, found)
    stated = {each: value for each, value in given.items() if each in known}
    # A slope that was measured stands for the planned one, whichever way each was written.
    if any(each in stated for each in ("track.angle", "track.rise")):
        planned = {
            each: value for each, value in planned.items() if not each.startswith(("track.angle", "track.rise", "track.along"))
        }
    values = {each: str(value) for each, value in {**planned, **stated}.items()}
    _check(values, name, found)
    faults += [Fault(f"{name}: {fault.where}", fault.what, fault.remedy) if fault.where else fault for fault in found]
    title = document.get("title")
    return PlannedBench(title.strip()[:60] if isinstance(title, str) else "", values)


def _check(values: Mapping[str, str], name: str, faults: list[Fault]) -> None:
    experiment = get_experiment("ramp-launch")
    found: list[Fault] = []
    fill_inputs(dict(values), experiment.inputs, found)
    fill_settings(dict(values), experiment.settings, found)
    # What is not planned is no fault: it is measured later.
    faults += [fault for fault in found if fault.where in values]


def _known() -> tuple[str, ...]:
    experiment = get_experiment("ramp-launch")
    return (*(spec.name for spec in experiment.inputs), *(spec.name for spec in experiment.settings))


def _toml(name: str, content: bytes, faults: list[Fault]) -> dict[str, Any]:
    if len(content) > _LARGEST_FILE:
        faults.append(Fault(name, f"has more than {_LARGEST_FILE // 1024} kB.", "Take the right file."))
        return {}
    try:
        return tomllib.loads(content.decode("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        faults.append(Fault(name, f"is not TOML: {error}.", "Write it anew with `joulebook plan --benches`."))
        return {}


def _unzipped(content: bytes) -> list[tuple[str, bytes]]:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            wanted = [
                each for each in archive.infolist()
                if not each.is_dir() and each.filename.casefold().endswith((".toml", ".json"))
            ]  # fmt: skip
            if len(wanted) > _MOST_FILES or any(each.file_size > _LARGEST_PLAN for each in wanted):
                raise InputError("This zip holds too much for a plan.", remedy="Zip the bench files alone.", code="plan")
            return [(each.filename, archive.read(each)) for each in wanted]
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError):
        raise InputError("This zip cannot be opened.", remedy="Zip the folder again, without a password.", code="plan") from None


def _is_house(name: str) -> bool:
    return PurePosixPath(name.replace("\\", "/")).name.casefold() in (HOUSE_FILE, "kit.toml")


def _natural(name: str) -> list[tuple[int, str]]:
    """Return a key by which bench-10 comes after bench-9."""
    return [(int(part), "") if part.isdigit() else (-1, part.casefold()) for part in re.split(r"(\d+)", name)]
