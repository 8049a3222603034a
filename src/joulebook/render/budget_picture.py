"""What the uncertainty of a quantity is made of, as bars, the largest influence first."""

from __future__ import annotations

import math
from collections.abc import Sequence

from joulebook.engine.report import Audit, BudgetLine
from joulebook.render.drawing import NARROW, WIDE, Frame, Scale, Sheet, text_width, ticks
from joulebook.render.numbers import number, percent
from joulebook.render.picture import Picture
from joulebook.render.words import input_words, quantity_words

__all__ = ["draw_budget"]


def draw_budget(audit: Audit, *, name: str, quantity: str = "relative_difference") -> Picture | None:
    """Draw what a quantity's uncertainty is made of, largest influence first; None when the audit has no such budget."""
    lines = [line for line in audit.budgets.get(quantity, ()) if math.isfinite(line.contribution)]
    lines.sort(key=lambda line: line.contribution, reverse=True)
    if not lines or lines[0].contribution <= 0:
        return None
    words = quantity_words(quantity)
    unit = f" {words.unit}" if words.unit else ""
    shown = [line for line in lines if line.share >= 5e-4] or lines[:1]
    largest = shown[0]
    sentence = (
        f"{_upper(input_words(largest.input).label)} is the largest influence on the {words.label}: {percent(largest.share)} of "
        f"the variance, {number(largest.contribution * words.factor, 2)}{unit} of standard uncertainty."
    )
    if len(shown) > 1:
        rest = [f"{input_words(line.input).label} ({percent(line.share)})" for line in shown[1:4]]
        sentence += f" Then {'come' if len(rest) > 1 else 'comes'} {_joined(rest)}."
    title = f"What the uncertainty of the {words.label} is made of"
    drawn = {}
    for frame in (WIDE, NARROW):
        sheet, height = _draw_influences(shown, words.factor, unit.strip(), frame)
        drawn[frame.name] = sheet.finish(height, name=name, title=title, description=sentence)
    return Picture(
        name=name,
        title=title,
        sentence=sentence,
        svg=drawn["wide"],
        narrow=drawn["narrow"],
        table_headings=("Influence", "Sensitivity", f"Contribution,{unit or ' 1'}", "Share of the variance"),
        table_rows=tuple(
            (
                input_words(line.input).label,
                number(line.sensitivity * words.factor, 3) if line.sensitivity else "–",
                number(line.contribution * words.factor, 2),
                percent(line.share) if line.share >= 5e-4 else "below 0.05 %",
            )
            for line in lines
        ),
        listed=_not_drawn([input_words(line.input).label for line in lines if line not in shown]),
    )


def _not_drawn(names: Sequence[str]) -> tuple[str, ...]:
    if not names:
        return ()
    return (f"Not drawn, {'each ' if len(names) > 1 else ''}below 0.05 % of the variance: {_joined(names)}.",)


def _draw_influences(lines: Sequence[BudgetLine], factor: float, unit: str, frame: Frame) -> tuple[Sheet, float]:
    sheet, font = Sheet(frame), frame.font
    names = [_upper(input_words(line.input).label) for line in lines]
    notes = [
        f"{number(line.contribution * factor, 2)} {unit}".rstrip()
        + f" ({percent(line.share)}{'' if frame.narrow else ' of the variance'})"
        for line in lines
    ]
    # On a desk the names stand left of the bars, on a phone above them.
    left = 9.0 if frame.narrow else 8 + max(text_width(name, font) for name in names)
    row, middle = (2.9 * font, 0.72) if frame.narrow else (2.1 * font, 0.5)
    foot = row * len(lines)
    most = max(line.contribution for line in lines) * factor
    # Room right of the longest bar for its note.
    room = frame.width - 8 - left
    x = Scale(0, most / (1 - (text_width(notes[0], font) + 8) / room), left, frame.width - 8)
    sheet.x_axis(
        x,
        foot,
        ticks(0, x.high, 4 if frame.narrow else 7),
        f"standard uncertainty from each influence{', ' + unit if unit else ''}",
    )
    for index, (line, name, note) in enumerate(zip(lines, names, notes, strict=True)):
        y = (index + middle) * row
        end = x(line.contribution * factor)
        sheet.box(left, y - 0.52 * font, end, y + 0.52 * font, fill="kinetic", stroke="ink")
        sheet.text(end + 6, y, note)
        if frame.narrow:
            sheet.text(left, (index + 0.22) * row, name)
        else:
            sheet.text(left - 6, y, name, anchor="end")
    return sheet, foot + 3.2 * font


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _joined(items: Sequence[str]) -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"
