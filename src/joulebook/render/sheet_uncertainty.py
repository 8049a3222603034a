"""What a worksheet does with the ±: from readings to percentages, to the uncertainty of both energies, to the house's comparison.

Two ways, by the house's comparison: percentages of limits are added (percent difference, percentage uncertainty), or standard
uncertainties are added as squares (overlap of intervals, t', model test; GUM 4.3.7 and 5.1.2). In both the mass is left out when
the two energies are compared, because it stands in both and cancels.
"""

from __future__ import annotations

from joulebook.engine.house import BASES, House
from joulebook.render.sheet_blocks import BLANK, Block, Fields, Keep, Listing, Sum, Tabled, Text
from joulebook.render.sheet_facts import BenchFacts
from joulebook.render.sheet_pictures import draw_line_for_intervals

__all__ = [
    "adds_squares", "compose_comparison", "compose_energy_uncertainty", "compose_percentages", "sign_of_energy_uncertainty",
]  # fmt: skip

_B = BLANK


def adds_squares(house: House) -> bool:
    """Say whether the house's comparison is made with standard uncertainties, which add as squares."""
    return house.comparison not in ("percent difference", "percentage uncertainty")


def sign_of_energy_uncertainty(house: House) -> str:
    """Return what stands at the head of a column for an energy's uncertainty."""
    return "u, J" if adds_squares(house) else "± J"


def compose_percentages(facts: BenchFacts, house: House) -> tuple[Block, ...]:
    """Return the table from each reading's ± to percent, and how often each counts in either energy."""
    shown, squares = house.formulas, adds_squares(house)
    counts = {"m": ("once", "once"), "v": ("twice (v²)", "no"), "d": ("no", "once")}
    counts |= {name: ("no", "once") for name in _slope(facts)}
    own = ("",) if squares else ()
    rows = tuple((name, "", *own, *(each if shown else ("", ""))) for name, each in counts.items())
    extra = ("u in %",) if squares else ()
    headings = ("Reading", "± in %", *extra, "Counts in KE", "Counts in PE")
    widths = (1.4, 1.4, *((1.4,) if squares else ()), 2.4, 1.9)
    blocks: list[Block] = [
        Text("Use launch 1. How many percent of its reading is each ±? (±\u00a0÷\u00a0reading\u00a0×\u00a0100)")
    ]
    if facts.slope == "gauge":
        blocks.append(
            Text(
                "For the slope, work out sin θ, then the sine of (θ + its ±). The percentage is how much larger the second one "
                f"is: sin θ = {_B}, sine of (θ + ±) = {_B}."
            )
        )
    if squares:
        blocks.append(
            Text("The ± is how far off a reading can be at most. u is how far off it typically is: u = ± ÷ √3, about 0.58 × ±.")
        )
    blocks.append(Tabled("From ± to percent", headings, rows, widths, tall=True))
    return tuple(blocks)


def compose_energy_uncertainty(facts: BenchFacts, house: House) -> tuple[Block, ...]:
    """Return the lines that join the percentages of the readings to those of KE and PE."""
    shown, slope = house.formulas, _slope(facts)
    if adds_squares(house):
        squares = "² + ".join(("d", *slope)) + "²"
        room = "² + ".join([_B] * (1 + len(slope))) + "²"
        full = "² + ".join(("m", "d", *slope)) + "²"
        told = f"Each u in %: u of KE is √(m² + (2 × v)²), u of PE is √({full}). " if shown else ""
        return (
            Keep((
                Text(f"{told}{_MASS}", lead="Together:"),
                Sum("u of KE, without m", "2 × v %" if shown else "", f"2 × {_B} %" if shown else "", "%"),
                Sum("u of PE, without m", f"√({squares})" if shown else "", f"√({room})" if shown else "", "%"),
            )),
        )  # fmt: skip
    names = ("m", "d", *slope)
    return (
        Keep((
            Text(
                "Percentages add up. A reading that counts twice goes in twice." if shown else "Percentages add up.",
                lead="Together:",
            ),
            Sum("± of KE", "m % + 2 × v %" if shown else "", f"{_B} % + 2 × {_B} %" if shown else "", "%"),
            Sum("± of PE", _added(names) if shown else "", " + ".join([f"{_B} %"] * len(names)) if shown else "", "%"),
            Text(_MASS),
        )),
    )  # fmt: skip


_MASS = (
    "The mass is in both energies: if it is wrong, both are wrong by the same percentage. So leave m out when you compare KE "
    "with PE."
)


