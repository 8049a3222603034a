"""The bench card: set-up, values to enter, where the ranger stands, how to record, and the cautions; it lies on the bench."""

from __future__ import annotations

from joulebook.engine.house import House
from joulebook.render.sheet_blocks import (
    BLANK,
    Block,
    Box,
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
    """Return the card of one bench; what is not known of its set-up is left to be written in."""
    launches = facts.launches or house.launches
    blocks: tuple[Block, ...] = (
        Fields((("Bench code", ""), ("Date", ""))),
        draw_bench(facts.placed, large=large),
        Heading("Set up"),
        Listing(_steps(facts), style="numbers"),
        cautions_block(house),
        Keep((Heading("Record"), Listing(_recording(launches), style="numbers"))),
        Keep((Heading("Enter these values"), _values(facts))),
        Text("Write how far each value may be off. A value without its limits is half a value."),
        WritingLines("What we noticed:", 3),
    )
    return Part(facts.title or "Your bench", "Bench card", "students", blocks, keep=(facts.title,))


def _steps(facts: BenchFacts) -> tuple[str, ...]:
    length = f" ({facts.length} long)" if facts.length else ""
    if facts.aim:
        slope = f"Raise the other end. Aim at a slope of {facts.aim}. Then measure rise h and length L."
    elif facts.rise and facts.along:
        rise, along = _bare(facts.rise), _bare(facts.along)
        slope = f"Raise the other end. The plan is a rise of {rise} along {along} of track. Then measure both."
    elif facts.angle:
        slope = f"Raise the other end. The plan is a slope of {_bare(facts.angle)}. Then measure rise h and length L."
    else:
        slope = f"Raise the other end by about {BLANK} cm. Then measure rise h and length L."
    end = {"top": "top", "bottom": "bottom"}.get(facts.placed, "top or bottom")
    away = f" The cart at the stop is {facts.distance} away from it." if facts.distance else ""
    least = facts.least_range or "15 cm"
    rate = f"{facts.rate} readings per second" if facts.rate else f"{BLANK} readings per second (20 or more)"
    strength = f"Cock the plunger by {facts.strength}." if facts.strength else f"Cock the plunger to setting {BLANK}."
    load = (f"Load the cart so that it weighs about {facts.load}. Then weigh it.",) if facts.load else ()
    return (
        *load,
        f"Lay the track{length} down with its stop at the low end. Look along it: it must be straight and must not rock.",
        slope,
        f"Put the ranger at the {end} end. It looks along the track, straight at the cart.{away} The cart must never come "
        f"nearer than {least}.",
        f"Set the ranger to {rate}.",
        f"{strength} Try the lowest setting first.",
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


def _values(facts: BenchFacts) -> Tabled:
    rise, along = facts.rise, facts.along
    known = (
        ("Mass of the cart, m", facts.mass or facts.load, "balance, with all that rides on it"),
        ("Rise, h", rise, "ruler, at the two ends of L"),
        ("Length along the track, L", along, "tape, between the same two places"),
        *((("Slope", facts.angle, "only if h and L cannot be measured"),) if facts.angle else ()),
        ("Ranger stands at", facts.placed, "top or bottom"),
        ("Readings per second", facts.rate, "the ranger's own setting"),
    )
    if not any(value for _, value, _ in known):
        blank = tuple((label, "", "", how) for label, _, how in known)
        return Tabled("Values of this bench", ("What", "Value", "± limits", "How"), blank, (3.0, 2.2, 2.3, 3.0), tall=True)
    # What stands in a bench file before the class may be the plan's: the bench's own reading has room beside it.
    rows = tuple((label, _bare(value), "", "", how) for label, value, how in known)
    headings = ("What", "Planned", "Measured", "±", "How")
    return Tabled("Values of this bench", headings, rows, (2.5, 2.1, 2.4, 1.5, 2.6), tall=True)


def _bare(value: str) -> str:
    return value.partition(" ± ")[0]
