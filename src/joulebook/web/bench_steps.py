"""The steps of own work as parts of the bench page: their words, their fields in rows, and how far each one is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from joulebook.classroom.own_work import COMMITTED_STEPS, FIELDS, Field, check_fields
from joulebook.classroom.section import BenchState, missing_for_commit
from joulebook.classroom.step_words import HEADINGS
from joulebook.engine.house import House
from joulebook.errors import Fault
from joulebook.render.decimal_sign import with_decimal
from joulebook.web.bench_contexts import StepField, StepPart
from joulebook.web.bench_status import BEGUN, DONE, FIXED, LOOK, TODO, at_the_end, called

__all__ = ["HEADINGS", "commits", "page_order", "step_part", "still_missing"]

_LEADS: Mapping[str, str] = {
    "predict": "Before you measure: what do you expect?",
    "readings": "Read these from the picture of one launch. Decide for yourselves where the cart leaves the plunger and where it "
    "turns. “Give or take” is a limit here too: your reading is off by no more than that.",
    "calculation": "Write the formula with your numbers in “Working”, then the result with its unit.",
    "uncertainty": "How far off is each energy typically? That is its standard uncertainty u, and no limit. A limit of a reading gives "
    "u = limit ÷ √3, about 0.58 × limit; join the u of your readings to those of the energies.",
    "claim": "Say what your own numbers let you say, before you see them compared.",
    "comparison": "",
    "losses": "What could have taken energy away, and how much of it?",
    "improve": "If you had another lesson at this bench.",
}
_NEEDED_TO_COMMIT = ("calculation", "uncertainty", "claim")


def page_order(house: House) -> tuple[str, ...]:
    """Return the ids of the page's parts in their order: the house's steps, with set-up and records where the measuring begins.

    Two steps move: uncertainties are in joules here and come after the energies; the comparison comes after committing.
    """
    steps = [step for step in house.steps if step in FIELDS]
    if "uncertainty" in steps and "calculation" in steps and steps.index("uncertainty") < steps.index("calculation"):
        steps.remove("uncertainty")
        steps.insert(steps.index("calculation") + 1, "uncertainty")
    if commits(house):
        last = max(steps.index(step) for step in COMMITTED_STEPS if step in steps)
        if "comparison" in steps and steps.index("comparison") < last:
            steps.remove("comparison")
            steps.insert(last, "comparison")
        last = max(steps.index(step) for step in COMMITTED_STEPS if step in steps)
        steps.insert(last + 1, "commit")
    first = next((place for place, step in enumerate(steps) if step != "predict"), len(steps))
    return (*steps[:first], "set-up", "records", *steps[first:])


def commits(house: House) -> bool:
    """Whether the students of this house have the steps that are committed."""
    return all(step in house.steps for step in _NEEDED_TO_COMMIT)


def still_missing(bench: BenchState, house: House) -> tuple[str, ...]:
    """Return what stands between a group and committing: what is blank, and numbers that nobody can read."""
    blank = missing_for_commit(bench)
    unread = []
    for step in _NEEDED_TO_COMMIT:
        saved = bench.work.get(step)
        for fault in check_fields(step, saved.fields, decimal=house.decimal) if saved else ():
            label = next((each.label for each in FIELDS[step] if each.name == fault.where), fault.where)
            unread.append(f"{label} (not understood as a number)")
    return (*blank, *unread)


def step_part(step: str, bench: BenchState, house: House, *, closed: bool, typed: Mapping[str, str] | None = None) -> StepPart:
    """Return one step of own work. closed: after the bell. typed: texts of a form that could not be kept."""
    saved = bench.work.get(step)
    kept = dict(saved.fields) if saved else {}
    fixed = bool(bench.committed_at) and step in COMMITTED_STEPS
    locked = "The lesson is over." if closed else "Committed: only your teacher can open this again." if fixed else ""
    texts = kept if locked else kept | dict(typed or {})
    faults = {fault.where: fault for fault in check_fields(step, texts, decimal=house.decimal)}
    fields = {field.name: _field(field, texts.get(field.name, ""), faults.get(field.name)) for field in FIELDS[step]}
    asked = [each for each in fields.values() if each.field.shape != "text" or len(fields) < 3]
    status = TODO
    if any(each.text.strip() for each in fields.values()):
        status = BEGUN if any(not each.text.strip() for each in asked) else called(DONE, "saved")
    if faults:
        status = LOOK
    elif fixed:
        status = FIXED
    # What came too late is shown, so that nothing is lost: it can be copied.
    late = tuple(
        (each.label, dict(each.choices).get(typed[each.name], typed[each.name]))
        for each in FIELDS[step]
        if locked and typed and typed.get(each.name, "") not in ("", kept.get(each.name, ""))
    )
    return StepPart(
        step, HEADINGS[step], _LEADS[step], tuple(with_decimal(line, house.decimal) for line in _lines(step, house, bench)),
        at_the_end(status) if closed else status,
        _rows(fields), saved.seq if saved else 0, saved.at if saved else "", locked, late,
    )  # fmt: skip


def _field(field: Field, text: str, fault: Fault | None) -> StepField:
    shown = dict(field.choices).get(text, text)
    bare = text.strip().replace(",", "").replace(".", "").replace("-", "").replace("−", "").isdigit()
    if field.shape == "number" and text.strip() and field.unit and bare:
        shown = f"{text.strip()} {field.unit}"
    return StepField(field, text, shown, "" if fault is None else f"{fault.what} {fault.remedy}".strip())


def _rows(fields: Mapping[str, StepField]) -> tuple[tuple[StepField, ...], ...]:
    """Return the fields in rows: a number with its give or take, a result with its working."""
    rows: list[tuple[StepField, ...]] = []
    for name, each in fields.items():
        partner = name.removesuffix("_u")
        if name.endswith("_u") and partner in fields and rows:
            rows[-1] = (*rows[-1], replace(each, partner=True))
        elif name.endswith("_work") and rows:
            # The working is written first and leads to the result.
            rows[-1] = (replace(each, partner=True), *rows[-1])
        else:
            rows.append((each,))
    return tuple(rows)


def _lines(step: str, house: House, bench: BenchState) -> tuple[str, ...]:
    """Return the formulas of a step, where the house prints them."""
    if step != "calculation":
        return ()
    gravity = (f"Use g = {house.gravity.value:g} m/s².",) if house.gravity is not None else ()
    if not house.formulas:
        return gravity
    rise = "track.rise" in bench.values
    height = "h = d × rise ÷ L" if rise else "h = d × sin θ"
    return ("d = distance at release − distance at the highest point, without its sign", height, "KE = ½ m v²", "PE = m g h", *gravity)
