"""The workers of a Dask scheduler as a crew: on other machines or on this one, sent the contents of benches, never paths."""

from __future__ import annotations

import pickle
import time
from collections.abc import Callable, Sequence
from concurrent.futures import CancelledError, Executor, Future
from typing import Any, TypeVar

from joulebook.api.sweeping.benches import BenchFolder, Unreadable
from joulebook.api.sweeping.crews import done_here
from joulebook.errors import InputError, JoulebookError

__all__ = ["Cluster"]

_Bench = TypeVar("_Bench")
_Result = TypeVar("_Result")

_ANSWER = 10.0
_PATIENCE = 60.0
_COUNT_AGAIN = 5.0
_LOOK_EVERY = 2.0


class Cluster:
    """The workers of the scheduler at an address such as "tcp://host:8786".

    patience: seconds to wait when there is no worker, before the sweep is given up.
    Raises InputError when no scheduler answers, it has no workers, or the library distributed is not installed.
    """

    whole = True

    def __init__(self, address: str, *, patience: float = _PATIENCE) -> None:
        try:
            import distributed
            from distributed.scheduler import KilledWorker
        except ModuleNotFoundError as error:
            raise InputError(
                f"A scheduler needs the library {error.name}, which is not installed.",
                remedy="Install joulebook for large sweeps: pip install 'joulebook[scale]'.",
            ) from error
        self.lost: tuple[type[BaseException], ...] = (KilledWorker,)
        self._address = address
        self._patience = patience
        try:
            connect: Any = distributed.Client
            self._client = connect(address, timeout=_ANSWER, set_as_default=False, name="joulebook-sweep")
        except (OSError, TimeoutError, ValueError) as error:
            raise InputError(
                f"No scheduler answers at {address}: {str(error).splitlines()[0] if str(error) else type(error).__name__}.",
                remedy="Look at the address, which is like tcp://host:8786, and whether “dask scheduler” runs there.",
            ) from error
        self._executor: Executor = self._client.get_executor(pure=False)
        self._counted_at, self._count = 0.0, 0
        try:
            self._client.wait_for_workers(1, timeout=patience)
        except TimeoutError as error:
            self.close()
            raise self._nobody() from error

    def size(self) -> int:
        """Return how many threads the workers have together; workers may come and go."""
        now = time.monotonic()
        if now - self._counted_at > _COUNT_AGAIN or not self._count:
            self._count = max(1, sum(self._client.nthreads().values()))
            self._counted_at = now
        return self._count

    def submit(self, work: Callable[[list[_Bench]], Sequence[_Result]], benches: list[_Bench]) -> Future[Sequence[_Result]]:
        """Send some benches to the scheduler; those with one whose contents cannot be taken along are audited here."""
        if not any(isinstance(bench, BenchFolder | Unreadable) for bench in benches):
            # One object of bytes: the scheduler has no need to look into it.
            return self._executor.submit(_worked, pickle.dumps((work, benches)))
        return done_here(work, benches)

    def result(self, future: Future[_Result]) -> _Result:
        """Wait for a result; the scheduler gives the work of a dead worker to another by itself.

        Raises KilledWorker for work that ended several workers, InputError when the scheduler or the last worker is gone or a
        worker has no joulebook.
        """
        alone_since: float | None = None
        while True:
            try:
                return future.result(timeout=_LOOK_EVERY)
            except TimeoutError:
                now = time.monotonic()
                if self._client.scheduler_info(n_workers=-1).get("workers"):
                    alone_since = None
                elif now - (alone_since := alone_since or now) > self._patience:
                    raise self._nobody() from None
            except CancelledError as error:
                raise InputError(
                    f"The scheduler at {self._address} is gone.", remedy="Start it and its workers again.", code="workers"
                ) from error
            except ModuleNotFoundError as error:
                raise InputError(
                    f"A worker cannot load {error.name}.", remedy="Install joulebook wherever a worker runs.", code="workers"
                ) from error

    def replace(self, size: int | None = None) -> bool:
        """Do nothing: the scheduler takes on whoever comes, and the work of others is not lost."""
        return False

    def close(self) -> None:
        """Take back what was not done, and go; the workers stay."""
        self._executor.shutdown(wait=False)
        self._client.close(timeout=_ANSWER)

    def _nobody(self) -> JoulebookError:
        return InputError(
            f"The scheduler at {self._address} has had no worker for {self._patience:g} seconds.",
            remedy=f"Start workers: dask worker {self._address} --nthreads 1.",
            code="workers",
        )


def _worked(packed: bytes) -> Any:
    work, benches = pickle.loads(packed)
    return work(benches)
