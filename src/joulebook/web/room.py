"""The room: the store, the judges, and those who wait for news, behind the few verbs that the pages need."""

from __future__ import annotations

import asyncio
import contextlib
from collections import OrderedDict
from collections.abc import AsyncIterator, Iterable
from dataclasses import replace
from datetime import UTC, datetime

from starlette.concurrency import run_in_threadpool

from joulebook.classroom.changes import Change, Draft
from joulebook.classroom.judging import Judgement, judgement_key
from joulebook.classroom.section import BenchState, Section
from joulebook.classroom.standing import Standing, opened_at, stand
from joulebook.engine.bench import Override
from joulebook.errors import JoulebookError
from joulebook.store.store import Store
from joulebook.web.judges import Judges

__all__ = ["News", "Room"]

News = tuple[str, int | None]
"""What happened: "changed" or "judged", and the bench that it concerns, None for the whole section."""

_KEPT = 240  # judgements kept in memory: four full sections
_MOST_LISTENERS = 400


class Room:
    """What every page goes through. One for a server; used from its event loop alone."""

    def __init__(self, store: Store, judges: Judges) -> None:
        self.store = store
        self._judges = judges
        self._judged: OrderedDict[tuple[str, int], Judgement] = OrderedDict()
        self._at_work: dict[tuple[str, int], asyncio.Task[Judgement]] = {}
        self._listeners: dict[str, set[asyncio.Queue[News]]] = {}

    async def section(self, section: str) -> Section:
        """Return a section as it stands. Raises InputError when there is none."""
        return await run_in_threadpool(self.store.section, section)

    async def append(self, section: str, draft: Draft, *, base: int | None = None, content: bytes | None = None) -> Change:
        """Make a change, let everyone know, and begin to judge the bench anew. Raises as `Store.append`."""
        change = await run_in_threadpool(self.store.append, section, draft, base=base, content=content)
        self._tell(section, ("changed", change.bench))
        if change.bench is not None:
            await self._start_judging(section, change.bench)
        return change

    async def append_many(self, section: str, drafts: Iterable[Draft]) -> list[Change]:
        """Make several changes or none of them."""
        changes = await run_in_threadpool(self.store.append_many, section, list(drafts))
        self._tell(section, ("changed", None))
        return changes

    async def judgement(self, section: str, bench: int, *, wait: float | None = None) -> Judgement | None:
        """Return the judgement of a bench as it stands, judging it first if need be.

        wait: seconds to wait for it; None is returned when they are over. None waits as long as it takes.
        """
        task = await self._start_judging(section, bench)
        if isinstance(task, Judgement):
            return task
        try:
            return await asyncio.wait_for(asyncio.shield(task), wait)
        except TimeoutError:
            return None

    async def judgements(self, section: str, *, wait: float | None = None) -> dict[int, Judgement | None]:
        """Return the judgement of every bench of a section, None for those still at work after `wait` seconds."""
        benches = (await self.section(section)).benches
        found = await asyncio.gather(*(self.judgement(section, number, wait=wait) for number in benches))
        return dict(zip(benches, found, strict=True))

    async def preview(self, section: str, bench: int, record: str, override: Override) -> Judgement:
        """Judge a bench as it would be with another override for one of its records; nothing is kept."""
        whole = await self.section(section)
        state = whole.benches[bench]
        records = tuple(replace(each, override=override) if each.id == record else each for each in state.records)
        return await self._judge(section, whole, replace(state, records=records))

    async def standings(self, section: str, *, wait: float | None = 0.0) -> list[Standing]:
        """Return where every bench stands, who needs help first."""
        whole = await self.section(section)
        judged = await self.judgements(section, wait=wait)
        now = datetime.now(UTC)
        opened = opened_at(whole, now=now)
        return sorted(
            (stand(each, judged[n], now=now, opened=opened) for n, each in whole.benches.items()), key=lambda each: each.need
        )

    async def listen(self, section: str, *, heartbeat: float = 15.0) -> AsyncIterator[News | None]:
        """Yield news of a section as it comes; None every `heartbeat` seconds without any, to keep the line open.

        News that come faster than they are taken are joined: a listener looks at the section anew anyway.
        """
        queue: asyncio.Queue[News] = asyncio.Queue(maxsize=64)
        listeners = self._listeners.setdefault(section, set())
        if sum(map(len, self._listeners.values())) >= _MOST_LISTENERS:
            raise JoulebookError("Too many pages are open.", remedy="Close some of them.", code="busy")
        listeners.add(queue)
        try:
            while True:
                try:
                    yield await asyncio.wait_for(queue.get(), heartbeat)
                except TimeoutError:
                    yield None
        finally:
            listeners.discard(queue)

    async def close(self) -> None:
        """Give up what is still being judged."""
        for task in list(self._at_work.values()):
            task.cancel()
        await run_in_threadpool(self._judges.close)

    async def _start_judging(self, section: str, bench: int) -> Judgement | asyncio.Task[Judgement]:
        whole = await self.section(section)
        state, place = whole.benches[bench], (section, bench)
        known = self._judged.get(place)
        if known is not None and known.key == judgement_key(state, whole.house):
            self._judged.move_to_end(place)
            return known
        running = self._at_work.get(place)
        if running is None or running.done():
            running = asyncio.get_running_loop().create_task(self._keep_judging(section, bench))
            self._at_work[place] = running
        return running

    async def _keep_judging(self, section: str, bench: int) -> Judgement:
        """Judge a bench until the judgement is of the bench as it stands, for more may have come meanwhile."""
        place = (section, bench)
        try:
            while True:
                whole = await self.section(section)
                found = await self._judge(section, whole, whole.benches[bench])
                now = await self.section(section)
                if judgement_key(now.benches[bench], now.house) == found.key:
                    break
            self._judged[place] = found
            while len(self._judged) > _KEPT:
                self._judged.popitem(last=False)
        finally:
            self._at_work.pop(place, None)
        body = found.ledger.to_dict() if found.ledger is not None else None
        await run_in_threadpool(self.store.keep_audit, section, bench, found.key, body)
        self._tell(section, ("judged", bench))
        return found

    async def _judge(self, section: str, whole: Section, state: BenchState) -> Judgement:
        counted = [record.sha256 for record in (state.rest, *state.launches) if record is not None]
        contents = await run_in_threadpool(self.store.contents, section, counted)
        return await run_in_threadpool(self._judges.judge, state, contents, whole.house, affinity=state.number)

    def _tell(self, section: str, news: News) -> None:
        for queue in self._listeners.get(section, ()):
            with contextlib.suppress(asyncio.QueueFull):
                queue.put_nowait(news)
