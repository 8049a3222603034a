"""Where the data is: what is kept and how large it is, export and import, backup and restore, deleting a section for good."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.responses import RedirectResponse, Response

from joulebook.classroom.section import Section
from joulebook.errors import InputError, JoulebookError
from joulebook.store.store import Store
from joulebook.version import VERSION
from joulebook.web.access import Teacher, settings_of
from joulebook.web.pages import show
from joulebook.web.room import Room
from joulebook.web.sign_in import PASSPHRASE, SHORTEST
from joulebook.web.store_contexts import DeletePage, StoredSection, StorePage

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_ZIP = "application/zip"
_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@router.get("/store")
async def store_page(request: Request, room: Teacher, told: str = "") -> Response:
    """Where the data is."""
    return show(request, await _page(request, room, told=_TOLD.get(told, "")))


@router.get("/sections/{section}/package")
async def package(room: Teacher, section: str) -> Response:
    """A section as a data package: records, bench files, audits, no people."""
    from joulebook.store.package import export_package

    whole = await room.section(section)
    await room.judgements(section, wait=20.0)  # the package holds the audit of every bench
    return await _written(partial(export_package, room.store, section), f"{_slug(whole)}.zip", _ZIP)


@router.get("/sections/{section}/workbook")
async def workbook(room: Teacher, section: str) -> Response:
    """A section's results as a workbook."""
    from joulebook.store.workbook import export_workbook

    whole = await room.section(section)
    await room.judgements(section, wait=20.0)
    return await _written(partial(export_workbook, room.store, section), f"{_slug(whole)}.xlsx", _XLSX)


@router.post("/store/import")
async def import_section(request: Request, room: Teacher) -> Response:
    """Take in a section that was exported, as a section of its own."""
    from joulebook.store.package import import_package

    try:
        async with request.form(max_files=1, max_fields=4) as form:
            made = await _read(partial(import_package, room.store), form, "package.zip")
    except JoulebookError as error:
        return await _refused(request, room, error)
    return RedirectResponse(f"/sections/{made}", 303)


@router.get("/store/backup")
async def backup(room: Teacher) -> Response:
    """The whole store in one file."""
    from joulebook.store.backup import back_up

    day = datetime.now().strftime("%Y-%m-%d")
    return await _written(partial(back_up, room.store), f"joulebook-backup-{day}.zip", _ZIP)


@router.post("/store/restore")
async def restore(request: Request, room: Teacher) -> Response:
    """Put a backup back: all of its sections or none."""
    from joulebook.store.backup import restore as put_back

    try:
        async with request.form(max_files=1, max_fields=4) as form:
            await _read(partial(put_back, room.store, replace="replace" in form), form, "backup.zip")
    except JoulebookError as error:
        return await _refused(request, room, error)
    return RedirectResponse("/store?told=restored", 303)


@router.get("/sections/{section}/delete")
async def ask_to_delete(request: Request, room: Teacher, section: str) -> Response:
    """What goes with a section, and where its title is typed to delete it."""
    whole = await room.section(section)
    return show(request, DeletePage(section, whole.title, _holds(whole)))


@router.post("/sections/{section}/delete")
async def delete(request: Request, room: Teacher, section: str, title: Annotated[str, Form(max_length=200)] = "") -> Response:
    """Delete a section for good, once its title was typed."""
    whole = await room.section(section)
    if " ".join(title.split()).casefold() != " ".join(whole.title.split()).casefold():
        problem = "This is not the title, so nothing was deleted."
        return show(request, DeletePage(section, whole.title, _holds(whole), title, problem), status=422)
    await run_in_threadpool(room.store.delete_section, section)
    return RedirectResponse("/store?told=deleted", 303)


_TOLD = {"deleted": "The section was deleted for good.", "restored": "The backup was put back.", "": ""}


async def _page(request: Request, room: Room, *, told: str = "") -> StorePage:
    store = room.store
    lines = await run_in_threadpool(store.sections)
    # Sizes are asked of the database: to play the lessons of some years for this page would take minutes.
    sizes = await run_in_threadpool(store.sizes)
    total = sum(size for _, size in sizes.values())
    rows = []
    for line in lines:
        count, size = sizes.get(line.id, (0, 0))
        rows.append(StoredSection(line.id, line.title, line.made_at, line.benches, count, _size(size)))
    facts = await run_in_threadpool(_facts, store, total, request)
    has = await run_in_threadpool(store.setting, PASSPHRASE) is not None
    return StorePage(facts, tuple(rows), has, SHORTEST, told)


def _facts(store: Store, records: int, request: Request) -> tuple[tuple[str, str], ...]:
    settings = settings_of(request)
    engine = store.engine
    facts = [("Kept in", store.place)]
    if engine.dialect.name == "sqlite" and engine.url.database:
        parts = [Path(f"{engine.url.database}{end}") for end in ("", "-wal", "-shm")]
        facts.append(("Size of the file", _size(sum(part.stat().st_size for part in parts if part.is_file()))))
    facts += [
        ("Size of all records", _size(records)),
        ("Open to", f"the local network at {settings.address}" if settings.lan else "this machine alone"),
        ("Sent elsewhere", "nothing, ever"),
        ("joulebook", f"{VERSION}, Python {sys.version.split()[0]}"),
    ]
    return tuple(facts)


async def _refused(request: Request, room: Room, error: JoulebookError) -> Response:
    faults = tuple(str(fault) for fault in error.faults)
    page = replace(await _page(request, room), problem=error.message, remedy=error.remedy, faults=faults)
    return show(request, page, status=422)


async def _read(take_in: Callable[[Path], Any], form: FormData, name: str) -> Any:
    """Give an uploaded file to a reader of the store, which takes it from the disk. name: what messages call it."""
    upload = form.get("file")
    content = await upload.read() if isinstance(upload, UploadFile) else b""
    if not content:
        raise InputError("No file was chosen.", remedy="Choose the file first.", code="package")
    with TemporaryDirectory() as folder:
        path = Path(folder) / name
        await run_in_threadpool(path.write_bytes, content)
        try:
            return await run_in_threadpool(take_in, path)
        except JoulebookError as error:
            # The page has a box for what the command has an option for; the folder is nobody's concern.
            error.remedy = error.remedy.replace("say --replace", "tick “instead of the present state”")
            error.source = ""
            raise


async def _written(write: Callable[[Path], Any], name: str, kind: str) -> Response:
    """Return what a writer of the store writes, as a download."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / name
        await run_in_threadpool(write, path)
        content = await run_in_threadpool(path.read_bytes)
    return Response(content, media_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})


def _holds(whole: Section) -> str:
    records = sum(len(bench.records) for bench in whole.benches.values())
    return (
        f"{len(whole.benches)} benches, {records} {'record' if records == 1 else 'records'}, all the students' work, hints, "
        f"notes and the log of {whole.seq} {'change' if whole.seq == 1 else 'changes'}"
    )


def _slug(whole: Section) -> str:
    """Return a file name that every system takes: the title's letters and digits, and the day."""
    words = re.sub(r"[^a-z0-9]+", "-", whole.title.casefold()).strip("-")[:60] or "section"
    return f"{words}-{whole.made_at[:10]}"


def _size(count: float) -> str:
    for unit in ("bytes", "kB", "MB"):
        if count < 1000 or unit == "MB":
            return f"{count:.0f} {unit}" if unit == "bytes" else f"{count:.1f} {unit}"
        count /= 1000
    raise AssertionError
