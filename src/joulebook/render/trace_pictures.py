"""The trace with its phases named on it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from joulebook.engine.report import LaunchAudit, Phase, Series
from joulebook.render.drawing import NARROW, SHAPES, WIDE, Frame, Scale, Sheet, text_width, ticks
from joulebook.render.numbers import number, value_with_u
from joulebook.render.picture import Picture
from joulebook.render.plain import clean_text
from joulebook.render.words import FLAG_WORDS, PHASE_WORDS
from joulebook.uncertainty import Quantity

__all__ = ["draw_trace", "time_axis"]

_FREE = ("climb", "descent")
_STILL = 0.5  # seconds of rest that are shown before the first movement and after the last


def draw_trace(launch: LaunchAudit, *, name: str, small: bool = False) -> Picture | None:
    """Draw a launch's trace: samples, fitted motion, phases, release and apex; None when the launch holds no trace.

    small: only the narrow form, which then serves a desk too.
    """
    series = launch.series
    if series is None or not np.isfinite(series.position).any():
        return None
    window = _window(launch.phases, series)
    title = f"Trace of {clean_text(launch.file)}"
    sentence = _trace_sentence(launch, series, small)
    drawn = {}
    for frame in (NARROW,) if small else (WIDE, NARROW):
        sheet, height = _draw_trace(launch, series, window, frame)
        drawn[frame.name] = sheet.finish(height, name=name, title=title, description=sentence)
    return Picture(
        name=name,
        title=title,
        sentence=sentence,
        svg=drawn.get("wide", drawn["narrow"]),
        narrow=drawn["narrow"],
        table_headings=("Phase", "From, s", "To, s", "Position from, m", "Position to, m", "Samples", "Flagged"),
        table_rows=tuple(_phase_row(phase, series) for phase in launch.phases),
        listed=(*_flag_list(series), *_left_off(series, window)),
    )


def time_axis(launch: LaunchAudit, frame: Frame) -> Scale | None:
    """Return the time axis of a launch's picture, from seconds to pixels of the frame; None when the launch holds no trace."""
    series = launch.series
    if series is None or not np.isfinite(series.position).any():
        return None
    return _axis(_window(launch.phases, series), frame)


def _axis(window: tuple[float, float], frame: Frame) -> Scale:
    return Scale(*window, 4.4 * frame.font, frame.width - 6)


def _draw_trace(launch: LaunchAudit, series: Series, window: tuple[float, float], frame: Frame) -> tuple[Sheet, float]:
    sheet, font = Sheet(frame), frame.font
    start, end = window
    inside = (series.time >= start) & (series.time <= end) & np.isfinite(series.position)
    good = inside & (series.flags == "")
    low, high = _range(series.position[good] if good.any() else series.position[inside])
    x = _axis(window, frame)
    left, right = x.start, x.end
    labels = _phase_labels(launch.phases, x, font)
    head = 4 + (4.6 if any(label[2] for label in labels) else 1.4) * font
    foot = head + (0.36 if not frame.narrow else 0.52) * frame.width
    y = Scale(low, high, foot, head)
    for phase in launch.phases:
        if phase.kind not in _FREE and phase.end_s > start and phase.start_s < end:
            sheet.box(x(max(phase.start_s, start)), 0, x(min(phase.end_s, end)), foot, fill="band")
    sheet.y_axis(y, left, right, ticks(low, high, 6), "position up the slope, m")
    for phase in launch.phases:
        if start < phase.start_s < end:
            sheet.line([(x(phase.start_s), 0), (x(phase.start_s), foot)], stroke="edge")
    sheet.x_axis(x, foot, ticks(start, end, 8 if frame.narrow else 11), "time on the record's clock, s")
    for place, word, turned in labels:
        sheet.text(
            place,
            head - 0.4 * font if turned else 0.9 * font,
            word,
            anchor="start" if turned else "middle",
            fill="muted",
            turned=turned,
        )
    for points in _fitted_lines(launch.phases, series, window):
        sheet.line([(x(t), y(s)) for t, s in points], stroke="line", width=1.6)
    for used, size in ((False, 4.6), (True, 4.2)):
        places = np.flatnonzero(good & (series.used == used))
        sheet.dots([(x(series.time[i]), y(series.position[i])) for i in places], size=size, fill="ink" if used else "paper")
    _mark_times(sheet, launch, x, y)
    reasons = _draw_flagged(sheet, series, inside, x, y)
    return sheet, _shape_key(sheet, reasons, left, foot + 4.0 * font)


