"""Working a write-up through: line by line, against its own bench.

    checked = check_write_up(write_up, audit, house)

The first wrong line is named, and every line after it is judged by the numbers that the group had, so that one slip counts once.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from joulebook.classroom.chain import CHAIN
from joulebook.classroom.claim_check import ClaimResult, check_claim
from joulebook.classroom.line_check import LineResult, check_line
from joulebook.classroom.own_work import FIELDS
from joulebook.classroom.reading_check import ReadingResult, check_reading
from joulebook.classroom.section import BenchState
from joulebook.classroom.write_up import WriteUp
from joulebook.classroom.written import Written, read_written
from joulebook.engine.house import House
from joulebook.engine.report import Audit
from joulebook.errors import InputError
from joulebook.uncertainty import Quantity
from joulebook.uncertainty.notation import read_quantity

__all__ = ["Checked", "check_write_up", "write_up_of"]

_STANDARD_GRAVITY = 9.80665  # m/s², ISO 80000-3
_READINGS = ("start_distance", "apex_distance", "release_speed")
_NUMBERS = {each.name: each for step in FIELDS.values() for each in step if each.shape == "number"}


@dataclass(frozen=True, slots=True)
class Checked:
    """A write-up worked through.

    readings, lines: by name, in their order. claim: what is to be said of it. first_wrong: the first line, reading or "claim"
    that is not right, "" when there is none; a choice of the house counts as right. unread: fields that are no numbers, with the
    reason. harmless: whether all that was found are choices of the house.
    against: for each energy, how far it lies from the audit's, in standard uncertainties of the audit; NaN without one.
    """

    write_up: WriteUp
    readings: Mapping[str, ReadingResult]
    lines: Mapping[str, LineResult]
    claim: ClaimResult
    first_wrong: str
    unread: Mapping[str, str] = field(default_factory=dict)
    harmless: bool = False
    against: Mapping[str, float] = field(default_factory=dict)

    @property
    def slips(self) -> tuple[str, ...]:
        """The codes of the likeliest explanation of each wrong line."""
        wrong = (line for line in self.lines.values() if line.kind == "slip" and line.explanations)
        return tuple(code for line in wrong for code in line.explanations[0].slips)


def write_up_of(bench: BenchState, *, code: str = "") -> WriteUp:
    """Return what a bench has written in the room as a write-up. code: the bench's number unless given."""
    fields = {name: text for saved in bench.work.values() for name, text in saved.fields.items() if text.strip()}
    return WriteUp(code or f"bench-{bench.number}", bench.number, dict(bench.values), fields)


def check_write_up(write_up: WriteUp, audit: Audit | None, house: House) -> Checked:
    """Work a write-up through.

    audit: of its bench; None when there is none, and then the lines are judged by each other alone.
    house: the rules of the class.
    """
    written, unread = _numbers(write_up, house)
    # What a student gives beside a reading is a limit; the standard uncertainty of one is limit/√3 (GUM 4.3.7).
    start_u, apex_u, speed_u = (_size(written.get(f"{name}_u")) / math.sqrt(3.0) for name in _READINGS)
    readings = {
        "start_distance": check_reading("start_distance", written.get("start_distance"), audit, u=start_u),
        "apex_distance": check_reading("apex_distance", written.get("apex_distance"), audit, u=apex_u),
        "release_speed": check_reading("release_speed", written.get("release_speed"), audit, u=speed_u),
    }
    if "angle" in written and audit is not None and "slope_from_motion" in audit.quantities:
        readings["slope"] = check_reading(
            "slope", written["angle"], audit, u=0.0 if "track.angle" in unread else _stated(write_up, "track.angle")
        )
    lines = {name: _by_audit(check_line(name, written), audit) for name in CHAIN}
    claim = check_claim(written, write_up.fields, house)
    wrong = [name for name, reading in readings.items() if reading.kind in ("other feature", "off")]
    wrong += [name for name, line in lines.items() if line.wrong]
    serious = [name for name in wrong if name in readings or not lines[name].harmless]
    if not {"follows"} & set(claim.remarks) and claim.remarks:
        wrong.append("claim")
        serious.append("claim")
    return Checked(
        write_up,
        readings,
        lines,
        claim,
        serious[0] if serious else "",
        unread,
        bool(wrong) and not serious,
        _against(written, audit),
    )


