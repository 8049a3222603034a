"""The picture of a record on a bench's page: raw samples to read values from, by pointer, by keyboard, or by typing a time."""

from __future__ import annotations

import dataclasses
import threading
from collections import OrderedDict
from collections.abc import Mapping

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from joulebook.classroom.judging import reading_of
from joulebook.classroom.section import BenchState, HeldRecord
from joulebook.classroom.student_view import StudentView, view_for_students
from joulebook.engine.record import Record
from joulebook.errors import JoulebookError
from joulebook.render.decimal_sign import with_decimal, with_decimal_svg
from joulebook.render.reading_picture import Reading, ValueAt, clamped, draw_reading, value_at
from joulebook.web.access import AskedBench, AskedRoom
from joulebook.web.bench_contexts import TracePage, TracePart
from joulebook.web.pages import show
from joulebook.web.room import Room

__all__ = ["READABLE", "router", "trace_for"]

router = APIRouter(include_in_schema=False)

READABLE = ("repeat", "look", "fine")
"""The states of records that have a picture: what a judge has read without trouble, and in its time."""

_LARGEST = 2 * 1024 * 1024  # bytes; a launch has some ten thousand


@router.get("/bench/trace")
async def trace_alone(request: Request, room: AskedRoom, asked: AskedBench) -> Response:
    """The picture of one record and one stretch of it: a part of the bench's page."""
    section, number = asked
    whole = await room.section(section)
    bench = whole.benches[number]
    view = view_for_students(whole, bench, await room.judgement(section, number, wait=15.0))
    part = await trace_for(room, section, bench, view, request.query_params, decimal=whole.house.decimal)
    return show(request, TracePage(part))


async def trace_for(
    room: Room, section: str, bench: BenchState, view: StudentView, asked: Mapping[str, str], *, decimal: str
) -> TracePart | None:
    """Return the picture that a page shows, None when no record can be read.

    asked: "record" an id, "from" and "to" a stretch, "at" and "at2" times to read values at; each may be missing or nonsense.
    """
    held = _chosen(bench, view, asked.get("record", ""))
    if held is None:
        return None
    try:
        content = await run_in_threadpool(room.store.content, section, held.sha256)
        return await run_in_threadpool(_part, bench, view, held, content, dict(asked), decimal)
    except JoulebookError:
        return None


def _chosen(bench: BenchState, view: StudentView, wanted: str) -> HeldRecord | None:
    """Return the record to be shown: the one asked for, else the first launch, else the rest record."""
    readable = [line.id for line in view.records if line.state in READABLE]
    found = [held for held in bench.records if held.id in readable and held.size <= _LARGEST]
    named = [held for held in found if held.id == wanted]
    launches = [held for held in found if held.role == "launch"]
    return next(iter(named or launches or found), None)


def _part(
    bench: BenchState, view: StudentView, held: HeldRecord, content: bytes, asked: dict[str, str], decimal: str
) -> TracePart | None:
    record = _PARSED.get(held, content)
    stretch, problem = None, ""
    times: dict[str, float] = {}
    for name in ("from", "to", "at", "at2"):
        text = asked.get(name, "").strip()[:20]
        if text:
            try:
                times[name] = float(text.replace(",", ".").replace("−", "-"))
            except ValueError:
                problem = f"“{text}” is no time. Write seconds, such as 1{decimal}25."
    if "from" in times and "to" in times:
        stretch = (times["from"], times["to"])
    values = [value_at(record, times[name]) for name in ("at", "at2") if name in times]
    marks = [(letter, each.asked, each.between) for letter, each in zip("AB", values, strict=False) if each and each.between is not None]
    drawn = draw_reading(record, name="reading", stretch=stretch, marks=marks)
    if drawn is None:
        return None
    start, end = clamped(record, stretch)
    read = _sentences([(letter, each) for letter, each in zip("AB", values, strict=False) if each is not None])
    ids = {line.id for line in view.records if line.state in READABLE}
    part = TracePart(
        held.id, held.name, held.role, tuple((each.id, each.name) for each in bench.records if each.id in ids),
        drawn.picture, drawn.wide, drawn.narrow, drawn.left_out, f"{start:.3f}", f"{end:.3f}",
        stretch is not None and (start, end) != clamped(record, None),
        decimal, asked.get("at", "").strip()[:20], asked.get("at2", "").strip()[:20],
        tuple(with_decimal(each, decimal) for each in read), problem,
    )  # fmt: skip
    return _with_sign(part, drawn, decimal)


def _sentences(values: list[tuple[str, ValueAt]]) -> list[str]:
    told = []
    for letter, value in values:
        near = f"The nearest sample: t = {value.time:.3f} s, {value.distance:.4f} m."
        if value.between is None:
            told.append(f"{letter}: {value.asked:g} s is outside of the record. {near}")
        else:
            told.append(
                f"{letter}: at t = {value.asked:g} s the distance is {value.between:.4f} m on the line between the neighbouring "
                f"samples. {near}"
            )
    inside = [(value.asked, value.between) for _, value in values if value.between is not None]
    if len(inside) == 2:
        time, way = inside[1][0] - inside[0][0], inside[1][1] - inside[0][1]
        slope = f", Δs/Δt = {way / time:.3f} m/s" if time else ""
        told.append(f"From A to B: Δt = {time:.3f} s, Δs = {way:.4f} m{slope}.".replace("-", "−"))
    return told


def _with_sign(part: TracePart, drawn: Reading, decimal: str) -> TracePart:
    if decimal == ".":
        return part
    old = drawn.picture
    rows = tuple(tuple(with_decimal(cell, decimal) for cell in row) for row in old.table_rows)
    picture = dataclasses.replace(
        old, sentence=with_decimal(old.sentence, decimal, keep=(part.name,)), table_rows=rows,
        svg=with_decimal_svg(old.svg, decimal, keep=(part.name,)), narrow=with_decimal_svg(old.narrow, decimal, keep=(part.name,)),
    )  # fmt: skip
    return dataclasses.replace(part, picture=picture)


class _Parsed:
    """The records that were read last, without their bytes: a page is fetched again and again."""

    def __init__(self, most: int) -> None:
        self._most, self._held, self._lock = most, OrderedDict[tuple[str, str, str], Record](), threading.Lock()

    def get(self, held: HeldRecord, content: bytes) -> Record:
        """Return a record. Raises RecordError."""
        key = (held.sha256, held.name, held.run)
        with self._lock:
            known = self._held.get(key)
            if known is not None:
                self._held.move_to_end(key)
                return known
        record = dataclasses.replace(reading_of(held, content), content=b"")
        with self._lock:
            self._held[key] = record
            while len(self._held) > self._most:
                self._held.popitem(last=False)
        return record


_PARSED = _Parsed(150)
