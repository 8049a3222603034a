"""Typing in a write-up: for the one that came on paper."""

from __future__ import annotations

from dataclasses import replace

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from joulebook.classroom.changes import Draft
from joulebook.classroom.mark_table import read_write_ups, to_csv
from joulebook.classroom.own_work import FIELDS
from joulebook.errors import InputError
from joulebook.web.access import Teacher
from joulebook.web.marking_contexts import TypingPage
from joulebook.web.pages import show
from joulebook.web.room import Room
from joulebook.web.section_head import head_of, just_done

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_HEADINGS = {
    "predict": "Prediction", "readings": "Readings from the graph", "calculation": "Calculation", "uncertainty": "Uncertainties",
    "claim": "Claim", "comparison": "Comparison", "losses": "Losses", "improve": "Improvement",
}  # fmt: skip


@router.get("/sections/{section}/marking/typed")
async def type_in(request: Request, room: Teacher, section: str, did: int = 0) -> Response:
    """The form into which a write-up is typed."""
    return show(request, replace(await _page(room, section), did=await just_done(room, section, did)))


@router.post("/sections/{section}/marking/typed")
async def take_typed(request: Request, room: Teacher, section: str) -> Response:
    """Take in a typed write-up; one of the same code gives way to it."""
    async with request.form(max_fields=80, max_files=0) as form:
        typed = {name: str(text)[:2000] for name, text in form.items() if str(text).strip()}
    whole = await room.section(section)
    try:
        rows = [("code", "bench", *(name for name in typed if name not in ("code", "bench")))]
        rows.append((typed.get("code", ""), typed.get("bench", ""), *(typed[name] for name in rows[0][2:])))
        (write_up,) = read_write_ups(to_csv(rows).encode(), name="this form")
        if write_up.bench not in whole.benches:
            raise InputError(f"There is no bench {write_up.bench} in this section.", remedy="Choose one of the list.")
        body = {"code": write_up.code, "fields": dict(write_up.fields), "values": dict(write_up.values), "via": "typed"}
        change = await room.append(section, Draft("write-up-added", "teacher", write_up.bench, body))
    except InputError as error:
        faults = tuple(str(fault) for fault in error.faults)
        page = replace(await _page(room, section), typed=typed, problem=error.message, remedy=error.remedy, faults=faults)
        return show(request, page, status=422)
    return RedirectResponse(f"/sections/{section}/marking/typed?did={change.seq}", 303)


async def _page(room: Room, section: str) -> TypingPage:
    whole = await room.section(section)
    steps = tuple((_HEADINGS[step], fields) for step, fields in FIELDS.items())
    return TypingPage(head_of(section, whole, "marking"), steps, tuple(whole.benches), {})
