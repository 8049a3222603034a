"""The mark book of a section: its write-ups and the marks that the teacher has confirmed. No mark is ever made by itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from joulebook.classroom.changes import Change, Draft
from joulebook.classroom.criteria import CRITERIA, LEVELS, Criterion, read_criteria
from joulebook.classroom.write_up import WriteUp
from joulebook.errors import InputError

__all__ = ["MARKERS", "MARKING_KINDS", "Mark", "MarkBook", "check_marking", "mark"]

MARKERS = ("first", "second")
"""The teacher, and the colleague who marks a sample again."""

MARKING_KINDS = frozenset({"write-up-added", "write-up-removed", "mark-set", "mark-cleared", "criteria-set", "comments-set"})
"""The kinds of change that the mark book is the sum of."""

_MOST_WRITE_UPS, _LONGEST_CODE = 400, 40


@dataclass(frozen=True, slots=True)
class Mark:
    """One confirmed mark. level: one of LEVELS. comment: to the student. seq: of the change that set it."""

    level: str
    comment: str
    seq: int


@dataclass(frozen=True, slots=True)
class MarkBook:
    """Everything that marking has brought.

    write_ups: by code, in the order in which they came; those of the room's own benches are not in here.
    marks: by (marker, code, criterion). criteria: in force, by name. comments: the teacher's own bank, by a short name.
    """

    write_ups: Mapping[str, WriteUp] = field(default_factory=dict)
    marks: Mapping[tuple[str, str, str], Mark] = field(default_factory=dict)
    criteria: Mapping[str, Criterion] = field(default_factory=lambda: CRITERIA)
    comments: Mapping[str, str] = field(default_factory=dict)

    def mark(self, code: str, criterion: str, *, marker: str = "first") -> Mark | None:
        """Return a confirmed mark, None when there is none."""
        return self.marks.get((marker, code, criterion))


def check_marking(book: MarkBook, draft: Draft) -> None:
    """Check whether a draft of marking makes sense. Raises InputError or BenchFileError."""
    body = draft.body
    code = str(body.get("code", ""))
    if "code" in body and not 0 < len(code.strip()) <= _LONGEST_CODE:
        raise _refused(f"A code has 1 to {_LONGEST_CODE} characters.", "Use the student's number or pseudonym, not a name.")
    if any(sign in "/\\?#" or not sign.isprintable() for sign in code):
        raise _refused(f"The code {code!r} holds a sign that no code may have.", "Use letters, digits, dots and dashes.")
    if draft.kind == "write-up-added" and code not in book.write_ups and len(book.write_ups) >= _MOST_WRITE_UPS:
        raise _refused(f"There are {_MOST_WRITE_UPS} write-ups already.", "Make a second section for the rest.")
    if draft.kind == "write-up-removed" and code not in book.write_ups:
        raise _refused(f"There is no write-up {code!r}.", "Reload the page.")
    if draft.kind in ("mark-set", "mark-cleared"):
        criterion, marker = str(body["criterion"]), str(body.get("marker") or "first")
        if criterion not in book.criteria:
            raise _refused(f"There is no criterion {criterion[:40]!r}.", f"They are {', '.join(book.criteria)}.")
        if marker not in MARKERS:
            raise _refused(f"There is no marker {marker[:40]!r}.", f"They are {', '.join(MARKERS)}.")
        if draft.kind == "mark-set" and body["level"] not in LEVELS:
            raise _refused(f"There is no level {str(body['level'])[:40]!r}.", f"They are {', '.join(LEVELS)}.")
    if draft.kind == "criteria-set":
        tables = body["criteria"]
        assert isinstance(tables, Mapping)
        read_criteria(tables)


def mark(book: MarkBook, change: Change) -> MarkBook:
    """Return the mark book after one more change of MARKING_KINDS."""
    body, kind = change.body, change.kind
    code = str(body.get("code", ""))
    if kind == "write-up-added":
        return replace(book, write_ups={**book.write_ups, code: _write_up(code, change)})
    if kind == "write-up-removed":
        return replace(book, write_ups={name: each for name, each in book.write_ups.items() if name != code})
    if kind == "criteria-set":
        tables = body["criteria"]
        assert isinstance(tables, Mapping)
        return replace(book, criteria=read_criteria(tables) if tables else CRITERIA)
    if kind == "comments-set":
        comments = body["comments"]
        assert isinstance(comments, Mapping)
        return replace(book, comments={str(name): str(text) for name, text in comments.items() if str(text).strip()})
    place = (str(body.get("marker") or "first"), code, str(body["criterion"]))
    if kind == "mark-cleared":
        return replace(book, marks={each: kept for each, kept in book.marks.items() if each != place})
    return replace(book, marks={**book.marks, place: Mark(str(body["level"]), str(body.get("comment") or ""), change.seq)})


def _write_up(code: str, change: Change) -> WriteUp:
    fields, values = change.body["fields"], change.body.get("values") or {}
    assert isinstance(fields, Mapping) and isinstance(values, Mapping)
    return WriteUp(code, change.bench or 0, dict(values), dict(fields))


def _refused(message: str, remedy: str) -> InputError:
    return InputError(message, remedy=remedy, code="refused")
