"""One bench as the teacher sees it, and what the teacher does there."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from joulebook.classroom.changes import KINDS, Draft
from joulebook.classroom.judging import Judgement
from joulebook.classroom.log_lines import log_lines
from joulebook.classroom.section import BenchState, Section
from joulebook.classroom.standing import opened_at, stand
from joulebook.errors import InputError
from joulebook.web import trace_editing
from joulebook.web.access import Teacher
from joulebook.web.bench_contents import told_of
from joulebook.web.board_contexts import TeacherBenchPage, TraceEditor
from joulebook.web.house_sign import of_house, signed_records, signed_work
from joulebook.web.pages import show
from joulebook.web.section_head import back_to, head_of, just_done, minutes_text
from joulebook.web.trace_editing import bench_of, editor_for

__all__ = ["router"]

router = APIRouter(include_in_schema=False)
router.include_router(trace_editing.router)

_DOABLE = (
    "bench-named", "help-given", "hint-released", "ledger-closed", "ledger-opened", "noted", "record-discarded", "record-moved",
    "record-restored", "record-role-set", "sign-off-taken-back", "signed-off", "visited", "work-reopened",
)  # fmt: skip
_WAIT = 6.0  # seconds that a page waits for a judgement before it says that it is still being made
_LOG = 12


@router.get("/sections/{section}/benches/{bench}")
async def teacher_bench(request: Request, room: Teacher, section: str, bench: int, did: int = 0, record: str = "") -> Response:
    """One bench: where it stands, its trace, findings, ledger and budgets, the students' numbers beside the audit's."""
    whole = await room.section(section)
    state = bench_of(whole, bench)
    judged = await room.judgement(section, bench, wait=_WAIT)
    told = await run_in_threadpool(_told, whole, state, judged)
    editor = await run_in_threadpool(_editor, whole, state, judged, record)
    changes = await run_in_threadpool(room.store.changes, section)
    log = [line for line in log_lines(changes, whole.void, decimal=whole.house.decimal) if line.bench == bench][:_LOG]
    now = datetime.now(UTC)
    standing = of_house(stand(state, judged, now=now, opened=opened_at(whole, now=now)), whole)
    page = TeacherBenchPage(
        head=head_of(section, whole, "bench"), section=section, bench=state, standing=standing, since=minutes_text(standing),
        did=await just_done(room, section, did), before=bench - 1 if bench - 1 in whole.benches else None,
        after=bench + 1 if bench + 1 in whole.benches else None, code=await run_in_threadpool(room.store.code, section, bench),
        numbers=tuple(whole.benches), editor=editor, log=tuple(log), ledger_seen=whole.may_see_ledger(bench), **told,
    )  # fmt: skip
    return show(request, page)


@router.post("/sections/{section}/benches/{bench}/do")
async def do_to_bench(
    room: Teacher,
    section: str,
    bench: int,
    kind: Annotated[str, Form(max_length=40)],
    record: Annotated[str, Form(max_length=40)] = "",
    reason: Annotated[str, Form(max_length=400)] = "",
    role: Annotated[str, Form(max_length=20)] = "",
    to: Annotated[int, Form()] = 0,
    code: Annotated[str, Form(max_length=60)] = "",
    grade: Annotated[str, Form(max_length=20)] = "",
    text: Annotated[str, Form(max_length=4000)] = "",
    name: Annotated[str, Form(max_length=60)] = "",
    back: Annotated[str, Form(max_length=60)] = "",
) -> Response:
    """Make one change to a bench: visited, a hint, a record set aside, signed off and so on."""
    if kind not in _DOABLE:
        raise InputError(f"{kind[:40]!r} is nothing that can be done here.", remedy="Reload the page.", code="change")
    bench_of(await room.section(section), bench)
    given: dict[str, Any] = {
        "record": record, "reason": reason, "role": role, "to": to, "code": code, "grade": grade, "text": text, "name": name,
    }  # fmt: skip
    wanted = (*KINDS[kind].required, *(key for key in KINDS[kind].optional if given.get(key)))
    change = await room.append(section, Draft(kind, "teacher", bench, {key: given[key] for key in wanted}))
    if kind == "record-moved":
        # The other bench's data changed too; its judging begins now rather than when somebody looks.
        await room.judgement(section, to, wait=0.0)
    return back_to(section, back, change.seq)


def _editor(whole: Section, state: BenchState, judged: Judgement | None, record: str) -> TraceEditor | None:
    """Return the editor of a launch's times with the house's decimal sign, which its fields show and take."""
    editor = editor_for(state, judged, record)
    return None if editor is None else replace(of_house(editor, whole), record=editor.record, decimal=whole.house.decimal)


def _told(whole: Section, state: BenchState, judged: Judgement | None) -> dict[str, Any]:
    """Return what follows from a bench and its judgement, in the house's decimal sign; what people typed stays as it is."""
    told = told_of(state, judged, whole.house)
    as_typed = ("records", "work", "own_words", "launches")
    return {
        **{name: value if name in as_typed else of_house(value, whole) for name, value in told.items()},
        "records": signed_records(told["records"], whole),
        "work": signed_work(told["work"], whole),
    }
