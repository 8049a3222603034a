"""What the fit of the motion left over: measured minus fitted position against time."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from joulebook.engine.report import LaunchAudit, Phase, Series
from joulebook.render.drawing import NARROW, SHAPES, WIDE, Frame, Scale, Sheet, text_width, ticks
from joulebook.render.picture import Picture
from joulebook.render.plain import clean_text

__all__ = ["draw_residuals"]

_FREE = ("climb", "descent")


def draw_residuals(launch: LaunchAudit, *, name: str) -> Picture | None:
    """Draw what the fit left over: measured minus fitted position against time; None when nothing was fitted."""
    series = launch.series
    if series is None or not (series.used & np.isfinite(series.residual)).any():
        return None
    used = series.residual[series.used & np.isfinite(series.residual)] * 1000
    scatter = float(np.sqrt(np.mean(used**2)))
    largest = int(np.argmax(np.abs(used)))
    time = series.time[series.used & np.isfinite(series.residual)]
    set_aside = int(np.count_nonzero(np.isfinite(series.residual) & ~series.used))
    sentence = (
        f"The {used.size} samples that the fit used lie {scatter:.2f} mm (root mean square) from the fitted motion; the farthest "
        f"is {abs(used[largest]):.2f} mm {'above' if used[largest] > 0 else 'below'} it, at {time[largest]:.2f} s."
    )
    if set_aside:
        word = "sample" if set_aside == 1 else "samples"
        sentence += f" {set_aside} flagged {word} of the free motion {'is' if set_aside == 1 else 'are'} shown but not used."
    title = f"What the fit of {clean_text(launch.file)} left over"
    free = [phase for phase in launch.phases if phase.kind in _FREE]
    drawn = {}
    for frame in (WIDE, NARROW):
        sheet, height = _draw_residuals(series, free, frame, scatter)
        drawn[frame.name] = sheet.finish(height, name=name, title=title, description=sentence)
    rows = (_residual_row(phase, series) for phase in free)
    return Picture(
        name=name,
        title=title,
        sentence=sentence,
        svg=drawn["wide"],
        narrow=drawn["narrow"],
        table_headings=("Phase", "From, s", "To, s", "Samples used", "Mean, mm", "Root mean square, mm", "Farthest, mm"),
        table_rows=tuple(row for row in rows if row is not None),
    )


def _draw_residuals(series: Series, free: Sequence[Phase], frame: Frame, scatter: float) -> tuple[Sheet, float]:
    sheet, font = Sheet(frame), frame.font
    shown = np.isfinite(series.residual)
    used = shown & series.used
    limit = 1.15 * max(float(np.abs(series.residual[used]).max()) * 1000, 2.2 * scatter, 1e-6)
    start, end = float(series.time[shown].min()), float(series.time[shown].max())
    pad = 0.02 * (end - start) or 0.01
    left, right, head = 4.4 * font, frame.width - 6, 4.0
    foot = head + (0.25 if not frame.narrow else 0.4) * frame.width
    x, y = Scale(start - pad, end + pad, left, right), Scale(-limit, limit, foot, head)
    sheet.box(left, y(2 * scatter), right, y(-2 * scatter), fill="band")
    sheet.y_axis(y, left, right, ticks(-limit, limit, 5), "measured − fitted, mm")
    for phase in free[1:]:
        sheet.line([(x(phase.start_s), head), (x(phase.start_s), foot)], stroke="edge")
    sheet.x_axis(x, foot, ticks(x.low, x.high, 8 if frame.narrow else 11), "time on the record's clock, s")
    sheet.line([(left, y(0)), (right, y(0))], stroke="line", width=1.6)
    sheet.dots([(x(series.time[i]), y(series.residual[i] * 1000)) for i in np.flatnonzero(used)], size=4.2)
    for i in np.flatnonzero(shown & ~series.used):
        value = float(series.residual[i]) * 1000
        arrow = "↑ " if value > limit else "↓ " if value < -limit else ""
        place, height = x(series.time[i]), y(min(max(value, -0.9 * limit), 0.9 * limit))
        flag = str(series.flags[i])
        sheet.mark(flag if flag in SHAPES else "outlier", place, height)
        note = f"{arrow}{value:+.1f} mm".replace("-", "−")
        # Near the right edge the note stands left of its mark.
        beyond = place + 9 + text_width(note, font) > right
        sheet.text(place + (-9 if beyond else 9), height, note, fill="flag", anchor="end" if beyond else "start")
    height = foot + 4.1 * font
    sheet.box(left, height - 5, left + 16, height + 5, fill="band", stroke="edge")
    sheet.text(left + 22, height, "within twice the root mean square")
    return sheet, height + font


def _residual_row(phase: Phase, series: Series) -> tuple[str, ...] | None:
    here = slice(max(phase.first, 0), max(phase.last, -1) + 1)
    values = series.residual[here][series.used[here] & np.isfinite(series.residual[here])] * 1000
    if not values.size:
        return None
    far = float(values[np.argmax(np.abs(values))])
    numbers = (float(values.mean()), float(np.sqrt(np.mean(values**2))), far)
    return (
        phase.kind,
        f"{phase.start_s:.3f}",
        f"{phase.end_s:.3f}",
        str(values.size),
        *(f"{v:.2f}".replace("-", "−") for v in numbers),
    )
