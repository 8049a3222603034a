"""A run: one launch record on its way from trace to motion, with all that was learnt on the way."""

from __future__ import annotations

from dataclasses import dataclass

from joulebook.engine.bench import Override
from joulebook.engine.clean import Trace
from joulebook.engine.datum import RestLevel
from joulebook.engine.fit import Motion
from joulebook.engine.phases import Outline
from joulebook.errors import FitError

__all__ = ["Run"]


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """One launch.

    trace, outline: see clean and phases. tail: where the cart settled at the end, or None.
    motion: the fit; None when there was no launch or the fit failed, and then `failure` says why (None: no launch found).
    override: a person's choices, where there are any.
    """

    trace: Trace
    outline: Outline
    tail: RestLevel | None
    motion: Motion | None
    failure: FitError | None = None
    override: Override | None = None

    @property
    def file(self) -> str:
        """The record's name, with the run's name where the file holds several."""
        record = self.trace.record
        return f"{record.file}#{record.run}" if record.run else record.file
