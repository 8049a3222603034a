"""Signing in: the teacher by the one-time link or a passphrase, a bench by the code on its card."""

from __future__ import annotations

import secrets
from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from joulebook.web.access import AskedRoom, Teacher, is_teacher, remember_bench, sign_in, sign_out
from joulebook.web.contexts import ErrorPage, JoinPage, SignInPage
from joulebook.web.pages import show
from joulebook.web.security import Limiter

__all__ = ["EPOCH", "PASSPHRASE", "SHORTEST", "bench_tries", "router", "teacher_tries"]

router = APIRouter(include_in_schema=False)

PASSPHRASE = "passphrase"
"""The store's setting that holds the Argon2 hash of the teacher's passphrase."""

EPOCH = "teacher-epoch"
"""The store's setting that is part of every teacher's cookie; a new one signs all of them out."""

SHORTEST = 12
"""Characters that a passphrase has at least."""


def bench_tries() -> Limiter:
    """Return the limiter of bench codes: a class that mistypes is served, a program that guesses is not.

    A code is one of 23^6, 148 million: at 300 tries a minute in all, one of thirty benches is found in an hour with a chance of 1 in
    270, and closing the door to everybody takes fifteen machines.
    """
    return Limiter(each=20, together=300, seconds=60.0)


def teacher_tries() -> Limiter:
    """Return the limiter of passphrases and one-time links."""
    return Limiter(each=5, together=20, seconds=60.0)


@router.get("/")
async def first_page(request: Request) -> Response:
    """The first page: the code of a bench, or the teacher's sections."""
    if is_teacher(request):
        return RedirectResponse("/sections", 303)
    return show(request, JoinPage())


@router.get("/join/{code}")
async def join_by_link(request: Request, room: AskedRoom, code: str) -> Response:
    """What the QR code on a bench's card opens."""
    return await _join(request, room, code)


@router.post("/join")
async def join(request: Request, room: AskedRoom, code: Annotated[str, Form(max_length=40)] = "") -> Response:
    """The code of a bench, typed in."""
    return await _join(request, room, code)


async def _join(request: Request, room: AskedRoom, code: str) -> Response:
    tries: Limiter = request.app.state.bench_tries
    asker = request.client.host if request.client else ""
    wait = tries.wait(asker)
    if wait:
        problem = f"Too many wrong codes were tried. Wait {wait:.0f} seconds, then look at your card again."
        return show(request, JoinPage(code[:12], problem), status=429)
    typed = "".join(code.split()).replace("-", "")
    found = await run_in_threadpool(room.store.find_code, typed) if typed else None
    if found is None:
        tries.failed(asker)
        return show(request, JoinPage(code[:12], "There is no bench with this code. Look at your card again."), status=404)
    remember_bench(request, *found, typed)
    return RedirectResponse("/bench", 303)


@router.get("/sign-in")
async def ask_to_sign_in(request: Request, room: AskedRoom, next: str = "/sections") -> Response:
    """The form for the passphrase."""
    known = await run_in_threadpool(room.store.setting, PASSPHRASE)
    return show(request, SignInPage(known is not None, next=_own_path(next)))


@router.get("/sign-in/{token}")
async def sign_in_by_link(request: Request, token: str) -> Response:
    """The one-time link that was printed at start. It works once; the browser stays signed in."""
    tries: Limiter = request.app.state.teacher_tries
    asker = request.client.host if request.client else ""
    expected = request.app.state.sign_in_token
    if is_teacher(request):
        return RedirectResponse("/sections", 303)
    if tries.wait(asker) or not expected or not secrets.compare_digest(token.encode(), expected.encode()):
        tries.failed(asker)
        message = "This link was used already or is not the one that joulebook printed."
        remedy = "Sign in by your passphrase, or start joulebook again for a new link."
        return show(
            request, ErrorPage("The link does not work", message, remedy, back="/sign-in", back_label="Sign in"), status=403
        )
    request.app.state.sign_in_token = ""
    sign_in(request)
    return RedirectResponse("/sections", 303)


@router.post("/sign-in")
async def sign_in_by_passphrase(
    request: Request,
    room: AskedRoom,
    passphrase: Annotated[str, Form(max_length=400)] = "",
    next: Annotated[str, Form(max_length=400)] = "/sections",
) -> Response:
    """The passphrase, checked against its Argon2 hash."""
    tries: Limiter = request.app.state.teacher_tries
    asker = request.client.host if request.client else ""
    known = await run_in_threadpool(room.store.setting, PASSPHRASE)
    wait = tries.wait(asker)
    if wait:
        problem = f"Too many wrong passphrases were tried. Wait {wait:.0f} seconds."
        return show(request, SignInPage(known is not None, problem, _own_path(next)), status=429)
    if known is None or not await run_in_threadpool(_matches, known, passphrase):
        tries.failed(asker)
        return show(request, SignInPage(known is not None, "This is not the passphrase.", _own_path(next)), status=403)
    sign_in(request)
    return RedirectResponse(_own_path(next), 303)


@router.post("/passphrase")
async def set_passphrase(
    request: Request, room: Teacher, passphrase: Annotated[str, Form(max_length=400)] = ""
) -> Response:
    """Set the teacher's passphrase, for signing in again after a restart or from another device."""
    if len(passphrase.strip()) < SHORTEST:
        message = f"A passphrase of {len(passphrase.strip())} characters is too short."
        remedy = f"Take at least {SHORTEST}: four or five words that nobody would put together."
        return show(
            request, ErrorPage("The passphrase was not set", message, remedy, back="/store", back_label="Back"), status=422
        )
    await run_in_threadpool(room.store.set_setting, PASSPHRASE, await run_in_threadpool(_hashed, passphrase))
    return RedirectResponse("/store", 303)


@router.post("/sign-out")
async def leave(request: Request) -> RedirectResponse:
    """Forget this browser."""
    sign_out(request)
    return RedirectResponse("/", 303)


@router.post("/sign-out-everywhere")
async def leave_everywhere(request: Request, room: Teacher) -> RedirectResponse:
    """Forget every browser that signed in as the teacher, this one too."""
    epoch = secrets.token_urlsafe(8)
    await run_in_threadpool(room.store.set_setting, EPOCH, epoch)
    request.app.state.epoch = epoch
    sign_out(request)
    return RedirectResponse("/", 303)


def _own_path(path: str) -> str:
    """Return a path of ours; whatever could lead elsewhere becomes the list of sections."""
    fine = path.startswith("/") and not path.startswith(("//", "/\\")) and "\\" not in path and path.isprintable()
    return path if fine else "/sections"


def _hashed(passphrase: str) -> str:
    from argon2 import PasswordHasher

    return PasswordHasher().hash(passphrase.strip())


def _matches(known: str, passphrase: str) -> bool:
    from argon2 import PasswordHasher
    from argon2.exceptions import Argon2Error, InvalidHashError

    try:
        return PasswordHasher().verify(known, passphrase.strip())
    except (Argon2Error, InvalidHashError):
        return False
