"""What the students of a bench may change, each as a plain form that works without script."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from joulebook.classroom.changes import Draft
from joulebook.classroom.own_work import FIELDS
from joulebook.classroom.placing import clean_file_name
from joulebook.classroom.section import BenchState
from joulebook.classroom.student_view import ask_for
from joulebook.errors import InputError, StaleError
from joulebook.experiments.ramp_hints import HINTS
from joulebook.readers.limits import MAX_BYTES
from joulebook.render.plain import clean_text
from joulebook.web.access import AskedBench, AskedRoom
from joulebook.web.bench_building import Shown, bench_page, hint_wait
from joulebook.web.bench_contexts import Problem, Version, VersionsPage
from joulebook.web.bench_set_up import read_set_up
from joulebook.web.bench_steps import HEADINGS, page_order, still_missing
from joulebook.web.pages import show
from joulebook.web.room import Room

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_DOABLE = ("record-discarded", "record-restored", "record-role-set", "help-asked", "help-given")
_LONGEST_NAME = 40
_MOST_FILES = 24
Asked = tuple[str, int]


@router.post("/bench/name")
async def set_name(request: Request, room: AskedRoom, asked: AskedBench, name: Annotated[str, Form(max_length=400)] = "") -> Response:
    """What the group calls itself."""
    wanted = clean_text(name).strip()
    if len(wanted) > _LONGEST_NAME:
        problem = Problem(f"This name is {len(wanted)} characters long.", f"Take one of at most {_LONGEST_NAME}.", (("name", "Name"),))
        return await _refuse(request, room, asked, Shown(problem=problem, step="name", name=wanted))
    bench = (await room.section(asked[0])).benches[asked[1]]
    if wanted == bench.name:
        return _back("name", 0)
    return await _do(request, room, asked, Draft("bench-named", "bench", asked[1], {"name": wanted}), "name")


@router.post("/bench/set-up")
async def set_values(request: Request, room: AskedRoom, asked: AskedBench) -> Response:
    """The set-up readings. What is not understood is kept too, and said beside the field."""
    async with request.form(max_fields=60, max_files=0) as sent:
        form = {name: str(text) for name, text in sent.items()}
    bench = (await room.section(asked[0])).benches[asked[1]]
    values, how = read_set_up(form, bench)
    if not values and not how:
        return _back("set-up", 0)
    body = {"values": values, "how": how}
    return await _do(request, room, asked, Draft("values-set", "bench", asked[1], body), "set-up", typed=values)


@router.post("/bench/records")
async def add_records(request: Request, room: AskedRoom, asked: AskedBench) -> Response:
    """Files or a pasted text, as rest record or launches. Each is taken or refused by itself."""
    async with request.form(max_fields=12, max_files=_MOST_FILES + 2, max_part_size=MAX_BYTES) as sent:
        incoming: list[tuple[str, str, bytes, str]] = []
        for role in ("rest", "launch"):
            for item in sent.getlist(role):
                if isinstance(item, UploadFile) and (item.filename or item.size):
                    incoming.append((role, clean_file_name(item.filename or ""), await item.read(), "upload"))
        pasted = str(sent.get("pasted", ""))
        if pasted.strip():
            role = "rest" if sent.get("pasted-role") == "rest" else "launch"
            incoming.append((role, f"pasted-{datetime.now():%H%M%S}.csv", pasted.encode("utf-8"), "paste"))
    if not incoming:
        problem = Problem("No file was chosen and no text was pasted.", "Choose a file first.", (("launch-files", "Choose files"),))
        return await _refuse(request, room, asked, Shown(problem=problem, step="records"))
    last, refused, lost = 0, [], ""
    for role, name, content, via in incoming:
        try:
            last = await _add(room, asked, role, name, content, via)
        except InputError as error:
            refused.append((name, error))
            lost = pasted if via == "paste" and error.code != "double" else lost
    if not refused:
        return _back("records", last)
    added = len(incoming) - len(refused)
    problem = _not_added(refused, added)
    status = 409 if problem.calm else 422
    return await _refuse(request, room, asked, Shown(problem=problem, step="records", pasted=lost, did=last, wait=1.5), status=status)


@router.post("/bench/work")
async def save_work(request: Request, room: AskedRoom, asked: AskedBench) -> Response:
    """One step of own work. When it was saved elsewhere meanwhile, both versions are shown and one is chosen."""
    async with request.form(max_fields=60, max_files=0) as sent:
        form = {name: str(text) for name, text in sent.items()}
    step, base = form.get("step", ""), form.get("base", "0")
    whole = await room.section(asked[0])
    if step not in FIELDS or step not in page_order(whole.house):
        raise InputError("There is no such step here.", remedy="Reload the page.", code="change")
    bench = whole.benches[asked[1]]
    fields = {each.name: form.get(each.name, "").replace("\r\n", "\n").strip() for each in FIELDS[step]}
    saved = bench.work.get(step)
    if (dict(saved.fields) if saved else {}) == fields or (saved is None and not any(fields.values())):
        return _back(step, saved.seq if saved else 0)
    draft = Draft("work-saved", "bench", asked[1], {"step": step, "fields": fields})
    try:
        return await _do(request, room, asked, draft, step, base=int(base) if base.isdigit() else 0, typed=fields)
    except StaleError as error:
        return await _versions(request, room, asked, step, fields, error)


@router.post("/bench/commit")
async def commit(request: Request, room: AskedRoom, asked: AskedBench) -> Response:
    """Fix uncertainties and claim; only then the comparison is shown."""
    whole = await room.section(asked[0])
    bench = whole.benches[asked[1]]
    if bench.committed_at:
        return _back("comparison", 0)
    missing = still_missing(bench, whole.house)
    if missing:
        problem = Problem(f"Before you can commit, fill in: {', '.join(missing)}.", "Save each step, then commit.")
        return await _refuse(request, room, asked, Shown(problem=problem, step="commit"))
    return await _do(request, room, asked, Draft("work-committed", "bench", asked[1]), "commit")


@router.post("/bench/hint")
async def ask_for_hint(request: Request, room: AskedRoom, asked: AskedBench) -> Response:
    """One further hint on what is most pressing. Which finding it is about stays here."""
    section, number = asked
    judged = await room.judgement(section, number, wait=10.0)
    whole = await room.section(section)
    bench = whole.benches[number]
    if judged is None:
        problem = Problem("Your records are still being checked.", "Ask again in a moment.", calm=True)
        return await _refuse(request, room, asked, Shown(problem=problem, step="help"), status=503)
    changes = [each for each in await run_in_threadpool(room.store.changes, section) if each.bench == number]
    until = hint_wait(changes, whole.void, now=datetime.now(UTC))
    if until is not None:
        clock = until.astimezone().strftime("%H:%M")
        problem = Problem("You had a hint a moment ago.", f"Try it first; from {clock} on you can ask for the next one.", calm=True)
        return await _refuse(request, room, asked, Shown(problem=problem, step="help"), status=429)
    pressing = sorted((each for each in judged.findings if each.severity in ("stop", "look")), key=lambda each: each.severity != "stop")
    codes = dict.fromkeys(each.code for each in pressing if each.code in HINTS)
    found = next(((code, grade) for code in codes if (grade := ask_for(bench, code)) is not None), None)
    if found is None:
        problem = Problem("There is no further hint for you now.", "If you are stuck, call your teacher.", calm=True)
        return await _refuse(request, room, asked, Shown(problem=problem, step="help"), status=422)
    body = {"code": found[0], "grade": found[1]}
    return await _do(request, room, asked, Draft("hint-released", "bench", number, body), "help")


@router.post("/bench/undo")
async def undo(request: Request, room: AskedRoom, asked: AskedBench, change: Annotated[int, Form()]) -> Response:
    """Take back one of the group's own changes."""
    return await _do(request, room, asked, Draft("undone", "bench", asked[1], {"change": change}), "")


