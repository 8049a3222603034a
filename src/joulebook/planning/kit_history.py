"""The stored kit checks: one JSON file for each day, in a folder to which is only ever added."""

from __future__ import annotations

import datetime
import json
import math
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from joulebook.errors import Fault, InputError, OutputError
from joulebook.planning.kit_measures import Measure
from joulebook.planning.kit_table import KIT_MEASURES

__all__ = ["FORMAT", "StoredBench", "StoredCheck", "check_path", "last_check", "read_check", "store_check"]

FORMAT = "joulebook/kit-check-1"

_NAME = re.compile(r"kit-check-(\d{4}-\d{2}-\d{2})\.json")
_LARGEST = 16 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class StoredBench:
    """One bench of a stored check: its title, its folder's name then, and its measures by name."""

    title: str
    folder: str
    measures: Mapping[str, Measure]


@dataclass(frozen=True, slots=True)
class StoredCheck:
    """A stored check, as far as a later one needs it. path: where it was read."""

    date: datetime.date
    benches: tuple[StoredBench, ...]
    path: str = ""


def check_path(folder: str | os.PathLike[str], date: datetime.date) -> Path:
    """Return the file of the check of one day, which is not there yet.

    Raises OutputError when it is: a stored check is never written over.
    """
    path = Path(folder) / f"kit-check-{date.isoformat()}.json"
    if path.exists():
        raise OutputError(
            f"A check of {date.isoformat()} is stored already, and no stored check is written over.",
            source=os.fspath(path),
            remedy="Give the day of this run with --date, or leave out --history to look without storing.",
        )
    return path


def store_check(folder: str | os.PathLike[str], date: datetime.date, text: str) -> Path:
    """Write the JSON text of a check into the history folder, made if it is missing, and return its path.

    Raises OutputError when there is one of that day, or it cannot be written.
    """
    path = check_path(folder, date)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_text(text, encoding="utf-8", newline="\n")
        # A link fails where the name was taken meanwhile; a rename would write over it.
        os.link(part, path)
    except FileExistsError:
        check_path(folder, date)
        raise OutputError(
            "There is a file where the folder should be.", source=os.fspath(folder), remedy="Name a folder."
        ) from None
    except OSError as error:
        raise OutputError(
            f"The check cannot be stored: {error.strerror or error}.",
            source=os.fspath(path),
            remedy="Name another folder with --history.",
        ) from error
    finally:
        part.unlink(missing_ok=True) if part.parent.is_dir() else None
    return path


def last_check(folder: str | os.PathLike[str], *, before: datetime.date) -> StoredCheck | None:
    """Return the latest stored check of a day before this one; None when there is none. Raises InputError for one that is
    damaged."""
    root = Path(folder)
    if not root.is_dir():
        return None
    days = {}
    for name in os.listdir(root):
        match = _NAME.fullmatch(name)
        day = _day(match[1]) if match else None
        if day is not None and day < before:
            days[day] = root / name
    return read_check(days[max(days)]) if days else None


def read_check(path: str | os.PathLike[str]) -> StoredCheck:
    """Return a stored check. Raises InputError with every fault when the file is none."""
    source = os.fspath(path)
    try:
        if Path(path).stat().st_size > _LARGEST:
            raise InputError("This file is far too large for a kit check.", source=source, remedy="Name a stored check.")
        document = json.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(
            f"The stored check cannot be read: {error.strerror}.", source=source, remedy="Look at its name."
        ) from None
    except (ValueError, RecursionError):
        raise InputError(
            "The stored check is not JSON.", source=source, remedy="Name a file that `joulebook check` wrote."
        ) from None
    if not isinstance(document, Mapping) or document.get("format") != FORMAT:
        found = document.get("format") if isinstance(document, Mapping) else None
        raise InputError(
            f"This is no kit check: its format is {str(found)[:60]!r}, not {FORMAT!r}.", source=source,
            remedy="Name a file that `joulebook check` wrote.",
        )  # fmt: skip
    faults: list[Fault] = []
    date = _day(document.get("date"))
    if date is None:
        faults.append(Fault("date", f"{str(document.get('date'))[:40]!r} is no day.", "It is written like 2031-09-01."))
    listed = document.get("benches")
    if not isinstance(listed, list):
        faults.append(Fault("benches", "there is no list of benches."))
        listed = []
    benches = [_bench(each, f"benches[{number}]", faults) for number, each in enumerate(listed)]
    if faults or date is None:
        raise InputError(
            "The stored check is damaged.", source=source, remedy="Take an earlier one with --against.", faults=faults
        )
    return StoredCheck(date, tuple(benches), source)


def _bench(document: Any, where: str, faults: list[Fault]) -> StoredBench:
    if not isinstance(document, Mapping) or not isinstance(document.get("measures"), Mapping):
        faults.append(Fault(where, "holds no measures."))
        return StoredBench("", "", {})
    measures = {}
    for spec in KIT_MEASURES:
        if spec.name in document["measures"]:
            measure = _measure(spec.name, document["measures"][spec.name])
            if measure is None:
                faults.append(Fault(f"{where}.measures.{spec.name}", "its numbers are not those of a measure."))
            else:
                measures[spec.name] = measure
    return StoredBench(str(document.get("bench", "")), str(document.get("folder", "")), measures)


def _measure(name: str, document: Any) -> Measure | None:
    if not isinstance(document, Mapping):
        return None
    numbers = [document.get(key) for key in ("value", "u", "u_repeat", "n", "dof")]
    if numbers[-1] is None:
        numbers[-1] = math.inf
    if any(isinstance(each, bool) or not isinstance(each, int | float) for each in numbers):
        return None
    value, u, repeat, n, freedom = (float(each) for each in numbers if each is not None)
    if not (math.isfinite(value) and u >= 0.0 and repeat >= 0.0 and freedom > 0.0):
        return None
    return Measure(name, value, u, repeat, freedom, int(n), str(document.get("note", "")))


def _day(text: object) -> datetime.date | None:
    try:
        return datetime.date.fromisoformat(str(text))
    except ValueError:
        return None
