"""The bench card: set-up, values to enter, where the ranger stands, how to record, and the cautions; it lies on the bench."""

from __future__ import annotations

from joulebook.engine.house import House
from joulebook.render.sheet_blocks import (
    BLANK,
    Block,
    Box,
    Break,
    Cautions,
    Fields,
    Heading,
    Keep,
    Listing,
    Part,
    Tabled,
    Text,
    WritingLines,
)
from joulebook.render.sheet_facts import BenchFacts
from joulebook.render.sheet_pictures import draw_bench
from joulebook.render.words import CAUTIONS_LABEL

__all__ = ["SHEET_CAUTIONS", "cautions_block", "compose_card"]

# Common practice in the trade, no source; in the imperative and short, for a card that is read while standing.
SHEET_CAUTIONS: tuple[str, ...] = (
    "Keep the line of travel clear.",
    "Have a stop at both ends of the track.",
    "Make the first launch at the lowest setting.",
    "Never launch toward a face.",
    "Keep fingers clear of plunger, stop and wheels.",
    "Lift a long track with two people.",
    "Weigh down or clamp a tall stand.",
    "No leads or bags in the aisle.",
    "Never leave a cart on the floor.",
    "Keep added masses off your feet.",
    "Keep magnets away from medical implants.",
)


def cautions_block(house: House) -> Cautions:
    """Return the caution list with the house's local rules, or with an empty box to write them in."""
    local = Box("Local rules", 0 if house.local_rules else 3, house.local_rules, editable=True)
    return Cautions(CAUTIONS_LABEL, SHEET_CAUTIONS, local)


def compose_card(facts: BenchFacts, house: House, *, large: bool = False) -> Part:
    """Return the card of one bench, front and back; what is not known of its set-up is left to be written in."""
    launches = facts.launches or house.launches
    blocks: tuple[Block, ...] = (
        Fields((("Bench code", ""), ("Date", ""))),
        draw_bench(facts.placed, slope=facts.slope, large=large),
        cautions_block(house),
        Heading("1 Set up"),
        Listing(_steps(facts), style="numbers"),
        # In usual print the card is one leaf: what to set up on its front, what to measure and to record on its back.
        *(() if large else (Break(),)),
        Keep((Heading("2 Measure"), Text("Write ± beside each value: how far off it may be at most."), _values(facts, large))),
        *(Text(f"{_LABELS[field]}: {why}", lead="▲ Check.", boxed=True) for field, why in facts.doubts),
        Keep((Heading("3 Record"), Listing(_recording(launches), style="numbers"))),
        Tabled("What we recorded", ("Saved as", "Time", "Good, or repeat? Why?"), _log(launches), (1.6, 1.2, 4.4), tall=True),
        WritingLines("What we noticed:", 3, fill=True),
    )
    return Part(facts.title or "Your bench", "Bench card", "students", blocks, keep=(facts.title,))


def _steps(facts: BenchFacts) -> tuple[str, ...]:
    end = f"{facts.placed} end" if facts.placed else f"{BLANK} end (top or bottom)"
    away = f" The cart at the stop is {facts.distance} away from it." if facts.distance else ""
    least = facts.least_range or "15 cm"
    rate = f"{facts.rate} readings per second" if facts.rate else f"{BLANK} readings per second (20 or more)"
    strength = f"Cock the plunger (push it in until it locks) by {facts.strength}."
    if not facts.strength:
        strength = f"Cock the plunger (push it in until it locks) to setting {BLANK}."
    load = (f"Load the cart so that it weighs about {facts.load}. Then weigh it.",) if facts.load and not facts.mass else ()
    return (
        *load,
        "Lay the track down with its stop at the low end. Look along it: it must be straight and must not rock.",
        *_slope_steps(facts),
        f"Put the ranger (the motion sensor) at the {end}. It looks along the track, straight at the cart.{away} The cart "
        f"must never come nearer to it than {least}.",
        f"Set the ranger to {rate}.",
        f"{strength} Try the lowest setting first.",
    )


