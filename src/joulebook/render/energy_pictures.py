"""The joules at release, at the apex and after each bounce, as bars."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from joulebook.engine.report import Audit, LaunchAudit
from joulebook.render.drawing import NARROW, WIDE, Frame, Scale, Sheet, text_width
from joulebook.render.numbers import interval_text, percent, value_with_u
from joulebook.render.picture import Picture
from joulebook.uncertainty import Quantity

__all__ = ["STORES", "Stack", "draw_joules", "energy_stacks"]

STORES = {
    "kinetic": "kinetic",
    "rotational": "turning wheels",
    "potential": "potential",
    "rolling": "lost to rolling",
    "drag": "lost to drag",
    "stop": "lost at the stop, and unaccounted for",
    "unaccounted": "unaccounted for",
}
_BOUNCES = 3
_BAR = 20  # height of a bar, CSS pixels
_SMALL = 1e-4  # a part smaller than this share of the energy is named but not drawn


@dataclass(frozen=True, slots=True)
class Stack:
    """The energy at one instant, split by where it is.

    moment: "at release". parts: (store, joules) in drawing order. measured: the part whose interval is drawn, in words;
    value, low, high: its joules and coverage interval.
    """

    moment: str
    parts: tuple[tuple[str, float], ...]
    measured: str
    value: float
    low: float
    high: float


def energy_stacks(audit: Audit) -> tuple[Stack, ...]:
    """Return where the joules are at release, at the apex and just after each bounce; empty when there is no ledger.

    After a bounce the kinetic energy is that at release times the ratio of the travel that follows to the first travel (free
    motion from the same level, DESIGN §4), averaged over the launches that show the bounce. Rolling and drag losses grow with
    the way.
    """
    single = {name: item for name, item in audit.quantities.items() if isinstance(item, Quantity)}
    needed = ("kinetic_energy", "rotational_energy", "potential_energy", "rolling_loss", "drag_loss", "unaccounted")
    if any(name not in single or not math.isfinite(single[name].value) for name in needed):
        return ()
    kinetic, rotational, potential, rolling, drag, unaccounted = (single[name] for name in needed)
    energy = kinetic.value + rotational.value
    half = math.hypot(kinetic.expanded, rotational.expanded)
    stacks = [
        Stack(
            "at release",
            (("kinetic", kinetic.value), ("rotational", rotational.value)),
            "energy at release",
            energy,
            energy - half,
            energy + half,
        ),
        Stack(
            "at the apex",
            (
                ("potential", potential.value),
                ("rolling", rolling.value),
                ("drag", drag.value),
                ("unaccounted", unaccounted.value),
            ),
            "potential energy",
            potential.value,
            potential.low,
            potential.high,
        ),
    ]
    way = 1.0
    for bounce, (ratio, spread) in enumerate(_travel_ratios(audit.launches)[:_BOUNCES], start=1):
        rolled, dragged = 2 * way * rolling.value, 2 * way * drag.value
        left = energy * ratio
        # The interval of the release energy, and of the ratio, taken as independent (GUM 5.1.2).
        half_here = left * math.hypot(half / energy, 1.96 * spread / ratio) if ratio > 0 else 0.0
        stacks.append(
            Stack(
                f"after bounce {bounce}",
                (
                    ("kinetic", kinetic.value * ratio),
                    ("rotational", rotational.value * ratio),
                    ("rolling", rolled),
                    ("drag", dragged),
                    ("stop", energy - left - rolled - dragged),
                ),
                "energy after the bounce",
                left,
                left - half_here,
                left + half_here,
            )
        )
        way += ratio
    return tuple(stacks)


def draw_joules(audit: Audit, *, name: str) -> Picture | None:
    """Draw the joules as one bar per instant; None when there is no ledger."""
    stacks = energy_stacks(audit)
    if not stacks:
        return None
    energy = stacks[0].value
    single = {key: item for key, item in audit.quantities.items() if isinstance(item, Quantity)}
    text = {key: value_with_u(key, single[key]) for key in ("potential_energy", "rolling_loss", "drag_loss", "unaccounted")}
    sentence = (
        f"At release the cart held {_joules(energy, energy)} J. At the apex its potential energy was {text['potential_energy']}; "
        f"{text['rolling_loss']} had gone to rolling resistance and {text['drag_loss']} to air drag, and "
        f"{text['unaccounted']} is unaccounted for (interval {interval_text('unaccounted', single['unaccounted'])})."
    )
    if len(stacks) > 2:
        left = stacks[2].value
        sentence += (
            f" After the first bounce {_joules(left, energy)} J was left, {percent(left / energy)} of the energy at release."
        )
    title = "Where the joules are"
    drawn = {}
    for frame in (WIDE, NARROW):
        sheet, height = _draw_stacks(stacks, frame)
        drawn[frame.name] = sheet.finish(height, name=name, title=title, description=sentence)
    rows = []
    for stack in stacks:
        total = sum(value for _, value in stack.parts)
        for store, value in stack.parts:
            rows.append((stack.moment, STORES[store], _joules(value, energy), percent(value / total) if total else "–", ""))
        interval = f"{_joules(stack.low, energy)} to {_joules(stack.high, energy)}"
        rows.append((stack.moment, f"{stack.measured}, with its interval", _joules(stack.value, energy), "", interval))
    return Picture(
        name=name,
        title=title,
        sentence=sentence,
        svg=drawn["wide"],
        narrow=drawn["narrow"],
        table_headings=("Moment", "Where the energy is", "Energy, J", "Share", "Interval (95 %), J"),
        table_rows=tuple(rows),
    )


def _travel_ratios(launches: Sequence[LaunchAudit]) -> list[tuple[float, float]]:
    """Return, for each bounce, the next travel over the first and its standard uncertainty, as the mean of the launches."""
    runs = [ratios for launch in launches if (ratios := _hop_ratios(launch))]
    result = []
    for bounce in range(max((len(ratios) for ratios in runs), default=0)):
        values = [ratios[bounce] for ratios in runs if len(ratios) > bounce]
        mean = float(np.mean([value for value, _ in values]))
        within = math.sqrt(sum(u**2 for _, u in values)) / len(values)
        between = float(np.std([value for value, _ in values], ddof=1)) / math.sqrt(len(values)) if len(values) > 1 else 0.0
        result.append((mean, max(within, between)))
    return result


def _hop_ratios(launch: LaunchAudit) -> list[tuple[float, float]]:
    """Return travel over first travel for every later hop whose apex the fitted motion shows, with its standard uncertainty."""
    series = launch.series
    if series is None:
        return []
    tops: list[float] = []
    climbs = [phase for phase in launch.phases if phase.kind == "climb"]
    if not climbs:  # a launch without a flight, such as one whose times were set wrongly by hand
        return []
    for climb, later in zip(climbs, [*climbs[1:], None], strict=True):
        end = later.start_s if later else math.inf
        here = np.isfinite(series.fitted) & (series.time >= climb.start_s) & (series.time < end)
        if np.count_nonzero(here) < 5:
            break
        tops.append(_top(series.time[here], series.fitted[here]))
    if len(tops) < 2 or tops[0] <= series.release_level:
        return []
    residual = series.residual[series.used & np.isfinite(series.residual)]
    noise = float(np.sqrt(np.mean(residual**2))) if residual.size else 0.0
    first = tops[0] - series.release_level
    ratios = []
    for top in tops[1:]:
        travel = top - series.release_level
        if travel <= 0:
            break
        ratios.append((travel / first, noise * math.hypot(1, travel / first) / first))
    return ratios


def _top(time: Any, position: Any) -> float:
    """Return the vertex of the parabola through the highest three points, the motion's own form near its apex."""
    i = int(np.clip(np.argmax(position), 1, position.size - 2))
    a, b, c = np.polyfit(time[i - 1 : i + 2] - time[i], position[i - 1 : i + 2], 2)
    return float(c - b * b / (4 * a)) if a < 0 else float(position.max())


