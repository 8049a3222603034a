"""Criteria and comment bank of a section's marking, shown and edited."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from joulebook.classroom.changes import Draft
from joulebook.classroom.criteria import Criterion
from joulebook.classroom.mark_book import MarkBook
from joulebook.classroom.suggesting import COMMENTS
from joulebook.errors import InputError
from joulebook.web.access import Teacher
from joulebook.web.marking_contexts import BankPage
from joulebook.web.pages import show
from joulebook.web.room import Room
from joulebook.web.section_head import head_of, just_done

__all__ = ["comment_bank", "router"]

router = APIRouter(include_in_schema=False)


def comment_bank(book: MarkBook) -> Mapping[str, str]:
    """Return the comments by name: the section's own, else those that come with joulebook."""
    return book.comments or COMMENTS


@router.get("/sections/{section}/marking/bank")
async def bank(request: Request, room: Teacher, section: str, did: int = 0) -> Response:
    """Criteria and comment bank, to be edited."""
    return show(request, await _bank_page(room, section, did))


@router.post("/sections/{section}/marking/bank")
async def keep_bank(request: Request, room: Teacher, section: str) -> Response:
    """Keep the criteria and the comment bank as they were edited."""
    whole = await room.section(section)
    async with request.form(max_fields=120, max_files=0) as form:
        texts = {name: str(value)[:20_000] for name, value in form.items()}
    try:
        if "comments" in texts:
            comments = _comments_of(texts["comments"])
            change = await room.append(section, Draft("comments-set", "teacher", None, {"comments": comments}))
        else:
            tables = _criteria_of(texts, whole.marks.criteria)
            change = await room.append(section, Draft("criteria-set", "teacher", None, {"criteria": tables}))
    except InputError as error:
        page = await _bank_page(room, section, 0)
        faults = tuple(str(fault) for fault in error.faults)
        return show(request, replace(page, problem=error.message, remedy=error.remedy, faults=faults), status=422)
    return RedirectResponse(f"/sections/{section}/marking/bank?did={change.seq}", 303)


async def _bank_page(room: Room, section: str, did: int) -> BankPage:
    whole = await room.section(section)
    comments = "\n".join(f"{name}: {text}" for name, text in comment_bank(whole.marks).items())
    criteria = tuple(whole.marks.criteria.values())
    return BankPage(head_of(section, whole, "marking"), criteria, comments, await just_done(room, section, did))


def _comments_of(text: str) -> dict[str, str]:
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    found: dict[str, str] = {}
    for number, line in enumerate(lines, 1):
        name, sign, comment = line.partition(":")
        if not sign or not comment.strip() or len(name) > 40:
            what = f"Comment {number}, “{line[:40]}”, has no name."
            raise InputError(what, remedy="Write a short name, a colon, and the comment.")
        found[name.strip()] = comment.strip()
    if len(found) > 60:
        raise InputError(f"{len(found)} comments are more than the 60 that fit.", remedy="Keep those that you use.")
    return found


def _criteria_of(texts: Mapping[str, str], before: Mapping[str, Criterion]) -> dict[str, object]:
    """Return the criteria of the form: those that are kept, as they were edited, and one new one if it has a title."""
    tables: dict[str, object] = {}
    for name in [*before, "new"]:
        title = texts.get(f"{name}.title", "").strip()
        if not title or texts.get(f"{name}.drop"):
            continue
        key = name if name != "new" else "-".join(title.casefold().split())[:40]
        tables[key] = {
            "title": title,
            "levels": [texts.get(f"{name}.{index}", "").strip() for index in range(4)],
            "points": [_points(texts.get(f"{name}.points{index}", "0")) for index in range(4)],
        }
    return tables


def _points(text: str) -> float:
    try:
        return float(text.strip().replace(",", ".") or 0.0)
    except ValueError:
        return -1.0
