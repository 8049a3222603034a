"""The students' own work: its steps, the fields of each, and the numbers that were written in them.

A field keeps the text as it was typed; numbers are read from it whenever they are needed, so that nothing is lost by reading.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from joulebook.errors import Fault, InputError

__all__ = ["COMMITTED_STEPS", "FIELDS", "Field", "check_fields", "own_number"]

Shape = Literal["number", "choice", "text"]


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a step.

    name: in the form and in what is kept. label: what the page asks. shape: number, choice or text. unit: of a number, "" for
    none. choices: (word kept, words shown). hint: one sentence below the field, "" for none.
    positive: whether a number must lie above zero.
    """

    name: str
    label: str
    shape: Shape = "text"
    unit: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    hint: str = ""
    positive: bool = False


FIELDS: Mapping[str, tuple[Field, ...]] = MappingProxyType(
    {
        "predict": (
            Field(
                "prediction", "The energy at the highest point, compared with the energy of motion at release, will be", "choice",
                choices=(("less", "less"), ("same", "the same"), ("more", "more"), ("unsure", "we are not sure")),
            ),
            Field("prediction_why", "Because", hint="One sentence is enough."),
        ),
        "readings": (
            Field("start_distance", "Distance on the graph at release", "number", "m", hint="Where the cart leaves the plunger."),
            Field("start_distance_u", "give or take, at most", "number", "m", positive=True),
            Field("apex_distance", "Distance on the graph at the highest point", "number", "m",
                  hint="Where the cart turns round."),
            Field("apex_distance_u", "give or take, at most", "number", "m", positive=True),
            Field("release_speed", "Speed at release", "number", "m/s", positive=True,
                  hint="Change of distance over change of time, just after the release."),
            Field("release_speed_u", "give or take, at most", "number", "m/s", positive=True),
            Field("speed_how", "How we found the speed"),
        ),
        "calculation": (
            Field("travel", "Way along the track, d", "number", "m"),
            Field("travel_work", "Working"),
            Field("height", "Height gained, h", "number", "m"),
            Field("height_work", "Working"),
            Field("kinetic_energy", "Energy of motion at release, KE", "number", "J"),
            Field("kinetic_work", "Working"),
            Field("potential_energy", "Energy of height at the top, PE", "number", "J"),
            Field("potential_work", "Working"),
        ),
        "uncertainty": (
            Field("kinetic_energy_u", "Energy of motion, standard uncertainty u", "number", "J", positive=True),
            Field("potential_energy_u", "Energy of height, standard uncertainty u", "number", "J", positive=True),
            Field("largest", "Which reading makes us least sure", "choice",
                  choices=(("speed", "the speed at release"), ("slope", "the slope of the track"),
                           ("travel", "the way along the track"), ("mass", "the mass of the cart"), ("other", "something else"))),
        ),
        "claim": (
            Field(
                "claim", "Going by our numbers and how sure we are of them", "choice",
                choices=(("conserved", "we see no difference between the two energies"),
                         ("loss", "there is less energy at the top"),
                         ("gain", "there is more energy at the top"),
                         ("undecided", "we cannot tell")),
            ),
            Field("claim_why", "Because", hint="Name the numbers that decide it."),
        ),
        "comparison": (
            Field("own_comparison", "Our comparison, as a number", "number", ""),
            Field("comparison_says", "What it says about our claim"),
        ),
        "losses": (
            Field("loss_where", "Where could the missing energy have gone", "choice",
                  choices=(("none", "nothing is missing"), ("rolling", "rolling resistance and bearings"), ("air", "air drag"),
                           ("sound", "sound and shaking of the track"), ("wheels", "turning of the wheels"),
                           ("reading", "a reading is wrong"), ("unsure", "we are not sure"))),
            Field("loss_size", "How large is that, about", "number", "J"),
            Field("loss_why", "How we know"),
        ),
        "improve": (
            Field("improve", "One thing we would change, and by how much it would help"),
        ),
    }
)  # fmt: skip
"""The fields of every step of own work. The set-up readings and the records are kept apart: they belong to the bench."""

COMMITTED_STEPS = ("predict", "readings", "calculation", "uncertainty", "claim")
"""The steps that are fixed by committing, before any comparison is shown."""

_LONGEST_NUMBER, _LONGEST_TEXT = 60, 2_000


def own_number(text: str, field: Field, *, decimal: str = ".") -> float | None:
    """Return the number in a field, in the field's unit; None when the field is blank.

    text: as it was typed: a bare number, or a number with a unit of the right dimension. decimal: the house's decimal sign; the
    other sign is understood too where only one reading is possible.
    Raises InputError when it is no number.
    """
    from joulebook.uncertainty.notation import read_quantity

    written = text.strip().replace("−", "-")
    if not written:
        return None
    bare = written.replace(",", ".") if written.count(",") == 1 and "." not in written else written
    unit = field.unit or "1"
    try:
        value = float(bare)
    except ValueError:
        percent = bare.rstrip("% ") if field.unit == "" and bare.endswith("%") else None
        try:
            value = float(percent) / 100.0 if percent is not None else read_quantity(bare, unit=unit).value
        except (InputError, ValueError):
            remedy = f'Write a number such as "0{decimal}25"' + (f" in {field.unit}." if field.unit else ".")
            raise InputError(f"“{written[:40]}” is not understood as a number.", remedy=remedy) from None
    if value != value or abs(value) > 1e9:
        raise InputError(f"“{written[:40]}” is no number that can be used.", remedy="Look at its digits.")
    return value


def check_fields(step: str, fields: Mapping[str, str], *, decimal: str = ".") -> tuple[Fault, ...]:
    """Return what is wrong with the fields of a step, by field; blank fields are never wrong. KeyError for an unknown step.

    Every text is kept whatever is found: the faults are shown beside the fields.
    """
    known = {field.name: field for field in FIELDS[step]}
    faults = []
    for name, text in fields.items():
        field = known.get(name)
        if field is None:
            faults.append(Fault(name[:40], "is no field of this step."))
        elif field.shape == "choice" and text and text not in [word for word, _ in field.choices]:
            faults.append(Fault(name, "is none of the choices.", "Choose one of the list."))
        elif field.shape == "text" and len(text) > _LONGEST_TEXT:
            faults.append(Fault(name, f"is {len(text)} characters long.", f"Keep it below {_LONGEST_TEXT}."))
        elif field.shape == "number":
            faults.extend(_number_faults(text, field, decimal))
    return tuple(faults)


def _number_faults(text: str, field: Field, decimal: str) -> list[Fault]:
    if len(text) > _LONGEST_NUMBER:
        return [Fault(field.name, f"is {len(text)} characters long.", "Write the number alone.")]
    try:
        value = own_number(text, field, decimal=decimal)
    except InputError as error:
        return [Fault(field.name, error.message, error.remedy)]
    if value is not None and field.positive and value <= 0.0:
        return [Fault(field.name, f"{text.strip()} is not above zero.", "Write its size, without a sign.")]
    return []