def _window(phases: Sequence[Phase], series: Series) -> tuple[float, float]:
    """Return the stretch of time worth showing: all movement, and a little rest at either end."""
    time = series.time[np.isfinite(series.time)]
    start, end = float(time.min()), float(time.max())
    moving = [phase for phase in phases if phase.kind in ("push", "climb", "descent", "contact")]
    if moving:
        start = max(start, moving[0].start_s - _STILL)
        end = min(end, moving[-1].end_s + _STILL)
    return start, end if end > start else start + 1.0


def _range(values: npt.NDArray[np.float64]) -> tuple[float, float]:
    low, high = float(values.min()), float(values.max())
    margin = 0.05 * (high - low) or 0.01
    return low - margin, high + margin


def _phase_labels(phases: Sequence[Phase], x: Scale, font: float) -> list[tuple[float, str, bool]]:
    """Place phase names over their stretches: level where they fit, turned where not, none closer than one line to the next."""
    labels: list[tuple[float, str, bool]] = []
    edge = -math.inf
    for phase in phases:
        left, right = x(max(phase.start_s, x.low)), x(min(phase.end_s, x.high))
        if right <= left:
            continue
        word = PHASE_WORDS[phase.kind].label if phase.kind in PHASE_WORDS else phase.kind
        turned = right - left < text_width(word, font)
        half = 0.55 * font if turned else 0.5 * text_width(word, font)
        place = max(0.5 * (left + right), edge + half)
        # A name pushed off its own stretch would mislead; the table holds every phase.
        if place > right + 0.3 * font or place + half > x.end + 6:
            continue
        edge = place + half
        labels.append((place, word, turned))
    return labels


def _mark_times(sheet: Sheet, launch: LaunchAudit, x: Scale, y: Scale) -> None:
    """Mark release and apex with dashed rules and their times."""
    font = sheet.frame.font
    for name, word in (("release_time", "release"), ("apex_time", "apex")):
        quantity = launch.quantities.get(name)
        if not (isinstance(quantity, Quantity) and x.low <= quantity.value <= x.high):
            continue
        place = x(quantity.value)
        sheet.line([(place, y.start), (place, y.end)], stroke="ink", dash="4 3")
        # Left of the release the cart is low and the picture empty; right of the apex the space under the first hop is.
        lines = (word,) if sheet.frame.narrow else (word, f"{quantity.value:.3f} s")
        width = max(text_width(line, font) for line in lines) + 4
        before = place + width > x.end or (name == "release_time" and place - x.start > width)
        height = y.start + (0.6 if before else 0.3 if name == "apex_time" else 0.18) * (y.end - y.start)
        for index, line in enumerate(lines):
            sheet.text(
                place + (-5 if before else 5),
                height + (index - 0.5 * (len(lines) - 1)) * 1.2 * font,
                line,
                anchor="end" if before else "start",
            )


def _fitted_lines(phases: Sequence[Phase], series: Series, window: tuple[float, float]) -> list[list[tuple[float, float]]]:
    """Return the fitted motion hop by hop, so that no line is drawn through a contact."""
    lines: list[list[tuple[float, float]]] = []
    last = ""
    for phase in (phase for phase in phases if phase.kind in _FREE):
        if not lines or not (phase.kind == "descent" and last == "climb"):
            lines.append([])
        last = phase.kind
        lines[-1] += [
            (float(series.time[i]), float(series.fitted[i]))
            for i in range(max(phase.first, 0), min(phase.last + 1, series.time.size))
            if np.isfinite(series.fitted[i]) and window[0] <= series.time[i] <= window[1]
        ]
    return [line for line in lines if len(line) > 1]


def _draw_flagged(sheet: Sheet, series: Series, inside: npt.NDArray[np.bool_], x: Scale, y: Scale) -> list[str]:
    """Draw flagged samples by shape, at the edge and with an arrow where they lie off the picture; return the reasons drawn."""
    reasons: list[str] = []
    for i in np.flatnonzero(inside & (series.flags != "")):
        flag, position = str(series.flags[i]), float(series.position[i])
        place, height = x(series.time[i]), y(min(max(position, y.low), y.high))
        sheet.mark(flag if flag in SHAPES else "outlier", place, height)
        if not y.low <= position <= y.high:
            tip, tail = (height - 12, height - 6) if position > y.high else (height + 12, height + 6)
            side = 3 if tip > tail else -3
            sheet.line([(place, tail), (place, tip)], stroke="flag", width=1.5)
            sheet.line([(place - 3, tip - side), (place, tip), (place + 3, tip - side)], stroke="flag", width=1.5)
        if flag not in reasons:
            reasons.append(flag)
    return reasons


