"""From a write-up worked through to suggested levels and comments, each with its evidence. The teacher confirms; nothing here is
a mark."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from joulebook.classroom.checking import Checked
from joulebook.classroom.claim_check import REMARKS
from joulebook.classroom.criteria import Criterion
from joulebook.classroom.judging import Judgement
from joulebook.classroom.line_sentences import line_sentence, reading_sentence

__all__ = ["COMMENTS", "Suggestion", "suggest"]

COMMENTS: Mapping[str, str] = {
    "set-up-complete": "Your set-up table is complete: somebody else could build your bench from it.",
    "set-up-how": "Say how each set-up reading was measured, and how sure you are of it.",
    "set-up-missing": "A set-up reading that the energies need is missing from your table.",
    "data-repeat": "One of your records could not be used: say what you saw in it, and what you did about it.",
    "data-good": "Your records are clean, and you recorded the cart at rest as well.",
    "readings-right": "You read the graph at the right places.",
    "readings-uncertainty": "Each reading needs a give or take: how far off can it be at most?",
    "readings-place": "Look again at which place of the graph each reading belongs to.",
    "calculation-right": "Your calculation can be followed line by line, and every line follows from the one before.",
    "calculation-one": "One step does not follow from your own numbers; everything after it does, and counted as right.",
    "calculation-more": "Write the formula first, then the numbers with their units, then the result: one line each.",
    "claim-follows": "Your claim is what your numbers say, no more and no less.",
    "claim-uncertainty": "A claim needs the uncertainty of both energies: two numbers are never exactly equal.",
    "claim-numbers": "Hold your claim against your two energies with their uncertainties: do the numbers say this?",
    "losses-size": "Give the size of the loss that you name, and compare it with the difference of your energies.",
    "losses-gain": "Friction can only take energy away. If there is more at the top, ask which reading could be off.",
    "losses-good": "You named where the energy went, gave its size, and it fits.",
    "improvement-size": "Say by how much your improvement would shrink the uncertainty.",
    "communication-digits": "Write no more digits than your uncertainty carries.",
    "communication-numbers": "One of your entries could not be read as a number.",
}
"""The comment bank that stands until a teacher writes others."""


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A suggested level for one criterion.

    criterion: its name. level: one of LEVELS, "" where a person must read the text. evidence: what it rests on, a sentence each.
    comments: names in the comment bank that fit.
    """

    criterion: str
    level: str
    evidence: tuple[str, ...]
    comments: tuple[str, ...] = ()


def suggest(checked: Checked, judgement: Judgement | None, criteria: Iterable[Criterion]) -> dict[str, Suggestion]:
    """Suggest a level for each criterion that data can say something about.

    judgement: of the bench's data, None when it has none. Criteria of the teacher's own get no level, only the evidence at hand.
    """
    makers = {
        "set-up": lambda: _set_up(checked),
        "data": lambda: _data(judgement),
        "readings": lambda: _readings(checked),
        "calculation": lambda: _calculation(checked),
        "claim": lambda: _claim(checked),
        "losses": lambda: _losses(checked),
        "improvement": lambda: _improvement(checked),
        "communication": lambda: _communication(checked),
    }
    return {
        criterion.name: makers[criterion.name]()
        if criterion.name in makers
        else Suggestion(criterion.name, "", ("This criterion is yours to read.",))
        for criterion in criteria
    }


def _set_up(checked: Checked) -> Suggestion:
    values = checked.write_up.values
    slope = "track.angle" in values or {"track.rise", "track.along"} <= values.keys()
    given = [name for name, there in (("mass", "cart.mass" in values), ("slope", slope)) if there]
    evidence = (f"Given: {', '.join(given) or 'nothing'}.",)
    if not given:
        return Suggestion("set-up", "missing", evidence, ("set-up-missing",))
    if len(given) == 1:
        return Suggestion("set-up", "inadequate", evidence, ("set-up-missing",))
    shown = checked.readings.get("slope")
    if shown is not None and shown.kind == "off":
        return Suggestion("set-up", "needs improvement", (*evidence, reading_sentence(shown)), ("set-up-how",))
    sure = all("±" in values[name] or "(" in values[name] for name in values if name.startswith(("cart.mass", "track.")))
    if not sure:
        return Suggestion("set-up", "needs improvement", (*evidence, "Not every reading has its uncertainty."), ("set-up-how",))
    return Suggestion("set-up", "adequate", (*evidence, "Each with its uncertainty."), ("set-up-complete",))


def _data(judgement: Judgement | None) -> Suggestion:
    if judgement is None or (judgement.audit is None and not judgement.news):
        return Suggestion("data", "missing", ("There is no record of this bench.",))
    if judgement.ledger is None and not (judgement.audit is not None and judgement.audit.quantities):
        return Suggestion(
            "data", "inadequate", (judgement.problem or "No energy can be taken from the records.",), ("data-repeat",)
        )
    worst = [finding for finding in judgement.findings if finding.severity in ("stop", "look")]
    if worst:
        return Suggestion("data", "needs improvement", tuple(finding.message for finding in worst[:2]), ("data-repeat",))
    return Suggestion("data", "adequate", ("No record needs a second look.",), ("data-good",))


