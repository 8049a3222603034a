"""A change: one thing that somebody did in a section, in a form that is kept for good.

A section is the sum of its changes (`section.play`). Nothing is ever altered or taken out: what is undone is made void by a later
change that says so, and that one can be undone in turn. The list of changes is therefore the section's log.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType
from typing import Literal, get_args

from joulebook.errors import Fault, InputError

__all__ = ["KINDS", "Actor", "Change", "Draft", "Kind", "check_draft", "when"]

Actor = Literal["teacher", "bench", "folder"]
"""Who made a change: the teacher, the group at the bench, or the watched folder."""

_LONGEST_TEXT = 4_000
_MOST_FIELDS = 60


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of change.

    sentence: what the log says, with {bench} and the body's keys to be filled in. actors: who may make it.
    benched: whether it concerns one bench. required, optional: keys of the body with the type of each: "text", "number",
    "whole", "flag", "texts" (text by name), "edges" (a list of [kind, start, end]).
    undoable: whether it can be made void.
    """

    sentence: str
    actors: tuple[Actor, ...] = ("teacher",)
    benched: bool = True
    required: Mapping[str, str] = field(default_factory=dict)
    optional: Mapping[str, str] = field(default_factory=dict)
    undoable: bool = True


@dataclass(frozen=True, slots=True)
class Draft:
    """A change that somebody wants to make. bench: its number, None for the whole section. body: JSON-safe."""

    kind: str
    actor: Actor
    bench: int | None = None
    body: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Change:
    """A change that was made. seq: its number in the section, from 1 without gaps. at: when, UTC, ISO 8601 with "Z"."""

    seq: int
    at: str
    kind: str
    actor: Actor
    bench: int | None
    body: Mapping[str, object]

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {
            "seq": self.seq, "at": self.at, "kind": self.kind, "actor": self.actor, "bench": self.bench, "body": dict(self.body),
        }  # fmt: skip


_ALL: tuple[Actor, ...] = ("teacher", "bench", "folder")
_GROUP: tuple[Actor, ...] = ("teacher", "bench")

KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        # The section as a whole.
        "section-made": Kind(
            "Section made: {title}", benched=False, undoable=False, required={"title": "text", "benches": "whole"},
            optional={"house": "tables", "note": "text"},
        ),
        "rules-set": Kind("House rules changed", benched=False, required={"house": "tables"}),
        "renamed": Kind("Section renamed to {title}", benched=False, required={"title": "text"}),
        "bench-added": Kind("Bench {bench} added", undoable=True),
        "bell-rung": Kind("The bell: benches can read but no longer change", benched=False),
        "bell-taken-back": Kind("The bell taken back: benches can work again", benched=False),
        "all-ledgers-opened": Kind("Ledger opened to all benches", benched=False),
        "all-ledgers-closed": Kind("Ledger closed to all benches", benched=False),
        # One bench's set-up and records.
        "bench-named": Kind("Bench {bench} calls itself {name}", _GROUP, required={"name": "text"}),
        "values-set": Kind("Bench {bench}: set-up readings", _GROUP, required={"values": "texts"}, optional={"how": "texts"}),
        "values-planned": Kind("Bench {bench}: set-up planned", required={"values": "texts"}),
        "record-added": Kind(
            "Bench {bench}: {name} added", _ALL,
            required={"name": "text", "sha256": "text", "size": "whole", "role": "text"},
            optional={"via": "text", "run": "text"},
        ),
        "record-discarded": Kind("Bench {bench}: record {record} set aside", _ALL, required={"record": "text"},
                                 optional={"reason": "text"}),
        "record-restored": Kind("Bench {bench}: record {record} taken back in", _GROUP, required={"record": "text"}),
        "record-role-set": Kind("Bench {bench}: record {record} is a {role} record", _GROUP,
                                required={"record": "text", "role": "text"}),
        "record-moved": Kind("Bench {bench}: record {record} moved to bench {to}", required={"record": "text", "to": "whole"}),
        "override-set": Kind("Bench {bench}: release, apex or phases of {record} set by hand",
                             required={"record": "text"}, optional={"release": "number", "apex": "number", "edges": "edges"}),
        # Students' own work.
        "work-saved": Kind("Bench {bench}: step “{step}” saved", _GROUP, required={"step": "text", "fields": "texts"},
                           optional={"over": "whole"}),
        "work-committed": Kind("Bench {bench}: uncertainties and claim committed", _GROUP),
        "work-reopened": Kind("Bench {bench}: own work opened again"),
        "help-asked": Kind("Bench {bench} asks for help", _GROUP),
        "help-given": Kind("Bench {bench} needs no help any more", _GROUP),
        # The teacher's round.
        "hint-released": Kind("Bench {bench}: hint “{grade}” on {code}", _GROUP, required={"code": "text", "grade": "text"}),
        "visited": Kind("Bench {bench} visited"),
        "signed-off": Kind("Bench {bench} signed off"),
        "sign-off-taken-back": Kind("Bench {bench}: sign-off taken back"),
        "ledger-opened": Kind("Bench {bench}: ledger opened"),
        "ledger-closed": Kind("Bench {bench}: ledger closed"),
        "noted": Kind("Bench {bench}: note of the teacher", required={"text": "text"}),
        # Marking.
        "write-up-added": Kind("Bench {bench}: write-up {code}", required={"code": "text", "fields": "texts"},
                               optional={"values": "texts", "via": "text"}),
        "write-up-removed": Kind("Write-up {code} taken out", benched=False, required={"code": "text"}),
        "mark-set": Kind("Write-up {code}, {criterion}: {level}", benched=False,
                         required={"code": "text", "criterion": "text", "level": "text"},
                         optional={"comment": "text", "marker": "text"}),
        "mark-cleared": Kind("Write-up {code}, {criterion}: mark taken back", benched=False,
                             required={"code": "text", "criterion": "text"}, optional={"marker": "text"}),
        "criteria-set": Kind("Criteria changed", benched=False, required={"criteria": "tables"}),
        "comments-set": Kind("Comment bank changed", benched=False, required={"comments": "texts"}),
        "undone": Kind("Change {change} undone", _GROUP, benched=False, required={"change": "whole"}),
    }
)  # fmt: skip
"""Every kind of change that a section can hold, by name."""


