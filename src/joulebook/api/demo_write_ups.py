"""Invented write-ups for the demo's section: each an honest one with what its student got wrong, and what a teacher would find."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from joulebook.classroom.chain import CHAIN
from joulebook.classroom.mark_table import TEMPLATE_HEADINGS
from joulebook.classroom.reading_check import features_of
from joulebook.classroom.slip_catalogue import SLIPS
from joulebook.engine.report import Audit, LaunchAudit
from joulebook.uncertainty import Quantity

__all__ = ["demo_write_up_rows"]


@dataclass(frozen=True, slots=True)
class _Student:
    """What one student did. slips: of calculation. apex: the feature of the graph that was read as the highest point.
    more: fields that stand instead of the honest ones; a blank one is left out."""

    code: str
    slips: tuple[str, ...] = ()
    apex: str = "wanted"
    more: Mapping[str, str] = field(default_factory=dict)


# Three to each bench that has a ledger, in turn.
_STUDENTS = (
    _Student("amber"),
    _Student("birch", ("half-forgotten",)),
    _Student("cedar", more={"kinetic_energy_u": "", "potential_energy_u": "", "claim": "conserved"}),
    _Student("dune", ("cosine",)),
    _Student("ember", more={"loss_where": "rolling"}),
    _Student("fern", ("g-forgotten",)),
    _Student("gale", apex="top of hop 2"),
    _Student("heath", ("travel-for-height", "half-forgotten")),
    _Student("iris", ("g-is-ten",)),
    _Student("jade", ("kinetic-in-grams", "potential-in-grams")),
    _Student("kelp", more={"claim": "gain", "loss_where": "rolling"}),
    _Student("lark", ("radians",)),
    _Student("moss", more={"kinetic_energy": "", "potential_energy": "", "claim": ""}),
    _Student("nettle", ("square-forgotten",)),
    _Student(
        "opal", more={"improve": "Measure rise and length instead of the angle: the slope would be known five times better."}
    ),
)


def demo_write_up_rows(audits: Mapping[int, Audit]) -> list[tuple[str, ...]]:
    """Return the table of write-ups, with its headings. audits: of the benches, by number; those without a ledger are left out."""
    usable = [number for number, audit in sorted(audits.items()) if any(_whole(launch) for launch in audit.launches)]
    rows = [TEMPLATE_HEADINGS]
    for index, student in enumerate(_STUDENTS if usable else ()):
        number = usable[index * len(usable) // len(_STUDENTS)]
        fields = {**_fields(student, audits[number]), **student.more, "code": student.code, "bench": str(number)}
        rows.append(tuple(fields.get(heading, "") for heading in TEMPLATE_HEADINGS))
    return rows


def _fields(student: _Student, audit: Audit) -> dict[str, str]:
    launch = next(each for each in audit.launches if _whole(each))
    given = {item.name: item.value for item in audit.inputs}
    rise, along = given.get("track.rise"), given.get("track.along")
    sine = rise / along if rise and along else math.sin(math.radians(given["track.angle"]))
    speed = _value(launch, "release_speed")
    numbers = {
        "mass": float(f"{given['cart.mass']:.4g}"), "sine": sine, "angle": math.degrees(math.asin(sine)), "gravity": 9.81,
        "start_distance": round(_place("start_distance", "wanted", audit, launch), 3),
        "apex_distance": round(_place("apex_distance", student.apex, audit, launch), 3), "release_speed": round(speed - 0.01, 2),
        "rise": rise or 0.0,
    }  # fmt: skip
    fields = {
        "start_distance": f"{numbers['start_distance']:.3f}", "start_distance_u": "0.01",
        "apex_distance": f"{numbers['apex_distance']:.3f}", "apex_distance_u": "0.005",
        "release_speed": f"{numbers['release_speed']:.2f}", "release_speed_u": "0.03", "speed_how": "slope between two points",
        "prediction": "less", "prediction_why": "Some of it goes into rolling.", "claim_why": "The two energies with their give or take.",
    }  # fmt: skip
    fields["mass"] = f"{numbers['mass']:g} kg ± 0.0005 kg"
    if rise and along:
        fields |= {"rise": f"{100 * rise:.1f} cm ± 0.1 cm", "along": f"{100 * along:.1f} cm ± 0.1 cm"}
    else:
        fields["angle"] = f"{given['track.angle']:g} deg ± 0.25 deg"
    for name, link in CHAIN.items():
        arrays = {key: np.array([value]) for key, value in numbers.items()}
        value = float(link.rule(arrays)[0])
        for slip in (SLIPS[code] for code in student.slips if SLIPS[code].line == name):
            value = float(slip.rule(arrays)[0])
        fields[name] = f"{value:.3g}"
        numbers[name] = float(fields[name])
    kinetic, potential = numbers["kinetic_energy"], numbers["potential_energy"]
    fields["kinetic_energy_u"], fields["potential_energy_u"] = f"{0.06 * abs(kinetic):.1g}", f"{0.05 * abs(potential):.1g}"
    fields["claim"] = _claim(kinetic, potential)
    return fields


def _claim(kinetic: float, potential: float) -> str:
    apart = abs(kinetic - potential) / math.hypot(0.06 * kinetic, 0.05 * potential)
    return "conserved" if apart < 1.0 else "undecided" if apart < 3.0 else "loss" if kinetic > potential else "gain"


def _place(reading: str, code: str, audit: Audit, launch: LaunchAudit) -> float:
    found = {each.code: each for each in features_of(reading, audit) if each.launch == launch.file}  # type: ignore[arg-type]
    feature = found.get(code) or found["wanted"]
    return 0.5 * (feature.low + feature.high)


def _whole(launch: LaunchAudit) -> bool:
    wanted: Sequence[str] = ("release_speed", "travel", "apex_time", "release_time")
    return launch.series is not None and all(isinstance(launch.quantities.get(name), Quantity) for name in wanted)


def _value(launch: LaunchAudit, name: str) -> float:
    item = launch.quantities[name]
    assert isinstance(item, Quantity)
    return item.value
