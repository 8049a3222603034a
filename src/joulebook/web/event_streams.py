"""Server-sent events: a line that stays open and says that something is new, never what.

What is new a page fetches itself, by the same rules as any page; so no event can carry what its listener may not see.
"""

from __future__ import annotations

import json
from collections.abc import AsyncIterator

from fastapi import APIRouter, Request
from starlette.responses import StreamingResponse

from joulebook.web.access import AskedBench, AskedRoom, Teacher
from joulebook.web.room import Room

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/bench/events")
async def bench_events(request: Request, room: AskedRoom, asked: AskedBench) -> StreamingResponse:
    """News of one bench, for its own students."""
    section, number = asked
    return _stream(_lines(request, room, section, only=number))


@router.get("/sections/{section}/events")
async def section_events(request: Request, room: Teacher, section: str) -> StreamingResponse:
    """News of a whole section, for the teacher."""
    await room.section(section)
    return _stream(_lines(request, room, section))


def _stream(lines: AsyncIterator[str]) -> StreamingResponse:
    return StreamingResponse(lines, media_type="text/event-stream", headers={"X-Accel-Buffering": "no"})


async def _lines(request: Request, room: Room, section: str, only: int | None = None) -> AsyncIterator[str]:
    """Yield events in the form of the HTML standard, 9.2.5. only: the bench that the listener may hear of."""
    yield "retry: 2000\n\n"
    async for news in room.listen(section):
        if await request.is_disconnected():
            return
        if news is None:
            yield ": still here\n\n"
            continue
        kind, bench = news
        if only is not None and bench not in (None, only):
            continue
        yield f"event: {kind}\ndata: {json.dumps({'bench': bench})}\n\n"
