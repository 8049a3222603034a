"""Does a claim follow from the write-up's own numbers? Only structured choices are judged; free text is left to the teacher."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from joulebook.classroom.written import Written
from joulebook.engine.house import Comparison, House, compare
from joulebook.uncertainty import Quantity

__all__ = ["REMARKS", "ClaimResult", "check_claim"]

REMARKS: Mapping[str, str] = {
    "follows": "The claim follows from the numbers.",
    "does-not-follow": "The claim does not follow from the numbers.",
    "too-sure": "The numbers cannot tell, and the claim says more than they do.",
    "too-careful": "The numbers do tell, and the claim says less than they do.",
    "no-claim": "No claim was made.",
    "no-uncertainty": "The energies have no uncertainty, so no claim can rest on them.",
    "digits": "More digits were written than the uncertainty carries.",
    "loss-without-size": "A loss was named without its size.",
    "friction-for-gain": "Friction is given as the cause of a gain; friction can only take energy away.",
    "loss-not-compared": "The loss was sized, but does not match the difference of the two energies.",
    "comparison-differs": "The comparison is not the one that the house rule gives for these two energies.",
}
"""What may be remarked about a claim, each in one sentence."""

_COUPLE_OF_DIGITS = 3  # digits of an uncertainty beyond which a value is overloaded: GUM 7.2.6 has one or two


@dataclass(frozen=True, slots=True)
class ClaimResult:
    """What a claim is, going by the write-up's own numbers.

    remarks: codes of REMARKS. comparison: the house's rule on the two energies as they were written; None without them.
    expected: the claims that follow from it.
    """

    remarks: tuple[str, ...]
    comparison: Comparison | None = None
    expected: tuple[str, ...] = ()


def check_claim(written: Mapping[str, Written], fields: Mapping[str, str], house: House) -> ClaimResult:
    """Check the claim of a write-up.

    written: its numbers by name. fields: its choices and texts by name. house: the rule of comparison.
    An uncertainty u is what the group gave or took: it is taken as a standard uncertainty, as the house's rules take it.
    """
    remarks: list[str] = []
    claim = fields.get("claim", "").strip()
    kinetic, potential = written.get("kinetic_energy"), written.get("potential_energy")
    ku, pu = written.get("kinetic_energy_u"), written.get("potential_energy_u")
    if not claim:
        remarks.append("no-claim")
    found: Comparison | None = None
    expected: tuple[str, ...] = ()
    needs_u = house.comparison not in ("percent difference",)
    if (ku is None or pu is None) and (needs_u or claim):
        remarks.append("no-uncertainty")
    if kinetic is not None and potential is not None and not (needs_u and (ku is None or pu is None)):
        found = compare(_quantity(kinetic, ku), _quantity(potential, pu), house)
        expected = _claims(found, kinetic.value - potential.value)
        if claim:
            remarks.append(_follows(claim, expected, found))
        remarks += _comparison_remarks(written, kinetic, potential, found)
    remarks += _digit_remarks((kinetic, ku), (potential, pu))
    remarks += _loss_remarks(written, fields, claim, kinetic, potential)
    return ClaimResult(tuple(dict.fromkeys(remarks)), found, expected)


def _quantity(value: Written, u: Written | None) -> Quantity:
    size = 0.0 if u is None else u.value
    return Quantity(value.value, "J", size, math.inf, value.value - 2.0 * size, value.value + 2.0 * size)


def _claims(found: Comparison, difference: float) -> tuple[str, ...]:
    if found.answer == "agree":
        # "We cannot tell" is as good a word for two values that agree within a wide uncertainty.
        return ("conserved", "undecided")
    if found.answer == "unclear":
        return ("undecided",)
    return ("loss",) if difference > 0.0 else ("gain",)


def _follows(
    claim: str, expected: tuple[str, ...], found: Comparison
) -> Literal["follows", "does-not-follow", "too-sure", "too-careful"]:
    if claim in expected:
        return "follows"
    if found.answer == "unclear":
        return "too-sure"
    if claim == "undecided":
        return "too-careful"
    return "does-not-follow"


def _comparison_remarks(written: Mapping[str, Written], kinetic: Written, potential: Written, found: Comparison) -> list[str]:
    own = written.get("own_comparison")
    if own is None or math.isnan(found.number):
        return []
    # A percentage may be written as a fraction or as a number of percent, with or without its sign: a house's choice.
    sizes = {abs(found.number), 100.0 * abs(found.number)}
    slack = 0.02 * abs(found.number) + _rounding_share(kinetic, potential)
    near = [
        size
        for size in sizes
        if own.holds(size * (1.0 - slack), size * (1.0 + slack)) or own.holds(-size * (1.0 + slack), -size * (1.0 - slack))
    ]
    return [] if near else ["comparison-differs"]


def _rounding_share(kinetic: Written, potential: Written) -> float:
    gap = abs(kinetic.value - potential.value)
    return (kinetic.half + potential.half) / gap if gap else math.inf


def _digit_remarks(*pairs: tuple[Written | None, Written | None]) -> list[str]:
    for value, u in pairs:
        if value is not None and u is not None and u.value > 0.0 and value.half * 2.0 < u.value / 10.0**_COUPLE_OF_DIGITS:
            return ["digits"]
    return []


def _loss_remarks(
    written: Mapping[str, Written], fields: Mapping[str, str], claim: str, kinetic: Written | None, potential: Written | None
) -> list[str]:
    where = fields.get("loss_where", "").strip()
    size = written.get("loss_size")
    named = where in ("rolling", "air", "sound", "wheels")
    gain = claim == "gain" or (not claim and kinetic is not None and potential is not None and potential.low > kinetic.high)
    if named and gain:
        return ["friction-for-gain"]
    if named and size is None:
        return ["loss-without-size"]
    if named and size is not None and kinetic is not None and potential is not None:
        gap = kinetic.value - potential.value
        u = math.hypot(*(each.value for each in (written.get("kinetic_energy_u"), written.get("potential_energy_u")) if each))
        if abs(size.value - gap) > 2.0 * u + size.half + kinetic.half + potential.half:
            return ["loss-not-compared"]
    return []
