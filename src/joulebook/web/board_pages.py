"""The board: every bench in one word and one reason, who needs help first; and what the teacher does to the whole section."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from joulebook.classroom.changes import Change, Draft
from joulebook.classroom.log_lines import log_lines
from joulebook.classroom.section import Section
from joulebook.classroom.standing import Standing
from joulebook.errors import InputError
from joulebook.web import bench_round, class_pages
from joulebook.web.access import Teacher
from joulebook.web.board_contexts import BoardCards, BoardPage, Card
from joulebook.web.house_sign import of_house
from joulebook.web.pages import show
from joulebook.web.section_contexts import LogPage
from joulebook.web.section_head import back_to, head_of, just_done, minutes_text

__all__ = ["router"]

router = APIRouter(include_in_schema=False)
router.include_router(bench_round.router)
router.include_router(class_pages.router)

_WHOLE = ("bell-rung", "bell-taken-back", "all-ledgers-opened", "all-ledgers-closed", "renamed", "bench-added")
_LOG_PAGE = 200
# In which words the summary counts a standing, in the order in which it says them.
_COUNTED: Mapping[str, tuple[str, ...]] = {
    "need you": ("repeat", "help", "look", "quiet"),
    "with readings missing": ("set-up",),
    "fine": ("measured", "committed"),
    "signed off": ("done",),
    "being checked": ("checking",),
    "no data yet": ("waiting",),
}


@router.get("/sections/{section}")
async def board(request: Request, room: Teacher, section: str, did: int = 0) -> Response:
    """The board of a section."""
    whole = await room.section(section)
    found = await room.standings(section, wait=0.05)
    cards = _cards(whole, found)
    page = BoardPage(head_of(section, whole, "board"), section, cards, _summary(found), await just_done(room, section, did))
    return show(request, page)


@router.get("/sections/{section}/cards")
async def cards(request: Request, room: Teacher, section: str) -> Response:
    """The cards alone, for the module that keeps an open board fresh."""
    whole = await room.section(section)
    found = await room.standings(section, wait=0.05)
    return show(request, BoardCards(section, _cards(whole, found), _summary(found)))


@router.post("/sections/{section}/do")
async def do_to_section(
    room: Teacher,
    section: str,
    kind: Annotated[str, Form(max_length=40)],
    title: Annotated[str, Form(max_length=120)] = "",
    back: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Make one change of the whole section: the bell, the ledgers, a further bench, another title."""
    if kind not in _WHOLE:
        raise InputError(f"{kind[:40]!r} is nothing that can be done here.", remedy="Reload the page.", code="change")
    whole = await room.section(section)
    if kind == "renamed" and not title.strip():
        raise InputError("A section needs a title.", remedy="Write a few words, such as the class and the day.", code="change")
    body = {"title": title.strip()} if kind == "renamed" else {}
    bench = len(whole.benches) + 1 if kind == "bench-added" else None
    change = await room.append(section, Draft(kind, "teacher", bench, body))
    return back_to(section, back, change.seq)


@router.post("/sections/{section}/undo")
async def undo(
    room: Teacher, section: str, change: Annotated[int, Form()], back: Annotated[str, Form(max_length=200)] = "log"
) -> Response:
    """Undo a change; undoing an undoing makes the change count again."""
    listed = await run_in_threadpool(room.store.changes, section)
    target = next((each for each in listed if each.seq == change), None)
    bench = _bench_of(target, {each.seq: each for each in listed})
    made = await room.append(section, Draft("undone", "teacher", bench, {"change": change}))
    return back_to(section, back, made.seq)


@router.get("/sections/{section}/log")
async def log(
    request: Request, room: Teacher, section: str, did: int = 0, before: int = 0, bench: Annotated[str, Query(max_length=10)] = ""
) -> Response:
    """Every change of a section in words, the newest first. bench: a number for that bench's alone, "0" for the section's own."""
    whole = await room.section(section)
    changes = await run_in_threadpool(room.store.changes, section)
    wanted = int(bench) if bench.isascii() and bench.isdigit() and int(bench) in (0, *whole.benches) else None
    listed = log_lines(changes, whole.void, decimal=whole.house.decimal)
    lines = [line for line in listed if wanted is None or (line.bench or 0) == wanted]
    shown = [line for line in lines if not before or line.seq < before][:_LOG_PAGE]
    older = shown[-1].seq if shown and shown[-1].seq > lines[-1].seq else None
    page = LogPage(
        head_of(section, whole, "log"), tuple(shown), await just_done(room, section, did), len(lines), older,
        tuple((number, each.title) for number, each in whole.benches.items()), wanted,
    )  # fmt: skip
    return show(request, page)


@router.get("/sections/{section}/benches")
async def benches(section: str, room: Teacher) -> Response:
    """There is no page of this address: the board lists the benches."""
    await room.section(section)
    return RedirectResponse(f"/sections/{section}", 303)


def _cards(whole: Section, standings: list[Standing]) -> tuple[Card, ...]:
    return tuple(
        Card(
            of_house(each, whole), whole.benches[each.bench].title, whole.benches[each.bench].name, minutes_text(each),
            bool(whole.benches[each.bench].help_at), whole.may_see_ledger(each.bench),
        )
        for each in standings
    )  # fmt: skip


def _summary(standings: list[Standing]) -> str:
    """Return how many benches need the teacher, are fine, have no data: what is none is not said."""
    count = Counter(each.name for each in standings)
    told = []
    for words, names in _COUNTED.items():
        number = sum(count[name] for name in names)
        if number:
            told.append(f"{number} {'needs you' if words == 'need you' and number == 1 else words}")
    return ", ".join(told) or "no benches"


def _bench_of(change: Change | None, by_seq: Mapping[int, Change]) -> int | None:
    """Return the bench that a change concerns; for an undoing that of what it undoes."""
    while change is not None and change.bench is None and change.kind == "undone":
        target = change.body.get("change")
        # An undoing is always of an earlier change, so this ends.
        change = by_seq.get(target) if isinstance(target, int) and target < change.seq else None
    # A further bench is undone for the section as a whole: there is no bench left to be judged.
    return None if change is None or change.kind == "bench-added" else change.bench
