"""The pictures of a class: points with intervals in both directions against a line of reference, and a quantity bench by bench.

They are drawn from the JSON form `joulebook/class-1`, so that a stored class picture can be shown again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from joulebook.render.drawing import NARROW, WIDE, Frame, Scale, Sheet, text_width, ticks
from joulebook.render.numbers import number
from joulebook.render.picture import Picture
from joulebook.render.plain import clean_text

__all__ = ["BOARD", "draw_energies", "draw_losses", "draw_pooled", "draw_slopes"]

BOARD = Frame("wide", 900, 23)
"""The frame of a projector: a slide's width, letters that the last row reads."""

_FAR = 6.0  # a point this many times farther out than the median is told, not drawn
_Told = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class _Point:
    """One bench in a picture: its letters, value and interval in both directions, as drawn, and what to look at first there."""

    code: str
    title: str
    x: tuple[float, float, float]
    y: tuple[float, float, float]
    look: str = ""


@dataclass(frozen=True, slots=True)
class _Plan:
    """What a scatter picture is: names of axes, lines (intercept, slope, label, dash) and whether both axes go alike from zero."""

    name: str
    title: str
    x_title: str
    y_title: str
    lines: tuple[tuple[float, float, str, str], ...]
    alike: bool


def draw_energies(told: _Told, *, frame: Frame = WIDE) -> Picture | None:
    """Draw potential energy gained against the energy at release, with the line of equality; None without a bench."""
    points = _points(told["benches"], "energy", "potential", 1.0)
    plan = _Plan(
        "energies", "Energy at release and energy at the top", "kinetic energy at release, turning wheels included, J",
        "potential energy gained, J", ((0.0, 1.0, "equal", ""),), True,
    )  # fmt: skip
    return _scatter(points, plan, told["sentences"]["energies"], frame)


def draw_losses(told: _Told, *, frame: Frame = WIDE) -> Picture | None:
    """Draw the loss against μ/tanθ, with the line on which rolling is the whole loss and the benches' own; None without a bench."""
    points = _points(told["benches"], "grip", "loss", 100.0)
    lines: list[tuple[float, float, str, str]] = [(0.0, 1.0, "rolling alone", "")]
    own = told["line"]
    # A line that says nothing is not drawn: its picture would.
    if own is not None and (own["low"] > 0.0 or own["high"] < 2.0):
        lines.append((100.0 * own["line"]["intercept"], own["line"]["slope"], "the benches’ own line", "6 4"))
    plan = _Plan(
        "losses", "Energy lost, and what rolling resistance predicts", "μ/tanθ, the loss that rolling predicts, %",
        "loss per joule gained, %", tuple(lines), False,
    )  # fmt: skip
    return _scatter(points, plan, told["sentences"]["losses"], frame)


def draw_slopes(told: _Told, *, frame: Frame = WIDE) -> Picture | None:
    """Draw the slope from the motion against the stated one, with the line of equality; None without a bench."""
    points = _points(told["benches"], "stated_slope", "motion_slope", 1.0)
    plan = _Plan(
        "slopes", "Stated slope and slope from the motion", "stated slope, °", "slope from the motion, °",
        ((0.0, 1.0, "equal", ""),), False,
    )  # fmt: skip
    return _scatter(points, plan, told["sentences"]["slopes"], frame)


def draw_pooled(told: _Told, name: str, *, frame: Frame = WIDE) -> Picture | None:
    """Draw one pooled quantity bench by bench, and below them the class by each way to pool; None when there is none."""
    value = next((each for each in told["pooled"] if each["name"] == name), None)
    if value is None:
        return None
    factor = value["factor"]
    rows = [
        (bench["code"], clean_text(bench["bench"]), tuple(factor * bench[name][key] for key in ("value", "low", "high")), False)
        for bench in told["benches"]
        if bench[name] is not None
    ]
    robust = value["robust"]
    together = (
        ("all alike", tuple(factor * value["fixed"][key] for key in ("mean", "low", "high"))),
        ("each its own", (factor * value["paule_mandel"]["mean"], factor * value["low"], factor * value["high"])),
        ("robust", tuple(factor * (robust["mean"] + side * 2.0 * robust["u"]) for side in (0, -1, 1))),
    )
    rows += [(label, label, three, True) for label, three in together]
    unit = f", {value['unit']}" if value["unit"] else ""
    title = f"{value['label'][:1].upper()}{value['label'][1:]}{unit}"
    drawn = {each.name: _rows(rows, each, f"pooled-{name}", title, value["sentence"], value["alike"]) for each in (frame, NARROW)}
    places = _places([three[2] - three[1] for _, _, three, _ in rows])
    table = tuple((label, *(_number(each, places) for each in three)) for _, label, three, _ in rows)
    headings = ("Bench, or the class", f"Value{unit}", "95 % from", "to")
    return Picture(f"pooled-{name}", title, value["sentence"], drawn["wide"], drawn["narrow"], headings, table)


