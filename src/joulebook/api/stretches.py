"""Fit one stretch of a record that is no launch, such as a block that slides down."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from joulebook.engine.clean import Trace
    from joulebook.engine.record import Record
    from joulebook.engine.stretch import Stretch

__all__ = ["StretchLike", "fit_stretch"]

StretchLike: TypeAlias = "str | os.PathLike[str] | Record | Trace"


def fit_stretch(record: StretchLike, start: float, end: float, *, coverage: float = 0.95) -> Stretch:
    """Fit constant acceleration to the unflagged samples of a record from `start` to `end` (s), both included.

    record: a path, a record or a trace. coverage: of the intervals.
    Raises RecordError for a file that cannot be read, AnalysisError when fewer than four samples are left to fit three values.
    """
    from joulebook.engine.clean import Trace, clean
    from joulebook.engine.record import Record
    from joulebook.engine.stretch import fit_stretch as fit
    from joulebook.readers.records import read_record

    if isinstance(record, Trace):
        return fit(record, start, end, coverage=coverage)
    held = record if isinstance(record, Record) else read_record(os.fspath(record))
    return fit(clean(held), start, end, coverage=coverage)
