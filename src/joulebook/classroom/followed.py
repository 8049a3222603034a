"""Launches that were followed already: a bench that saves one more launch need not have the others fitted again.

What becomes of a launch depends on its own samples, the rest record, the bench's inputs and settings, and a person's own choices
for it, and on nothing else; all of them are in the key.
"""

from __future__ import annotations

import threading
from collections import OrderedDict

from joulebook.engine.bench import Bench
from joulebook.engine.datum import RestLevel
from joulebook.engine.experiment import Experiment
from joulebook.engine.follow import follow
from joulebook.engine.record import Record
from joulebook.engine.run import Run

__all__ = ["follow_once"]

_MOST = 360  # launches kept in a process: some tens of kilobytes each
_kept: OrderedDict[tuple[object, ...], Run] = OrderedDict()
_lock = threading.Lock()


def follow_once(record: Record, bench: Bench, experiment: Experiment, rest: RestLevel | None) -> Run:
    """Return what became of a launch record, as `engine.follow.follow` does, from memory where it was asked before."""
    key = _key(record, bench)
    with _lock:
        known = _kept.get(key)
        if known is not None:
            _kept.move_to_end(key)
            return known
    found = follow(record, bench, experiment, rest)
    with _lock:
        _kept[key] = found
        while len(_kept) > _MOST:
            _kept.popitem(last=False)
    return found


def _key(record: Record, bench: Bench) -> tuple[object, ...]:
    rest = None if bench.rest is None else (bench.rest.sha256, bench.rest.run, bench.rest.read_as)
    override = bench.overrides.get(record.file) or bench.overrides.get(f"{record.file}#{record.run}")
    return (
        bench.experiment,
        (record.file, record.run, record.sha256, record.read_as),
        rest,
        tuple((item.name, item.value, item.unit, item.u, item.distribution, item.dof) for item in bench.inputs.values()),
        tuple(sorted((name, str(value)) for name, value in bench.settings.items())),
        repr(override),
    )