def _points(benches: Sequence[_Told], x: str, y: str, factor: float) -> list[_Point]:
    def three(result: _Told) -> tuple[float, float, float]:
        return factor * result["value"], factor * result["low"], factor * result["high"]

    return [
        _Point(each["code"], clean_text(each["bench"]), three(each[x]), three(each[y]), clean_text(each.get("look", "")))
        for each in benches
        if each[x] is not None and each[y] is not None
    ]


def _scatter(points: list[_Point], plan: _Plan, sentence: str, frame: Frame) -> Picture | None:
    if not points:
        return None
    usual = median(abs(each.x[0]) for each in points)
    inside = [each for each in points if abs(each.x[0]) <= _FAR * usual] if plan.alike else points
    listed = tuple(
        f"{each.title} lies off the picture: {number(each.x[0], 4)} J at release and {number(each.y[0], 4)} J gained."
        + (f" Look first: {each.look}" if each.look else "")
        for each in points
        if each not in inside
    )
    drawn = {each.name: _draw(inside, plan, each, sentence) for each in (frame, NARROW)}
    x_places, y_places = (_places([three[2] - three[1] for three in column]) for column in zip(*((p.x, p.y) for p in points), strict=True))
    table = tuple(
        (each.title, *(_number(v, x_places) for v in each.x), *(_number(v, y_places) for v in each.y)) for each in points
    )
    headings = ("Bench", _upper(plan.x_title), "95 % from", "to", _upper(plan.y_title), "95 % from", "to")
    return Picture(plan.name, plan.title, sentence, drawn["wide"], drawn["narrow"], headings, table, listed)


def _draw(points: list[_Point], plan: _Plan, frame: Frame, sentence: str) -> str:
    sheet, font = Sheet(frame), frame.font
    x_low, x_high = _range([end for each in points for end in each.x[1:]])
    y_low, y_high = _range([end for each in points for end in each.y[1:]])
    if plan.alike:
        x_low = y_low = min(x_low, y_low)
        x_high = y_high = max(x_high, y_high)
    left, right, top = 5.0 * font, frame.width - 8, 0.8 * font
    foot = top + (right - left) * (0.78 if frame.narrow else 0.5)
    x, y = Scale(x_low, x_high, left, right), Scale(y_low, y_high, foot, top)
    few = 5 if frame.narrow or font > 20 else 7
    sheet.y_axis(y, left, right, ticks(y_low, y_high, few), plan.y_title)
    sheet.x_axis(x, foot, ticks(x_low, x_high, few), plan.x_title)
    thick = font / 12
    if plan.alike:
        sheet.text(left + font, top + 0.8 * font, "gained (cannot be)", fill="muted")
        sheet.text(right - font, foot - 0.9 * font, "lost", anchor="end", fill="muted")
    taken: list[tuple[float, float, float, float]] = []
    for intercept, slope, _, dash in plan.lines:
        ends = _clipped(intercept, slope, (x_low, x_high), (y_low, y_high))
        if ends is None:
            continue
        drawn = [(x(a), y(b)) for a, b in ends]
        sheet.line(drawn, stroke="muted" if dash else "ink", width=1.4 * thick, dash=dash)
        (a, b), (c, d) = drawn
        steps = [(a + k / 60 * (c - a), b + k / 60 * (d - b)) for k in range(61)]
        taken += [(u - 0.2 * font, v - 0.2 * font, u + 0.2 * font, v + 0.2 * font) for u, v in steps]
    for each in points:
        a, b = x(each.x[0]), y(each.y[0])
        sheet.line([(x(each.x[1]), b), (x(each.x[2]), b)], stroke="line", width=1.2 * thick)
        sheet.line([(a, y(each.y[1])), (a, y(each.y[2]))], stroke="line", width=1.2 * thick)
        half = 0.35 * font
        taken += [
            (a - half, b - half, a + half, b + half),
            (a - 1, y(each.y[2]), a + 1, y(each.y[1])),
            (x(each.x[1]), b - 1, x(each.x[2]), b + 1),
        ]
    sheet.dots([(x(each.x[0]), y(each.y[0])) for each in points], size=0.6 * font)
    for each in points:
        spot = _free(x(each.x[0]), y(each.y[0]), text_width(each.code, font), font, taken, (left, top, right, foot))
        taken.append(spot)
        sheet.text(0.5 * (spot[0] + spot[2]), 0.5 * (spot[1] + spot[3]), each.code, anchor="middle", bold=True)
    key = foot + 4.2 * font
    place = left
    for _, _, label, dash in plan.lines:
        sheet.line([(place, key), (place + 2.2 * font, key)], stroke="muted" if dash else "ink", width=1.4 * thick, dash=dash)
        sheet.text(place + 2.6 * font, key, label)
        place += 4.2 * font + text_width(label, font)
        if frame.narrow:
            place, key = left, key + 1.5 * font
    word = "one bench, 95 % intervals"
    if place + 2.6 * font + text_width(word, font) > right:
        place, key = left, key + 1.5 * font
    sheet.dots([(place + 0.8 * font, key)], size=0.6 * font)
    sheet.line([(place, key), (place + 1.6 * font, key)], stroke="line", width=1.2 * thick)
    sheet.text(place + 2.3 * font, key, word)
    return sheet.finish(key + font, name=plan.name, title=plan.title, description=sentence)


