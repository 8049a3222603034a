"""Showing a page: a template and the context record that it is made from.

Every page's context is a frozen dataclass in `contexts.py` with the name of its template; a template can use nothing else than
the record's fields, `here` (path, whether the teacher looks) and the filters named below.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache
from typing import TYPE_CHECKING, Any, ClassVar

from fastapi import Request
from starlette.responses import HTMLResponse

from joulebook.classroom.changes import when
from joulebook.render.drawing import PALETTE
from joulebook.web.access import is_teacher

if TYPE_CHECKING:
    from jinja2 import Environment

__all__ = ["Here", "Page", "environment", "picture_rules", "show"]


@dataclass(frozen=True, slots=True)
class Here:
    """Where a page is shown. path: its own. teacher: whether the teacher looks at it. address: how benches reach the server."""

    path: str
    teacher: bool
    address: str


class Page:
    """What every page's context derives from: the name of its template."""

    template: ClassVar[str]


def show(request: Request, page: Page, *, status: int = 200) -> HTMLResponse:
    """Return a page. page: its context record. status: of the answer."""
    here = Here(request.url.path, is_teacher(request), request.app.state.settings.address)
    context: dict[str, Any] = {each.name: getattr(page, each.name) for each in fields(page)}  # type: ignore[arg-type]
    text = environment().get_template(page.template).render(here=here, **context)
    return HTMLResponse(text, status_code=status)


@cache
def environment() -> Environment:
    """Return the one set of templates: everything is escaped, and an unknown name is an error."""
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    found = Environment(
        loader=PackageLoader("joulebook.web"), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    # Pictures are made by `render` from numbers and escaped text, and go in as they are.
    found.filters["svg"] = Markup
    found.filters["clock"] = _clock
    found.filters["day"] = _day
    return found


def picture_rules() -> str:
    """Return the style rules that turn the pictures' colours in a dark page; part of the style sheet."""
    rules = [
        f'.picture [{attribute}="{ink.light}"]{{{attribute}:{ink.dark}}}'
        for ink in PALETTE.values()
        for attribute in ("fill", "stroke")
    ]
    return "@media (prefers-color-scheme: dark){" + "".join(rules) + "}"


def _clock(at: str) -> str:
    """Return the local time of day of a change, "" for none."""
    return when(at).astimezone().strftime("%H:%M") if at else ""


def _day(at: str) -> str:
    """Return the local day of a change, "" for none."""
    if not at:
        return ""
    day = when(at).astimezone()
    return f"{day.day} {day.strftime('%B %Y')}"