def when(at: str) -> datetime:
    """Return the time of a change. at: ISO 8601 in UTC with "Z"."""
    return datetime.fromisoformat(at.replace("Z", "+00:00"))


def check_draft(draft: Draft) -> None:
    """Check the form of a draft against its kind.

    Raises InputError with every fault: an unknown kind, an actor who may not make it, a bench missing or out of place, a key of
    the body missing, unknown or of the wrong type, a text too long. What a change means for the section is `section.check`'s.
    """
    kind = KINDS.get(draft.kind)
    if kind is None:
        raise InputError(f"There is no kind of change called {draft.kind[:40]!r}.", remedy="Reload the page.", code="change")
    faults: list[Fault] = []
    if draft.actor not in kind.actors:
        faults.append(Fault("actor", f"{draft.actor} may not do this.", f"It is for: {', '.join(kind.actors)}."))
    if kind.benched and draft.bench is None:
        faults.append(Fault("bench", "is missing.", "Say which bench."))
    if not kind.benched and draft.bench is not None and draft.kind != "undone":
        faults.append(Fault("bench", "this change is of the whole section.", "Leave the bench out."))
    for key in kind.required:
        if key not in draft.body:
            faults.append(Fault(key, "is missing."))
    for key, value in draft.body.items():
        wanted = kind.required.get(key) or kind.optional.get(key)
        if wanted is None:
            faults.append(Fault(key[:40], "is no part of this change."))
        elif value is not None or key in kind.required:
            problem = _problem(value, wanted)
            if problem:
                faults.append(Fault(key, problem))
    if faults:
        raise InputError("This change cannot be made.", remedy="Reload the page and try again.", faults=faults, code="change")


def _problem(value: object, wanted: str) -> str:
    """Return what is wrong with a value of a body, "" when nothing is."""
    number = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e12
    if wanted == "text":
        return "" if isinstance(value, str) and len(value) <= _LONGEST_TEXT else f"must be a text of at most {_LONGEST_TEXT}."
    if wanted == "whole":
        return "" if number and isinstance(value, int) else "must be a whole number."
    if wanted == "number":
        return "" if number else "must be a number."
    if wanted == "flag":
        return "" if isinstance(value, bool) else "must be true or false."
    if wanted == "texts":
        fine = isinstance(value, Mapping) and len(value) <= _MOST_FIELDS and all(
            isinstance(name, str) and isinstance(text, str) and len(text) <= _LONGEST_TEXT for name, text in value.items()
        )  # fmt: skip
        return "" if fine else f"must be at most {_MOST_FIELDS} texts by name, each of at most {_LONGEST_TEXT} characters."
    if wanted == "tables":
        return "" if isinstance(value, Mapping) and len(value) <= _MOST_FIELDS else "must be a table."
    assert wanted == "edges", wanted
    fine = isinstance(value, list | tuple) and len(value) <= _MOST_FIELDS and all(
        isinstance(edge, list | tuple) and len(edge) == 3 and isinstance(edge[0], str)
        and all(isinstance(place, int | float) and not isinstance(place, bool) for place in edge[1:])
        for edge in value
    )  # fmt: skip
    return "" if fine else "must be a list of [kind, start, end]."


assert set(get_args(Actor)) == set(_ALL)
