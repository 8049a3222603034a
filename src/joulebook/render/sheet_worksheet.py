"""The student worksheet: predict first, commit readings with their uncertainty, calculate, compare, claim, improve and repeat.

It never shows an energy, a ratio or a loss that a student is to find (DESIGN §8): it knows the bench's set-up and the house's
rules, and has no access to any audit.
"""

from __future__ import annotations

from collections.abc import Callable

from joulebook.engine.house import House
from joulebook.render.sheet_blocks import BLANK, Block, Fields, Heading, Keep, Listing, Part, Sum, Tabled, Text, WritingLines
from joulebook.render.sheet_facts import BenchFacts, gravity_text
from joulebook.render.sheet_pictures import draw_bench
from joulebook.render.sheet_uncertainty import (
    adds_squares,
    compose_comparison,
    compose_energy_uncertainty,
    compose_percentages,
    sign_of_energy_uncertainty,
)

__all__ = ["compose_worksheet"]

_Step = Callable[[BenchFacts, House, int, bool], tuple[Block, ...]]


def compose_worksheet(facts: BenchFacts, house: House, *, large: bool = False) -> Part:
    """Return the worksheet of one bench, with the steps that the house shows, numbered anew."""
    launches = facts.launches or house.launches
    blocks: list[Block] = [Text(facts.title, lead="Bench:")] if facts.title else []
    blocks.append(Fields((("Bench code", ""), ("Date", ""))))
    for number, step in enumerate(house.steps, start=1):
        title, compose = _STEPS[step]
        found = compose(facts, house, launches, large)
        # Neither a heading nor what introduces a table stands alone at the foot of a page.
        first = 2 if isinstance(found[0], Text) else 1
        opening = (part for block in found[:first] for part in (block.blocks if isinstance(block, Keep) else (block,)))
        blocks += [Keep((Heading(f"{number} {title}"), *opening)), *found[first:]]
    return Part("Is it the same energy?", "Worksheet", "students", tuple(blocks), keep=(facts.title,))


def _predict(facts: BenchFacts, house: House, launches: int, large: bool) -> tuple[Block, ...]:
    return (
        Text("Do this before anything moves. There is no wrong answer here. You will come back to it."),
        draw_bench(facts.placed, slope=facts.slope, large=large),
        Keep((
            Text("At its highest point the cart stands still for a moment. Compared with the moment of release, it then has"),
            Listing(("more energy", "just as much energy", "less energy"), style="row"),
            WritingLines("because", 2),
        )),
        Text(f"With this kit, the smallest difference that I think we can see is about {BLANK} %."),
    )  # fmt: skip


def _readings(facts: BenchFacts, house: House, launches: int, large: bool) -> tuple[Block, ...]:
    slope: tuple[tuple[str, ...], ...] = (
        ("height of the upper mark above the table", "", "", "m"),
        ("height of the lower mark above the table", "", "", "m"),
        ("h, the one less the other", "", "", "m"),
        ("L, between the two marks, along the track", "", "", "m"),
    )
    if facts.slope == "gauge":
        slope = (("θ, slope of the track, by angle gauge", "", "", "°"),)
    rows = tuple((str(number), "", "", "", "") for number in range(1, launches + 1))
    both = "d is a difference" if facts.slope == "gauge" else "h and d are differences"
    return (
        Text("Write every reading with its ± before you calculate. ± is how far off it may be at most."),
        Tabled(
            "The set-up",
            ("Reading", "Value", "±", "Unit"),
            (("m, mass of the cart", "", "", "kg"), *slope),
            (4.6, 2.2, 1.8, 0.9),
            tall=True,
        ),
        Tabled(
            "The launches",
            ("Launch", "v, speed at release, m/s", "± m/s", "d, way up the track, m", "± m"),
            rows,
            (1.6, 2.3, 1.4, 3.2, 1.3),
            tall=True,
        ),
        Keep((
            Listing((
                "v: how steep is your curve just after the plunger has let go? Lay a straight line along it.",
                "d: from where the cart is released to where it turns, along the track.",
                f"{both} of two readings: the ± of a difference is the two ± added.",
            )),
            WritingLines("How did you decide on the ± of v and of d?", 2),
        )),
    )  # fmt: skip


