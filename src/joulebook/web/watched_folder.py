"""A folder that benches save to: what is new in it is added to the section by itself, as soon as it is wholly written."""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import datetime
from pathlib import Path

from starlette.concurrency import run_in_threadpool

from joulebook.classroom.changes import Draft
from joulebook.classroom.placing import is_record_name, place_file
from joulebook.errors import InputError, JoulebookError
from joulebook.readers.limits import MAX_BYTES
from joulebook.web.drop_pages import add_record
from joulebook.web.room import Room
from joulebook.web.settings import Settings
from joulebook.web.tray import tray_of

__all__ = ["take_in", "watching"]

_LOG = logging.getLogger("joulebook.web")
_STABLE = 0.3  # seconds for which a file's size and time must stand still
_PATIENCE = 60.0  # seconds after which a file that still grows is left until it changes again
_MOST_FILES = 2_000
_LISTED_EVERY = 2_000  # milliseconds without news


@asynccontextmanager
async def watching(room: Room, settings: Settings) -> AsyncIterator[None]:
    """Watch the folder of the settings, if there is one, for as long as the room is open."""
    if settings.watch is None or not settings.watch_section:
        yield
        return
    stop = asyncio.Event()
    task = asyncio.get_running_loop().create_task(_watch(room, settings.watch, settings.watch_section, stop))
    try:
        yield
    finally:
        stop.set()
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


async def take_in(room: Room, section: str, folder: Path, file: Path, *, stable: float = _STABLE) -> str:
    """Take in one file of a watched folder, and return in one sentence what became of it, "" for nothing.

    A file that is not wholly written is waited for. A file whose bytes the bench holds already is passed over. A file that grew
    at its end takes the place of its earlier state, which is set aside; one that was written anew is a further record.
    stable: seconds for which it must stand still.
    """
    tray, path = tray_of(room), _inside(folder, file)
    if path is None or not is_record_name(file.name):
        return ""
    content = await _whole(file, stable)
    if content is None:
        return ""
    whole = await room.section(section)
    placed = place_file(path, benches=whole.benches)
    if placed.bench is None:
        with contextlib.suppress(InputError):
            tray.put(section, path, content, placed, via="folder")
        return f"{path}: the name does not say which bench. It waits below."
    state = whole.benches[placed.bench]
    earlier = [held for held in state.records if held.via == "folder" and held.name == placed.name and not held.discarded]
    known = await run_in_threadpool(room.store.contents, section, [held.sha256 for held in earlier])
    grown = [held for held in earlier if known.get(held.sha256) and _grew(known[held.sha256], content)]
    try:
        await add_record(room, section, placed.bench, placed.name, content, placed.role, actor="folder", via="folder")
    except InputError as error:
        if error.code == "double":
            _LOG.info("%s: passed over, the bench holds it already", path)
            return ""
        waiting = tray.put(section, path, content, placed, via="folder")
        tray.refuse(waiting.id, f"{error.message} {error.remedy}")
        return f"{path}: {error.message}"
    for held in grown:
        body = {"record": held.id, "reason": "The same file was saved again with more in it."}
        await room.append(section, Draft("record-discarded", "folder", placed.bench, body))
    again = ", in place of its earlier state" if grown else ", a further record of this name" if earlier else ""
    return f"{path}: added to bench {placed.bench} as a {placed.role} record{again}."


async def _watch(room: Room, folder: Path, section: str, stop: asyncio.Event) -> None:
    from watchfiles import Change, awatch

    at_work: dict[Path, asyncio.Task[None]] = {}
    again: set[Path] = set()

    def look_at(file: Path) -> None:
        if file in at_work:
            # It changed while it was being taken in: look once more afterwards.
            again.add(file)
            return
        task = asyncio.get_running_loop().create_task(_told(room, section, folder, file))
        at_work[file] = task
        task.add_done_callback(lambda _: done(file))

    def done(file: Path) -> None:
        at_work.pop(file, None)
        if file in again:
            again.discard(file)
            look_at(file)

    try:
        seen = await run_in_threadpool(_states, folder)
        for file in seen:
            await _told(room, section, folder, file)
        # The folder is also listed every few seconds: of what was saved while it was first gone through, and on many shared drives,
        # the system says nothing.
        async for changes in awatch(folder, stop_event=stop, debounce=200, step=50, rust_timeout=_LISTED_EVERY, yield_on_timeout=True):
            told = {Path(path) for change, path in changes if change != Change.deleted and Path(path).is_file()}
            before, seen = seen, await run_in_threadpool(_states, folder)
            for file in sorted(told | {file for file, state in seen.items() if before.get(file) != state}):
                look_at(file)
    except OSError as error:
        tray_of(room).line(section, f"The folder can no longer be watched: {error.strerror}. Start joulebook again.")
        _LOG.error("the folder %s can no longer be watched: %s", folder, error)
    finally:
        for task in at_work.values():
            task.cancel()


async def _told(room: Room, section: str, folder: Path, file: Path) -> None:
    try:
        line = await take_in(room, section, folder, file)
    except JoulebookError as error:
        line = f"{file.name}: {error.message} {error.remedy}"
    except OSError as error:
        line = f"{file.name} cannot be read: {error.strerror}."
    if line:
        tray_of(room).line(section, f"{datetime.now().strftime('%H:%M')} {line}")


async def _whole(file: Path, stable: float) -> bytes | None:
    """Return the bytes of a file once it stands still, None for one that is empty, too large, gone or never still."""
    waited = 0.0
    before = await run_in_threadpool(_state, file)
    while before is not None and waited < _PATIENCE:
        await asyncio.sleep(stable)
        waited += stable
        now = await run_in_threadpool(_state, file)
        if now is not None and now == before and 0 < now[0] <= MAX_BYTES:
            content = await run_in_threadpool(file.read_bytes)
            if len(content) == now[0]:
                return content
        if now is not None and now == before and not 0 < now[0] <= MAX_BYTES:
            return None
        before = now
    return None


def _state(file: Path) -> tuple[int, int] | None:
    try:
        told = file.stat()
    except OSError:
        return None
    return told.st_size, told.st_mtime_ns


def _inside(folder: Path, file: Path) -> str | None:
    """Return a file's path inside the folder; None for one that lies elsewhere, be it by a link."""
    try:
        return file.resolve().relative_to(folder.resolve()).as_posix()
    except (ValueError, OSError):
        return None


def _states(folder: Path) -> dict[Path, tuple[int, int] | None]:
    """Return size and time of every file in a folder, in the order of their names."""
    return {file: _state(file) for file in sorted(file for file in folder.rglob("*") if file.is_file())[:_MOST_FILES]}


def _grew(before: bytes, after: bytes) -> bool:
    return len(after) > len(before) and after.startswith(before.rstrip(b"\r\n\x1a "))
