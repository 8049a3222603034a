"""The tray: files that were dropped on a section, or that a watched folder brought, and that still wait for a person."""

from __future__ import annotations

import secrets
from collections import OrderedDict, deque
from dataclasses import dataclass, field, replace
from weakref import WeakKeyDictionary

from joulebook.classroom.placing import Placed
from joulebook.errors import InputError
from joulebook.render.plain import clean_text
from joulebook.web.room import Room

__all__ = ["Tray", "Waiting", "tray_of"]

_MOST_FILES = 300
_MOST_BYTES = 96 * 1024 * 1024
_LINES = 60


@dataclass(frozen=True, slots=True)
class Waiting:
    """A file that waits.

    id: in the tray. section: it was dropped on. path: as it came, without characters that could steer a page. content: its bytes.
    placed: where its name says that it belongs. via: "drop" or "folder". problem: why it was not added when that was tried.
    """

    id: str
    section: str
    path: str
    content: bytes
    placed: Placed
    via: str
    problem: str = ""


@dataclass(slots=True)
class Tray:
    """What waits, in memory: a restart empties it, and the files themselves are where they came from.

    waiting: by id, in the order in which they came. told: what became of the last ones, by section. lines: what a watched folder
    brought, the newest first, by section.
    """

    waiting: OrderedDict[str, Waiting] = field(default_factory=OrderedDict)
    told: dict[str, tuple[str, ...]] = field(default_factory=dict)
    lines: dict[str, deque[str]] = field(default_factory=dict)

    def of(self, section: str) -> list[Waiting]:
        """Return what waits for a section."""
        return [each for each in self.waiting.values() if each.section == section]

    def put(self, section: str, path: str, content: bytes, placed: Placed, *, via: str) -> Waiting:
        """Let a file wait. Raises InputError when the tray is full. The same bytes of the same name wait once."""
        path = clean_text(path)
        for each in self.of(section):
            if each.path == path and each.content == content:
                return each
        held = sum(len(each.content) for each in self.waiting.values())
        if len(self.waiting) >= _MOST_FILES or held + len(content) > _MOST_BYTES:
            what = f"{len(self.waiting)} files wait already; no more fit."
            raise InputError(what, remedy="Add them to their benches or leave them out, then go on.", code="tray")
        waiting = Waiting(secrets.token_hex(6), section, path, content, placed, via)
        self.waiting[waiting.id] = waiting
        return waiting

    def refuse(self, id_: str, problem: str) -> None:
        """Note why a file could not be added."""
        self.waiting[id_] = replace(self.waiting[id_], problem=problem)

    def take(self, id_: str) -> None:
        """Take a file out of the tray."""
        self.waiting.pop(id_, None)

    def line(self, section: str, text: str) -> None:
        """Note what a watched folder brought."""
        self.lines.setdefault(section, deque(maxlen=_LINES)).appendleft(clean_text(text))


_TRAYS: WeakKeyDictionary[Room, Tray] = WeakKeyDictionary()


def tray_of(room: Room) -> Tray:
    """Return the one tray of a room."""
    return _TRAYS.setdefault(room, Tray())
