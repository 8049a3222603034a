"""The room as JSON: what the pages' modules ask, and what another program on the teacher's laptop may ask.

Described by OpenAPI at /api/openapi.json. The same rules hold as for the pages: the teacher signs in, a bench has its cookie, and
a bench is told nothing before its ledger is opened.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
from dataclasses import asdict
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, ConfigDict, Field
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse

from joulebook.classroom.changes import Draft
from joulebook.classroom.judging import reading_of
from joulebook.classroom.section import BenchState, Section
from joulebook.classroom.student_view import view_for_students
from joulebook.engine.bench import Override
from joulebook.errors import InputError
from joulebook.readers.limits import MAX_BYTES
from joulebook.render.plain import clean_text
from joulebook.web.access import AskedBench, AskedRoom, Teacher

__all__ = ["NewChange", "NewRecord", "NewSection", "Refusal", "Told", "Trial", "router"]

SectionId = Annotated[str, Path(min_length=1, max_length=40, pattern=r"^[A-Za-z0-9_-]+$")]
BenchNumber = Annotated[int, Path(ge=1, le=1000)]
_STUDENT_KINDS = frozenset(
    {
        "bench-named",
        "help-asked",
        "help-given",
        "record-discarded",
        "record-restored",
        "record-role-set",
        "undone",
        "values-set",
        "work-committed",
        "work-saved",
    }
)


_STUDENT_VALUES = frozenset(
    {"cart.mass", "sensor.air_temperature", "sensor.assumed_temperature", "sensor.placed", "track.angle", "track.along", "track.rise"}
)
"""The set-up readings that a group measures; everything else about a bench is the teacher's."""


class Told(BaseModel):
    """What went wrong. code: a short word. message: what and by how much. remedy: what to do."""

    code: str
    message: str
    remedy: str


class Refusal(BaseModel):
    """The shape of every answer that is not what was asked for."""

    error: Told


class NewSection(BaseModel):
    """A section to be made. house: tables as in a house file (docs/house.md)."""

    model_config = ConfigDict(extra="forbid")
    title: str = Field(min_length=1, max_length=120)
    benches: int = Field(ge=1, le=60)
    house: dict[str, Any] = Field(default_factory=dict)
    note: str = Field(default="", max_length=2000)


class NewChange(BaseModel):
    """A change to be made (docs/room.md lists the kinds).

    base: the number of the change that the page was made from; a step of own work is refused when it was saved again since.
    """

    model_config = ConfigDict(extra="forbid")
    kind: str = Field(max_length=40)
    bench: int | None = Field(default=None, ge=1, le=1000)
    body: dict[str, Any] = Field(default_factory=dict)
    base: int | None = Field(default=None, ge=0, le=2**53)


