"""The student worksheet: predict first, commit readings with their uncertainty, calculate, compare, claim, improve and repeat.

It never shows an energy, a ratio or a loss that a student is to find (DESIGN §8): it knows the bench's set-up and the house's
rules, and has no access to any audit.
"""

from __future__ import annotations

from collections.abc import Callable

from joulebook.engine.house import BASES, House
from joulebook.render.sheet_blocks import BLANK, Block, Fields, Heading, Keep, Listing, Part, Sum, Tabled, Text, WritingLines
from joulebook.render.sheet_facts import BenchFacts, gravity_text
from joulebook.render.sheet_pictures import draw_bench, draw_line_for_intervals

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
        blocks += [Keep((Heading(f"{number} {title}"), *found[:first])), *found[first:]]
    return Part("Is it the same energy?", "Worksheet", "students", tuple(blocks), keep=(facts.title,))


def _predict(facts: BenchFacts, house: House, launches: int, large: bool) -> tuple[Block, ...]:
    return (
        Text("Do this before anything moves. There is no wrong answer here. You will come back to it."),
        draw_bench(facts.placed, large=large),
        Keep((
            Text("At its highest point the cart stands still for a moment. Compared with the moment of release, it then has"),
            Listing(("more energy", "just as much energy", "less energy"), style="row"),
            WritingLines("because", 2),
        )),
        Text(f"With this kit, the smallest difference that I think we can see is about {BLANK} %."),
    )  # fmt: skip


def _readings(facts: BenchFacts, house: House, launches: int, large: bool) -> tuple[Block, ...]:
    set_rows = (
        ("m, mass of the cart", "", "", "kg"),
        ("h, rise of the track", "", "", "m"),
        ("L, length along the track", "", "", "m"),
    )
    rows = tuple((str(number), "", "", "", "") for number in range(1, launches + 1))
    return (
        Text("Write every reading with its ± before you calculate anything. The ± says: it is surely within these limits."),
        Tabled("The set-up", ("Reading", "Value", "±", "Unit"), set_rows, (4.2, 2.4, 1.8, 1.0), tall=True),
        Tabled(
            "The launches",
            ("Launch", "v, speed at release, m/s", "± m/s", "d, way from release to the highest point, m", "± m"),
            rows,
            (1.7, 2.4, 1.4, 3.0, 1.3),
            tall=True,
        ),
        Keep((
            Listing((
                "v: how steep is your curve just after the plunger has let go? Lay a straight line along it.",
                "d: a difference of two readings, at release and where the cart turns.",
            )),
            WritingLines("How did you decide on the ± of v and of d?", 2),
        )),
    )  # fmt: skip


def _uncertainty(facts: BenchFacts, house: House, launches: int, large: bool) -> tuple[Block, ...]:
    rows = (
        ("m", "", "once"), ("v", "", "twice, because of v²"), ("d", "", "once"), ("h", "", "once"), ("L", "", "once"),
    )  # fmt: skip
    digits = "one digit" if house.uncertainty_digits == 1 else "two digits"
    return (
        Text("Use launch 1. How large is each ± as a percentage of its reading?"),
        Tabled("From ± to percent", ("Reading", "± in %", "How often it counts in the energy"), rows, (1.2, 1.6, 4.0), tall=True),
        Text(f"My least certain reading is {BLANK}."),
        Text(f"Write every uncertainty with {digits}, and its value to the same place.", lead="House rule."),
    )


def _calculation(facts: BenchFacts, house: House, launches: int, large: bool) -> tuple[Block, ...]:
    b, shown = BLANK, house.formulas
    g = gravity_text(facts, house)
    rows = tuple((str(number), "", "", "") for number in range(1, launches + 1))
    if launches > 1:
        rows = (*rows, ("mean", "", "", ""))
    lines = (
        Sum("KE", "½ m v²" if shown else "", f"½ × {b} kg × ({b} m/s)²" if shown else "", "J"),
        Sum("height", "d × h ÷ L" if shown else "", f"{b} m × {b} m ÷ {b} m" if shown else "", "m"),
        Sum("PE", "m g × height" if shown else "", f"{b} kg × {g} × {b} m" if shown else "", "J"),
    )
    return (
        Text(f"KE is the energy of motion at release. PE is the energy of height at the turn. Take g = {g}. Work out launch 1."),
        *lines,
        *_energy_uncertainty(house),
        *(
            (Tabled("All launches", ("Launch", "KE, J", "PE, J", "KE − PE, J"), rows, (1.2, 2.0, 2.0, 2.0), tall=True),)
            if launches > 1
            else ()
        ),
    )


