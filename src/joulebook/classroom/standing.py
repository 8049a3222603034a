"""Where a bench stands, in one word and one reason: what the board shows, and in which order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

from joulebook.classroom.board_reasons import pressing_reason
from joulebook.classroom.changes import when
from joulebook.classroom.judging import Judgement
from joulebook.classroom.section import BenchState, Section

__all__ = ["STANDINGS", "Standing", "StandingWords", "opened_at", "stand"]


@dataclass(frozen=True, slots=True)
class StandingWords:
    """How a standing is called. word: on the card. mark: a shape told apart without colour. need: 0 is served first. meaning: one
    sentence."""

    word: str
    mark: str
    need: int
    meaning: str


# The marks of "repeat" and "look" are those of a finding's severity in every report.
STANDINGS: Mapping[str, StandingWords] = MappingProxyType(
    {
        "repeat": StandingWords("Repeat", "■", 0, "a record cannot be used and must be made again"),
        "help": StandingWords("Hand up", "↑", 1, "the group asks for help"),
        "look": StandingWords("Look first", "▲", 2, "something about the data or the set-up needs a person's eye"),
        "quiet": StandingWords("Quiet", "…", 3, "nothing has come from this bench for a while"),
        "waiting": StandingWords("No data yet", "○", 4, "no launch record has come"),
        "checking": StandingWords("Being checked", "◌", 5, "its records have come and are being judged"),
        "set-up": StandingWords("Readings missing", "◔", 6, "the records are fine, set-up readings are missing"),
        "measured": StandingWords("Data fine", "●", 7, "records and set-up are fine; the group works on its numbers"),
        "committed": StandingWords("Committed", "◆", 8, "uncertainties and claim are committed"),
        "done": StandingWords("Signed off", "✓", 9, "the teacher has signed this bench off"),
    }
)
"""Every standing by name, in the order of need."""

_QUIET_MINUTES = 8.0
_FRESH_MINUTES = 90.0  # a section made longer ago was made in preparation: its lesson begins with the first thing a bench does


@dataclass(frozen=True, slots=True)
class Standing:
    """Where one bench stands. name: one of STANDINGS. reason: one sentence. minutes: since the bench's last change, None before
    its first. visited: whether the teacher was there. need: the order on the board, smaller first. remedy: what to do, one
    sentence, "" for nothing. beneath: where it would stand without its raised hand, if that needs the teacher too, else ""."""

    bench: int
    name: str
    reason: str
    minutes: float | None
    visited: bool
    need: tuple[float, ...]
    remedy: str = ""
    beneath: str = ""

    @property
    def words(self) -> StandingWords:
        """How it is called."""
        return STANDINGS[self.name]

    @property
    def words_beneath(self) -> StandingWords | None:
        """How that beneath a raised hand is called, None for nothing."""
        return STANDINGS[self.beneath] if self.beneath else None


def opened_at(section: Section, *, now: datetime) -> str:
    """Return since when benches can be expected to do something, as a change's time; "" before a lesson has begun.

    It is the first thing that any bench did. Before that it is the making of the section, if that was in this lesson. now: UTC.
    """
    if section.begun_at or not section.made_at:
        return section.begun_at
    return section.made_at if _minutes(section.made_at, now) <= _FRESH_MINUTES else ""


def stand(bench: BenchState, judgement: Judgement | None, *, now: datetime, opened: str = "") -> Standing:
    """Return where a bench stands.

    judgement: None while its data are being judged. now: UTC, with its zone. opened: since when the bench can be expected to do
    something, as `opened_at` says; "" for not known.
    """
    minutes = None if not bench.touched_at else _minutes(bench.touched_at, now)
    silent = minutes if minutes is not None else _minutes(opened, now) if opened else None
    name, reason, remedy = _without_hand(bench, judgement, silent)
    beneath = ""
    if bench.help_at:
        beneath = name if name in ("repeat", "look") else ""
        name, reason, remedy = ("help", reason, remedy) if beneath else ("help", "The group asks for help.", "")
    # Among equals: who has not been visited, then who waits longest.
    first = min(float(STANDINGS[each].need) for each in (name, beneath) if each)
    need = (first, float(bool(bench.visited_at)), -(silent or 0.0), float(bench.number))
    return Standing(bench.number, name, reason, minutes, bool(bench.visited_at), need, remedy, beneath)


def _minutes(since: str, now: datetime) -> float:
    """Return the minutes since a change; a clock that was set back gives none."""
    return max(0.0, (now - when(since)).total_seconds() / 60.0)


def _without_hand(bench: BenchState, judgement: Judgement | None, silent: float | None) -> tuple[str, str, str]:
    """Return name, reason and remedy of where a bench stands, its raised hand left out. silent: minutes without any news."""
    if bench.signed_off_at:
        return "done", "Signed off.", ""
    pressing = pressing_reason(bench, judgement)
    if pressing is not None:
        return pressing.standing, pressing.what, pressing.do
    if bench.committed_at:
        return "committed", "Uncertainties and claim are committed.", ""
    if judgement is None and bench.launches:
        return "checking", "The records are being checked.", ""
    if silent is not None and silent >= _QUIET_MINUTES:
        missing = judgement.missing if judgement is not None and bench.launches else ()
        more = f" Still missing: {_listed(missing)}." if missing else "" if bench.launches else " No launch yet."
        return "quiet", f"{'Nothing new' if bench.touched_at else 'Nothing at all'} for {_long(silent)}.{more}", ""
    if not bench.launches:
        return "waiting", "No launch record yet." if not bench.rest else "The rest record is here; no launch yet.", ""
    assert judgement is not None
    if judgement.missing:
        return "set-up", f"Records fine; still missing: {_listed(judgement.missing)}.", ""
    count = len(bench.launches)
    return "measured", f"{count} usable {'launch' if count == 1 else 'launches'}.", ""


def _long(minutes: float) -> str:
    return f"{minutes:.0f} minutes" if minutes < 120.0 else f"{minutes / 60.0:.0f} hours"


def _listed(names: tuple[str, ...]) -> str:
    words = {"cart.mass": "mass", "track.angle": "slope", "track.rise": "rise", "track.along": "stretch of the rise"}
    return ", ".join(words.get(name, name) for name in names)

