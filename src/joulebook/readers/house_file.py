"""Reading house rules: one `house.toml`, every fault of it in one go, and where it is looked for.

    house = read_house("house.toml")

What may be written is documented in docs/house.md.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from joulebook.engine.house import BASES, COMPARISONS, STEPS, House
from joulebook.errors import BenchFileError, Fault, InputError
from joulebook.readers.bench_text import parse_bench_text, read_bench_text
from joulebook.readers.bench_values import did_you_mean, unknown_fault
from joulebook.uncertainty import Input
from joulebook.uncertainty.notation import read_quantity

__all__ = ["HOUSE_FILE", "find_house", "make_house", "read_house"]

HOUSE_FILE = "house.toml"

_LONGEST_TITLE, _LONGEST_RULE, _MOST_RULES = 120, 300, 20
_LOW_GRAVITY, _HIGH_GRAVITY, _BARE_HALF_WIDTH = 9.0, 10.5, 0.02
_DECIMALS = {"point": ".", ".": ".", "comma": ",", ",": ","}
_PAPERS = {"a4": "a4", "us-letter": "us-letter", "letter": "us-letter"}
# By what else people call them.
_COMPARISONS = {**{name: name for name in COMPARISONS}, "overlap": "overlap of intervals", "t'": "t-prime"}

_Reader = Callable[[object, str, list[Fault]], Any]


def read_house(path: str | os.PathLike[str]) -> House:
    """Read a house file.

    path: the file, or a folder that holds a house.toml.
    Raises BenchFileError with every fault found, by field; what is left out keeps its documented default.
    """
    file = Path(path)
    if file.is_dir():
        file = file / HOUSE_FILE
    if not file.is_file():
        raise BenchFileError(
            "there is no such house file.", remedy="Look at its name, or write one as docs/house.md shows.",
            source=os.fspath(file), code="no-house-file",
        )  # fmt: skip
    source = os.fspath(file)
    try:
        return _rules_of(read_bench_text(file), source)
    except BenchFileError as error:
        raise _error(error.faults or (Fault("", error.message, error.remedy),), source) from None


@lru_cache(maxsize=32)  # the same rules stand for every bench of a section
def _rules_of(text: str, source: str) -> House:
    return replace(make_house(parse_bench_text(text, source)), source=source)


def make_house(tables: Mapping[str, Any]) -> House:
    """Return the house rules of tables written as in a house file; what is left out keeps its documented default.

    Raises BenchFileError with every fault found, by field.
    """
    faults: list[Fault] = []
    values = _values(tables, faults)
    if faults:
        raise _error(faults)
    return House(**values)


def _values(document: Mapping[str, Any], faults: list[Fault]) -> dict[str, Any]:
    return {_FIELDS[name][0]: _FIELDS[name][1](written, name, faults) for name, written in _written(document, faults).items()}


def find_house(bench: str | os.PathLike[str], *, section: str | os.PathLike[str] | None = None) -> Path | None:
    """Return the nearest house.toml, None when there is none.

    bench: a bench folder, a bench file, or a folder of benches. section: the folder at which the search ends; unless given, it
    ends two folders above `bench`, so that no file of a wider place is taken by accident.
    """
    start = Path(os.path.abspath(bench))
    if not start.is_dir():
        start = start.parent
    folders = [start, *start.parents]
    last = Path(os.path.abspath(section)) if section is not None else None
    reach = folders.index(last) + 1 if last in folders else 3
    return next((folder / HOUSE_FILE for folder in folders[:reach] if (folder / HOUSE_FILE).is_file()), None)


def _error(faults: Sequence[Fault], source: str = "") -> BenchFileError:
    count = "there is a fault" if len(faults) == 1 else f"there are {len(faults)} faults"
    remedy = "Correct what is named here; docs/house.md lists every rule."
    return BenchFileError(f"{count} in these house rules.", remedy=remedy, source=source, faults=faults)


def _written(document: Mapping[str, Any], faults: list[Fault]) -> dict[str, object]:
    """Return what was written by dotted name; unknown names are faults."""
    tables = list(dict.fromkeys(name.partition(".")[0] for name in _FIELDS if "." in name))
    found: dict[str, object] = {}
    for key, content in document.items():
        if key in tables:
            if not isinstance(content, Mapping):
                faults.append(Fault(key, "must be a table.", f"Write [{key}] on a line of its own, and its values below."))
                continue
            found.update({f"{key}.{name}": value for name, value in content.items()})
        else:
            found[key] = content
    faults.extend(unknown_fault(name, tuple(_FIELDS), kind="house rule") for name in found if name not in _FIELDS)
    return {name: value for name, value in found.items() if name in _FIELDS}


def _title(written: object, name: str, faults: list[Fault]) -> str:
    if isinstance(written, str) and len(written.strip()) <= _LONGEST_TITLE:
        return written.strip()
    what = f"must be a text of at most {_LONGEST_TITLE} characters."
    faults.append(Fault(name, what, 'Write title = "Physics, second period".'))
    return ""


def _gravity(written: object, name: str, faults: list[Fault]) -> Input | None:
    try:
        reading = read_quantity(written, unit="m/s^2")  # type: ignore[arg-type]  # a wrong type is a fault that it raises itself
    except InputError as error:
        faults.append(Fault(name, error.message, error.remedy))
        return None
    if not _LOW_GRAVITY <= reading.value <= _HIGH_GRAVITY:
        what = f"{reading.value:g} m/s^2 is not between {_LOW_GRAVITY:g} and {_HIGH_GRAVITY:g} m/s^2."
        faults.append(Fault(name, what, 'Write a g of this planet, such as "9.81 m/s^2".'))
        return None
    if reading.stated:
        note = f"House rule, written as {written}."
        return Input("place.gravity", reading.value, "m/s^2", reading.u, reading.distribution, dof=reading.dof, note=note)
    note = f"House rule, written without uncertainty: ± {_BARE_HALF_WIDTH:g} m/s^2 is taken as limits."
    return Input("place.gravity", reading.value, "m/s^2", _BARE_HALF_WIDTH / 3.0**0.5, "rectangular", note=note)


def _tolerance(written: object, name: str, faults: list[Fault]) -> float:
    try:
        share = read_quantity(written, unit="1").value  # type: ignore[arg-type]
    except InputError as error:
        faults.append(Fault(name, error.message, error.remedy))
        return 0.05
    if not 0.0 < share < 1.0:
        faults.append(Fault(name, f"{_shown(written)} is not between 0 and 1.", 'Write it like 0.05 or "5 %".'))
    return share


def _word(known: Mapping[str, str]) -> _Reader:
    """Return a reader of one of several words."""

    def read(written: object, name: str, faults: list[Fault]) -> str:
        word = " ".join(written.casefold().split()) if isinstance(written, str) else ""
        if word in known:
            return known[word]
        near = did_you_mean(word, known) if word else ""
        first = {meant: name for name, meant in reversed(list(known.items()))}  # what has several names, by its first one
        choices = ", ".join(f'"{one}"' for one in reversed(list(first.values())))
        hint = f'Did you mean "{near}"? ' if near else ""
        faults.append(Fault(name, f"{_shown(written)} is none of the choices.", f"{hint}Choose one of {choices}."))
        return next(iter(known.values()))

    return read


def _yes_or_no(written: object, name: str, faults: list[Fault]) -> bool:
    if not isinstance(written, bool):
        faults.append(Fault(name, f"{_shown(written)} is neither true nor false.", "Write true or false, without quotes."))
    return written is True


def _whole(low: int, high: int, what: str) -> _Reader:
    """Return a reader of a whole number."""

    def read(written: object, name: str, faults: list[Fault]) -> int:
        if isinstance(written, int) and not isinstance(written, bool) and low <= written <= high:
            return written
        key = name.rpartition(".")[2]
        faults.append(
            Fault(name, f"{_shown(written)} is no whole number of {what} from {low} to {high}.", f"Write {key} = {low}.")
        )
        return low

    return read


def _steps(written: object, name: str, faults: list[Fault]) -> tuple[str, ...]:
    if not isinstance(written, list) or not written or not all(isinstance(one, str) for one in written):
        faults.append(Fault(name, "must be a list of steps.", f"Choose from {', '.join(STEPS)}."))
        return STEPS
    faults.extend(unknown_fault(one, STEPS, kind="step") for one in written if one not in STEPS)
    return tuple(step for step in STEPS if step in written)


def _rules(written: object, name: str, faults: list[Fault]) -> tuple[str, ...]:
    lines = written.splitlines() if isinstance(written, str) else written
    if not isinstance(lines, list) or not all(isinstance(line, str) for line in lines):
        faults.append(Fault(name, "must be a text or a list of texts.", 'Write local_rules = ["Safety glasses on."].'))
        return ()
    rules = tuple(" ".join(line.split()) for line in lines if line.strip())
    if len(rules) > _MOST_RULES:
        faults.append(Fault(name, f"{len(rules)} rules are more than the {_MOST_RULES} that fit.", "Put the rest on the wall."))
    for rule in rules:
        if len(rule) > _LONGEST_RULE:
            what = f"a rule of {len(rule)} characters is longer than {_LONGEST_RULE}: {rule[:40]} …"
            faults.append(Fault(name, what, "Split it into shorter ones."))
    return rules


def _shown(written: object) -> str:
    return f'"{written[:40]}"' if isinstance(written, str) else str(written)[:40]


# Name in the file: (field of House, its reader).
_FIELDS: Mapping[str, tuple[str, _Reader]] = {
    "title": ("title", _title),
    "numbers.gravity": ("gravity", _gravity),
    "numbers.decimal": ("decimal", _word(_DECIMALS)),
    "numbers.uncertainty_digits": ("uncertainty_digits", _whole(1, 2, "digits")),
    "comparison.method": ("comparison", _word(_COMPARISONS)),
    "comparison.percent_of": ("percent_of", _word({name: name for name in BASES})),
    "comparison.signed": ("signed", _yes_or_no),
    "comparison.tolerance": ("tolerance", _tolerance),
    "lesson.minutes": ("minutes", _whole(35, 120, "minutes")),
    "lesson.launches": ("launches", _whole(1, 8, "launches")),
    "lesson.steps": ("steps", _steps),
    "lesson.formulas": ("formulas", _yes_or_no),
    "sheets.paper": ("paper", _word(_PAPERS)),
    "sheets.large_print": ("large_print", _yes_or_no),
    "sheets.local_rules": ("local_rules", _rules),
}
