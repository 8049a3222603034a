"""The answer sheet after the class: what joulebook found at each bench, compared by the house's rule, and the class together."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from joulebook.engine.house import BASES, Comparison, House, compare
from joulebook.engine.report import Audit, Finding
from joulebook.errors import JoulebookError
from joulebook.render.answer_marks import LOOK, STOPPED, doubts, marked
from joulebook.render.numbers import number, percent
from joulebook.render.plain import clean_text, sorted_findings
from joulebook.render.planned import planned_inputs
from joulebook.render.sheet_blocks import Block, Heading, Keep, Listing, Part, Tabled, Text
from joulebook.render.sheet_pictures import Loss, draw_losses
from joulebook.render.words import SEVERITY_WORDS, input_words
from joulebook.uncertainty import Input, Quantity
from joulebook.uncertainty.rounding import write

__all__ = ["AnswerRow", "compose_answers"]

AnswerRow = Audit | tuple[str, JoulebookError]

_VERDICTS = {"gain": "gain: a reading is wrong", "loss": "loss", "conserved": "conserved", "undecided": "cannot tell"}
_MEANING = (
    "Every ± means the same: 19 of 20 such intervals hold the true value (95 %). Limits of ± 0.25° count as ± 0.24°.",
    f"{LOOK} and a word: this number changes when what the word names is put right. A number without them stands.",
    f"{STOPPED.partition(':')[0]}: the record cannot tell the energies, so none is shown. The bench records again.",
)
_ANSWERS = {"agree": "agree", "differ": "differ", "unclear": "unclear"}


def compose_answers(rows: Sequence[AnswerRow], house: House, *, large: bool = False) -> Part:
    """Return the answer sheet of a section. rows: an audit for each bench, or (folder, error) where there is none."""
    audits = [row for row in rows if isinstance(row, Audit)]
    failed = [row for row in rows if not isinstance(row, Audit)]
    sound = [audit for audit in audits if _sound(audit)]
    picture = draw_losses([_loss(audit) for audit in sound], large=large)
    blocks: list[Block] = [
        Text("Do not show it before the groups have handed in their own numbers.", lead="For the teacher only.", boxed=True),
        Listing(_MEANING),
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
    told = tuple(line for audit in audits for line in _findings(audit))
    if told:
        blocks += [Heading("What needs a person first"), Listing(told)]
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
        if not audit.quantities or not _sound(audit):
            rows.append((_title(audit), STOPPED, "–", "–", "–", "–"))
            continue
        kinetic, potential = audit.quantity("kinetic_energy"), audit.quantity("potential_energy")
        compared = _compared(compare(kinetic, potential, house, model_loss=_model_loss(audit)))
        rows.append(
            (
                _title(audit),
                _usable(audit),
                marked(_joules(kinetic, house), audit, "kinetic"),
                marked(_joules(potential, house), audit, "potential"),
                marked(compared, audit, "ratio"),
                marked(_VERDICTS[audit.verdict.mechanical], audit, "ratio"),
            )
        )
    headings = ("Bench", "Can it be used?", "KE at release, J", "PE gained, J", f"By our rule: {house.comparison}", "Verdict")
    return Tabled("Energies, each ± its 95 % interval", headings, tuple(rows), (2.6, 2.4, 2.2, 2.2, 2.5, 2.2), small=True)


def _usable(audit: Audit) -> str:
    """Return whether a bench's numbers can be used as they are, with what is in doubt and what was not measured."""
    words = doubts(audit)
    told = [f"{LOOK} look first: {', '.join(words)}"] if words else []
    if planned := [input_words(name).label for name in planned_inputs(audit)]:
        told.append(f"planned, not measured: {', '.join(planned)}")
    return "; ".join(told) or "yes"


def _slopes(audits: Sequence[Audit]) -> Tabled:
    rows = []
    for audit in audits:
        relative, seen = audit.quantities.get("relative_difference"), audit.quantities.get("slope_from_motion")
        usable = _sound(audit)
        loss = f"{_percents(relative)} %" if usable and isinstance(relative, Quantity) else "–"
        shown = _degrees(seen.value, seen.expanded) if usable and isinstance(seen, Quantity) else "–"
        rows.append((_title(audit), _stated(audit), shown, marked(loss, audit, "ratio") if usable else loss, _look(audit)))
    headings = ("Bench", "Slope as stated", "Slope from the motion", "Loss, % of the energy at release", "Findings")
    return Tabled("Slopes and losses, each ± its 95 % interval", headings, tuple(rows), (2.6, 2.6, 2.4, 3.0, 2.4), small=True)


def _percents(quantity: Quantity) -> str:
    return write(100.0 * quantity.value, 100.0 * quantity.expanded, digits=2).replace("-", "−")


def _degrees(value: float, expanded: float) -> str:
    return f"{write(value, expanded, digits=2)}°".replace(" ± ", "° ± ")


