"""Who asks: the teacher, a bench, or nobody yet. Kept in a signed cookie that no script can read.

The cookie goes along when a link on another site is followed (SameSite=Lax), so that a join link works wherever it was pasted;
whatever changes something is refused unless one of our own pages sent it (security.OriginCheck).
"""

from __future__ import annotations

import hashlib
from typing import Annotated

from fastapi import Depends, Request
from starlette.concurrency import run_in_threadpool

from joulebook.errors import InputError, JoulebookError
from joulebook.web.room import Room
from joulebook.web.settings import Settings

__all__ = [
    "AskedBench",
    "AskedRoom",
    "NotSignedInError",
    "Teacher",
    "is_teacher",
    "on_this_machine",
    "remember_bench",
    "settings_of",
    "sign_in",
    "sign_out",
]

_TEACHER, _BENCH = "teacher", "bench"
_LOOPBACK = ("127.0.0.1", "::1", "testclient")


class NotSignedInError(JoulebookError):
    """The page is for somebody else. who: "teacher" or "bench"."""

    code = "not-signed-in"

    def __init__(self, who: str) -> None:
        remedy = "Sign in as the teacher first." if who == _TEACHER else "Type in the code on your bench's card first."
        super().__init__("This page is not open to you.", remedy=remedy)
        self.who = who


def is_teacher(request: Request) -> bool:
    """Whether the request comes from a browser that signed in as the teacher."""
    return bool(request.session.get(_TEACHER) == request.app.state.epoch)


def sign_in(request: Request) -> None:
    """Remember this browser as the teacher's."""
    request.session[_TEACHER] = request.app.state.epoch


def sign_out(request: Request) -> None:
    """Forget this browser."""
    request.session.clear()


def remember_bench(request: Request, section: str, bench: int, code: str) -> None:
    """Remember which bench this browser works at. code: by which it came in; with a new code it must come in anew."""
    request.session[_BENCH] = [section, bench, _sign_of(code)]


def _sign_of(code: str) -> str:
    return hashlib.sha256(code.upper().encode()).hexdigest()[:16]


def on_this_machine(request: Request) -> bool:
    """Whether the request comes from the machine that the server runs on."""
    return request.client is not None and request.client.host in _LOOPBACK


def _room(request: Request) -> Room:
    room = request.app.state.room
    assert isinstance(room, Room)
    return room


def _teacher(request: Request) -> Room:
    if not is_teacher(request):
        raise NotSignedInError(_TEACHER)
    return _room(request)


async def _bench(request: Request) -> tuple[str, int]:
    kept = request.session.get(_BENCH)
    if not (isinstance(kept, list) and len(kept) == 3 and isinstance(kept[0], str) and isinstance(kept[1], int)):
        raise NotSignedInError(_BENCH)
    section, number, sign = kept
    try:
        code = await run_in_threadpool(_room(request).store.code, section, number)
    except InputError:
        raise NotSignedInError(_BENCH) from None
    if sign != _sign_of(code):
        raise NotSignedInError(_BENCH)
    return section, number


def settings_of(request: Request) -> Settings:
    """Return how this server is set up."""
    settings = request.app.state.settings
    assert isinstance(settings, Settings)
    return settings


AskedRoom = Annotated[Room, Depends(_room)]
Teacher = Annotated[Room, Depends(_teacher)]
"""The room, for the teacher alone: every page with this argument is closed to everybody else."""
AskedBench = Annotated[tuple[str, int], Depends(_bench)]
"""Section and number of the bench that this browser works at: every page with this argument is about that bench alone."""
