"""A record as the logger shows it: readings against time, nothing flagged, nothing named, so that a person has to look."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from joulebook.render.drawing import NARROW, WIDE, Frame, Scale, Sheet, ticks
from joulebook.render.numbers import number
from joulebook.render.picture import Picture

__all__ = ["draw_record"]

_ROWS = 40


def draw_record(
    time: npt.NDArray[np.float64],
    values: npt.NDArray[np.float64],
    *,
    name: str,
    title: str,
    quantity: str = "distance from the ranger, m",
    rest: float | None = None,
) -> Picture:
    """Draw one record just as it was read.

    time: s, shape (n,). values: what was recorded, shape (n,), NaN where a cell is blank. quantity: of the values, with its unit.
    rest: the reading of the rest record, drawn as a dashed line, None where there is none.
    """
    known = np.isfinite(time) & np.isfinite(values)
    sentence = _sentence(time, values, known, quantity, rest)
    drawn = {}
    for frame in (WIDE, NARROW):
        sheet, height = _draw(time[known], values[known], quantity, rest, frame)
        drawn[frame.name] = sheet.finish(height, name=name, title=title, description=sentence)
    every = max(1, math.ceil(time.size / _ROWS))
    rows = tuple(
        (str(i + 1), f"{time[i]:.3f}" if np.isfinite(time[i]) else "", f"{values[i]:.4f}" if np.isfinite(values[i]) else "")
        for i in range(0, time.size, every)
    )
    # The file holds every reading; the table stands in for the picture and is as coarse as an eye.
    headings = (f"Row (every {_ordinal(every)})" if every > 1 else "Row", "Time, s", f"{quantity[:1].upper()}{quantity[1:]}")
    return Picture(name, title, sentence, drawn["wide"], drawn["narrow"], headings, rows)


def _draw(
    time: npt.NDArray[np.float64], values: npt.NDArray[np.float64], quantity: str, rest: float | None, frame: Frame
) -> tuple[Sheet, float]:
    sheet, font = Sheet(frame), frame.font
    start, end = (float(time.min()), float(time.max())) if time.size else (0.0, 1.0)
    heights = [*values.tolist(), *([] if rest is None else [rest])]
    low, high = (min(heights), max(heights)) if heights else (0.0, 1.0)
    margin = 0.05 * (high - low) or 0.01
    left, right = 4.6 * font, frame.width - 6
    x = Scale(start, end if end > start else start + 1.0, left, right)
    foot = 8 + (0.40 if not frame.narrow else 0.58) * frame.width
    y = Scale(low - margin, high + margin, foot, 8)
    sheet.y_axis(y, left, right, ticks(y.low, y.high, 6), quantity)
    sheet.x_axis(x, foot, ticks(x.low, x.high, 6 if frame.narrow else 10), "time, s")
    if rest is not None:
        sheet.line([(left, y(rest)), (right, y(rest))], stroke="line", width=1.2, dash="5 4")
    sheet.dots([(x(t), y(value)) for t, value in zip(time.tolist(), values.tolist(), strict=True)], size=3.6)
    if rest is None:
        return sheet, foot + 3.2 * font
    key = foot + 4.2 * font
    sheet.line([(left, key), (left + 28, key)], stroke="line", width=1.2, dash="5 4")
    sheet.text(left + 36, key, "reading of the rest record")
    return sheet, key + font


def _sentence(
    time: npt.NDArray[np.float64],
    values: npt.NDArray[np.float64],
    known: npt.NDArray[np.bool_],
    quantity: str,
    rest: float | None,
) -> str:
    """Return what the picture shows, without saying what is the matter."""
    if not known.any():
        return f"A record of {time.size} rows without a single reading."
    unit = quantity.rpartition(", ")[2]
    steps = np.diff(time[known])
    usual = float(np.median(steps)) if steps.size else math.nan
    first = int(np.flatnonzero(known)[0])
    lowest, highest = int(np.nanargmin(np.where(known, values, np.nan))), int(np.nanargmax(np.where(known, values, np.nan)))
    text = (
        f"{int(known.sum())} readings of {time.size} rows, one every {number(usual, 3)} s. They begin at {values[first]:.3f} "
        f"{unit}; the smallest is {values[lowest]:.3f} {unit} at {time[lowest]:.2f} s, the largest {values[highest]:.3f} "
        f"{unit} at {time[highest]:.2f} s."
    )
    return text + (f" The rest record reads {rest:.3f} {unit}." if rest is not None else " There is no rest record.")


def _ordinal(count: int) -> str:
    return {2: "second", 3: "third"}.get(count, f"{count}th")