def _rows(
    rows: Sequence[tuple[str, str, tuple[float, ...], bool]], frame: Frame, name: str, title: str, sentence: str, zero: bool
) -> str:
    sheet, font = Sheet(frame), frame.font
    # Bold letters are wider.
    left = 10 + max((1.15 if of_class else 1.0) * text_width(code, font) for code, _, _, of_class in rows)
    # What one bench knows only roughly must not squeeze the others together: its bar may run off the picture.
    widths = sorted(three[2] - three[1] for _, _, three, _ in rows)
    most = 3.0 * widths[len(widths) // 2]
    ends = [end for _, _, (v, a, b), _ in rows for end in (max(a, v - most), min(b, v + most))] + ([0.0] if zero else [])
    low, high = _range(ends)
    scale = Scale(low, high, left, frame.width - 12)
    pitch, y = 1.75 * font, 0.4 * font
    foot = y + pitch * (len(rows) + 0.5)
    class_row = next(three for _, label, three, of_class in rows if of_class and label == "each its own")
    sheet.box(scale(max(class_row[1], low)), y, scale(min(class_row[2], high)), y + pitch * (len(rows) - 3), fill="band")
    if zero:
        sheet.line([(scale(0.0), y), (scale(0.0), foot)], stroke="ink", dash="2 3")
    for index, (code, _, three, of_class) in enumerate(rows):
        at = y + (index + (1.0 if of_class else 0.5)) * pitch
        if of_class and not rows[index - 1][3]:
            sheet.line([(4, at - 0.75 * pitch), (frame.width - 12, at - 0.75 * pitch)], stroke="edge")
        sheet.text(left - 6, at, code, anchor="end", bold=of_class)
        bar = [min(max(scale(end), left), frame.width - 12) for end in three[1:]]
        sheet.line([(bar[0], at), (bar[1], at)], stroke="ink" if of_class else "line", width=font / (5 if of_class else 8))
        if of_class:
            sheet.mark("slip", scale(three[0]), at, size=0.42 * font, stroke="ink")
        else:
            sheet.dots([(scale(three[0]), at)], size=0.6 * font)
    sheet.x_axis(scale, foot, ticks(low, high, 5 if frame.narrow or font > 20 else 8), title)
    return sheet.finish(foot + 3.2 * font, name=name, title=title, description=sentence)


def _free(
    a: float, b: float, width: float, font: float, taken: Sequence[tuple[float, float, float, float]],
    room: tuple[float, float, float, float],
) -> tuple[float, float, float, float]:  # fmt: skip
    """Return the box beside a point that covers least of what is there already."""
    best: tuple[float, tuple[float, float, float, float]] | None = None
    # What none of the places tried can reach costs nothing at any of them.
    across, along = width + 0.81 * font, 2.9 * font
    near = [other for other in taken if _overlap((a - across, b - along, a + across, b + along), other) > 0.0]
    for distance in (0.75, 1.2, 1.8):
        for right, down in ((1, -1), (-1, -1), (1, 1), (-1, 1), (1, -2), (-1, -2), (1, 2), (-1, 2)):
            cx, cy = a + right * (0.5 * width + 0.45 * distance * font), b + 0.5 * down * distance * font * 1.3
            box = (cx - 0.5 * width, cy - 0.55 * font, cx + 0.5 * width, cy + 0.55 * font)
            cost = 0.15 * distance * font + sum(_overlap(box, other) for other in near)
            if box[0] < room[0] or box[1] < room[1] or box[2] > room[2] or box[3] > room[3]:
                cost += font * font
            if best is None or cost < best[0]:
                best = cost, box
    assert best is not None
    return best[1]


def _overlap(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> float:
    return max(0.0, min(a[2], b[2]) - max(a[0], b[0])) * max(0.0, min(a[3], b[3]) - max(a[1], b[1]))


def _clipped(
    intercept: float, slope: float, xs: tuple[float, float], ys: tuple[float, float]
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Return the ends of a line inside the picture, None when it does not cross it."""
    low, high = xs
    if slope != 0.0:
        crossings = sorted((bound - intercept) / slope for bound in ys)
        low, high = max(low, crossings[0]), min(high, crossings[1])
    elif not ys[0] <= intercept <= ys[1]:
        return None
    return ((low, intercept + slope * low), (high, intercept + slope * high)) if low < high else None


def _range(values: Sequence[float]) -> tuple[float, float]:
    low, high = min(values), max(values)
    margin = 0.05 * (high - low) or 0.1 * abs(high) or 1.0
    return low - margin, high + margin


def _places(widths: Sequence[float]) -> int:
    """Return the decimals at which the narrowest interval still shows two digits."""
    return next((k for k in range(6) if min(widths) * 10**k >= 20), 6)


def _number(value: float, places: int) -> str:
    return f"{round(value, places) + 0.0:.{places}f}".replace("-", "−")


def _upper(text: str) -> str:
    return text if text.startswith("μ") else text[:1].upper() + text[1:]
