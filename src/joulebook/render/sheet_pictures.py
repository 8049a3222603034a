"""The pictures on the sheets: the bench, good data and its commonest faults, an empty line for intervals, the class's losses.

All are drawn in ink alone, so that a copier keeps them. The lines of motion are the closed form of DESIGN §4 without drag.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from joulebook.render.drawing import Frame, Scale, Sheet, ticks
from joulebook.render.sheet_blocks import Drawing

__all__ = ["Loss", "draw_bench", "draw_faults", "draw_good_data", "draw_line_for_intervals", "draw_losses"]

Loss = tuple[str, float, float, float, str]
"""A bench's title, its loss as a fraction of the energy at release, the ends of its interval, and what is in doubt, or ""."""

_WIDTH = 460.0
# An invented launch: the ranger at the top reads 1.20 m at the stop; released at 1.00 s with 1.00 m/s.
_STOP, _RELEASE, _SPEED, _UP, _DOWN, _RESTITUTION, _STROKE = 1.20, 1.0, 1.0, 1.13, 1.03, 0.86, 0.03
_END = 5.6


def draw_bench(placed: str, *, slope: Literal["rise", "gauge"] = "rise", large: bool = False) -> Drawing:
    """Draw the bench from the side, with what its slope is measured by.

    placed: the end at which the ranger stands; "" draws it at the top.
    slope: "rise" draws two marks on the track with L between them and h, "gauge" the angle θ.
    """
    # Set at 0.86 of the text's width, and small on a phone: its letters are larger than those of the other pictures.
    frame = _frame(True) if large else Frame("sheet", _WIDTH, 14)
    sheet, font = Sheet(frame), frame.font
    at_top = placed != "bottom"
    top = (400.0, (30 if at_top else 10) + 1.3 * font)
    foot = (40.0 if at_top else 96.0, top[1] + 16 + 4.9 * font)
    base = foot[1] + 22

    def at(along: float, above: float = 0.0) -> tuple[float, float]:
        """A point on the track: `along` from foot (0) to top (1), `above` it in pixels."""
        x, y = foot[0] + along * (top[0] - foot[0]), foot[1] + along * (top[1] - foot[1])
        return x - 0.17 * above, y - above

    sheet.line([(10, base), (450, base)], stroke="ink", width=1.5)
    sheet.line([at(0), at(1)], stroke="ink", width=5)
    sheet.box(top[0] - 22, top[1] + 4, top[0] - 4, base, fill="band", stroke="ink")
    sheet.line([at(0.015, -2), at(0.015, 24)], stroke="ink", width=6)
    sheet.line([at(0.02, 14), at(0.10, 14)], stroke="ink", width=3)
    low, high = at(0.10, 14), at(0.27, 14)
    sheet.line([low, high], stroke="ink", width=10)
    for along in (0.135, 0.235):
        sheet.dots([at(along, 8)], size=12, fill="paper")
    x, y = at(0.955, 20) if at_top else (foot[0] - 54, foot[1] - 12)
    sheet.box(x - 9, y - 12, x + 9, y + 12, fill="paper", stroke="ink", width=2)
    for step in (0, 1, 2):
        mouth = x - 15 - 7 * step if at_top else x + 15 + 7 * step
        sheet.line(
            [(mouth, y - 6 - 3 * step), (mouth - (3 if at_top else -3), y), (mouth, y + 6 + 3 * step)], stroke="muted", width=1.5
        )
    sheet.text(min(x, 410), y - 14 - 0.7 * font, "ranger", anchor="middle" if at_top else "start", bold=True)
    sheet.text(0.5 * (low[0] + high[0]), high[1] - 9 - 0.7 * font, "cart", anchor="middle", bold=True)
    sheet.text(foot[0] - 30, base + 0.9 * font, "stop with plunger", bold=True)
    seen = _draw_marks(sheet, font, at(0.36), at(0.81), base) if slope == "rise" else _draw_angle(sheet, font, foot, at(0.5))
    end = "top" if at_top else "bottom"
    sentence = (
        "The bench from the side: a tilted track on the table, the stop with its plunger at the low end, the cart against it, "
        f"and the ranger at the {end} end, looking along the track at the cart. {seen}"
    )
    return _finished(sheet, base + 1.8 * font, "bench", "The bench from the side", sentence, share=0.86, caption=False)