def _readings(checked: Checked) -> Suggestion:
    # The slope is a reading of the set-up, not of the graph.
    given = {name: each for name, each in checked.readings.items() if each.kind != "blank" and name != "slope"}
    if not given:
        return Suggestion("readings", "missing", ("No reading from the graph is given.",))
    evidence = tuple(reading_sentence(each) for each in given.values())
    off = [name for name, each in given.items() if each.kind in ("off", "other feature")]
    if off:
        return Suggestion("readings", "inadequate" if len(off) > 1 else "needs improvement", evidence, ("readings-place",))
    sized = [name for name in given if checked.write_up.fields.get(f"{name}_u", "").strip()]
    if len(sized) < len(given):
        return Suggestion(
            "readings", "needs improvement", (*evidence, "Not every reading has its give or take."), ("readings-uncertainty",)
        )
    if any(each.kind == "no audit" for each in given.values()):
        return Suggestion("readings", "", (*evidence, "There is no audit to hold them against."))
    return Suggestion("readings", "adequate", evidence, ("readings-right",))


def _calculation(checked: Checked) -> Suggestion:
    done = {name: line for name, line in checked.lines.items() if line.kind != "blank"}
    if not {"kinetic_energy", "potential_energy"} & done.keys():
        return Suggestion("calculation", "missing", ("Neither energy is worked out.",), ("calculation-more",))
    evidence = tuple(line_sentence(line) for line in done.values())
    unseen = [line for line in done.values() if line.kind == "cannot tell" and line.low is None]
    wrong = [line for line in done.values() if line.wrong and not line.harmless]
    if unseen and not wrong:
        return Suggestion("calculation", "", (*evidence, "Ask to see these lines."))
    if not wrong and {"kinetic_energy", "potential_energy"} <= done.keys():
        return Suggestion("calculation", "adequate", evidence, ("calculation-right",))
    if len(wrong) <= 1:
        return Suggestion("calculation", "needs improvement", evidence, ("calculation-one",) if wrong else ("calculation-more",))
    return Suggestion("calculation", "inadequate", evidence, ("calculation-more",))


def _claim(checked: Checked) -> Suggestion:
    remarks = checked.claim.remarks
    evidence = tuple(REMARKS[code] for code in remarks if not code.startswith(("loss", "friction", "digits")))
    if "no-claim" in remarks:
        return Suggestion("claim", "missing", evidence, ("claim-numbers",))
    if "no-uncertainty" in remarks:
        return Suggestion("claim", "inadequate", evidence, ("claim-uncertainty",))
    if "does-not-follow" in remarks:
        return Suggestion("claim", "inadequate", evidence, ("claim-numbers",))
    if {"too-sure", "too-careful", "comparison-differs"} & set(remarks):
        return Suggestion("claim", "needs improvement", evidence, ("claim-numbers",))
    if "follows" in remarks:
        return Suggestion("claim", "adequate", evidence, ("claim-follows",))
    return Suggestion("claim", "", ("The two energies are not both there, so the claim must be read.",))


def _losses(checked: Checked) -> Suggestion:
    remarks, fields = checked.claim.remarks, checked.write_up.fields
    where = fields.get("loss_where", "").strip()
    evidence = tuple(REMARKS[code] for code in remarks if code.startswith(("loss", "friction")))
    if "friction-for-gain" in remarks:
        return Suggestion("losses", "inadequate", evidence, ("losses-gain",))
    if not where:
        return Suggestion("losses", "missing", ("No place was chosen.",), ("losses-size",))
    if where in ("none", "unsure", "reading"):
        return Suggestion("losses", "", (f"The choice was “{where}”: read the reason.",))
    if evidence:
        return Suggestion("losses", "needs improvement", evidence, ("losses-size",))
    return Suggestion(
        "losses", "adequate", ("A place and a size are given, and the size fits the difference.",), ("losses-good",)
    )


def _improvement(checked: Checked) -> Suggestion:
    text = checked.write_up.fields.get("improve", "").strip()
    if not text:
        return Suggestion("improvement", "missing", ("Nothing is written.",), ("improvement-size",))
    return Suggestion("improvement", "", (f"To be read: “{text[:300]}”",), ("improvement-size",))


def _communication(checked: Checked) -> Suggestion:
    if checked.unread:
        evidence = tuple(f"{name}: {why}" for name, why in list(checked.unread.items())[:3])
        return Suggestion("communication", "needs improvement", evidence, ("communication-numbers",))
    if "digits" in checked.claim.remarks:
        return Suggestion("communication", "needs improvement", (REMARKS["digits"],), ("communication-digits",))
    return Suggestion("communication", "", ("Numbers can be read and have sensible digits; the words are yours to judge.",))
