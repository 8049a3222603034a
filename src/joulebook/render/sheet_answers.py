"""The answer sheet after the class: what joulebook found at each bench, compared by the house's rule, and the class together."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from joulebook.engine.house import BASES, Comparison, House, compare
from joulebook.engine.report import Audit
from joulebook.errors import JoulebookError
from joulebook.render.numbers import interval_text, number, percent
from joulebook.render.plain import clean_text, sorted_findings
from joulebook.render.sheet_blocks import Block, Heading, Keep, Listing, Part, Tabled, Text
from joulebook.render.sheet_facts import entered
from joulebook.render.sheet_pictures import Loss, draw_losses
from joulebook.render.words import SEVERITY_WORDS
from joulebook.uncertainty import Quantity
from joulebook.uncertainty.rounding import write

__all__ = ["AnswerRow", "compose_answers"]

AnswerRow = Audit | tuple[str, JoulebookError]

_VERDICTS = {"gain": "gain: a reading is wrong", "loss": "loss", "conserved": "conserved", "undecided": "cannot tell"}
_ANSWERS = {"agree": "agree", "differ": "differ", "unclear": "unclear"}


def compose_answers(rows: Sequence[AnswerRow], house: House, *, large: bool = False) -> Part:
    """Return the answer sheet of a section. rows: an audit for each bench, or (folder, error) where there is none."""
    audits = [row for row in rows if isinstance(row, Audit)]
    failed = [row for row in rows if not isinstance(row, Audit)]
    sound = [audit for audit in audits if _sound(audit)]
    picture = draw_losses([_loss(audit) for audit in sound], large=large)
    blocks: list[Block] = [
        Text("For the teacher only. Do not show it before the groups have handed in their own numbers.", boxed=True),
        _energies(audits, house),
        Text(_rule(house)),
        _slopes(audits),
    ]
    if failed:
        rows_failed = tuple(
            (clean_text(folder), clean_text(str(error.message)), clean_text(error.remedy)) for folder, error in failed
        )
        blocks.append(Tabled("Benches without an audit", ("Bench", "Why", "What to do"), rows_failed, (2, 4, 4), small=True))
    blocks.append(Keep((Heading("The class together"), Listing(_summary(audits, sound, len(failed), house)))))
    if picture is not None:
        blocks.append(picture)
    for audit in audits:
        if any(finding.severity != "note" for finding in audit.findings):
            blocks.append(Keep((Heading(_title(audit)), Listing(_findings(audit)))))
    blocks.append(Keep((
        Heading("To talk about"),
        Listing((
            "KE here is ½ m v² alone, as on the worksheet. The turning wheels hold a little more; the verdict counts them in.",
            "Where our rule says agree and the verdict says loss, the data are sharper than the rule.",
            "The slope that the motion shows is a cross-check. A student who used it in place of the measured one would prove "
            "nothing.",
            "The right answer of a bench is what its own kit could tell. “We cannot tell” is a good claim where the ± is large.",
        )),
    )))  # fmt: skip
    names = tuple(_title(audit) for audit in audits) + tuple(record.file for audit in audits for record in audit.records)
    return Part("What the benches found", "Answer sheet", "teacher", tuple(blocks), keep=names, wide=True)


def _energies(audits: Sequence[Audit], house: House) -> Tabled:
    rows = []
    for audit in audits:
        if not audit.quantities:
            rows.append((_title(audit), "–", "–", "–", "no ledger"))
            continue
        kinetic, potential = audit.quantity("kinetic_energy"), audit.quantity("potential_energy")
        verdict = _VERDICTS[audit.verdict.mechanical] if _sound(audit) else "do not use"
        compared = compare(kinetic, potential, house, model_loss=_model_loss(audit))
        rows.append((_title(audit), _joules(kinetic, house), _joules(potential, house), _compared(compared), verdict))
    headings = ("Bench", "KE at release, J", "PE gained, J", f"By our rule: {house.comparison}", "joulebook’s verdict")
    return Tabled("Energies, each with its standard uncertainty u", headings, tuple(rows), (3.0, 2.6, 2.6, 2.8, 2.2), small=True)


def _slopes(audits: Sequence[Audit]) -> Tabled:
    rows = []
    for audit in audits:
        relative, seen = audit.quantities.get("relative_difference"), audit.quantities.get("slope_from_motion")
        loss = interval_text("relative_difference", relative) if isinstance(relative, Quantity) else "–"
        shown = f"{write(seen.value, seen.u, digits=2)}°".replace(" ± ", "° ± ") if isinstance(seen, Quantity) else "–"
        rows.append((_title(audit), _stated(audit), shown, loss, _look(audit)))
    headings = ("Bench", "Slope stated", "Slope from the motion", "Loss, 95 % interval", "Look at")
    return Tabled("Slopes, losses and findings", headings, tuple(rows), (3.0, 2.6, 2.6, 2.8, 2.2), small=True)


def _rule(house: House) -> str:
    if house.comparison == "percent difference":
        sign = ", with its sign (bottom less top)" if house.signed else ""
        limit = f"{100 * house.tolerance:g} %"
        return f"The percent difference is taken of {BASES[house.percent_of]}{sign}; up to {limit} counts as equal."
    return {
        "overlap of intervals": "The intervals are KE ± 2u and PE ± 2u; they agree when they share a point.",
        "percentage uncertainty": "The difference in percent of PE is held against the percentages 2u of KE and PE added up.",
        "t-prime": "t' = |KE − PE| ÷ √(u² + u²): below 1 they cannot be told apart, above 3 they differ, between it is unclear.",
        "model test": "The loss in percent of PE is held against μ ÷ tan θ by t': below 1 they agree, above 3 they differ.",
    }[house.comparison]


def _compared(found: Comparison) -> str:
    answer = _ANSWERS[found.answer]
    if math.isnan(found.number):
        return answer
    if found.method in ("percent difference", "percentage uncertainty"):
        shown = f"{100 * found.number:.1f} %"
        if found.method == "percentage uncertainty":
            shown += f" against {100 * found.limit:.1f} %"
    else:
        shown = f"t' = {found.number:.1f}"
    return f"{shown}: {answer}".replace("-", "−")


def _model_loss(audit: Audit) -> Quantity | None:
    """Return μ/tanθ, the loss that rolling resistance makes as a fraction of the energy at the top, with the stated slope."""
    resistance, slope = audit.quantities.get("rolling_resistance"), _angle(audit)
    if not isinstance(resistance, Quantity) or slope is None:
        return None
    tangent = math.tan(math.radians(slope))
    return Quantity(resistance.value / tangent, "1", resistance.u / tangent, math.inf, 0.0, 0.0)


def _angle(audit: Audit) -> float | None:
    """Return the stated slope in degrees."""
    given = {item.name: item.value for item in audit.inputs}
    if "track.angle" in given:
        angle: float = given["track.angle"]
        return angle if 0.0 < angle < 90.0 else None
    rise, along = given.get("track.rise", 0.0), given.get("track.along", 0.0)
    return math.degrees(math.asin(rise / along)) if 0.0 < rise < along else None


def _stated(audit: Audit) -> str:
    given = {item.name: item for item in audit.inputs}
    if "track.angle" in given:
        return entered(given["track.angle"])
    angle = _angle(audit)
    if angle is None:
        return "–"
    return f"{angle:.2f}°, from rise and length"


def _joules(quantity: Quantity, house: House) -> str:
    return write(quantity.value, quantity.u, digits=house.uncertainty_digits).replace("-", "−")


def _sound(audit: Audit) -> bool:
    """Whether the audit has a ledger that no finding stops."""
    stopped = any(finding.severity == "stop" for finding in audit.findings)
    return bool(audit.quantities) and not stopped and math.isfinite(audit.verdict.resolution)


def _loss(audit: Audit) -> Loss:
    relative = audit.quantity("relative_difference")
    return _title(audit), relative.value, relative.low, relative.high


def _look(audit: Audit) -> str:
    worst = [finding for finding in sorted_findings(audit) if finding.severity != "note"]
    return ", ".join(dict.fromkeys(f"{SEVERITY_WORDS[each.severity].mark} {each.code}" for each in worst)) or "nothing"


def _findings(audit: Audit) -> tuple[str, ...]:
    shown = [finding for finding in sorted_findings(audit) if finding.severity != "note"]
    return tuple(
        dict.fromkeys(clean_text(f"{SEVERITY_WORDS[each.severity].word}: {each.message} {each.remedy}") for each in shown)
    )


def _summary(audits: Sequence[Audit], sound: Sequence[Audit], failed: int, house: House) -> tuple[str, ...]:
    if not sound:
        return ("No bench has a ledger that can be used.",)
    tally: Counter[str] = Counter(audit.verdict.mechanical for audit in sound)
    words = {"loss": "loss", "conserved": "conserved", "undecided": "cannot tell", "gain": "gain (which cannot be)"}
    told = ", ".join(f"{text} {tally[key]}" for key, text in words.items() if tally[key])
    doubted = [audit for audit in sound if any(finding.severity == "look" for finding in audit.findings)]
    plain, again = len(sound) - len(doubted), len(audits) + failed - len(sound)
    looked = f" {len(doubted)} need a look first ({', '.join(_title(audit) for audit in doubted)})." if doubted else ""
    repeat = f" {again} {'has' if again == 1 else 'have'} to be repeated." if again else ""
    lines = [f"{plain} of {len(audits) + failed} benches can be used as they are.{looked}{repeat} Verdicts: {told}."]
    best = min(sound, key=lambda audit: audit.verdict.resolution)
    worst = max(sound, key=lambda audit: audit.verdict.resolution)
    lines.append(f"The sharpest bench is {_title(best)}: it tells a difference of {percent(best.verdict.resolution)} from zero.")
    if worst is not best:
        least = percent(worst.verdict.resolution)
        lines.append(f"The bluntest is {_title(worst)}: nothing below {least} can be told from zero there.")
    resistances = [audit.quantities.get("rolling_resistance") for audit in sound]
    values = [each.value for each in resistances if isinstance(each, Quantity)]
    if values:
        lines.append(f"Rolling resistance μ lies between {number(min(values), 2)} and {number(max(values), 2)}.")
    answers: Counter[str] = Counter(
        compare(audit.quantity("kinetic_energy"), audit.quantity("potential_energy"), house, model_loss=_model_loss(audit)).answer
        for audit in sound
    )
    lines.append("By our rule: " + ", ".join(f"{_ANSWERS[key]} {answers[key]}" for key in _ANSWERS if answers[key]) + ".")
    return tuple(lines)


def _title(audit: Audit) -> str:
    return clean_text(audit.title) or "A bench without a title"
