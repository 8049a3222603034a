"""The pictures of a plan: where a launch can be made, the record to expect, and the path of an improving bench."""

from __future__ import annotations

from collections.abc import Callable

from joulebook.experiments.ramp_plan import Plan
from joulebook.render.drawing import NARROW, WIDE, Frame, Scale, Sheet, text_width, ticks
from joulebook.render.picture import Picture

__all__ = ["draw_path", "draw_region", "draw_trace"]

_FILLS = {"good": "", "undecided": "drag", "off-track": "stop", "few-samples": "rolling", "too-flat": "rotational"}
_WORDS = {
    "good": "% of such benches that see the loss",
    "undecided": "most could only answer “cannot tell”",
    "off-track": "into the blind zone, or off the track",
    "few-samples": "too few samples to fit",
    "too-flat": "so flat that friction may hold it",
}


def draw_region(plan: Plan, *, name: str = "region") -> Picture:
    """Draw slope against launch: what can be used, what cannot and why, and the recommended point."""
    region = plan.region
    counts = {state: sum(row.count(state) for row in region.states) for state in _FILLS}
    total = sum(counts.values())
    angle, launch = region.chosen
    kinds = [
        (counts["off-track"], _of_track(plan)), (counts["few-samples"], "leave too few samples"),
        (counts["too-flat"], "are so flat that friction may hold the cart"),
        (counts["undecided"], "would mostly end in “cannot tell”"),
    ]  # fmt: skip
    bad = [f"{count} {what}" for count, what in kinds if count]
    chance = region.seen[region.angles.index(angle)][region.launches.index(launch)]
    sentence = (
        f"Of {total} combinations of slope and launch, with the other choices as recommended, {counts['good']} can be used"
        f"{''.join('; ' + each for each in bad)}. The recommended point, {angle:g}° and "
        f"{_launch(region.by_stroke, launch)}, has the "
        f"thick frame: {100 * chance:.0f} % of such benches will see the loss."
    )
    title = "Where a launch can be made"
    return _picture(
        plan, name, title, sentence, _region_sheet,
        ("Slope", *(_launch(region.by_stroke, each) for each in region.launches)),
        tuple(
            (f"{slope:g}°", *(_cell(state, chance) for state, chance in zip(states, chances, strict=True)))
            for slope, states, chances in zip(region.angles, region.states, region.seen, strict=True)
        ),
    )  # fmt: skip


def draw_trace(plan: Plan, *, name: str = "expected-trace") -> Picture:
    """Draw the record to expect, with the band that holds 95 % of such benches."""
    trace = plan.trace
    top = plan.kit.placed == "top"
    turn = min(range(len(trace.time)), key=lambda i: abs(trace.time[i] - trace.apex))
    widest = max(trace.band[: turn + 1])
    sentence = (
        f"The ranger should show the cart standing at {100 * trace.distance[0]:.0f} cm, then "
        f"{'shrinking' if top else 'growing'} distances to "
        f"{100 * trace.distance[turn]:.0f} cm at the highest point, {trace.apex:.2f} s after the release, and "
        f"{plan.kit.flights - 1} "
        f"{'rebound' if plan.kit.flights == 2 else 'rebounds'}. Up to the highest point 95 % of such benches lie within "
        f"{100 * widest:.1f} cm of the line; later the band grows, because each rebound adds to what went before."
    )
    return _picture(
        plan, name, "The record to expect", sentence, _trace_sheet,
        ("Time from the release, s", "Distance, m", "95 % of benches within ±, m"),
        tuple(
            (f"{time:.2f}".replace("-", "−"), f"{distance:.3f}", f"{band:.3f}")
            for time, distance, band in _thinned(tuple(zip(trace.time, trace.distance, trace.band, strict=True)))
        ),
    )  # fmt: skip


def draw_path(plan: Plan, *, name: str = "path") -> Picture:
    """Draw the path of an improving bench: the loss over its standard uncertainty, step by step."""
    first, last = plan.path[0], plan.path[-1]
    sentence = (
        f"Step by step, the loss grows from {first.ratio:.1f} to {last.ratio:.1f} times its standard uncertainty: "
        f"“{first.reading}” turns into “{last.reading}”. Below 1 the two energies cannot be told apart; from 3 on the "
        f"friction is resolved."
    )
    return _picture(
        plan, name, "The path of an improving bench", sentence, _path_sheet,
        ("Step", "u of the relative difference, %", "loss over u", "What it lets one say"),
        tuple((step.what, f"{100 * step.u:.1f}", f"{step.ratio:.1f}", step.reading) for step in plan.path),
    )  # fmt: skip


