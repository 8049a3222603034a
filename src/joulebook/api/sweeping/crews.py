"""Who audits the benches of a sweep: this process, several of this machine, or the workers of a Dask scheduler; and how, in order.

The three differ in who takes the work and in how the death of a worker is noticed; everything else is `in_order`, for all of them.
Nothing heavy is imported at the top: a worker process loads this before it says how many threads NumPy may use.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from itertools import islice
from typing import Protocol, TypeVar

from joulebook.api.sweeping.benches import clear_up
from joulebook.threads import one_thread

__all__ = ["Crew", "Here", "Processes", "Work", "done_here", "in_order"]

_Bench = TypeVar("_Bench")
_Result = TypeVar("_Result")
_B = TypeVar("_B", contravariant=True)
_R = TypeVar("_R", covariant=True)

# Benches that are sent together: enough that sending costs little beside auditing them, few enough that the end is not waited for.
_MOST_TOGETHER = 16
_CHUNKS_AHEAD = 4


class Work(Protocol[_B, _R]):
    """What is done with some benches, and what is told of one whose worker died each time."""

    def __call__(self, benches: Sequence[_B], /) -> Sequence[_R]:
        """Return a result for each bench, in order."""

    def crashed(self, bench: _B, /) -> _R:
        """Return the result of a bench that ended its worker."""


class Crew(Protocol):
    """Those who do the work. lost: what a future raises whose worker died. whole: whether benches are sent with their contents."""

    lost: tuple[type[BaseException], ...]
    whole: bool

    def size(self) -> int:
        """Return how many benches are audited at the same time."""

    def submit(self, work: Callable[[list[_Bench]], Sequence[_Result]], benches: list[_Bench]) -> Future[Sequence[_Result]]:
        """Hand some benches on."""

    def result(self, future: Future[_Result]) -> _Result:
        """Wait for a result. Raises one of `lost` when its worker died, a JoulebookError when nobody is there to go on."""

    def replace(self, size: int | None = None) -> bool:
        """Take on new workers after a death, so many if given, and return whether all that was handed on is lost with them."""

    def close(self) -> None:
        """Let everybody go, and drop what was not begun."""


class Here:
    """This process."""

    lost: tuple[type[BaseException], ...] = ()
    whole = False

    def size(self) -> int:
        """Return 1."""
        return 1

    def submit(self, work: Callable[[list[_Bench]], Sequence[_Result]], benches: list[_Bench]) -> Future[Sequence[_Result]]:
        """Do it at once."""
        return done_here(work, benches)

    def result(self, future: Future[_Result]) -> _Result:
        """Return what came of it."""
        return future.result()

    def replace(self, size: int | None = None) -> bool:
        """Do nothing: there is nobody else."""
        return False

    def close(self) -> None:
        """Do nothing."""


class Processes:
    """Processes of this machine. workers: how many."""

    lost: tuple[type[BaseException], ...] = (BrokenProcessPool,)
    whole = False

    def __init__(self, workers: int) -> None:
        self._workers = workers
        self._pool: Executor | None = None

    def size(self) -> int:
        """Return the number of processes."""
        return self._workers

    def submit(self, work: Callable[[list[_Bench]], Sequence[_Result]], benches: list[_Bench]) -> Future[Sequence[_Result]]:
        """Hand some benches to a process; the processes are started with the first."""
        if self._pool is None:
            self._pool = _pool(self._workers)
        try:
            return self._pool.submit(work, benches)
        except BrokenProcessPool as error:  # noticed only now: it is told where the result is waited for
            broken: Future[Sequence[_Result]] = Future()
            broken.set_exception(error)
            return broken

    def result(self, future: Future[_Result]) -> _Result:
        """Wait for a result."""
        return future.result()

    def replace(self, size: int | None = None) -> bool:
        """Start other processes: one death breaks the whole pool."""
        self.close()
        self._pool = _pool(size or self._workers)
        return True

    def close(self) -> None:
        """End the processes."""
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)
            self._pool = None


def in_order(
    benches: Iterable[_Bench], work: Work[_Bench, _Result], crew: Crew, *, total: int
) -> Generator[Sequence[_Result], None, None]:
    """Yield the results of benches in their order, some at a time, whoever does the work and whoever dies over it.

    benches: taken as they are needed, never far ahead. total: how many they are, about.
    What a dead worker had is done again: first the same benches together, with nothing else going on; then, if that ends
    another worker, one by one. A bench that ends its worker even then is told as crashed.
    """
    together = max(1, min(_MOST_TOGETHER, total // (_CHUNKS_AHEAD * crew.size())))
    if isinstance(crew, Here):
        together = 1  # each is told as soon as it is there
    waiting = iter(benches)
    pending: deque[tuple[list[_Bench], Future[Sequence[_Result]]]] = deque()
    try:
        while True:
            ahead = 1 if isinstance(crew, Here) else _CHUNKS_AHEAD * max(1, crew.size())
            while len(pending) < ahead and (chunk := list(islice(waiting, together))):
                pending.append((chunk, crew.submit(work, chunk)))
            if not pending:
                return
            try:
                results = crew.result(pending[0][1])
            except crew.lost:
                yield from _again(pending, work, crew)
                continue
            pending.popleft()
            yield results
    finally:
        for _, future in pending:
            future.cancel()
        crew.close()


def done_here(work: Callable[[list[_Bench]], Sequence[_Result]], benches: list[_Bench]) -> Future[Sequence[_Result]]:
    """Return a future that is over: what came of doing it in this process."""
    future: Future[Sequence[_Result]] = Future()
    try:
        future.set_result(work(benches))
    except Exception as error:  # told where the result is waited for
        future.set_exception(error)
    return future


def _again(
    pending: deque[tuple[list[_Bench], Future[Sequence[_Result]]]], work: Work[_Bench, _Result], crew: Crew
) -> Iterator[Sequence[_Result]]:
    """Yield the results of what died, and of what was lost with it."""
    everything = crew.replace(1)
    count = len(pending) if everything else 1
    for _ in range(count):
        chunk, future = pending.popleft()
        finished = future.done() and not future.cancelled() and future.exception() is None
        yield crew.result(future) if finished else _alone(chunk, work, crew)
    if everything:
        crew.replace()


def _alone(chunk: list[_Bench], work: Work[_Bench, _Result], crew: Crew) -> Sequence[_Result]:
    """Return the results of some benches while nothing else is going on."""
    try:
        return crew.result(crew.submit(work, chunk))
    except crew.lost:
        crew.replace(1)
    if len(chunk) == 1:
        return [work.crashed(chunk[0])]
    return [result for bench in chunk for result in _alone([bench], work, crew)]


def _pool(workers: int) -> ProcessPoolExecutor:
    # New processes rather than forked ones: the same on every system, and no thread of this process is copied half-way.
    return ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"), initializer=_begin)


def _begin() -> None:
    """Use one thread, leave Ctrl-C to the process that started this one, and end with it, even where it is killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    one_thread()
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    from multiprocessing.connection import wait

    parent = multiprocessing.parent_process()
    if parent is not None:
        with contextlib.suppress(OSError):
            wait([parent.sentinel])
            clear_up()
            os._exit(1)