def _draw_marks(sheet: Sheet, font: float, low: tuple[float, float], high: tuple[float, float], base: float) -> str:
    """Draw two marks on the track, L between them along it, each one's height above the table, and h; return what one sees."""
    (x1, y1), (x2, y2) = low, high
    tilt = (y2 - y1) / (x2 - x1)
    for x, y in (low, high):
        # Across the track, and a little triangle on it, as a strip of tape would point.
        sheet.line([(x, y - 9), (x, y + 3)], stroke="ink", width=3)
        sheet.line([(x, y + 3), (x, base)], stroke="edge", dash="2 4")
    lift = 15.0
    sheet.line([(x1, y1 - lift), (x2, y2 - lift)], stroke="ink", width=1.5)
    for x, y in ((x1, y1 - lift), (x2, y2 - lift)):
        sheet.line([(x, y - 5), (x, y + 5)], stroke="ink", width=1.5)
    middle = 0.5 * (x1 + x2)
    sheet.text(middle, y1 + (middle - x1) * tilt - lift - 0.75 * font, "L", anchor="middle", bold=True)
    at = x2 - 0.9 * font
    sheet.line([(x1, y1 + 3), (x2, y1 + 3)], stroke="edge", dash="2 4")
    sheet.line([(at, y2 + 8 - (at - x2) * -tilt), (at, y1 + 3)], stroke="ink", width=1.5)
    for y in (y2 + 8 - (at - x2) * -tilt, y1 + 3):
        sheet.line([(at - 5, y), (at + 5, y)], stroke="ink", width=1.5)
    sheet.text(at - 0.6 * font, 0.5 * (y1 + y2) + 8, "h", anchor="end", bold=True)
    sheet.text(x1 - 5, base - 0.7 * font, "lower mark", anchor="end")
    sheet.text(x2 - 5, base - 0.7 * font, "upper mark", anchor="end")
    return (
        "Two marks are drawn on the track. L is the distance between them along the track. h is how much higher above the table "
        "the upper mark is than the lower one."
    )


def _draw_angle(sheet: Sheet, font: float, foot: tuple[float, float], point: tuple[float, float]) -> str:
    """Draw the angle between track and table; return what one sees."""
    reach = point[0] - foot[0]
    sheet.line([foot, (foot[0] + 1.25 * reach, foot[1])], stroke="edge", dash="2 4")
    angle = math.atan2(foot[1] - point[1], reach)
    arc = [(foot[0] + reach * math.cos(angle * part / 12), foot[1] - reach * math.sin(angle * part / 12)) for part in range(13)]
    sheet.line(arc, stroke="ink", width=1.5)
    sheet.text(foot[0] + reach + 0.7 * font, foot[1] - 0.45 * reach * math.tan(angle), "θ", anchor="start", bold=True)
    return "θ is the angle between the track and the level table."


