"""The set-up readings as a form, and back: value, unit, give or take, and how it was measured.

What is kept is one text for each reading, written as in a bench file ("9.8 deg ± 0.25 deg"), whatever was typed in.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

from joulebook.classroom.section import BenchState
from joulebook.classroom.student_view import StudentView
from joulebook.render.decimal_sign import with_decimal
from joulebook.web.bench_contexts import SetUp, SetUpField
from joulebook.web.bench_status import BEGUN, DONE, LOOK, TODO

__all__ = ["SET_UP_NAMES", "read_set_up", "set_up_form"]

SET_UP_NAMES: Mapping[str, str] = MappingProxyType(
    {
        "mass": "cart.mass",
        "angle": "track.angle",
        "rise": "track.rise",
        "along": "track.along",
        "temperature": "sensor.air_temperature",
    }
)
"""The readings of the form, by name: which input of a bench each one is."""

_PLACED = "sensor.placed"
_METHODS = {"angle": ("angle",), "rise": ("rise", "along")}
_UNITS: Mapping[str, tuple[tuple[str, str], ...]] = {
    "mass": (("kg", "kg"), ("g", "g")),
    "angle": (("deg", "degrees"),),
    "rise": (("cm", "cm"), ("mm", "mm"), ("m", "m")),
    "along": (("cm", "cm"), ("mm", "mm"), ("m", "m")),
    "temperature": (("degC", "°C"),),
}
_HOWS = (
    ("balance", "balance"),
    ("angle gauge", "angle gauge"),
    ("ruler at two marks", "ruler at two marks"),
    ("printed on the part", "printed on the part"),
    ("other", "other"),
)
_USUAL_HOW = {"mass": "balance", "angle": "angle gauge", "rise": "ruler at two marks", "along": "ruler at two marks"}
_LABELS = {
    "mass": ("Mass of the cart", "With everything that rides on it."),
    "angle": ("Angle of the track", "Between the track and the level."),
    "rise": ("Rise", "How much higher the upper mark is than the lower one."),
    "along": ("Stretch between the two marks, L", "Along the track. It is not the length of the track."),
    "temperature": ("Temperature of the air", ""),
}
_LONGEST = 160
_COMMA = re.compile(r"^[+-]?\d+,\d+$")


def set_up_form(bench: BenchState, view: StudentView, *, typed: Mapping[str, str] | None = None, decimal: str = ".") -> SetUp:
    """Return the set-up step of a bench's page.

    typed: texts of a form that could not be kept, by input; None for what is saved. decimal: the house's sign.
    """
    values = dict(bench.values) | dict(typed or {})
    fields = {name: _field(name, bench, values, view.set_up_faults, decimal) for name in SET_UP_NAMES}
    has_rise = any(values.get(SET_UP_NAMES[name]) for name in _METHODS["rise"])
    planned_rise = any(bench.planned.get(SET_UP_NAMES[name]) for name in _METHODS["rise"])
    has_angle = bool(values.get("track.angle"))
    method = "rise" if has_rise or (planned_rise and not has_angle) else "angle"
    wanted = ("cart.mass", *(SET_UP_NAMES[name] for name in _METHODS[method]))
    missing = tuple(_LABELS[name][0].lower() for name, of in SET_UP_NAMES.items() if of in wanted and not values.get(of))
    status = DONE
    if view.set_up_faults or view.look_at_set_up:
        status = LOOK
    elif missing:
        status = BEGUN if any(values.get(of) for of in wanted) else TODO
    settled = "sensor.scale" in bench.planned or "sensor.scale" in bench.values
    return SetUp(
        status, fields["mass"], method, fields["angle"], fields["rise"], fields["along"],
        values.get(_PLACED, ""), bench.planned.get(_PLACED, ""), None if settled else fields["temperature"],
        view.look_at_set_up, missing,
    )  # fmt: skip


def read_set_up(form: Mapping[str, str], bench: BenchState) -> tuple[dict[str, str], dict[str, str]]:
    """Return the values and the ways of measuring that a form changes, by input; a blank text takes one away.

    form: what was sent; "was-" and a name: the text that the page showed, so that two windows change only what each has changed.
    """
    values: dict[str, str] = {}
    how: dict[str, str] = {}
    method = form.get("method", "")
    left_out = [name for other, names in _METHODS.items() if method in _METHODS and other != method for name in names]
    for name, of in SET_UP_NAMES.items():
        if f"{name}-value" not in form and name not in left_out:
            continue
        text = "" if name in left_out else _written(form, name)
        if text != form.get(f"was-{name}", bench.values.get(of, "")) or (name in left_out and of in bench.values):
            values[of] = text
        chosen = "" if name in left_out or not text else form.get(f"{name}-how", "")[:_LONGEST].strip()
        if chosen != bench.how.get(of, ""):
            how[of] = chosen
    if "placed" in form and form["placed"] in ("", "top", "bottom") and form["placed"] != bench.values.get(_PLACED, ""):
        values[_PLACED] = form["placed"]
    return {name: text for name, text in values.items() if text != bench.values.get(name, "")}, how


def _written(form: Mapping[str, str], name: str) -> str:
    """Return a reading as a bench file writes it."""
    value, give = (_point(form.get(f"{name}-{part}", "")) for part in ("value", "give"))
    unit = form.get(f"{name}-unit", "").strip()
    if not value and not give:
        return ""
    # Somebody who typed the unit, or the whole of it, is taken at their word.
    if unit not in [kept for kept, _ in _UNITS[name]] or re.search(r"[A-Za-z°±]", value.replace("e", "").replace("E", "")):
        return f"{value} ± {give}".strip() if give and "±" not in value else value
    return f"{value} {unit} ± {give} {unit}".strip() if give else f"{value} {unit}"


def _point(text: str) -> str:
    written = " ".join(text.replace("−", "-").split())[:_LONGEST]
    return written.replace(",", ".") if _COMMA.match(written) else written


def _field(name: str, bench: BenchState, values: Mapping[str, str], faults: Mapping[str, str], decimal: str) -> SetUpField:
    of = SET_UP_NAMES[name]
    text, units = values.get(of, ""), _UNITS[name]
    value, unit, give = _taken_apart(text, [kept for kept, _ in units])
    value, give = with_decimal(value, decimal), with_decimal(give, decimal)
    how = bench.how.get(of, "")
    hows = _HOWS if how in ("", *(kept for kept, _ in _HOWS)) else (*_HOWS, (how, how))
    label, hint = _LABELS[name]
    shown_units = units if unit or not text else (*units, ("", "as written"))
    planned = with_decimal(bench.planned.get(of, "").replace(" degC", " °C").replace(" deg", "°"), decimal)
    return SetUpField(
        name, label, hint, value, unit if text else units[0][0], give, how or ("" if text else _USUAL_HOW.get(name, "")),
        shown_units, () if name == "temperature" else hows, text, planned, faults.get(of, ""),
    )  # fmt: skip


def _taken_apart(text: str, units: list[str]) -> tuple[str, str, str]:
    """Return value, unit and give-or-take of a text; what has another form stays whole, without a unit."""
    words = "|".join(sorted(map(re.escape, units), key=len, reverse=True))
    found = re.fullmatch(rf"(?P<value>[^±]*?)\s*(?P<unit>{words})(?:\s*±\s*(?P<give>[^±]*?)\s*(?P=unit))?", text)
    if found is None:
        return text, "", ""
    return found["value"], found["unit"], found["give"] or ""