def _draw_stacks(stacks: Sequence[Stack], frame: Frame) -> tuple[Sheet, float]:
    sheet, font = Sheet(frame), frame.font
    left, width = 3.0, frame.width - 10
    widest = max(max(sum(max(value, 0) for _, value in stack.parts), stack.high) for stack in stacks)
    x = Scale(0, widest, left, left + width)
    y = 0.0
    for stack in stacks:
        sheet.text(left, y + 0.7 * font, _upper(stack.moment), bold=True)
        y += 1.45 * font
        _draw_interval(sheet, x(max(stack.low, 0)), x(stack.value), x(stack.high), y + 5)
        y += 13
        _draw_bar(sheet, stack, x, y)
        y = _write_key(sheet, stack, stacks[0].value, left, width, y + _BAR + 4) + 0.8 * font
    _draw_interval(sheet, left, left + 16, left + 32, y)
    label = "95 % interval of what was measured" if sheet.frame.narrow else "interval (95 %) of the energy that was measured"
    sheet.text(left + 40, y, label)
    return sheet, y + font


def _draw_interval(sheet: Sheet, low: float, middle: float, high: float, y: float) -> None:
    sheet.line([(low, y), (high, y)], stroke="ink", width=1.6)
    for end in (low, high):
        sheet.line([(end, y - 4), (end, y + 4)], stroke="ink", width=1.6)
    sheet.dots([(middle, y)], size=5.5)


def _draw_bar(sheet: Sheet, stack: Stack, x: Scale, y: float) -> None:
    """Draw the parts end to end; a negative part goes back over the others, dashed."""
    total = sum(value for _, value in stack.parts)
    at = 0.0
    for store, value in stack.parts:
        if value > _SMALL * total:
            sheet.box(x(at), y, x(at + value), y + _BAR, hatch=store, stroke="ink")
        elif value < -_SMALL * total:
            sheet.box(x(at), y - 2, x(at + value), y + _BAR + 2, stroke="ink", width=1.4, dash="3 2")
        at += value


def _write_key(sheet: Sheet, stack: Stack, energy: float, left: float, width: float, y: float) -> float:
    """Name the parts below their bar, in its order, in cells; a long name takes two. Return where the key ends."""
    font, columns = sheet.frame.font, 2 if sheet.frame.narrow else 3
    line, column = 1.45 * font, width / columns
    cell = 0
    for store, value in stack.parts:
        text = f"{STORES[store]} {_joules(value, energy)} J"
        cells = min(columns, math.ceil((0.9 * text_width(text, font) + 16) / column))
        if cell % columns + cells > columns:
            cell += columns - cell % columns
        place, height = left + (cell % columns) * column, y + (cell // columns + 0.5) * line
        if value < 0:
            sheet.box(place, height - 6, place + 12, height + 6, stroke="ink", width=1.4, dash="3 2")
        else:
            sheet.box(place, height - 6, place + 12, height + 6, hatch=store, stroke="ink")
        sheet.text(place + 17, height, text)
        cell += cells
    return y + math.ceil(cell / columns) * line


def _joules(value: float, energy: float) -> str:
    """Return joules to the place of the fourth digit of the energy at release, so that the parts of a bar add up in print."""
    places = min(max(3 - math.floor(math.log10(energy)), 0), 9) if energy > 0 else 4
    return f"{round(value, places) + 0.0:.{places}f}".replace("-", "−")


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
