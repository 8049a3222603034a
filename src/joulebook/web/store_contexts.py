"""The context records of the page that says where the data is, and of deleting a section."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from joulebook.web.pages import Page

__all__ = ["DeletePage", "StorePage", "StoredSection"]


@dataclass(frozen=True, slots=True)
class StoredSection:
    """One section of the store. id, title, made_at: of it. benches, records: how many. size: bytes of its records, in words."""

    id: str
    title: str
    made_at: str
    benches: int
    records: int
    size: str


@dataclass(frozen=True, slots=True)
class StorePage(Page):
    """Where the data is. facts: (what, value) in words. sections: what is kept. has_passphrase: whether one was set. shortest:
    the fewest characters of one. told: what was just done. problem, remedy, faults: why it did not work."""

    template: ClassVar[str] = "store.html.j2"
    facts: tuple[tuple[str, str], ...]
    sections: tuple[StoredSection, ...]
    has_passphrase: bool
    shortest: int
    told: str = ""
    problem: str = ""
    remedy: str = ""
    faults: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DeletePage(Page):
    """Where a section is deleted for good, by typing its title. id, title: of it. holds: what goes with it, in words. typed: what
    was typed. problem: why it was not deleted."""

    template: ClassVar[str] = "delete_section.html.j2"
    id: str
    title: str
    holds: str
    typed: str = ""
    problem: str = ""