def draw_good_data(*, rate: float = 20.0, large: bool = False) -> Drawing:
    """Draw a sound launch as a ranger at the top sees it, with the five things to look for numbered. rate: samples per second."""
    frame = _frame(large)
    sheet, font = Sheet(frame), frame.font
    left, right, top, foot = 4.2 * font, _WIDTH - 8, 10.0, 10 + 13.5 * font
    x, y = Scale(0.0, _END, left, right), Scale(0.6, 1.3, foot, top)
    sheet.y_axis(y, left, right, [0.6, 0.8, 1.0, 1.2], "distance, m")
    sheet.x_axis(x, foot, [0, 1, 2, 3, 4, 5], "time, s")
    points = _launch(rate)
    sheet.dots([(x(time), y(distance)) for time, distance in points], size=3.4)
    apex = _RELEASE + _SPEED / _UP
    turn = _STOP - _SPEED**2 / (2 * _UP)
    marks = (
        (1, 0.5, _STOP + _STROKE, 0, 18), (2, _RELEASE + 0.12, _STOP - 0.09, 22, 6), (3, apex, turn, 0, 18),
        (4, apex + 0.95, turn + 0.5 * _DOWN * 0.9, -4, 24), (5, 4.6, 1.13, 4, -34),
    )  # fmt: skip
    for number, time, distance, right_by, below in marks:
        cx, cy = x(time) + right_by, y(distance) + below
        sheet.dots([(cx, cy)], size=1.55 * font, fill="paper")
        sheet.text(cx, cy, str(number), anchor="middle", bold=True)
    sentence = (
        "A good record, with the ranger at the top: the distance is steady while the cart waits (1), falls steeply at the "
        "launch (2), "
        "turns in one smooth, rounded dip (3), grows again as the cart rolls back (4), and bounces with smaller and smaller "
        "dips (5)."
    )
    return _finished(sheet, foot + 3.1 * font, "good", "A good record", sentence, caption=False)


def draw_faults(*, rate: float = 20.0, large: bool = False) -> Drawing:
    """Draw the three commonest faults of a record beside each other. rate: samples per second."""
    frame = _frame(large)
    sheet, font = Sheet(frame), frame.font
    foot, top, wide, gap = 2.0 + 8.5 * font, 2.0, 140.0, 17.0
    turn = _STOP - _SPEED**2 / (2 * _UP)
    curve = [(time, distance) for time, distance in _launch(rate) if time <= 3.6]
    late = [(time, distance) for time, distance in curve if 1.35 <= time <= 2.3]
    floor = turn + 0.12
    close = [(time, max(distance, floor)) for time, distance in curve]
    spikes = [
        (time, (0.68 if index % 3 else 1.28) if index in (18, 26, 33, 34, 47) else distance)
        for index, (time, distance) in enumerate(curve)
    ]
    for place, (letter, points) in enumerate((("A", late), ("B", close), ("C", spikes))):
        left = 2 + place * (wide + gap)
        x, y = Scale(0.0, 3.7, left + 4, left + wide - 4), Scale(0.6, 1.32, foot - 4, top + 4)
        sheet.box(left, top, left + wide, foot, stroke="ink")
        sheet.text(left + 6, foot - 0.9 * font, letter, bold=True)
        sheet.dots([(x(time), y(distance)) for time, distance in points], size=3.2)
    sentence = (
        "Three faulty records. A: only the middle of the ride is there. B: the dip has a flat bottom where the cart was too "
        "near. "
        "C: single points lie far away from the curve."
    )
    return _finished(sheet, foot + 4, "faults", "The three commonest faults", sentence, caption=False)


def draw_line_for_intervals(*, large: bool = False) -> Drawing:
    """Draw an empty scale on which a student draws the two intervals."""
    frame = _frame(large)
    sheet, font = Sheet(frame), frame.font
    left, right = 4.0 * font, _WIDTH - 2.2 * font
    for row, label in enumerate(("KE", "PE")):
        y = 1.6 * font + row * 2.4 * font
        sheet.text(2, y, label, bold=True)
        sheet.line([(left, y), (right, y)], stroke="edge", dash="2 4")
    foot = 7.0 * font
    sheet.line([(left, foot), (right, foot)], stroke="ink", width=1.5)
    for step in range(11):
        x = left + step * (right - left) / 10
        sheet.line([(x, foot), (x, foot + (8 if step % 5 == 0 else 5))], stroke="ink")
    sheet.text(right + 6, foot, "J", bold=True)
    sentence = (
        "An empty scale in joules with eleven marks. Above it a dotted line for the interval of KE and one for the interval "
        "of PE."
    )
    return _finished(sheet, foot + 2.2 * font, "scale", "An empty scale for two intervals", sentence, caption=False)


