"""A section in memory: what the tests of this layer make changes to."""

from __future__ import annotations

import hashlib

from joulebook.classroom.changes import Actor, Change, Draft
from joulebook.classroom.section import Section, advance, check, play


class Ledger:
    """A list of changes and the section that they add up to, checked as the store does."""

    def __init__(self, benches: int = 3, **body: object) -> None:
        self.changes: list[Change] = []
        self.section = Section()
        self.do("section-made", title="Second period", benches=benches, **body)

    def do(self, kind: str, bench: int | None = None, actor: Actor = "teacher", at: str = "", **body: object) -> Change:
        """Make a change; raises InputError as the store does."""
        check(self.section, Draft(kind, actor, bench, body), earlier=self.changes)
        seq = len(self.changes) + 1
        change = Change(seq, at or f"2026-03-02T09:{seq // 60:02d}:{seq % 60:02d}.000Z", kind, actor, bench, body)
        self.section = advance(self.section, change, earlier=self.changes)
        self.changes.append(change)
        assert self.section == play(self.changes), "one by one or all at once: the same section"
        return change

    def add(self, bench: int, name: str, role: str = "launch", content: bytes = b"x") -> str:
        """Add a record as the bench does, and return its id."""
        sha = hashlib.sha256(content).hexdigest()
        return f"r{self.do('record-added', bench, 'bench', name=name, sha256=sha, size=len(content), role=role).seq}"
