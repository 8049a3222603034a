"""A group's own two energies compared by the house's rule, in words: from its own numbers alone, after it has committed them."""

from __future__ import annotations

import math

from joulebook.classroom.own_work import FIELDS, own_number
from joulebook.classroom.section import BenchState
from joulebook.engine.house import BASES, COMPARISONS, Comparison, House, compare
from joulebook.errors import InputError
from joulebook.render.decimal_sign import with_decimal, with_decimal_svg
from joulebook.render.numbers import number, percent
from joulebook.render.own_energies_picture import draw_own_energies
from joulebook.render.picture import Picture
from joulebook.uncertainty import Quantity
from joulebook.web.bench_contexts import OwnComparison

__all__ = ["own_comparison"]

_WANTED = (
    ("calculation", "kinetic_energy"),
    ("calculation", "potential_energy"),
    ("uncertainty", "kinetic_energy_u"),
    ("uncertainty", "potential_energy_u"),
)
_HOW = (
    "Each u of yours is one standard uncertainty of that energy, and the two energies are taken as independent. The intervals reach "
    "two standard uncertainties to either side: your energy ± 2u."
)


def own_comparison(bench: BenchState, house: House) -> OwnComparison:
    """Return the comparison of a bench that has committed. Nothing but the group's own four numbers goes into it."""
    try:
        a, b, ua, ub = (_number(bench, step, name, house) for step, name in _WANTED)
    except InputError as error:
        return OwnComparison(problem=f"{error.message} Ask your teacher to open your work again.")
    kinetic, potential = _quantity(a, abs(ua)), _quantity(b, abs(ub))
    found = compare(kinetic, potential, house)
    picture = draw_own_energies(kinetic, potential, name="own-energies")
    claim = bench.work.get("claim")
    chosen = claim.fields.get("claim", "") if claim else ""
    words = dict(FIELDS["claim"][0].choices)
    return OwnComparison(
        question=COMPARISONS[house.comparison],
        sentence=with_decimal(_sentence(found, kinetic, potential, house), house.decimal),
        how=_HOW,
        claim=words.get(chosen, ""),
        picture=_with_sign(picture, house.decimal),
    )


def _number(bench: BenchState, step: str, name: str, house: House) -> float:
    field = next(each for each in FIELDS[step] if each.name == name)
    saved = bench.work.get(step)
    value = own_number(saved.fields.get(name, "") if saved else "", field, decimal=house.decimal)
    if value is None:
        raise InputError(f"“{field.label}” is blank.", remedy="Fill it in.")
    return value


def _quantity(value: float, u: float) -> Quantity:
    return Quantity(value, "J", u, math.inf, value - 2.0 * u, value + 2.0 * u)


def _sentence(found: Comparison, kinetic: Quantity, potential: Quantity, house: House) -> str:
    """Return what the house's rule says about the two energies, with its numbers."""
    agree = {"agree": "By the rule of your class they agree.", "differ": "By the rule of your class they differ."}
    told = agree.get(found.answer, "By the rule of your class this cannot be told: a better measurement is needed.")
    if found.method == "percent difference":
        if not math.isfinite(found.number):
            return "Both energies are zero, so no percentage can be taken."
        return (
            f"Your two energies are {percent(abs(found.number))} of {BASES[house.percent_of]} apart; up to "
            f"{percent(found.limit)} counts as the same. {told}"
        )
    if found.method == "overlap of intervals":
        both = "share a stretch of the line" if found.answer == "agree" else "do not meet"
        return f"Your two intervals {both}. {told}"
    if found.method == "percentage uncertainty":
        if not math.isfinite(found.number) or not math.isfinite(found.limit):
            return "An energy of zero has no percentage, so this rule cannot be used."
        return (
            f"The difference is {percent(found.number)} of the energy at the top; the two percentage uncertainties (2u each) "
            f"together are {percent(found.limit)}. {told}"
        )
    if found.method == "t-prime":
        joint = math.hypot(kinetic.u, potential.u)
        if not joint:
            return "Without an uncertainty nothing can be told by this rule."
        return (
            f"The difference is {number(abs(kinetic.value - potential.value), 2)} J and the joint standard uncertainty "
            f"√(u₁² + u₂²) is {number(joint, 2)} J, so t′ = {number(found.number, 2)}. Below 1 they agree, above 3 they differ. {told}"
        )
    if potential.value == 0.0:
        return "An energy of zero at the top leaves nothing to divide by."
    loss = (kinetic.value - potential.value) / potential.value
    return (
        f"Your loss is {percent(loss)} of the energy at the top. Whether rolling resistance explains it your class finds out "
        "together, when the ledger is opened."
    )


def _with_sign(picture: Picture, decimal: str) -> Picture:
    if decimal == ".":
        return picture
    rows = tuple(tuple(with_decimal(cell, decimal) for cell in row) for row in picture.table_rows)
    return Picture(
        picture.name, picture.title, with_decimal(picture.sentence, decimal), with_decimal_svg(picture.svg, decimal),
        with_decimal_svg(picture.narrow, decimal), picture.table_headings, rows,
    )  # fmt: skip
