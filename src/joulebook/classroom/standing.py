"""Where a bench stands, in one word and one reason: what the board shows, and in which order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

from joulebook.classroom.judging import Judgement
from joulebook.classroom.section import BenchState

__all__ = ["STANDINGS", "Standing", "StandingWords", "stand", "when"]


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
_LONGEST_REASON = 160


@dataclass(frozen=True, slots=True)
class Standing:
    """Where one bench stands. name: one of STANDINGS. reason: one sentence. minutes: since the bench's last change, None before
    its first. visited: whether the teacher was there. need: the order on the board, smaller first."""

    bench: int
    name: str
    reason: str
    minutes: float | None
    visited: bool
    need: tuple[float, ...]

    @property
    def words(self) -> StandingWords:
        """How it is called."""
        return STANDINGS[self.name]


def stand(bench: BenchState, judgement: Judgement | None, *, now: datetime) -> Standing:
    """Return where a bench stands.

    judgement: None while its data are being judged. now: UTC, with its zone.
    """
    minutes = None if not bench.touched_at else max(0.0, (now - when(bench.touched_at)).total_seconds() / 60.0)
    name, reason = _name_and_reason(bench, judgement, minutes)
    # Among equals: who has not been visited, then who waits longest.
    need = (float(STANDINGS[name].need), float(bool(bench.visited_at)), -(minutes or 0.0), float(bench.number))
    return Standing(bench.number, name, reason, minutes, bool(bench.visited_at), need)


def when(at: str) -> datetime:
    """Return the time of a change. at: ISO 8601 in UTC with "Z"."""
    return datetime.fromisoformat(at.replace("Z", "+00:00"))


def _name_and_reason(bench: BenchState, judgement: Judgement | None, minutes: float | None) -> tuple[str, str]:
    if bench.help_at:
        return "help", "The group asks for help."
    if bench.signed_off_at:
        return "done", "Signed off."
    broken = [] if judgement is None else [each for each in judgement.news if each.problem]
    stops = [] if judgement is None else [each for each in judgement.findings if each.severity == "stop"]
    usable = judgement is not None and judgement.audit is not None and bool(judgement.audit.quantities)
    if broken and not usable:
        return "repeat", _short(f"{broken[0].name} cannot be read: {broken[0].problem}")
    if stops:
        return "repeat", _short(stops[0].message)
    if judgement is not None and judgement.problem:
        return "repeat", _short(judgement.problem)
    looks = [] if judgement is None else [each for each in judgement.findings if each.severity == "look"]
    faults = () if judgement is None else judgement.faults
    if looks:
        return "look", _short(looks[0].message)
    if broken:
        return "look", _short(f"{broken[0].name} cannot be read: {broken[0].problem}")
    if faults:
        return "look", _short(f"{faults[0].where}: {faults[0].what}")
    if bench.committed_at:
        return "committed", "Uncertainties and claim are committed."
    if judgement is None and bench.launches:
        return "checking", "The records are being checked."
    if minutes is not None and minutes >= _QUIET_MINUTES:
        missing = judgement.missing if judgement is not None and bench.launches else ()
        more = f" Still missing: {_listed(missing)}." if missing else ""
        return "quiet", f"Nothing new for {minutes:.0f} minutes.{more}"
    if not bench.launches:
        return "waiting", "No launch record yet." if not bench.rest else "The rest record is here; no launch yet."
    assert judgement is not None
    if judgement.missing:
        return "set-up", f"Records fine; still missing: {_listed(judgement.missing)}."
    count = len(bench.launches)
    return "measured", f"{count} usable {'launch' if count == 1 else 'launches'}."


def _listed(names: tuple[str, ...]) -> str:
    words = {"cart.mass": "mass", "track.angle": "slope", "track.rise": "rise", "track.along": "stretch of the rise"}
    return ", ".join(words.get(name, name) for name in names)


def _short(text: str) -> str:
    first = text.split(". ")[0].rstrip(".") + "."
    return first if len(first) <= _LONGEST_REASON else first[: _LONGEST_REASON - 1].rstrip() + "…"
