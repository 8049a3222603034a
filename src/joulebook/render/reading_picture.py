"""A record to read values from: distance against time exactly as the file holds it, with grid lines, and nothing that was found in it.

Students read start, turn and slope themselves (DESIGN §8), so neither picture, sentence nor table names a release, an apex, a
phase, a fit or the least and greatest distance.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from joulebook.engine.record import Record
from joulebook.render.drawing import Frame, Scale, Sheet, ticks
from joulebook.render.picture import Picture
from joulebook.render.plain import clean_text

__all__ = ["MOST_ROWS", "Plot", "Reading", "ValueAt", "clamped", "draw_reading", "value_at"]

MOST_ROWS = 300
"""Rows that the table below a picture holds; a narrower stretch shows the rest."""

_WIDE, _NARROW = Frame("wide", 620, 14), Frame("narrow", 340, 13)
_MOST_DOTS = 3_000
_LEAST_STRETCH = 5.0  # of the usual time between two samples: a narrower stretch holds nothing to read
Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Plot:
    """Where the axes of a drawing lie: left, right, top, foot in its own units, of width × height; start, end in s; low, high in m."""

    width: float
    height: float
    left: float
    right: float
    top: float
    foot: float
    start: float
    end: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Reading:
    """A record's picture. picture: with its words and its table. wide, narrow: where the axes of its two drawings lie.
    left_out: samples of the stretch that the table does not list."""

    picture: Picture
    wide: Plot
    narrow: Plot
    left_out: int


@dataclass(frozen=True, slots=True)
class ValueAt:
    """What a record says about one moment.

    asked: the time asked for, s. time, distance: of the nearest sample. between: the distance on the straight line between the two
    neighbouring samples, m; None outside of the record.
    """

    asked: float
    time: float
    distance: float
    between: float | None


def draw_reading(
    record: Record,
    *,
    name: str,
    stretch: tuple[float, float] | None = None,
    marks: Sequence[tuple[str, float, float]] = (),
) -> Reading | None:
    """Draw a record to be read; None when it holds no distance.

    stretch: seconds, from and to; None for the whole record. marks: (letter, time in s, distance in m) that a reader chose.
    """
    time, distance = _samples(record)
    if time.size < 2:
        return None
    start, end = clamped(record, stretch)
    inside = (time >= start) & (time <= end)
    shown_t, shown_s = time[inside], distance[inside]
    file = clean_text(record.file)
    title = f"Distance against time: {file}"
    blank = record.samples - time.size
    whole = stretch is None or inside.all()
    sentence = (
        f"Distance from the motion sensor against time, as {file} holds it: "
        + (f"all {time.size} samples" if whole else f"{shown_t.size} of {time.size} samples")
        + f", from {start:.2f} s to {end:.2f} s."
        + (f" {blank} {'row has' if blank == 1 else 'rows have'} no distance." if blank > 0 else "")
    )
    sheets = {}
    for frame in (_WIDE, _NARROW):
        sheet, plot = _draw(shown_t, shown_s, (start, end), marks, frame)
        sheets[frame.name] = (sheet.finish(plot.height, name=name, title=title, description=sentence), plot)
    places = _places(record)
    rows = tuple((f"{t:.3f}", f"{s:.{places}f}") for t, s in zip(shown_t[:MOST_ROWS], shown_s[:MOST_ROWS], strict=True))
    picture = Picture(
        name, title, sentence, sheets["wide"][0], sheets["narrow"][0], ("Time, s", "Distance, m"), rows
    )
    return Reading(picture, sheets["wide"][1], sheets["narrow"][1], max(0, int(shown_t.size) - MOST_ROWS))


def value_at(record: Record, asked: float) -> ValueAt | None:
    """Return what a record says about a moment, None when it holds no distance. asked: seconds."""
    time, distance = _samples(record)
    if not time.size or not math.isfinite(asked):
        return None
    near = int(np.argmin(np.abs(time - asked)))
    between = float(np.interp(asked, time, distance)) if time[0] <= asked <= time[-1] else None
    return ValueAt(asked, float(time[near]), float(distance[near]), between)


def clamped(record: Record, stretch: tuple[float, float] | None) -> tuple[float, float]:
    """Return the stretch of time to be shown: the one asked for, within the record and never too narrow to hold samples."""
    time, _ = _samples(record)
    first, last = float(time[0]), float(time[-1])
    if stretch is None or not all(map(math.isfinite, stretch)):
        return first, last
    least = _LEAST_STRETCH * max(float(np.median(np.diff(time))), 1e-3)
    start, end = max(first, min(stretch)), min(last, max(stretch))
    if end - start < least:
        middle = min(max(0.5 * (start + end), first + 0.5 * least), last - 0.5 * least)
        start, end = max(first, middle - 0.5 * least), min(last, middle + 0.5 * least)
    return (start, end) if end > start else (first, last)


def _samples(record: Record) -> tuple[Array, Array]:
    """Return time and distance of the samples that have both, in the order of time."""
    fine = np.isfinite(record.time) & np.isfinite(record.distance)
    time, distance = record.time[fine], record.distance[fine]
    order = np.argsort(time, kind="stable")
    return time[order], distance[order]


def _places(record: Record) -> int:
    """Return the decimals of a distance in metres that the file itself prints, between 2 and 5."""
    if record.distance_step <= 0.0:
        return 4
    return min(5, max(2, math.ceil(-math.log10(record.distance_step) - 1e-9)))


def _draw(
    time: Array, distance: Array, stretch: tuple[float, float], marks: Sequence[tuple[str, float, float]], frame: Frame
) -> tuple[Sheet, Plot]:
    sheet, font = Sheet(frame), frame.font
    left, right, top = 4.2 * font, frame.width - 0.9 * font, 0.8 * font
    foot = top + (0.55 if not frame.narrow else 0.8) * frame.width
    low, high = (float(distance.min()), float(distance.max())) if distance.size else (0.0, 1.0)
    margin = 0.06 * (high - low) or 0.01
    x, y = Scale(*stretch, left, right), Scale(low - margin, high + margin, foot, top)
    for mark in ticks(*stretch, 8 if frame.narrow else 12):
        sheet.line([(x(mark), top), (x(mark), foot)], stroke="grid")
    sheet.y_axis(y, left, right, ticks(y.low, y.high, 9), "distance from the motion sensor, m")
    sheet.x_axis(x, foot, ticks(*stretch, 6 if frame.narrow else 12), "time, s")
    every = max(1, math.ceil(time.size / _MOST_DOTS))
    points = [(x(t), y(s)) for t, s in zip(time[::every], distance[::every], strict=True)]
    for run in _runs(time[::every], points):
        sheet.line(run, stroke="edge")
    crowded = len(points) > (right - left) / 3.0
    sheet.dots(points, size=3.0 if crowded else 4.6, fill="ink" if crowded else "line")
    for letter, t, s in marks:
        if stretch[0] <= t <= stretch[1]:
            sheet.line([(x(t), top), (x(t), foot)], stroke="flag", width=1.4, dash="5 3")
            sheet.mark("slip", x(t), y(min(max(s, y.low), y.high)), size=6, fill="paper")
            sheet.text(x(t) + 0.5 * font, top + 0.7 * font, letter, fill="flag", bold=True)
    height = foot + 3.2 * font
    return sheet, Plot(frame.width, height, left, right, top, foot, *stretch, y.low, y.high)


def _runs(time: Array, points: Sequence[tuple[float, float]]) -> list[list[tuple[float, float]]]:
    """Return the points in runs without a gap, so that no line is drawn where the record has nothing."""
    if len(points) < 2:
        return []
    steps = np.diff(time)
    usual = float(np.median(steps))
    breaks = [0, *(int(i) + 1 for i in np.flatnonzero(steps > 1.8 * usual)), len(points)]
    return [list(points[a:b]) for a, b in pairwise(breaks) if b - a > 1]