def _shape_key(sheet: Sheet, reasons: Sequence[str], left: float, top: float) -> float:
    """Write what each shape means below a plot; return where it ends."""
    font = sheet.frame.font
    place, height = left, top
    for index, reason in enumerate(reasons):
        text = ("not used: " if index == 0 else "") + FLAG_WORDS.get(reason, reason)
        width = text_width(text, font) + 24
        if index and place + width > sheet.frame.width:
            place, height = left, height + 1.5 * font
        sheet.mark(reason if reason in SHAPES else "outlier", place + 5, height)
        sheet.text(place + 15, height, text)
        place += width
    return height + font if reasons else top - 0.9 * font


def _trace_sentence(launch: LaunchAudit, series: Series, small: bool) -> str:
    steps = np.diff(series.time[np.isfinite(series.time)])
    rate = 1 / float(np.median(steps)) if steps.size and np.median(steps) > 0 else math.nan
    parts = [f"{series.time.size} samples at {number(rate, 3)} per second."]
    single = {name: item for name, item in launch.quantities.items() if isinstance(item, Quantity)}
    if {"release_time", "release_speed", "travel", "apex_time"} <= single.keys():
        text = {name: value_with_u(name, single[name]) for name in ("release_time", "release_speed", "travel", "apex_time")}
        parts.append(
            f"The cart was released at {text['release_time']} with {text['release_speed']}, climbed {text['travel']} along "
            f"the track and turned at {text['apex_time']}."
        )
    contacts = sum(1 for phase in launch.phases if phase.kind == "contact")
    if contacts:
        parts.append(f"It met the stop {_times(contacts)} before it came to rest or the record ended.")
    flagged = int(np.count_nonzero(series.flags != ""))
    parts.append(
        "No sample was flagged."
        if not flagged
        else f"{flagged} {'sample was' if flagged == 1 else 'samples were'} flagged and not used."
    )
    side = _sensor_side(series)
    if side:
        parts.append(side)
    if not small and series.used.any():
        parts.append("Filled dots are samples that the fit used, open dots are not; the line is the fitted motion.")
    return " ".join(parts)


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _sensor_side(series: Series) -> str:
    good = (series.flags == "") & np.isfinite(series.position) & np.isfinite(series.distance)
    if np.count_nonzero(good) < 3 or np.ptp(series.position[good]) == 0 or np.ptp(series.distance[good]) == 0:
        return ""
    slope = float(np.corrcoef(series.position[good], series.distance[good])[0, 1])
    if slope < 0:
        return "The sensor stands at the top: its distance shrinks while the position shown here grows."
    return "The sensor stands at the bottom: its distance grows with the position shown here."


def _phase_row(phase: Phase, series: Series) -> tuple[str, ...]:
    here = slice(max(phase.first, 0), max(phase.last, -1) + 1)
    good = series.position[here][(series.flags[here] == "") & np.isfinite(series.position[here])]
    ends = (f"{good[0]:.4f}", f"{good[-1]:.4f}") if good.size else ("–", "–")
    flagged = int(np.count_nonzero(series.flags[here] != ""))
    return (phase.kind, f"{phase.start_s:.3f}", f"{phase.end_s:.3f}", *ends, str(series.flags[here].size), str(flagged))


def _flag_list(series: Series) -> list[str]:
    lines = []
    for flag in dict.fromkeys(str(flag) for flag in series.flags if flag):
        places = np.flatnonzero(series.flags == flag)
        shown = ", ".join(_place(series, int(i)) for i in places[:8])
        more = f" and {places.size - 8} more" if places.size > 8 else ""
        lines.append(f"{places.size} × {FLAG_WORDS.get(flag, flag)}: {shown}{more}.")
    return lines


def _place(series: Series, i: int) -> str:
    time = f"{series.time[i]:.3f} s" if np.isfinite(series.time[i]) else f"row {i + 1}"
    return f"{time} ({series.distance[i]:.3f} m)" if np.isfinite(series.distance[i]) else time


def _left_off(series: Series, window: tuple[float, float]) -> list[str]:
    outside = int(np.count_nonzero((series.time < window[0]) | (series.time > window[1])))
    if not outside:
        return []
    word = "sample lies" if outside == 1 else "samples lie"
    return [f"{outside} {word} outside the picture, before {window[0]:.2f} s or after {window[1]:.2f} s; the CSV holds them all."]
