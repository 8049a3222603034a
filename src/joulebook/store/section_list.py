"""The list of sections, read without the thousand changes that a lesson makes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, cast, get_args

from sqlalchemy import Connection, func, select

from joulebook.classroom.changes import Actor, Change
from joulebook.classroom.section import play
from joulebook.store.tables import ChangeRow, SectionRow

__all__ = ["CHANGE_COLUMNS", "SectionLine", "change_of", "list_sections"]

CHANGE_COLUMNS = (ChangeRow.seq, ChangeRow.at, ChangeRow.kind, ChangeRow.actor, ChangeRow.bench, ChangeRow.body)
"""What a change is read from."""

# All that a line rests on; an undoing may be of any of them.
_KINDS = ("section-made", "renamed", "bench-added", "bell-rung", "bell-taken-back", "undone")


@dataclass(frozen=True, slots=True)
class SectionLine:
    """One section in a list. made_at: UTC. benches: how many. seq, changed_at: number and time of its last change. closed: after the
    bell."""

    id: str
    title: str
    made_at: str
    benches: int
    seq: int
    closed: bool
    changed_at: str


def list_sections(connection: Connection) -> list[SectionLine]:
    """Return every section, the newest first."""
    order = select(SectionRow.id).order_by(SectionRow.made_at.desc(), SectionRow.id)
    # The times of a log never go back.
    last = select(ChangeRow.section, func.max(ChangeRow.seq), func.max(ChangeRow.at)).group_by(ChangeRow.section)
    rests_on = select(ChangeRow.section, *CHANGE_COLUMNS).where(ChangeRow.kind.in_(_KINDS))
    changes: dict[str, list[Change]] = {}
    for row in connection.execute(rests_on):
        changes.setdefault(row.section, []).append(change_of(row))
    ends = {section: (seq, at) for section, seq, at in connection.execute(last)}
    lines = []
    for id_ in connection.execute(order).scalars():
        if id_ in changes and id_ in ends:
            state = play(changes[id_])
            seq, at = ends[id_]
            lines.append(SectionLine(id_, state.title, state.made_at, len(state.benches), seq, state.closed, at))
    return lines


def change_of(row: Any) -> Change:
    """Return the change that a row of CHANGE_COLUMNS holds."""
    # Who made it may be a word of a later version: the teacher answers for that.
    actor = cast(Actor, row.actor) if row.actor in get_args(Actor) else "teacher"
    return Change(row.seq, row.at, row.kind, actor, row.bench, row.body)
