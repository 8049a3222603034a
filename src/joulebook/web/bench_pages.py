"""The students' part of the room: the page of one bench, for those who work at it."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from joulebook.web import bench_changes, bench_traces
from joulebook.web.access import AskedBench, AskedRoom
from joulebook.web.bench_building import Shown, bench_page
from joulebook.web.pages import show

__all__ = ["router"]

router = APIRouter(include_in_schema=False)
router.include_router(bench_traces.router)
router.include_router(bench_changes.router)

_AFTER_A_CHANGE = 1.5  # seconds in which nearly every bench is judged; a page that was only reloaded waits less


@router.get("/bench")
async def bench(request: Request, room: AskedRoom, asked: AskedBench, did: int = 0) -> Response:
    """The bench page."""
    asked_for = dict(request.query_params)
    shown = Shown(asked=asked_for, did=did, wait=_AFTER_A_CHANGE if did else 0.4)
    return show(request, await bench_page(room, *asked, shown))
