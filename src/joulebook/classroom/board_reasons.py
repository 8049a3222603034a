"""Why a bench needs the teacher, as a card on the board says it: one short sentence, and what to do in another.

The bench's own page has the whole finding with its numbers; a card is read from two metres away, between two benches.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from joulebook.classroom.judging import Judgement
from joulebook.classroom.section import BenchState
from joulebook.engine.report import Finding
from joulebook.render.plain import clean_text, first_sentence
from joulebook.render.words import input_words

__all__ = ["LONGEST", "REASONS", "Reason", "pressing_reason"]

LONGEST = 72
"""Characters of a reason or a remedy: two lines of a card."""

_LONGEST_NAME = 22


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a bench needs the teacher. standing: "repeat" or "look". what: one sentence. do: what to do, one sentence."""

    standing: str
    what: str
    do: str


# Each at most LONGEST characters, without symbols, units or figures.
REASONS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "no-launch": ("The record shows no launch.", "Start recording, wait a second, then release."),
        "cut-short": ("Part of the ride is missing.", "Record from before the release until the cart is back."),
        "too-close": ("The cart came too near the ranger.", "Launch more weakly, or move the ranger back."),
        "too-far": ("The cart went out of the ranger’s reach.", "Move the ranger nearer, or launch more weakly."),
        "too-slow": ("Too few readings on the way up.", "Set the ranger to 20 readings a second or more."),
        "lost-echo": ("The ranger lost the cart.", "Aim it along the track; give the cart a flat card."),
        "ghost-echo": ("Some readings are not of the cart.", "Aim the ranger; clear what stands beside the track."),
        "stuck-echo": ("The ranger saw something that stands still.", "Clear the bench beside the track; aim again."),
        "clock": ("The times in the file are not right.", "Export again with time in seconds."),
        "no-rest": ("There is no rest record.", "Record the cart at the stop, plunger out."),
        "rest-mismatch": ("Rest record and launch do not fit together.", "Fix stop and ranger; take the rest record again."),
        "rest-cocked": ("The rest record was taken with the plunger cocked.", "Take it again with the plunger out."),
        "wrong-side": ("The ranger stands at the other end.", "Correct the end in the set-up readings."),
        "angle-mismatch": ("The stated slope is not the slope of the motion.", "Measure it again as height over length."),
        "angle-suspect": ("The stated angle cannot be the track’s.", "Ask for the angle to the level, in degrees."),
        "mass-suspect": ("The stated mass is not a cart’s.", "Weigh the cart; look at the unit, g or kg."),
        "units-suspect": ("The distances are in another unit.", "Look at the unit in the logger’s export."),
        "pushed-by-hand": ("The cart was pushed by hand.", "Release the plunger with the pin; hands off."),
        "caught": ("The cart was caught.", "Let it run back to the stop and bounce."),
        "second-launch": ("One record holds two launches.", "Save each launch as a record of its own."),
        "soft-stop": ("The stop gives way.", "A stiffer plunger gives sharper energies."),
        "misfit": ("The motion is not that of a straight, even track.", "Sight along the track; look for a bend or a rub."),
        "velocity-only": ("The file holds speeds and no distances.", "Export the distance column."),
    }
)  # fmt: skip
"""By finding code: what is the matter, and what to do about it."""


def pressing_reason(bench: BenchState, judgement: Judgement | None) -> Reason | None:
    """Return what most needs the teacher in a bench's data, None when nothing does.

    judgement: None while its data are being judged.
    """
    if judgement is None:
        return None
    broken = [each for each in judgement.news if each.problem]
    usable = judgement.audit is not None and bool(judgement.audit.quantities)
    unread = [(f"{_name(each.name)} cannot be read.", "See on its page why; let them export or record again.") for each in broken]
    if unread and not usable:
        return Reason("repeat", *unread[0])
    for severity, standing in (("stop", "repeat"), ("look", "look")):
        found = next((each for each in judgement.findings if each.severity == severity), None)
        if found is not None:
            return Reason(standing, *_told(bench, found))
        if standing == "repeat" and judgement.problem:
            return Reason(standing, _short(judgement.problem), _short(judgement.remedy))
    if unread:
        return Reason("look", *unread[0])
    if judgement.faults:
        label = input_words(judgement.faults[0].where).label
        return Reason("look", _short(f"{label[:1].upper()}{label[1:]}: not understood."), "Let them write it again, with its unit.")
    return None


def _told(bench: BenchState, finding: Finding) -> tuple[str, str]:
    what, do = REASONS.get(finding.code) or (_short(finding.message), _short(finding.remedy))
    record = finding.evidence.get("record")
    if isinstance(record, str) and len(bench.launches) > 1 and len(what) + len(_name(record)) + 2 <= LONGEST:
        what = f"{_name(record)}: {what[:1].lower()}{what[1:]}"
    return what, do


def _name(name: str) -> str:
    shown = clean_text(name)
    return shown if len(shown) <= _LONGEST_NAME else f"{shown[: _LONGEST_NAME - 5]}…{shown[-4:]}"


def _short(text: str) -> str:
    """Return the first sentence of a text, cut at a word where it is longer than a card."""
    first = first_sentence(text)
    return first if len(first) <= LONGEST else f"{first[: LONGEST - 1].rpartition(' ')[0] or first[: LONGEST - 1]}…"