def _picture(
    plan: Plan, name: str, title: str, sentence: str, draw: Callable[[Plan, Frame], tuple[Sheet, float]],
    headings: tuple[str, ...], rows: tuple[tuple[str, ...], ...],
) -> Picture:  # fmt: skip
    drawn = {}
    for frame in (WIDE, NARROW):
        sheet, height = draw(plan, frame)
        drawn[frame.name] = sheet.finish(height, name=name, title=title, description=sentence)
    return Picture(name, title, sentence, drawn["wide"], drawn["narrow"], headings, rows)


def _region_sheet(plan: Plan, frame: Frame) -> tuple[Sheet, float]:
    region, sheet, font = plan.region, Sheet(frame), frame.font
    left, right = 4.6 * font, frame.width - 4
    wide, tall = (right - left) / len(region.angles), 2.0 * font
    foot = 4 + tall * len(region.launches)
    chosen = (region.angles.index(region.chosen[0]), region.launches.index(region.chosen[1]))
    for column, (states, chances) in enumerate(zip(region.states, region.seen, strict=True)):
        for row, (state, chance) in enumerate(zip(states, chances, strict=True)):
            x, y = left + column * wide, foot - (row + 1) * tall
            sheet.box(
                x + 0.5,
                y + 0.5,
                x + wide - 0.5,
                y + tall - 0.5,
                fill="band" if state == "good" else "",
                hatch=_FILLS[state],
                stroke="edge",
            )
            if state == "good":
                sheet.text(x + 0.5 * wide, y + 0.5 * tall, f"{100 * chance:.0f}", anchor="middle", bold=(column, row) == chosen)
    x, y = left + chosen[0] * wide, foot - (chosen[1] + 1) * tall
    sheet.box(x, y, x + wide, y + tall, stroke="ink", width=3)
    for column, angle in enumerate(region.angles):
        sheet.text(left + (column + 0.5) * wide, foot + font, f"{angle:g}", anchor="middle")
    for row, launch in enumerate(region.launches):
        sheet.text(
            left - 5, foot - (row + 0.5) * tall, f"{100 * launch:.1f}" if region.by_stroke else f"{launch:g}", anchor="end"
        )
    sheet.text(0.5 * (left + right), foot + 2.4 * font, "slope, degrees", anchor="middle")
    sheet.text(0.7 * font, 0.5 * foot, "stroke, cm" if region.by_stroke else "release speed, m/s", anchor="middle", turned=True)
    y = foot + 4.3 * font
    for state in ("good", *(state for state in list(_FILLS)[1:] if any(state in states for states in region.states))):
        sheet.box(
            left,
            y - 0.6 * font,
            left + 2.2 * font,
            y + 0.6 * font,
            fill="band" if state == "good" else "",
            hatch=_FILLS[state],
            stroke="edge",
        )
        if state == "good":
            sheet.text(left + 1.1 * font, y, "80", anchor="middle")
        sheet.text(left + 2.9 * font, y, _WORDS[state])
        y += 1.7 * font
    sheet.box(left, y - 0.6 * font, left + 2.2 * font, y + 0.6 * font, stroke="ink", width=3)
    sheet.text(left + 2.9 * font, y, "recommended")
    return sheet, y + 1.4 * font


