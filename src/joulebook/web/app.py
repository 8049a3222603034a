"""The web application, put together: rules that every request must pass, then the pages."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.resources import files

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.sessions import SessionMiddleware
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.staticfiles import StaticFiles

from joulebook.errors import InputError, JoulebookError, StaleError, StoreError
from joulebook.readers.limits import MAX_BYTES
from joulebook.store.store import Store
from joulebook.version import VERSION
from joulebook.web import (
    bench_pages,
    board_pages,
    event_streams,
    json_pages,
    marking_bank,
    marking_out,
    marking_pages,
    marking_typing,
    section_pages,
    sign_in,
    store_pages,
)
from joulebook.web.access import NotSignedInError, is_teacher
from joulebook.web.contexts import ErrorPage
from joulebook.web.judges import Judges
from joulebook.web.pages import picture_rules, show
from joulebook.web.room import Room
from joulebook.web.security import BodyLimit, KnownHosts, OriginCheck, SafeHeaders
from joulebook.web.settings import Settings

__all__ = ["create_app"]

_FORM = 256 * 1024
_UPLOAD = 4 * MAX_BYTES + _FORM
_PACKAGE = 256 * 1024 * 1024
# Where a body may be larger than a form's.
_LARGE = {"/records": _UPLOAD, "/drop": _UPLOAD, "/from-plan": _UPLOAD, "/import": _PACKAGE, "/restore": _PACKAGE}


def create_app(store: Store, settings: Settings) -> FastAPI:
    """Return the application over a store. The store is the caller's to close."""

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        judges = Judges(settings.judges, limit=settings.judge_seconds)
        judges.start()
        app.state.room = Room(store, judges)
        async with section_pages.watching(app.state.room, settings):
            yield
        await app.state.room.close()

    app = FastAPI(
        title="joulebook", version=VERSION, lifespan=lifespan, docs_url=None, redoc_url=None, openapi_url="/api/openapi.json",
        middleware=[
            Middleware(SafeHeaders),
            Middleware(KnownHosts, hosts=settings.hosts),
            Middleware(OriginCheck),
            Middleware(BodyLimit, size=_body_size, seconds=settings.body_seconds),
            Middleware(
                SessionMiddleware, secret_key=settings.secret, session_cookie="joulebook", same_site="lax",
                max_age=int(settings.session_hours * 3600),
            ),
        ],
    )  # fmt: skip
    app.state.settings = settings
    app.state.epoch = settings.epoch
    app.state.sign_in_token = settings.sign_in_token
    app.state.bench_tries, app.state.teacher_tries = sign_in.bench_tries(), sign_in.teacher_tries()
    pages = (
        sign_in, event_streams, json_pages, bench_pages, section_pages, board_pages, marking_pages, marking_bank, marking_out,
        marking_typing, store_pages,
    )  # fmt: skip
    for part in pages:
        app.include_router(part.router)
    app.add_api_route("/static/pictures.css", _picture_style, include_in_schema=False)
    app.mount("/static", StaticFiles(directory=str(files("joulebook.web") / "static")), name="static")
    app.add_exception_handler(JoulebookError, _told)
    app.add_exception_handler(HTTPException, _told)
    app.add_exception_handler(RequestValidationError, _told)
    return app


def _picture_style() -> Response:
    return Response(picture_rules(), media_type="text/css", headers={"Cache-Control": "max-age=3600"})


def _body_size(path: str) -> int:
    return next((size for end, size in _LARGE.items() if path.endswith(end)), _FORM)


def _status(error: Exception) -> int:
    if isinstance(error, HTTPException):
        return error.status_code
    if isinstance(error, NotSignedInError):
        return 403
    if isinstance(error, StaleError):
        return 409
    if isinstance(error, StoreError):
        return 503
    if isinstance(error, RequestValidationError):
        return 422
    if isinstance(error, InputError):
        return {"no-section": 404, "double": 409}.get(error.code, 422)
    return 400


async def _told(request: Request, error: Exception) -> Response:
    """Say what went wrong: one shape for JSON, one page for people."""
    status = _status(error)
    wants_json = request.url.path.startswith("/api/")
    if isinstance(error, NotSignedInError) and not wants_json and request.method == "GET":
        return RedirectResponse(f"/sign-in?next={request.url.path}" if error.who == "teacher" else "/", 303)
    if isinstance(error, JoulebookError):
        told = error
    elif isinstance(error, RequestValidationError):
        places = "; ".join(f"{'.'.join(map(str, each['loc']))}: {each['msg']}" for each in error.errors()[:5])
        told = InputError(f"The request is not understood: {places}.", remedy="Reload the page and try again.", code="request")
    else:
        detail = getattr(error, "detail", "")
        message = "There is no such page." if status == 404 else f"{detail}."
        told = JoulebookError(message, remedy="Go back and try again.", code="not-found" if status == 404 else "request")
    if wants_json:
        return JSONResponse({"error": told.to_dict()}, status_code=status)
    back = "/sections" if is_teacher(request) else "/bench" if request.url.path.startswith("/bench") else "/"
    titles = {404: "Not found", 403: "Not open to you", 409: "Somebody was faster", 503: "The store cannot be used now"}
    page = ErrorPage(
        titles.get(status, "That did not work"), told.message, told.remedy, tuple(str(fault) for fault in told.faults), back
    )
    return show(request, page, status=status)