def _uncertainty(facts: BenchFacts, house: House, launches: int, large: bool) -> tuple[Block, ...]:
    digits = "one digit" if house.uncertainty_digits == 1 else "two digits"
    return (
        *compose_percentages(facts, house),
        *compose_energy_uncertainty(facts, house),
        Keep((
            Text(f"The reading that adds most is {BLANK}."),
            Text(f"Write every uncertainty with {digits}, and its value to the same place.", lead="House rule."),
        )),
    )  # fmt: skip


def _calculation(facts: BenchFacts, house: House, launches: int, large: bool) -> tuple[Block, ...]:
    b, shown = BLANK, house.formulas
    g, off = gravity_text(facts, house), sign_of_energy_uncertainty(house)
    gauge = facts.slope == "gauge"
    height = ("d × sin θ", f"{b} m × {b}") if gauge else ("d × h ÷ L", f"{b} m × {b} m ÷ {b} m")
    rows = [(str(number), "", "", "", "", "") for number in range(1, launches + 1)]
    rows += [("mean", "", "", "", "", "")] if launches > 1 else []
    which, same = ("launch 1", ", the same for each launch and the mean") if launches > 1 else ("it", "")
    without = ", those without m," if adds_squares(house) else ""
    return (
        Keep((
            Text(
                "KE is the energy of motion at release. PE is the energy of height at the turn. "
                f"Take g\u00a0=\u00a0{g}. Work {which} out."
            ),
            Sum("KE", "½ m v²" if shown else "", f"½ × {b} kg × ({b} m/s)²" if shown else "", "J"),
            Sum("height", height[0] if shown else "", height[1] if shown else "", "m"),
            Sum("PE", "m g × height" if shown else "", f"{b} kg × {g} × {b} m" if shown else "", "J"),
        )),
        *(() if "uncertainty" in house.steps else compose_energy_uncertainty(facts, house)),
        Keep((
            Text(f"Turn the percentages of KE and PE{without} into joules{same}."),
            Tabled(
                "All launches" if launches > 1 else "The launch",
                ("Launch", "KE, J", off, "PE, J", off, "KE − PE, J"),
                tuple(rows),
                (1.45, 1.6, 1.2, 1.6, 1.2, 1.8),
                tall=True,
            ),
        )),
    )  # fmt: skip


def _comparison(facts: BenchFacts, house: House, launches: int, large: bool) -> tuple[Block, ...]:
    start = (Text("Compare the means."),) if launches > 1 else ()
    return (*start, *compose_comparison(facts, house, large=large))


def _claim(facts: BenchFacts, house: House, launches: int, large: bool) -> tuple[Block, ...]:
    return (
        Text("As far as our kit can tell, from release to the turn the energy"),
        Listing(("stayed the same", "became less", "became more", "we cannot tell"), style="row"),
        WritingLines("My evidence, with a number and its uncertainty:", 3),
        WritingLines("Look back at your prediction. What do you think now?", 1),
    )


def _losses(facts: BenchFacts, house: House, launches: int, large: bool) -> tuple[Block, ...]:
    rows = tuple(("", "", "") for _ in range(3))
    return (
        Text('Say how large it would be, and which way it works. "Human error" says neither.'),
        Tabled(
            "What could it be?",
            ("What", "How large? (J or\u00a0%)", "Makes PE larger or smaller than KE?"),
            rows,
            (2.6, 2.0, 2.6),
            tall=True,
        ),
    )


def _improve(facts: BenchFacts, house: House, launches: int, large: bool) -> tuple[Block, ...]:
    rows = (("before", "", "", ""), ("after", "", "", ""))
    return (
        Text("Which reading limits you most? Change how you take that one, leave all else, and repeat."),
        WritingLines("We changed", 2),
        Tabled(
            "Before and after",
            ("", "KE with ±, J", "PE with ±, J", "Result of the comparison"),
            rows,
            (1.2, 2.0, 2.0, 2.8),
            tall=True,
        ),
        WritingLines("Did it help? How do you know?", 3),
        WritingLines("Room for your working:", 1, fill=True),
    )


_STEPS: dict[str, tuple[str, _Step]] = {
    "predict": ("Predict", _predict),
    "readings": ("Take your readings", _readings),
    "uncertainty": ("How sure is each reading?", _uncertainty),
    "calculation": ("Calculate", _calculation),
    "comparison": ("Compare", _comparison),
    "claim": ("Make your claim", _claim),
    "losses": ("What could explain your difference?", _losses),
    "improve": ("Improve one thing and repeat", _improve),
}
