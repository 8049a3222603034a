"""Sections: the list, making one by hand or from a plan, its rules and its bench cards."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.responses import RedirectResponse, Response

from joulebook.classroom.changes import Draft
from joulebook.classroom.planned_section import PlannedSection, read_planned
from joulebook.classroom.section import MOST_BENCHES
from joulebook.errors import InputError, JoulebookError
from joulebook.render.plain import clean_text
from joulebook.web import drop_pages
from joulebook.web.access import Teacher, settings_of
from joulebook.web.house_form import form_of_tables, house_of, house_text, read_house_text
from joulebook.web.pages import show
from joulebook.web.room import Room
from joulebook.web.section_contexts import CardsPage, HouseForm, NewSectionPage, PrintedCard, RulesPage, SectionRow, SectionsPage
from joulebook.web.section_head import back_to, head_of, just_done
from joulebook.web.watched_folder import watching

__all__ = ["router", "watching"]

router = APIRouter(include_in_schema=False)
router.include_router(drop_pages.router)

_MOST_FILES = 200


@router.get("/sections")
async def sections(request: Request, room: Teacher) -> Response:
    """Every section, the newest first."""
    lines = await run_in_threadpool(room.store.sections)
    rows = tuple(SectionRow(line.id, line.title, line.made_at, line.changed_at, line.benches) for line in lines)
    return show(request, SectionsPage(rows, room.store.place))


@router.get("/sections/new")
async def new_section(request: Request, room: Teacher) -> Response:
    """The forms by which a section is made."""
    return show(request, NewSectionPage(HouseForm()))


@router.post("/sections")
async def make_by_hand(request: Request, room: Teacher) -> Response:
    """Make a section from its title, the number of its benches and its house rules."""
    async with request.form(max_fields=100, max_files=1) as form:
        typed = NewSectionPage(
            HouseForm(), str(form.get("name", ""))[:120], str(form.get("benches", ""))[:6], str(form.get("note", ""))[:2000],
            str(form.get("house_text", ""))[:70_000],
        )  # fmt: skip
        given = await _house_text(form)
        tables, house = house_of(form)
    typed = replace(typed, house=house, house_text=given)
    try:
        if given.strip():
            tables = read_house_text(given)
        elif house.faults:
            raise InputError("Some house rules are not understood.", remedy="Look at the fields that are marked.")
        benches = int(typed.benches) if typed.benches.strip().isdigit() else 0
        if not 1 <= benches <= MOST_BENCHES:
            what = f"“{typed.benches}” is no number of benches."
            raise InputError(what, remedy=f"Write a whole number from 1 to {MOST_BENCHES}.")
        made = await run_in_threadpool(room.store.make_section, typed.name, benches=benches, house=tables, note=typed.note)
    except InputError as error:
        told = replace(
            typed, problem=error.message, remedy=error.remedy,
            faults=tuple(str(fault) for fault in error.faults),
        )  # fmt: skip
        return show(request, told, status=422)
    return RedirectResponse(f"/sections/{made}", 303)


@router.post("/sections/from-plan")
async def make_from_plan(request: Request, room: Teacher) -> Response:
    """Make a section from a plan: a bench for each of its benches, their set-up planned and to be measured."""
    async with request.form(max_fields=20, max_files=_MOST_FILES) as form:
        name = str(form.get("name", "")).strip()[:120]
        files = [(clean_text(each.filename or ""), await each.read()) for each in form.getlist("plan") if isinstance(each, UploadFile)]
    try:
        planned = await run_in_threadpool(read_planned, files)
        made = await _made_from(room, planned, name)
    except InputError as error:
        page = NewSectionPage(
            HouseForm(), name, problem=error.message, remedy=error.remedy, faults=tuple(str(fault) for fault in error.faults)
        )
        return show(request, page, status=422)
    return RedirectResponse(f"/sections/{made}", 303)


@router.get("/sections/{section}/rules")
async def rules(request: Request, room: Teacher, section: str, did: int = 0) -> Response:
    """Title and house rules of a section."""
    whole = await room.section(section)
    page = RulesPage(
        head_of(section, whole, "rules"), form_of_tables(whole.house_tables), whole.title, house_text(whole),
        did=await just_done(room, section, did),
    )  # fmt: skip
    return show(request, page)


@router.post("/sections/{section}/rules")
async def set_rules(request: Request, room: Teacher, section: str) -> Response:
    """Change the house rules; benches are judged anew where it matters."""
    whole = await room.section(section)
    async with request.form(max_fields=100, max_files=1) as form:
        given = await _house_text(form)
        tables, house = house_of(form, before=whole.house_tables)
    page = RulesPage(head_of(section, whole, "rules"), house, whole.title, house_text(whole), given)
    try:
        if given.strip():
            tables = read_house_text(given)
        elif house.faults:
            raise InputError("Some house rules are not understood.", remedy="Look at the fields that are marked.")
        change = await room.append(section, Draft("rules-set", "teacher", None, {"house": tables}))
    except InputError as error:
        faults = tuple(str(fault) for fault in error.faults)
        return show(request, replace(page, problem=error.message, remedy=error.remedy, faults=faults), status=422)
    return back_to(section, "rules", change.seq)


@router.get("/sections/{section}/bench-cards")
async def bench_cards(request: Request, room: Teacher, section: str, bench: int = 0) -> Response:
    """Cards to print: number, code, address and QR code of each bench, or of one."""
    whole, settings = await room.section(section), settings_of(request)
    wanted = [number for number in whole.benches if bench in (0, number)]
    cards = []
    for number in wanted:
        code = await run_in_threadpool(room.store.code, section, number)
        url = f"{settings.address}/join/{code}"
        cards.append(PrintedCard(number, f"{code[:3]} {code[3:]}", url, _qr(url) if settings.lan else ""))
    return show(request, CardsPage(head_of(section, whole, "cards"), tuple(cards), settings.address, settings.lan))


@router.post("/sections/{section}/new-code")
async def new_code(room: Teacher, section: str, bench: Annotated[int, Form()]) -> Response:
    """Give a bench a new code: the old card no longer opens it."""
    await run_in_threadpool(room.store.new_code, section, bench)
    return RedirectResponse(f"/sections/{section}/bench-cards", 303)


async def _house_text(form: FormData) -> str:
    """Return the house file that was pasted or uploaded, "" for none."""
    upload = form.get("house_file")
    if isinstance(upload, UploadFile) and upload.filename:
        return (await upload.read()).decode("utf-8", "replace")
    return str(form.get("house_text", ""))


async def _made_from(room: Room, planned: PlannedSection, name: str) -> str:
    title = name or planned.title or "A planned section"
    if len(planned.benches) > MOST_BENCHES:
        what = f"The plan holds {len(planned.benches)} benches; a section has at most {MOST_BENCHES}."
        raise InputError(what, remedy="Split the plan into two sections.", code="plan")
    made = await run_in_threadpool(room.store.make_section, title, benches=len(planned.benches), house=dict(planned.house))
    drafts = []
    for number, bench in enumerate(planned.benches, 1):
        drafts.append(Draft("values-planned", "teacher", number, {"values": dict(bench.values)}))
    try:
        await room.append_many(made, drafts)
    except JoulebookError:
        await run_in_threadpool(room.store.delete_section, made)
        raise
    return made


def _qr(url: str) -> str:
    import segno

    # Level M is read with a seventh of the code dirty; four modules of margin are what ISO/IEC 18004 asks for.
    return segno.make(url, error="m", micro=False).svg_inline(
        border=4, dark="#000", light="#fff", svgclass="qr", lineclass=None, omitsize=True
    )