def _trace_sheet(plan: Plan, frame: Frame) -> tuple[Sheet, float]:
    trace, sheet, font = plan.trace, Sheet(frame), frame.font
    left, right, head = 4.4 * font, frame.width - 6, 6.0
    foot = head + (0.42 if not frame.narrow else 0.75) * frame.width
    highest = max(d + b for d, b in zip(trace.distance, trace.band, strict=True))
    x, y = Scale(trace.time[0], trace.time[-1], left, right), Scale(0.0, 1.06 * highest, foot, head)
    sheet.y_axis(y, left, right, ticks(0.0, y.high, 6), "distance from the ranger, m")
    sheet.box(left, y(0.0), right, y(trace.blind), hatch="drag")
    points = list(zip(trace.time, trace.distance, trace.band, strict=True))
    upper = [(x(t), y(min(d + b, y.high))) for t, d, b in points]
    lower = [(x(t), y(max(d - b, 0.0))) for t, d, b in points]
    # The band as upright bars of its own width: it may stand over the grid, not over the line.
    step = 0.5 * (x(points[1][0]) - x(points[0][0]))
    for (place, high), (_, low) in zip(upper, lower, strict=True):
        sheet.box(max(place - step, left), high, min(place + step, right), low, fill="grid")
    sheet.line(upper, stroke="muted", dash="4 3")
    sheet.line(lower, stroke="muted", dash="4 3")
    sheet.line([(x(t), y(d)) for t, d, _ in points], stroke="line", width=1.4)
    sheet.dots([(x(t), y(d)) for t, d, _ in points], size=4.0 if len(points) < 150 else 2.6)
    sheet.line([(x(0.0), head), (x(0.0), foot)], stroke="edge", dash="2 3")
    sheet.line([(x(trace.apex), head), (x(trace.apex), foot)], stroke="edge", dash="2 3")
    sheet.x_axis(x, foot, ticks(x.low, x.high, 6 if frame.narrow else 12), "time from the release, s")
    label = "blind zone of the ranger"
    middle = y(0.5 * trace.blind)
    width = text_width(label, font)
    sheet.box(right - width - 10, middle - 0.75 * font, right - 2, middle + 0.75 * font, fill="paper")
    sheet.text(right - 0.5 * width - 6, middle, label, anchor="middle")
    apex_y = head + 0.8 * font
    for place, word in ((0.0, "release"), (trace.apex, "highest point")):
        room = text_width(word, font) + 6
        sheet.box(x(place) + 2, apex_y - 0.75 * font, x(place) + 2 + room, apex_y + 0.75 * font, fill="paper")
        sheet.text(x(place) + 5, apex_y, word)
    legend = foot + 4.1 * font
    sheet.box(left, legend - 5, left + 18, legend + 5, fill="grid", stroke="muted")
    sheet.text(
        left + 24,
        legend,
        "95 % of such benches" if frame.narrow else "95 % of such benches: launch, friction, slope and noise together",
    )
    return sheet, legend + font


def _path_sheet(plan: Plan, frame: Frame) -> tuple[Sheet, float]:
    sheet, font = Sheet(frame), frame.font
    left, right = 8.0, frame.width - 8
    most = 1.12 * max(3.4, *(step.ratio for step in plan.path))
    x = Scale(0.0, most, left, right - 2.5 * font)
    head, row = 1.8 * font, 3.6 * font
    foot = head + row * len(plan.path)
    for limit, word in ((1.0, "1"), (3.0, "3")):
        sheet.line([(x(limit), head), (x(limit), foot)], stroke="muted", dash="4 3")
        sheet.text(x(limit), 0.7 * font, word, anchor="middle", fill="muted")
    for index, step in enumerate(plan.path):
        y = head + index * row
        label = f"{index + 1}. {step.what}"
        shown = min(text_width(label, font) + 4, right - left)
        sheet.box(left, y + 0.1 * font, left + shown, y + 1.3 * font, fill="paper")
        sheet.text(left, y + 0.7 * font, label)
        # Which of the three answers it is shows in the fill: empty, lined, full.
        hatch = "unaccounted" if step.ratio < 1.0 else "drag" if step.ratio < 3.0 else "kinetic"
        end = x(step.ratio)
        sheet.box(left, y + 1.5 * font, end, y + 2.8 * font, hatch=hatch, stroke="ink")
        note = f"{step.ratio:.1f}" if frame.narrow else f"{step.ratio:.1f}, {step.reading}"
        inside = end + 6 + text_width(note, font) > right
        width = text_width(note, font)
        if inside:
            sheet.box(end - width - 8, y + 1.6 * font, end - 3, y + 2.7 * font, fill="paper")
            sheet.text(end - 6, y + 2.15 * font, note, anchor="end")
        else:
            sheet.box(end + 3, y + 1.6 * font, end + 8 + width, y + 2.7 * font, fill="paper")
            sheet.text(end + 6, y + 2.15 * font, note)
    sheet.x_axis(x, foot, ticks(0.0, most, 6), "expected loss over its standard uncertainty")
    return sheet, foot + 3.4 * font


def _of_track(plan: Plan) -> str:
    return "come too near to the ranger" if plan.kit.placed == "top" else "run off the track"


def _launch(by_stroke: bool, value: float) -> str:
    return f"{100 * value:.1f} cm" if by_stroke else f"{value:g} m/s"


def _cell(state: str, chance: float) -> str:
    words = {"off-track": "does not fit", "few-samples": "too few samples", "too-flat": "too flat", "undecided": "cannot tell"}
    return f"{100 * chance:.0f} % see the loss" if state == "good" else words[state]


def _thinned(rows: tuple[tuple[float, float, float], ...]) -> tuple[tuple[float, float, float], ...]:
    """Return at most some forty rows, evenly spaced."""
    step = max(1, -(-len(rows) // 40))
    return rows[::step]
