"""Files dropped on a section: each is assigned to a bench by its name, mended by hand, then added."""

from __future__ import annotations

import hashlib

from fastapi import APIRouter, Request
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from joulebook.classroom.changes import Actor, Draft
from joulebook.classroom.placing import clean_file_name, is_record_name, place_file
from joulebook.errors import InputError
from joulebook.readers.limits import MAX_BYTES
from joulebook.render.plain import clean_text
from joulebook.web.access import Teacher, settings_of
from joulebook.web.pages import show
from joulebook.web.room import Room
from joulebook.web.section_contexts import DropPage, TrayLine
from joulebook.web.section_head import head_of, just_done
from joulebook.web.tray import tray_of

__all__ = ["add_record", "router"]

router = APIRouter(include_in_schema=False)

_MOST_FILES = 200


@router.get("/sections/{section}/drop")
async def drop_page(request: Request, room: Teacher, section: str, did: int = 0) -> Response:
    """Where files are dropped, and which wait for a bench."""
    whole, settings, tray = await room.section(section), settings_of(request), tray_of(room)
    lines = tuple(
        TrayLine(
            each.id, each.placed.name, each.path, len(each.content), each.placed.bench, each.placed.role, each.via, each.problem
        )
        for each in tray.of(section)
    )  # fmt: skip
    watched = str(settings.watch) if settings.watch is not None and settings.watch_section == section else ""
    page = DropPage(
        head_of(section, whole, "drop"), tuple((number, bench.title) for number, bench in whole.benches.items()), lines,
        tray.told.pop(section, ()), watched, tuple(tray.lines.get(section, ())), await just_done(room, section, did),
    )  # fmt: skip
    return show(request, page)


@router.post("/sections/{section}/drop")
async def drop(request: Request, room: Teacher, section: str) -> Response:
    """Take files in and say which bench each belongs to; nothing is added yet."""
    whole, tray, told = await room.section(section), tray_of(room), []
    async with request.form(max_files=_MOST_FILES, max_fields=20) as form:
        for each in form.getlist("files"):
            if not isinstance(each, UploadFile) or not each.filename:
                continue
            path, content = clean_text(each.filename)[-300:], await each.read()
            placed = place_file(path, benches=whole.benches)
            if not is_record_name(placed.name):
                told.append(f"{placed.name} is no record file and was left out.")
            elif not content or len(content) > MAX_BYTES:
                size = "is empty" if not content else f"is larger than {MAX_BYTES // 1_048_576} MB"
                told.append(f"{placed.name} {size} and was left out.")
            else:
                try:
                    tray.put(section, path, content, placed, via="drop")
                except InputError as error:
                    told.append(f"{placed.name} was left out: {error.message} {error.remedy}")
    tray.told[section] = tuple(told)
    return RedirectResponse(f"/sections/{section}/drop", 303)


@router.post("/sections/{section}/drop/add")
async def add_dropped(request: Request, room: Teacher, section: str) -> Response:
    """Add the files that wait to the benches chosen in the form; what has no bench stays and waits."""
    await room.section(section)
    tray, added, told = tray_of(room), 0, []
    async with request.form(max_files=0, max_fields=1_000) as form:
        choices = {str(name): str(value) for name, value in form.items()}
    for waiting in tray.of(section):
        bench, role = choices.get(f"bench-{waiting.id}", ""), choices.get(f"role-{waiting.id}", "")
        if bench == "leave":
            tray.take(waiting.id)
            told.append(f"{waiting.placed.name} was left out.")
        elif bench.isascii() and bench.isdigit() and role in ("rest", "launch"):
            try:
                await add_record(
                    room, section, int(bench), waiting.placed.name, waiting.content, role, actor="teacher", via="drop"
                )
                added += 1
                tray.take(waiting.id)
            except InputError as error:
                if error.code == "double":
                    told.append(f"{error.message} {error.remedy}")
                    tray.take(waiting.id)
                else:
                    tray.refuse(waiting.id, f"{error.message} {error.remedy}")
    first = [f"{added} {'file was' if added == 1 else 'files were'} added."] if added else []
    tray.told[section] = (*first, *told)
    return RedirectResponse(f"/sections/{section}/drop", 303)


async def add_record(
    room: Room, section: str, bench: int, name: str, content: bytes, role: str, *, actor: Actor, via: str
) -> int:
    """Add a record to a bench and return the number of the change. Raises as `Room.append`."""
    body = {"name": clean_file_name(name), "sha256": hashlib.sha256(content).hexdigest(), "size": len(content), "role": role, "via": via}
    return (await room.append(section, Draft("record-added", actor, bench, body), content=content)).seq
