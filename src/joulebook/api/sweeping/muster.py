"""Which crew a sweep gets: from the number of workers that were asked for, or the address of a scheduler."""

from __future__ import annotations

import os

from joulebook.api.sweeping.crews import Crew, Here, Processes
from joulebook.errors import InputError

__all__ = ["crew_of"]


def crew_of(workers: int | None, scheduler: str | None, total: int) -> Crew:
    """Return who audits. workers: processes, None for one per core. scheduler: of Dask, in their place. total: number of benches.

    Raises InputError for less than one worker, and for a scheduler that does not answer.
    """
    if scheduler is not None:
        from joulebook.api.sweeping.cluster import Cluster

        return Cluster(scheduler)
    count = min(workers if workers is not None else os.cpu_count() or 1, total)
    if count < 1:
        raise InputError(f"{workers} workers cannot audit anything.", remedy="Give a number from 1 upwards.")
    return Here() if count == 1 else Processes(count)
