"""What every page of a section begins with, and where a button leads back to."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse

from joulebook.classroom.changes import KINDS
from joulebook.classroom.log_lines import say_change
from joulebook.classroom.section import Section
from joulebook.classroom.standing import Standing
from joulebook.web.room import Room
from joulebook.web.section_contexts import Did, Head

__all__ = ["back_to", "head_of", "just_done", "minutes_text"]

_PAGES = ("log", "drop", "rules", "class", "marking", "marking/bank", "marking/typed")


def head_of(id_: str, whole: Section, page: str) -> Head:
    """Return what stands at the head of a section's page. page: the word of the navigation."""
    return Head(id_, whole.title, page, whole.closed, whole.all_open, whole.seq)


async def just_done(room: Room, section: str, seq: int) -> Did | None:
    """Return what the change of this number did, None for no number or one that is not there."""
    if seq < 1:
        return None
    changes = await run_in_threadpool(room.store.changes, section)
    found = next((change for change in changes if change.seq == seq), None)
    if found is None:
        return None
    kind = KINDS.get(found.kind)
    void = (await room.section(section)).void
    return Did(say_change(found, changes), seq, kind is not None and kind.undoable and seq not in void)


def back_to(section: str, back: str, seq: int) -> RedirectResponse:
    """Lead back to the page that a button stood on, which then says what was done.

    back: "" for the board, a number for that bench's page, a page's word, a path of the marking pages, a number and a record
    ("3 r7"), or the log of one bench ("log 3"). seq: of the change.
    """
    place = f"/sections/{section}"
    if back.startswith(f"{place}/marking/") and back.isprintable():
        return RedirectResponse(f"{back}{'&' if '?' in back else '?'}did={seq}", 303)
    first, _, record = back.partition(" ")
    if first == "log" and record.isascii() and record.isdigit():
        return RedirectResponse(f"{place}/log?bench={int(record)}&did={seq}", 303)
    if first.isascii() and first.isdigit():
        more = f"&record={record}" if record.isascii() and record.isalnum() else ""
        return RedirectResponse(f"{place}/benches/{int(first)}?did={seq}{more}", 303)
    return RedirectResponse(f"{place}{'/' + back if back in _PAGES else ''}?did={seq}", 303)


def minutes_text(standing: Standing) -> str:
    """Return the time since a bench's last change, in few words."""
    minutes = standing.minutes
    if minutes is None:
        return "nothing yet"
    if minutes < 1.0:
        return "just now"
    if minutes < 120.0:
        return f"{minutes:.0f} min ago"
    return f"{minutes / 60.0:.0f} h ago" if minutes < 2880.0 else f"{minutes / 1440.0:.0f} days ago"