def draw_losses(losses: Sequence[Loss], *, large: bool = False) -> Drawing | None:
    """Draw each bench's loss with its interval on one scale, None when there is no bench to draw; for a sheet set across."""
    if not losses:
        return None
    frame = _frame(False)
    sheet, font = Sheet(frame), frame.font
    left, right, row = 15.5 * font, _WIDTH - 12.0, 1.9 * font
    low = 100 * min(0.0, *(item[2] for item in losses))
    high = 100 * max(0.0, *(item[3] for item in losses))
    pad = 0.06 * (high - low or 1.0)
    x = Scale(low - pad, high + pad, left, right)
    foot = 8 + row * len(losses)
    sheet.line([(x(0.0), 4), (x(0.0), foot)], stroke="ink", dash="5 3")
    room = int(left / (0.52 * font)) - 1
    for index, (title, value, start, end, doubt) in enumerate(losses):
        y = 4 + row * (index + 0.5)
        sheet.text(2, y, title if len(title) <= room else title[: room - 1].rstrip() + "…")
        sheet.line([(x(100 * start), y), (x(100 * end), y)], stroke="ink", width=2)
        for edge in (start, end):
            sheet.line([(x(100 * edge), y - 5), (x(100 * edge), y + 5)], stroke="ink", width=2)
        sheet.dots([(x(100 * value), y)], size=8)
        if doubt:
            sheet.dots([(x(100 * value), y)], size=5, fill="paper")
            after = x(100 * end) < 0.5 * (left + right)
            at = x(100 * end) + 8 if after else x(100 * start) - 8
            sheet.text(at, y, f"look first: {doubt}", anchor="start" if after else "end", bold=True)
    sheet.x_axis(x, foot, ticks(low, high, 6), "loss from release to apex, % of the energy at release")
    told = "; ".join(
        f"{title} {100 * value:.1f} % ({100 * start:.1f} to {100 * end:.1f}{f', look first: {doubt}' if doubt else ''})"
        for title, value, start, end, doubt in losses
    )
    sentence = f"The loss of each bench with its interval at 95 %; the dashed line is no loss: {told}."
    sentence = sentence.replace(" -", " −").replace("(-", "(−")
    share = 1.0 if large else 0.5
    return _finished(sheet, foot + 3.1 * font, "losses", "The loss of each bench", sentence, share=share, caption=False)


def _launch(rate: float) -> list[tuple[float, float]]:
    """Return (time, distance) of the invented launch: at rest, push, hops without drag, each slower by the restitution."""
    found = []
    for index in range(int(_END * rate) + 1):
        time = index / rate
        if time < _RELEASE - 0.06:
            found.append((time, _STOP + _STROKE))
            continue
        if time < _RELEASE:
            found.append((time, _STOP + _STROKE * ((_RELEASE - time) / 0.06) ** 1.5))
            continue
        begin, speed = _RELEASE, _SPEED
        while True:
            up, high = speed / _UP, speed**2 / (2 * _UP)
            down = (2 * high / _DOWN) ** 0.5
            if time <= begin + up + down or speed < 0.05:
                since = time - begin - up
                height = high - 0.5 * (_UP if since < 0 else _DOWN) * since**2
                found.append((time, _STOP - max(height, 0.0)))
                break
            begin, speed = begin + up + down, _RESTITUTION * _DOWN * down
    return found


def _frame(large: bool) -> Frame:
    # On a page of 174 mm, 460 units across, a letter of 12 units is set in 12.9 points, one of 16.5 units in 17.7.
    return Frame("sheet", _WIDTH, 16.5 if large else 12)


def _finished(
    sheet: Sheet, height: float, name: str, title: str, sentence: str, *, share: float = 1.0, caption: bool = True
) -> Drawing:
    return Drawing(sheet.finish(height, name=name, title=title, description=sentence), sentence, share, caption)
