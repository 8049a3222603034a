"""The trace of every launch as CSV: each sample with its flag, whether the fit used it, its phase and what the fit left over."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Sequence

from joulebook.engine.report import Audit, Phase, Series
from joulebook.render.plain import spreadsheet_text

__all__ = ["HEADINGS", "write_trace_csv"]

HEADINGS = (
    "launch",
    "sample",
    "time (s)",
    "distance from sensor (m)",
    "position up the slope (m)",
    "flag",
    "used",
    "phase",
    "fitted position (m)",
    "residual (m)",
)


def write_trace_csv(audit: Audit) -> str:
    """Return every sample of every launch as RFC 4180 text: commas, CRLF, quotes where needed, one line of headings.

    Samples are counted from 0 in file order. A blank cell is a number that does not exist. Numbers carry every digit that a
    double needs to be read back the same. A text that a spreadsheet would take for a formula is preceded by an apostrophe.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(HEADINGS)
    for launch in audit.launches:
        if launch.series is not None:
            writer.writerows(_rows(launch.file, launch.series, launch.phases))
    return out.getvalue()


def _rows(file: str, series: Series, phases: Sequence[Phase]) -> Iterator[tuple[str, ...]]:
    kinds = [""] * series.time.size
    for phase in phases:
        for i in range(max(phase.first, 0), min(phase.last + 1, len(kinds))):
            kinds[i] = phase.kind
    name = spreadsheet_text(file)
    for i in range(series.time.size):
        yield (
            name,
            str(i),
            _number(series.time[i]),
            _number(series.distance[i]),
            _number(series.position[i]),
            spreadsheet_text(str(series.flags[i])),
            "yes" if series.used[i] else "no",
            kinds[i],
            _number(series.fitted[i]),
            _number(series.residual[i]),
        )


def _number(value: float) -> str:
    return repr(float(value)) if math.isfinite(value) else ""