@router.post("/bench/do")
async def do(
    request: Request,
    room: AskedRoom,
    asked: AskedBench,
    kind: Annotated[str, Form(max_length=40)],
    record: Annotated[str, Form(max_length=40)] = "",
    role: Annotated[str, Form(max_length=20)] = "",
) -> Response:
    """A record set aside, taken back in or given its other role; the teacher called or not needed any more."""
    if kind not in _DOABLE:
        raise InputError("This is nothing that can be done here.", remedy="Reload the page.", code="change")
    body: dict[str, Any] = {}
    if kind.startswith("record-"):
        body = {"record": record, **({"role": role} if kind == "record-role-set" else {})}
    step = "records" if body else "help"
    return await _do(request, room, asked, Draft(kind, "bench", asked[1], body), step)


async def _do(
    request: Request, room: Room, asked: Asked, draft: Draft, step: str, *, base: int | None = None, typed: dict[str, str] | None = None
) -> Response:
    """Make a change and lead back to the page; when it is refused, show the page with the reason and everything that was typed."""
    try:
        change = await room.append(asked[0], draft, base=base)
    except InputError as error:
        problem = Problem(error.message, error.remedy, tuple(("", str(fault)) for fault in error.faults))
        return await _refuse(request, room, asked, Shown(problem=problem, step=step, typed=typed or {}))
    return _back(step, change.seq)


