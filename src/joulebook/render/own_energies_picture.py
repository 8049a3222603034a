"""Two energies that a group worked out itself, each with its interval, on one line of joules."""

from __future__ import annotations

from joulebook.render.drawing import NARROW, Frame, Scale, Sheet, ticks
from joulebook.render.numbers import number
from joulebook.render.picture import Picture
from joulebook.uncertainty import Quantity

__all__ = ["draw_own_energies"]

# Half a desk's width: it stands in a column beside the trace.
_WIDE = Frame("wide", 480, 13)


def draw_own_energies(kinetic: Quantity, potential: Quantity, *, name: str) -> Picture:
    """Draw the energy of motion at release and the energy of height at the top with their intervals.

    kinetic, potential: in J, as the group wrote them; low and high are the ends of the intervals.
    """
    rows = (("Energy of motion at release, KE", "KE", kinetic), ("Energy of height at the top, PE", "PE", potential))
    low, high = max(kinetic.low, potential.low), min(kinetic.high, potential.high)
    if low <= high:
        shared = f"The two intervals share the stretch from {number(low, 3)} J to {number(high, 3)} J."
    else:
        shared = f"The two intervals share nothing: {number(low - high, 2)} J lie between them."
    sentence = (
        " ".join(
            f"{label}: {number(each.value, 3)} J, from {number(each.low, 3)} J to {number(each.high, 3)} J."
            for label, _, each in rows
        )
        + f" {shared}"
    )
    title = "Our two energies on one line"
    drawn = {}
    for frame in (_WIDE, NARROW):
        sheet, height = _draw(rows, (low, high), frame)
        drawn[frame.name] = sheet.finish(height, name=name, title=title, description=sentence)
    table = tuple((label, *(number(value, 3) for value in (each.value, each.low, each.high))) for label, _, each in rows)
    return Picture(name, title, sentence, drawn["wide"], drawn["narrow"], ("Energy", "Value, J", "From, J", "To, J"), table)


def _draw(
    rows: tuple[tuple[str, str, Quantity], ...], shared: tuple[float, float], frame: Frame
) -> tuple[Sheet, float]:
    sheet, font = Sheet(frame), frame.font
    ends = [end for _, _, each in rows for end in (each.low, each.high)]
    span = max(ends) - min(ends) or abs(ends[0]) or 1.0
    scale = Scale(min(ends) - 0.08 * span, max(ends) + 0.08 * span, 3.0 * font, frame.width - font)
    top, step = 1.2 * font, 2.4 * font
    foot = top + step * len(rows)
    if shared[0] <= shared[1]:
        sheet.box(scale(shared[0]), 0.2 * font, scale(shared[1]), foot, fill="band")
        sheet.line([(scale(shared[0]), 0.2 * font), (scale(shared[0]), foot)], stroke="edge", dash="3 3")
        sheet.line([(scale(shared[1]), 0.2 * font), (scale(shared[1]), foot)], stroke="edge", dash="3 3")
    marks = ticks(scale.low, scale.high, 5 if frame.narrow else 9)
    for mark in marks:
        sheet.line([(scale(mark), 0.2 * font), (scale(mark), foot)], stroke="grid")
    for index, (_, short, each) in enumerate(rows):
        y = top + step * (index + 0.35)
        sheet.text(0.2 * font, y, short, bold=True)
        sheet.line([(scale(each.low), y), (scale(each.high), y)], stroke="ink", width=2.5)
        for end in (each.low, each.high):
            sheet.line([(scale(end), y - 0.5 * font), (scale(end), y + 0.5 * font)], stroke="ink", width=2.5)
        if index == 0:
            sheet.dots([(scale(each.value), y)], size=11, fill="kinetic")
        else:
            sheet.mark("stuck", scale(each.value), y, size=6, fill="potential", stroke="ink")
    sheet.x_axis(scale, foot, marks, "energy, J")
    return sheet, foot + 3.2 * font