def _slope_steps(facts: BenchFacts) -> tuple[str, ...]:
    """Say how to set the slope and how to measure it, as this bench does: two marks and a ruler, or an angle gauge."""
    if facts.slope == "gauge":
        target = f"shows about {_bare(facts.angle)}" if facts.angle else f"shows about {BLANK}°"
        return (
            f"Raise the other end until an angle gauge on the track {target}. Read it as finely as its scale allows: that is θ.",
        )
    along = _bare(facts.along) if facts.along else f"{BLANK} cm"
    far = "" if facts.along else " Take them as far apart as you can."
    if facts.rise:
        raised = f"until the upper mark is about {_bare(facts.rise)} higher above the table than the lower one"
    elif facts.aim:
        raised = f"to a slope of about {facts.aim}"
    else:
        raised = f"by about {BLANK} cm"
    return (
        f"Make two marks on the track, {along} apart. The distance between them, along the track, is L.{far}",
        f"Raise the other end {raised}. Measure the height of each mark above the table, at the same edge of the track. The "
        "difference of the two heights is h.",
    )


def _recording(launches: int) -> tuple[str, ...]:
    names = "launch-1" if launches == 1 else f"launch-1 to launch-{launches}"
    return (
        "Rest: the cart stands at the stop, plunger out. Record three seconds. Save it as rest.",
        "Launch: cock the plunger. Start recording and count to two. Release it with the pin, hands off the cart. "
        "Let the cart roll back and bounce.",
        f"Make {'one launch' if launches == 1 else f'{launches} launches'}, all with the same setting. Save each one by "
        f"itself: {names}.",
    )


def _log(launches: int) -> tuple[tuple[str, str, str], ...]:
    """Return the rows for the records of a bench, and one to spare."""
    names = ("launch-1",) if launches == 1 else tuple(f"launch-{number}" for number in range(1, launches + 1))
    return tuple((name, "", "") for name in ("rest", *names, ""))


_LABELS = {
    "mass": "m, mass of the cart", "angle": "θ, slope of the track", "rise": "h, rise between the marks",
    "along": "L, between the marks",
}  # fmt: skip


def _values(facts: BenchFacts, large: bool) -> Tabled:
    """Return the values to measure; large letters leave no room for a column that says how, so it stands below the name."""
    slope: tuple[tuple[str, str, str], ...] = (
        ("along", facts.along, "tape, along the track"),
        ("rise", facts.rise, "ruler: height of the upper mark less height of the lower"),
    )
    if facts.slope == "gauge":
        slope = (("angle", facts.angle, "angle gauge, laid on the track"),)
    known = (("mass", facts.mass or facts.load, "balance, with all that rides on the cart"), *slope)
    named = {field: f"{_LABELS[field]} ({how})" if large else _LABELS[field] for field, _, how in known}
    if not any(value for _, value, _ in known):
        blank = tuple((named[field], "", "", how) for field, _, how in known)
        return _table(("What", "Value, with unit", "±", "How"), blank, (2.6, 2.2, 1.6, 3.2), large)
    doubtful = dict(facts.doubts)
    planned = {field for field, value, _ in known if value and (field in facts.planned or (field == "mass" and not facts.mass))}
    all_planned = planned == {field for field, value, _ in known if value}
    rows = []
    for field, value, how in known:
        # A file may hold some values that were measured and some that are still the plan's.
        said = f"{_bare(value)}{' (planned: measure and replace)' if field in planned and not all_planned else ''}"
        rows.append((named[field], f"{said} ▲" if field in doubtful else said, "", "", how))
    headings = ("What", "Planned: measure and replace" if all_planned else "The bench file says", "We measured", "±", "How")
    return _table(headings, tuple(rows), (2.3, 2.3, 2.2, 1.4, 3.0), large)


def _table(headings: tuple[str, ...], rows: tuple[tuple[str, ...], ...], widths: tuple[float, ...], large: bool) -> Tabled:
    if large:
        headings, rows, widths = headings[:-1], tuple(row[:-1] for row in rows), (widths[0] + widths[-1] * 0.6, *widths[1:-1])
    return Tabled("Values of this bench", headings, rows, widths, tall=True)


def _bare(value: str) -> str:
    return value.partition(" ± ")[0]
