"""One measure of a kit check, bench by bench: value with its uncertainty, the class's median, and where it stood at the last
check."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from joulebook.render.drawing import NARROW, WIDE, Frame, Scale, Sheet, text_width, ticks
from joulebook.render.numbers import to_place
from joulebook.render.picture import Picture
from joulebook.render.plain import clean_text

__all__ = ["draw_kit_measure"]

_COVERED = 2.0
"""The bar about a value is ± 2 standard uncertainties."""


def draw_kit_measure(check: Mapping[str, Any], name: str) -> Picture | None:
    """Draw one measure of a kit check in its JSON form; None when fewer than two benches have it."""
    measure = next(each for each in check["measures"] if each["name"] == name)
    rows = sorted(
        (bench for bench in check["benches"] if name in bench["measures"]), key=lambda bench: -bench["measures"][name]["value"]
    )
    if len(rows) < 2:
        return None
    unit = f", {measure['unit']}" if measure["unit"] else ""
    title = f"{measure['label'][:1].upper()}{measure['label'][1:]}{unit}"
    sentence = _sentence(check, measure, rows)
    drawn = {}
    for frame in (WIDE, NARROW):
        sheet, height = _draw(check, measure, rows, frame)
        drawn[frame.name] = sheet.finish(height, name=f"kit-{name}", title=title, description=sentence)
    table = tuple(
        (
            clean_text(bench["bench"]),
            bench["measures"][name]["shown"],
            bench["changes"].get(name, {}).get("before_shown", "–"),
        )
        for bench in rows
    )
    headings = ("Bench", "Now", "At the last check")
    return Picture(f"kit-{name}", title, sentence, drawn["wide"], drawn["narrow"], headings, table)


def _draw(
    check: Mapping[str, Any], measure: Mapping[str, Any], rows: list[Mapping[str, Any]], frame: Frame
) -> tuple[Sheet, float]:
    sheet, font, name, factor = Sheet(frame), frame.font, measure["name"], measure["factor"]
    titles = [_short(clean_text(bench["bench"]), frame) for bench in rows]
    left = 10 + 1.1 * max(text_width(title, font) for title in titles)  # a page's own face may run wider than ours
    low, high = _range(check, measure, rows)
    scale = Scale(low, high, left, frame.width - 10)
    pitch, head = 1.9 * font, 1.6 * font
    foot = head + pitch * len(rows)
    middle = _median(check, name)
    if middle is not None:
        sheet.line([(scale(middle * factor), head - 0.2 * font), (scale(middle * factor), foot)], stroke="muted", dash="4 3")
        anchor = "start" if scale(middle * factor) < 0.5 * frame.width else "end"
        sheet.text(
            scale(middle * factor) + (4 if anchor == "start" else -4),
            0.7 * font,
            "median of the class",
            anchor=anchor,
            fill="muted",
        )
    for index, (bench, title) in enumerate(zip(rows, titles, strict=True)):
        y = head + (index + 0.5) * pitch
        item = bench["measures"][name]
        sheet.line([(left, y), (frame.width - 10, y)], stroke="grid")
        sheet.text(left - 6, y, title, anchor="end", bold=bench["need"] == "service")
        ends = [
            min(max(scale((item["value"] + side * _COVERED * item["u"]) * factor), left), frame.width - 10) for side in (-1, 1)
        ]
        sheet.line([(ends[0], y), (ends[1], y)], stroke="ink", width=1.6)
        before = bench["changes"].get(name)
        if before is not None:
            place = scale(before["before"] * factor)
            sheet.box(place - 3.5, y - 3.5, place + 3.5, y + 3.5, fill="paper", stroke="line", width=1.4)
        sheet.dots([(scale(item["value"] * factor), y)], size=7)
    unit = f", {measure['unit']}" if measure["unit"] else ""
    sheet.x_axis(scale, foot, ticks(low, high, 5 if frame.narrow else 8), f"{measure['label']}{unit}")
    key = foot + 4.6 * font
    sheet.dots([(left + 4, key)], size=7)
    sheet.text(left + 14, key, "now, ± 2 u")
    if any(name in bench["changes"] for bench in rows):
        place = left + 30 + text_width("now, ± 2 u", font)
        sheet.box(place, key - 3.5, place + 7, key + 3.5, fill="paper", stroke="line", width=1.4)
        sheet.text(place + 14, key, "last check")
    return sheet, key + font


def _range(check: Mapping[str, Any], measure: Mapping[str, Any], rows: list[Mapping[str, Any]]) -> tuple[float, float]:
    name, factor = measure["name"], measure["factor"]
    values = []
    for bench in rows:
        item = bench["measures"][name]
        # A bench known only roughly must not squeeze the others together: its bar may run off the picture.
        reach = min(_COVERED * item["u"], abs(item["value"]) if name != "slope_gap" else math.inf)
        values += [(item["value"] - reach) * factor, (item["value"] + reach) * factor]
        if name in bench["changes"]:
            values.append(bench["changes"][name]["before"] * factor)
    middle = _median(check, name)
    values += [] if middle is None else [middle * factor]
    low, high = min(values), max(values)
    margin = 0.04 * (high - low) or 0.1 * abs(high) or 1.0
    return low - margin, high + margin


def _median(check: Mapping[str, Any], name: str) -> float | None:
    standing = check["class"].get(name)
    if standing is None:
        return None
    return math.exp(standing["median"]) if standing["logarithmic"] else float(standing["median"])


def _sentence(check: Mapping[str, Any], measure: Mapping[str, Any], rows: list[Mapping[str, Any]]) -> str:
    name = measure["name"]
    first, last = rows[0], rows[-1]
    text = (
        f"Largest at {clean_text(first['bench'])} with {first['measures'][name]['shown']}, smallest at "
        f"{clean_text(last['bench'])} with {last['measures'][name]['shown']}."
    )
    middle = _median(check, name)
    if middle is not None:
        standing = check["class"][name]
        u = 0.0 if standing["logarithmic"] else standing["u"]
        unit = f" {measure['unit']}" if measure["unit"] not in ("", "°") else measure["unit"]
        text += f" The median of the class is {to_place(middle * measure['factor'], u * measure['factor'])}{unit}."
    changed = [bench for bench in rows if name in bench["changes"]]
    if changed:
        text += " Squares show the last check."
    return text


def _short(title: str, frame: Frame) -> str:
    most = 13 if frame.narrow else 30
    return title if len(title) <= most else title[: most - 1] + "…"