def _energy_uncertainty(house: House) -> tuple[Block, ...]:
    """Return the lines for u(KE) and u(PE): percentages added, or root of the sum of squares where the method uses it."""
    b, shown = BLANK, house.formulas
    if house.comparison == "percent difference":
        return ()
    if house.comparison == "percentage uncertainty":
        return (
            Sum("± KE", "% of m + 2 × % of v" if shown else "", f"{b} % + 2 × {b} %" if shown else "", "%"),
            Sum(
                "± PE",
                "% of m + % of d + % of h + % of L" if shown else "",
                f"{b} % + {b} % + {b} % + {b} %" if shown else "",
                "%",
            ),
        )
    return (
        Text("Here u is the standard uncertainty: for limits ±, it is the ± divided by √3."),
        Sum("u(KE) in %", "√(u(m)² + (2 u(v))²), each in %" if shown else "", f"√({b}² + (2 × {b})²)" if shown else "", "%"),
        Sum(
            "u(PE) in %",
            "√(u(m)² + u(d)² + u(h)² + u(L)²), each in %" if shown else "",
            f"√({b}² + {b}² + {b}² + {b}²)" if shown else "",
            "%",
        ),
        Fields((("u(KE)", "J"), ("u(PE)", "J"))),
    )


def _comparison(facts: BenchFacts, house: House, launches: int, large: bool) -> tuple[Block, ...]:
    b, shown = BLANK, house.formulas
    yes_no = Listing(("yes", "no"), style="row")
    if house.comparison == "percent difference":
        basis = {"average": "½ (KE + PE)", "bottom": "KE", "top": "PE", "larger": "the larger one"}[house.percent_of]
        gap = "(KE − PE)" if house.signed else "|KE − PE|"
        sign = " Keep the sign: it says which one is larger." if house.signed else ""
        return (
            Text(f"Our class divides by {BASES[house.percent_of]}.{sign}", lead="House rule."),
            Sum("Difference", f"{gap} ÷ {basis} × 100 %" if shown else "", f"{b} J ÷ {b} J" if shown else "", "%"),
            Keep(
                (
                    Text(
                        f"We call the two energies equal when they differ by no more than {100 * house.tolerance:g} %. Are they?"
                    ),
                    yes_no,
                )
            ),
        )
    if house.comparison == "overlap of intervals":
        return (
            Text("Put numbers to the marks. Draw KE as a bar from KE − 2u to KE + 2u, and PE the same way below it."),
            draw_line_for_intervals(large=large),
            Keep((Text("Do the two bars share a stretch of the line?"), yes_no)),
        )
    if house.comparison == "percentage uncertainty":
        return (
            Sum("Difference", "|KE − PE| ÷ PE × 100 %" if shown else "", f"{b} J ÷ {b} J" if shown else "", "%"),
            Sum("Combined", "± KE in % + ± PE in %" if shown else "", f"{b} % + {b} %" if shown else "", "%"),
            Keep((Text("Is the difference larger than the combined uncertainty?"), yes_no)),
        )
    meaning = Tabled(
        "What t' says", ("t'", "It means", "So"),
        (
            ("below 1", "The two cannot be told apart with this kit.", "Improve the largest uncertainty and repeat."),
            ("1 to 3", "It is not clear.", "Improve the largest uncertainty and repeat."),
            ("above 3", "The two are different.", "Question the measurement first, then the idea."),
        ),
        (1.1, 3.4, 3.4),
    )  # fmt: skip
    if house.comparison == "t-prime":
        formula, numbers = ("|KE − PE| ÷ √(u(KE)² + u(PE)²)", f"{b} J ÷ √(({b} J)² + ({b} J)²)") if shown else ("", "")
        return (Sum("t'", formula, numbers, ""), meaning)
    rows = tuple(("", "", "", "") for _ in range(4))
    return (
        Text("If rolling resistance is the only loss, it should be μ ÷ tan θ of PE. Your teacher gives you μ, or the motion "
        "shows it."),
        Fields((("μ", ""), ("± ", ""))),
        Sum("Loss", "(KE − PE) ÷ PE × 100 %" if shown else "", f"{b} J ÷ {b} J" if shown else "", "%"),
        Sum("Model", "μ ÷ tan θ × 100 %" if shown else "", f"{b} ÷ {b}" if shown else "", "%"),
        Keep((
            Text("Collect the slopes and losses of four benches. Then plot loss against 1 ÷ tan θ. A straight line through "
            "zero supports the model."),
            Tabled("The class", ("Bench", "θ", "1 ÷ tan θ", "Loss, %"), rows, (2.0, 1.5, 1.8, 1.8), tall=True),
        )),
        meaning,
    )  # fmt: skip


def _claim(facts: BenchFacts, house: House, launches: int, large: bool) -> tuple[Block, ...]:
    return (
        Text("As far as our kit can tell, from release to the turn the energy"),
        Listing(("stayed the same", "became less", "became more", "we cannot tell"), style="row"),
        WritingLines("My evidence, with a number and its uncertainty:", 3),
        Text("Look back at your prediction. What do you think now?"),
        WritingLines("", 1),
    )


def _losses(facts: BenchFacts, house: House, launches: int, large: bool) -> tuple[Block, ...]:
    rows = tuple(("", "", "") for _ in range(3))
    return (
        Text('Name what could explain your difference. Give its size and its direction. "Human error" has neither.'),
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
        Text("Which one reading limits you most? Change how you take that one. Leave all else as it is, and repeat."),
        WritingLines("We changed", 2),
        Tabled(
            "Before and after",
            ("", "KE with ±, J", "PE with ±, J", "Result of the comparison"),
            rows,
            (1.2, 2.0, 2.0, 2.8),
            tall=True,
        ),
        WritingLines("Did it help? How do you know?", 2),
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