def _rule(house: House) -> str:
    if house.comparison == "percent difference":
        sign = ", with its sign (bottom less top)" if house.signed else ""
        limit = f"{100 * house.tolerance:g} %"
        return f"The percent difference is taken of {BASES[house.percent_of]}{sign}; up to {limit} counts as equal."
    return {
        "overlap of intervals": "The intervals are those of the table, ± 2u; they agree when they share a point.",
        "percentage uncertainty": "The difference in percent of PE is held against the percentages 2u of KE and PE added up.",
        "t-prime": "t' = |KE − PE| ÷ √(u² + u²), where u is about half of a ± above: below 1 they cannot be told apart, "
        "above 3 they differ, between it is unclear.",
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
    found = _stated_slope(audit)
    return found[0] if found is not None else None


def _stated(audit: Audit) -> str:
    found = _stated_slope(audit)
    if found is None:
        return "–"
    value, expanded, end = found
    return f"{_degrees(value, expanded) if expanded > 0.0 else f'{number(value, 4)}°'}{end}"


def _stated_slope(audit: Audit) -> tuple[float, float, str] | None:
    """Return the stated slope and its expanded uncertainty in degrees, and how it was found where not by its angle."""
    given = {item.name: item for item in audit.inputs}
    if angle := given.get("track.angle"):
        return (angle.value, _expanded(angle), "") if 0.0 < angle.value < 90.0 else None
    rise, along = given.get("track.rise"), given.get("track.along")
    if rise is None or along is None or not 0.0 < rise.value < along.value:
        return None
    sine = rise.value / along.value
    # sinθ = rise/along: U(θ) = U(sinθ)/cosθ (GUM 5.1.2), the larger part rectangular or not: added as squares.
    expanded = sine * math.hypot(_expanded(rise) / rise.value, _expanded(along) / along.value) / math.sqrt(1.0 - sine**2)
    return math.degrees(math.asin(sine)), math.degrees(expanded), " (rise/length)"


# Half the 95 % interval over the standard uncertainty, for what a person states (GUM G.1.3; 4.3.7 and 4.3.9 for the limits).
_FACTORS = {"rectangular": 0.95 * math.sqrt(3.0), "triangular": (1.0 - math.sqrt(0.05)) * math.sqrt(6.0)}


def _expanded(item: Input) -> float:
    return item.u * _FACTORS.get(item.distribution, 1.96)


def _joules(quantity: Quantity, house: House) -> str:
    return write(quantity.value, quantity.expanded, digits=house.uncertainty_digits).replace("-", "−")


def _sound(audit: Audit) -> bool:
    """Whether the audit has a ledger that no finding stops."""
    stopped = any(finding.severity == "stop" for finding in audit.findings)
    return bool(audit.quantities) and not stopped and math.isfinite(audit.verdict.resolution)


def _loss(audit: Audit) -> Loss:
    relative = audit.quantity("relative_difference")
    return _title(audit), relative.value, relative.low, relative.high, ", ".join(doubts(audit, "ratio"))


def _look(audit: Audit) -> str:
    worst = [finding for finding in sorted_findings(audit) if finding.severity != "note"]
    return ", ".join(dict.fromkeys(f"{SEVERITY_WORDS[each.severity].mark} {each.code}" for each in worst)) or "nothing"


def _findings(audit: Audit) -> tuple[str, ...]:
    shown = [finding for finding in sorted_findings(audit) if finding.severity != "note"]
    return tuple(
        dict.fromkeys(f"{_title(audit)}. {_sign(each)}: " + clean_text(f"{each.message} {each.remedy}") for each in shown)
    )


def _sign(finding: Finding) -> str:
    words = SEVERITY_WORDS[finding.severity]
    return f"{words.mark} {words.word}"


def _summary(audits: Sequence[Audit], sound: Sequence[Audit], failed: int, house: House) -> tuple[str, ...]:
    if not sound:
        return ("No bench has a ledger that can be used.",)
    plain = [audit for audit in sound if not doubts(audit)]
    doubted, again = [audit for audit in sound if doubts(audit)], len(audits) + failed - len(sound)
    looked = f" {len(doubted)} need{'s' if len(doubted) == 1 else ''} a look first ({_titles(doubted)})." if doubted else ""
    repeat = f" {again} {'has' if again == 1 else 'have'} to be repeated." if again else ""
    lines = [f"{len(plain)} of {len(audits) + failed} benches can be used as they are.{looked}{repeat}"]
    if plain:
        tally: Counter[str] = Counter(audit.verdict.mechanical for audit in plain)
        words = {"loss": "loss", "conserved": "conserved", "undecided": "cannot tell", "gain": "gain (which cannot be)"}
        told = ", ".join(f"{text} {tally[key]}" for key, text in words.items() if tally[key])
        answers: Counter[str] = Counter(_answer(audit, house) for audit in plain)
        ruled = ", ".join(f"{_ANSWERS[key]} {answers[key]}" for key in _ANSWERS if answers[key])
        lines.append(f"Of those that can be used as they are: {told}. By our rule: {ruled}.")
    best = min(sound, key=lambda audit: audit.verdict.resolution)
    worst = max(sound, key=lambda audit: audit.verdict.resolution)
    lines.append(f"The sharpest bench is {_title(best)}: it tells a difference of {percent(best.verdict.resolution)} from zero.")
    if worst is not best:
        least = percent(worst.verdict.resolution)
        lines.append(f"The bluntest is {_title(worst)}: nothing below {least} can be told from zero there.")
    resistances = [audit.quantities.get("rolling_resistance") for audit in sound]
    values = [each.value for each in resistances if isinstance(each, Quantity)]
    if values:
        lines.append(f"Rolling resistance μ lies between {min(values):.4f} and {max(values):.4f}.")
    return tuple(lines)


def _answer(audit: Audit, house: House) -> str:
    kinetic, potential = audit.quantity("kinetic_energy"), audit.quantity("potential_energy")
    return compare(kinetic, potential, house, model_loss=_model_loss(audit)).answer


def _titles(audits: Sequence[Audit]) -> str:
    return "; ".join(map(_title, audits))


def _title(audit: Audit) -> str:
    return clean_text(audit.title) or "A bench without a title"