def _numbers(write_up: WriteUp, house: House) -> tuple[dict[str, Written], dict[str, str]]:
    """Return the numbers of a write-up by name, and what could not be read."""
    found: dict[str, Written] = {}
    unread: dict[str, str] = {}
    for name, text in write_up.fields.items():
        if name not in _NUMBERS:
            continue
        try:
            number = read_written(text, _NUMBERS[name], decimal=house.decimal)
        except InputError as error:
            unread[name] = error.message
            continue
        if number is not None:
            found[name] = number
    gravity = house.gravity.value if house.gravity is not None else _STANDARD_GRAVITY
    # 9.8, 9.81 and 9.807 are one and the same to a class that was not told which to take.
    found["gravity"] = Written("g", gravity, 0.0005 if house.gravity is not None else 0.01, 3)
    for name, text in write_up.values.items():
        try:
            _add_value(found, name, text)
        except InputError as error:
            unread[name] = error.message
    if "sine" not in found and {"rise", "along"} <= found.keys() and found["along"].value > 0.0:
        rise, along = found["rise"], found["along"]
        sine = rise.value / along.value
        half = abs(sine) * (rise.half / abs(rise.value or 1.0) + along.half / along.value)
        found["sine"] = Written("rise over length", sine, half, 3)
        if abs(sine) < 1.0:
            found["angle"] = Written("from the rise", math.degrees(math.asin(sine)), 0.05, 3)
    return found, unread


def _add_value(found: dict[str, Written], name: str, text: str) -> None:
    """Add a set-up reading under the name that the chain knows it by."""
    known = {
        "cart.mass": ("mass", "kg"),
        "track.rise": ("rise", "m"),
        "track.along": ("along", "m"),
        "track.angle": ("angle", "deg"),
    }
    if name not in known:
        return
    key, unit = known[name]
    value = read_quantity(text, unit=unit).value
    # The reading itself stands in the set-up table; in a calculation it is taken with three figures or more.
    found[key] = Written(text, value, 0.0, 4) if key != "mass" else Written(text, value, 0.0005 * abs(value), 4)
    if key == "angle":
        found["sine"] = Written(text, math.sin(math.radians(value)), 0.0, 4)


def _by_audit(line: LineResult, audit: Audit | None) -> LineResult:
    """Return a line that cannot be followed as right where it agrees with the bench's audit."""
    if line.kind != "cannot tell" or line.low is not None or line.written is None or audit is None:
        return line
    # A group may have worked with any of its launches, or with their mean.
    known = [audit.quantities.get(line.line), *(each.quantities.get(line.line) for each in audit.launches)]
    if not any(isinstance(each, Quantity) and line.written.holds(each.low, each.high) for each in known):
        return line
    return replace(line, kind="right", by_audit=True)


def _stated(write_up: WriteUp, name: str) -> float:
    """Return the standard uncertainty that a set-up reading was given, 0 for none."""
    text = write_up.values.get(name, "")
    return read_quantity(text, unit="deg").u if text else 0.0


def _against(written: Mapping[str, Written], audit: Audit | None) -> dict[str, float]:
    found: dict[str, float] = {}
    for name in ("kinetic_energy", "potential_energy"):
        if audit is None or name not in audit.quantities or name not in written:
            found[name] = math.nan
            continue
        quantity = audit.quantity(name)
        found[name] = (written[name].value - quantity.value) / quantity.u if quantity.u > 0.0 else math.nan
    return found


def _size(number: Written | None) -> float:
    return 0.0 if number is None else abs(number.value)