class NewRecord(BaseModel):
    """A record to be added. content: the file's bytes in Base64 (RFC 4648), padding included."""

    model_config = ConfigDict(extra="forbid")
    name: str = Field(min_length=1, max_length=200)
    role: Literal["rest", "launch"]
    content: str = Field(max_length=MAX_BYTES * 4 // 3 + 8)
    run: str = Field(default="", max_length=200)


class Trial(BaseModel):
    """An override to be tried: release and apex in seconds on the record's clock, edges as [kind, start, end]."""

    model_config = ConfigDict(extra="forbid")
    record: str = Field(max_length=40)
    release: float | None = Field(default=None, ge=-1e6, le=1e6)
    apex: float | None = Field(default=None, ge=-1e6, le=1e6)
    edges: list[tuple[str, float, float]] = Field(default_factory=list, max_length=60)


_REFUSALS: dict[int | str, dict[str, Any]] = {
    status: {"model": Refusal, "description": text}
    for status, text in {
        400: "The request is not understood.",
        403: "Not open to this browser, or not sent by a page of ours.",
        404: "There is no such thing.",
        409: "Somebody was faster, or it is there already.",
        413: "Too large.",
        422: "What was sent cannot be used.",
        503: "The store cannot be used now.",
    }.items()
}
router = APIRouter(prefix="/api", responses=_REFUSALS)


@router.get("/sections")
async def list_sections(room: Teacher) -> list[dict[str, Any]]:
    """Every section, the newest first."""
    return [asdict(line) for line in await run_in_threadpool(room.store.sections)]


@router.post("/sections", status_code=201)
async def make_section(room: Teacher, new: NewSection) -> dict[str, Any]:
    """Make a section; the codes of its benches by number are in the answer."""
    made = await run_in_threadpool(room.store.make_section, new.title, benches=new.benches, house=new.house, note=new.note)
    codes = {number: await run_in_threadpool(room.store.code, made, number) for number in range(1, new.benches + 1)}
    return {"section": made, "codes": codes}


@router.get("/sections/{section}")
async def get_section(room: Teacher, section: SectionId) -> dict[str, Any]:
    """A section as it stands."""
    return _section(await room.section(section))


@router.get("/sections/{section}/board")
async def get_board(room: Teacher, section: SectionId) -> list[dict[str, Any]]:
    """Where every bench stands, who needs help first."""
    return [
        {
            "bench": each.bench, "standing": each.name, "word": each.words.word, "reason": each.reason, "remedy": each.remedy,
            "beneath": each.beneath, "minutes": each.minutes, "visited": each.visited,
        }
        for each in await room.standings(section)
    ]  # fmt: skip


@router.get("/sections/{section}/changes")
async def get_changes(
    room: Teacher, section: SectionId, after: Annotated[int, Query(ge=0, le=2**53)] = 0
) -> list[dict[str, Any]]:
    """The section's log, from the change number `after` on."""
    await room.section(section)
    return [change.to_dict() for change in await run_in_threadpool(room.store.changes, section, after=after)]


@router.post("/sections/{section}/changes", status_code=201)
async def make_change(room: Teacher, section: SectionId, new: NewChange) -> dict[str, Any]:
    """Make a change as the teacher. A record is added by /records instead."""
    if new.kind in ("record-added", "section-made"):
        raise InputError(f"A change of the kind {new.kind} is not made here.", remedy="Add a record or make a section instead.")
    return (await room.append(section, Draft(new.kind, "teacher", new.bench, new.body), base=new.base)).to_dict()


@router.post("/sections/{section}/benches/{bench}/records", status_code=201)
async def add_record(room: Teacher, section: SectionId, bench: BenchNumber, new: NewRecord) -> dict[str, Any]:
    """Add a record to a bench as the teacher."""
    draft, content = _record_draft(new, "teacher", bench)
    return (await room.append(section, draft, content=content)).to_dict()


@router.get("/sections/{section}/benches/{bench}")
async def get_bench(room: Teacher, section: SectionId, bench: BenchNumber) -> dict[str, Any]:
    """A bench with its audit (docs/json.md), null where there is none."""
    state = _state(await room.section(section), bench)
    judged = await room.judgement(section, bench)
    assert judged is not None
    return {
        "bench": _bench(state),
        "audit": judged.ledger.to_dict() if judged.ledger else None,
        "findings": [finding.to_dict() for finding in judged.findings],
        "problem": judged.problem, "remedy": judged.remedy, "missing": list(judged.missing),
        "faults": [str(fault) for fault in judged.faults],
    }  # fmt: skip


@router.post("/sections/{section}/benches/{bench}/preview")
async def try_override(room: Teacher, section: SectionId, bench: BenchNumber, trial: Trial) -> dict[str, Any]:
    """Audit a bench as it would be with release, apex or phases set by hand; nothing is kept."""
    state = _state(await room.section(section), bench)
    if state.record(trial.record) is None:
        raise InputError(f"Bench {bench} holds no record {trial.record!r}.", remedy="Reload the page.", code="no-section")
    judged = await room.preview(section, bench, trial.record, Override(trial.release, trial.apex, tuple(trial.edges)))
    return {
        "audit": judged.ledger.to_dict() if judged.ledger else None,
        "findings": [finding.to_dict() for finding in judged.findings], "problem": judged.problem, "remedy": judged.remedy,
    }  # fmt: skip


@router.get("/bench")
async def get_own_bench(room: AskedRoom, asked: AskedBench) -> dict[str, Any]:
    """What the students of this browser's bench may know."""
    section, number = asked
    whole = await room.section(section)
    judged = await room.judgement(section, number, wait=5.0)
    view = view_for_students(whole, whole.benches[number], judged)
    told = asdict(view) if view.ledger is None else {**asdict(_without_ledger(view)), "ledger": view.ledger.to_dict()}
    return {"seq": whole.benches[number].seq, **told}


@router.get("/bench/records/{record}")
async def get_own_record(room: AskedRoom, asked: AskedBench, record: Annotated[str, Path(max_length=40)]) -> dict[str, Any]:
    """The raw samples of a record of this browser's bench: time in s, distance in m, null where the file has none."""
    section, number = asked
    state = (await room.section(section)).benches[number]
    held = state.record(record)
    if held is None:
        raise InputError(f"Bench {number} holds no record {record[:40]!r}.", remedy="Reload the page.", code="no-section")
    content = (await run_in_threadpool(room.store.contents, section, [held.sha256]))[held.sha256]
    read = await run_in_threadpool(reading_of, held, content)
    return {"name": held.name, "time_s": _numbers(read.time), "distance_m": _numbers(read.distance), "read_as": read.read_as}


@router.post("/bench/changes", status_code=201)
async def make_own_change(room: AskedRoom, asked: AskedBench, new: NewChange) -> dict[str, Any]:
    """Make a change as this browser's bench."""
    section, number = asked
    if new.kind not in _STUDENT_KINDS or new.bench not in (None, number):
        raise InputError("This is not a bench's to change.", remedy="Ask your teacher.", code="change")
    if new.kind == "values-set":
        foreign = sorted(set(_texts(new.body.get("values"))) - _STUDENT_VALUES)
        if foreign:
            what = f"{', '.join(foreign)[:200]} is not a bench's to set."
            raise InputError(what, remedy="Ask your teacher.", code="change")
    change = await room.append(section, Draft(new.kind, "bench", number, new.body), base=new.base)
    return {"seq": change.seq, "at": change.at, "kind": change.kind}


@router.post("/bench/records", status_code=201)
async def add_own_record(room: AskedRoom, asked: AskedBench, new: NewRecord) -> JSONResponse:
    """Add a record as this browser's bench, and say how it was judged."""
    section, number = asked
    draft, content = _record_draft(new, "bench", number)
    change = await room.append(section, draft, content=content)
    whole = await room.section(section)
    view = view_for_students(whole, whole.benches[number], await room.judgement(section, number, wait=10.0))
    line = next((each for each in view.records if each.id == f"r{change.seq}"), None)
    return JSONResponse({"seq": change.seq, "record": asdict(line) if line else None}, status_code=201)


def _texts(values: object) -> dict[str, object]:
    return values if isinstance(values, dict) else {}


def _record_draft(new: NewRecord, actor: Literal["teacher", "bench"], bench: int) -> tuple[Draft, bytes]:
    try:
        content = base64.b64decode(new.content, validate=True)
    except (binascii.Error, ValueError):
        raise InputError(
            "The content is not Base64.", remedy="Encode the file's bytes as RFC 4648 says.", code="request"
        ) from None
    if not content or len(content) > MAX_BYTES:
        problem = "is empty" if not content else f"has {len(content)} bytes, more than the {MAX_BYTES} that a record may have"
        raise InputError(f"The record {problem}.", remedy="Send another file.", code="request")
    body = {
        "name": clean_text(new.name) or "record",
        "sha256": hashlib.sha256(content).hexdigest(),
        "size": len(content),
        "role": new.role,
        "via": "upload",
    }
    return Draft("record-added", actor, bench, {**body, "run": new.run} if new.run else body), content


def _without_ledger(view: Any) -> Any:
    from dataclasses import replace

    return replace(view, ledger=None)


def _state(section: Section, bench: int) -> BenchState:
    if bench not in section.benches:
        what = f"There is no bench {bench} in this section; it has {len(section.benches)}."
        raise InputError(what, remedy="Look at the board.", code="no-section")
    return section.benches[bench]


def _section(section: Section) -> dict[str, Any]:
    return {
        "title": section.title, "note": section.note, "made_at": section.made_at, "seq": section.seq, "closed": section.closed,
        "all_open": section.all_open, "house": dict(section.house_tables),
        "benches": [_bench(bench) for bench in section.benches.values()],
    }  # fmt: skip


def _bench(bench: BenchState) -> dict[str, Any]:
    told = asdict(bench)
    told["values"], told["planned"], told["how"] = dict(bench.values), dict(bench.planned), dict(bench.how)
    return told


def _numbers(values: Any) -> list[float | None]:
    return [None if value != value else float(value) for value in values]