async def _add(room: Room, asked: Asked, role: str, name: str, content: bytes, via: str) -> int:
    if not content:
        raise InputError(f"{name} is empty.", remedy="Save the recording again, then choose the new file.", code="record")
    if len(content) > MAX_BYTES:
        size = f"{len(content) / 1_048_576:.1f} MB, more than the {MAX_BYTES // 1_048_576} MB that a record may have"
        raise InputError(f"{name} has {size}.", remedy="Choose the file of one recording.", code="record")
    body = {"name": name, "sha256": hashlib.sha256(content).hexdigest(), "size": len(content), "role": role, "via": via}
    return (await room.append(asked[0], Draft("record-added", "bench", asked[1], body), content=content)).seq


def _not_added(refused: list[tuple[str, InputError]], added: int) -> Problem:
    """Say which files were not added; a file that the bench holds already is no trouble."""
    calm = all(error.code == "double" for _, error in refused)
    others = f" {added} {'other was' if added == 1 else 'others were'} added." if added else ""
    if len(refused) == 1:
        return Problem(f"{refused[0][1].message}{others}", refused[0][1].remedy, calm=calm)
    message = "You have these already." if calm else f"{len(refused)} files were not added."
    return Problem(f"{message}{others}", "", tuple(("", f"{each.message} {each.remedy}") for _, each in refused), calm)


async def _versions(
    request: Request, room: Room, asked: Asked, step: str, fields: dict[str, str], error: StaleError
) -> Response:
    bench: BenchState = (await room.section(asked[0])).benches[asked[1]]
    saved = bench.work.get(step)
    versions = []
    for each in FIELDS[step]:
        words = dict(each.choices)
        ours, other = fields.get(each.name, ""), error.saved.get(each.name, "")
        versions.append(Version(each.label, words.get(ours, ours), words.get(other, other)))
    page = VersionsPage(step, HEADINGS[step], tuple(versions), fields, error.seq, saved.at if saved else "")
    return show(request, page, status=409)


async def _refuse(request: Request, room: Room, asked: Asked, shown: Shown, *, status: int = 422) -> Response:
    return show(request, await bench_page(room, *asked, shown), status=status)


def _back(step: str, seq: int) -> RedirectResponse:
    did = f"did={seq}&" if seq else ""
    return RedirectResponse(f"/bench?{did}step={step}#{step or 'main'}", 303)