def compose_comparison(facts: BenchFacts, house: House, *, large: bool = False) -> tuple[Block, ...]:
    """Return the comparison of the two energies by the house's method."""
    shown = house.formulas
    yes_no = Listing(("yes", "no"), style="row")
    if house.comparison == "percent difference":
        return (*_percent_difference(house), *_combined(facts, house, "Combined ±"), Keep((Text(_BELOW), yes_no)))
    if house.comparison == "overlap of intervals":
        return (
            Text(
                "Put numbers to the marks. Draw KE as a bar from KE − 2u to KE + 2u, and PE the same way below it. "
                "Take u without m."
            ),
            draw_line_for_intervals(large=large),
            Keep((Text("Do the two bars share a stretch of the line?"), yes_no)),
        )
    if house.comparison == "percentage uncertainty":
        return (
            Sum("Difference", "|KE − PE| ÷ PE × 100 %" if shown else "", f"{_B} J ÷ {_B} J" if shown else "", "%"),
            *_combined(facts, house, "Combined ±"),
            Keep((Text("Is the difference larger than the combined uncertainty?"), yes_no)),
        )
    if house.comparison == "t-prime":
        formula, numbers = ("|KE − PE| ÷ √((u of KE)² + (u of PE)²)", f"{_B} J ÷ √(({_B} J)² + ({_B} J)²)") if shown else ("", "")
        return (
            Text("Is the difference large beside what is uncertain? Take u in joules, without m."),
            Sum("t'", formula, numbers, ""),
            _meaning(),
        )
    return _model_test(house, facts)


_BELOW = "The readings alone can make a difference as large as the combined ±. Is yours smaller?"


def _percent_difference(house: House) -> tuple[Block, ...]:
    basis = {"average": "½ (KE + PE)", "bottom": "KE", "top": "PE", "larger": "the larger one"}[house.percent_of]
    gap = "(KE − PE)" if house.signed else "|KE − PE|"
    sign = " Keep the sign: it says which one is larger." if house.signed else ""
    shown = house.formulas
    return (
        Text(f"Our class divides by {BASES[house.percent_of]}.{sign}", lead="House rule."),
        Sum("Difference", f"{gap} ÷ {basis} × 100 %" if shown else "", f"{_B} J ÷ {_B} J" if shown else "", "%"),
        Keep((
            Text(f"We call the two energies equal when they differ by no more than {100 * house.tolerance:g} %. Are they?"),
            Listing(("yes", "no"), style="row"),
        )),
    )  # fmt: skip


def _combined(facts: BenchFacts, house: House, name: str) -> tuple[Block, ...]:
    """Return the line that adds what is uncertain in either energy, the mass left out."""
    names = ("d", *_slope(facts))
    formula = f"2 × v % + {_added(names)}" if house.formulas else ""
    numbers = f"2 × {_B} % + " + " + ".join([f"{_B} %"] * len(names)) if house.formulas else ""
    return (Sum(name, formula, numbers, "%"),)


def _model_test(house: House, facts: BenchFacts) -> tuple[Block, ...]:
    shown = house.formulas
    slope = "" if facts.slope == "gauge" else " Find θ from sin θ = h ÷ L."
    rows = tuple(("", "", "", "") for _ in range(4))
    return (
        Text(
            "If rolling resistance is the only loss, it should be μ ÷ tan θ of PE. μ says how hard the cart is to roll. Your "
            f"teacher gives you μ and its u.{slope} Take the u of KE and of PE in %, without m."
        ),
        Fields((("μ", ""), ("u of μ", ""), ("θ", "°"))),
        Sum("Loss", "(KE − PE) ÷ PE × 100 %" if shown else "", f"{_B} J ÷ {_B} J" if shown else "", "%"),
        Sum("u of the loss", "√((u of KE)² + (u of PE)²)" if shown else "", f"√({_B}² + {_B}²)" if shown else "", "%"),
        Sum("Model", "μ ÷ tan θ × 100 %" if shown else "", f"{_B} ÷ {_B}" if shown else "", "%"),
        Sum("u of the model", "u of μ ÷ tan θ × 100 %" if shown else "", f"{_B} ÷ {_B}" if shown else "", "%"),
        Sum(
            "t'",
            "|loss − model| ÷ √((u of the loss)² + (u of the model)²)" if shown else "",
            f"{_B} % ÷ √(({_B} %)² + ({_B} %)²)" if shown else "",
            "",
        ),
        _meaning(),
        Keep((
            Text("Collect the slopes and losses of four benches. Then plot loss against 1 ÷ tan θ. A straight line through "
            "zero supports the model."),
            Tabled("The class", ("Bench", "θ", "1 ÷ tan θ", "Loss, %"), rows, (2.0, 1.5, 1.8, 1.8), tall=True),
        )),
    )  # fmt: skip


def _meaning() -> Tabled:
    return Tabled(
        "What t' says", ("t'", "It means", "So"),
        (
            ("below 1", "The two cannot be told apart with this kit.", "Improve the largest uncertainty and repeat."),
            ("1 to 3", "It is not clear.", "Improve the largest uncertainty and repeat."),
            ("above 3", "The two are different.", "Question the measurement first, then the idea."),
        ),
        (1.1, 3.4, 3.4),
    )  # fmt: skip


def _slope(facts: BenchFacts) -> tuple[str, ...]:
    """Return the readings that the slope is made of, as they stand in the percentages."""
    return ("sin θ",) if facts.slope == "gauge" else ("h", "L")


def _added(names: tuple[str, ...]) -> str:
    return " + ".join(f"{name} %" for name in names)
