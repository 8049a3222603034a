"""House rules as a form: from what was typed to the tables of a house file, and back."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from starlette.datastructures import FormData

from joulebook.classroom.section import Section
from joulebook.engine.house import STEPS
from joulebook.errors import BenchFileError, Fault, InputError
from joulebook.readers.house_file import make_house
from joulebook.web.section_contexts import HouseForm

__all__ = ["form_of_tables", "house_of", "house_text", "read_house_text"]

_LARGEST = 64 * 1024
# Field of the form: where it stands in a house file.
_PLACES: Mapping[str, str] = {
    "gravity": "numbers.gravity",
    "decimal": "numbers.decimal",
    "digits": "numbers.uncertainty_digits",
    "method": "comparison.method",
    "percent_of": "comparison.percent_of",
    "signed": "comparison.signed",
    "tolerance": "comparison.tolerance",
    "minutes": "lesson.minutes",
    "launches": "lesson.launches",
    "steps": "lesson.steps",
    "formulas": "lesson.formulas",
}


def house_of(form: FormData, *, before: Mapping[str, Any] | None = None) -> tuple[dict[str, Any], HouseForm]:
    """Return the house rules of a form as tables of a house file, and the form with what is wrong beside its fields.

    before: rules that the form does not show (sheets, local rules) and that stay as they are.
    """
    typed = {name: str(form.get(name, "")).strip()[:200] for name in _PLACES}
    shown = HouseForm(
        gravity=typed["gravity"], tolerance=typed["tolerance"], decimal=typed["decimal"], digits=typed["digits"],
        method=typed["method"], percent_of=typed["percent_of"], minutes=typed["minutes"], launches=typed["launches"],
        signed="signed" in form, formulas="formulas" in form,
        steps=tuple(step for step in STEPS if step in form.getlist("steps")),
    )  # fmt: skip
    tables: dict[str, Any] = {key: dict(value) if isinstance(value, Mapping) else value for key, value in (before or {}).items()}
    written = {
        "gravity": shown.gravity, "decimal": shown.decimal, "digits": _whole(shown.digits), "method": shown.method,
        "percent_of": shown.percent_of, "signed": shown.signed, "tolerance": shown.tolerance, "minutes": _whole(shown.minutes),
        "launches": _whole(shown.launches), "steps": list(shown.steps), "formulas": shown.formulas,
    }  # fmt: skip
    for name, value in written.items():
        table, _, key = _PLACES[name].partition(".")
        tables.setdefault(table, {})[key] = value
    if not shown.gravity:
        # Blank leaves g to each bench and the documented default.
        tables["numbers"].pop("gravity", None)
    return tables, replace(shown, faults=_faults_of(tables))


def form_of_tables(tables: Mapping[str, Any]) -> HouseForm:
    """Return the form that shows house rules; what they leave out shows its default."""
    flat = {
        f"{table}.{key}": value for table, content in tables.items() if isinstance(content, Mapping)
        for key, value in content.items()
    }  # fmt: skip
    shown: dict[str, Any] = {}
    for name, place in _PLACES.items():
        if place in flat:
            value = flat[place]
            shown[name] = value if isinstance(value, bool) else tuple(value) if name == "steps" else str(value)
    if "decimal" in shown:
        shown["decimal"] = {".": "point", ",": "comma"}.get(shown["decimal"], shown["decimal"])
    if isinstance(flat.get("comparison.tolerance"), float):
        shown["tolerance"] = f"{100.0 * flat['comparison.tolerance']:g} %"
    return HouseForm(**shown)


def read_house_text(text: str) -> dict[str, Any]:
    """Return the tables of a house file that was pasted or uploaded. Raises InputError with every fault of it."""
    if len(text.encode()) > _LARGEST:
        raise InputError(f"This house file has more than {_LARGEST // 1024} kB.", remedy="Take the right file.", code="house")
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"This is no house file: {error}.", remedy="Correct the line that is named.", code="house") from None
    make_house(tables)
    return tables


def house_text(whole: Section) -> str:
    """Return the rules of a section as a house file."""
    from joulebook.readers.bench_file import write_bench

    return write_bench(dict(whole.house_tables))


def _faults_of(tables: Mapping[str, Any]) -> dict[str, str]:
    """Return what is wrong with house rules, by field of the form; what has no field stands under ""."""
    try:
        make_house(tables)
    except BenchFileError as error:
        fields = {place: name for name, place in _PLACES.items()}
        told: dict[str, str] = {}
        for fault in error.faults or (Fault("", error.message, error.remedy),):
            name = fields.get(fault.where, "")
            text = f"{fault.what} {fault.remedy}".strip() if name else str(fault)
            told[name] = f"{told[name]} {text}" if name in told else text
        return told
    return {}


def _whole(text: str) -> object:
    """Return a whole number; what is none stays as it was typed, for the rules to say what is wrong with it."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 6 else text
