"""The words of the kit check: values as they are shown and as they are said, and the sentence on top."""

from __future__ import annotations

import math
from collections.abc import Sequence

from joulebook.planning.kit_measures import Measure
from joulebook.planning.kit_table import KitMeasure

__all__ = ["check_sentence", "listed", "plain_value", "probability_text", "shown_value"]


_COARSE = ("contact_time", "restitution", "impact_speed")
"""Measures that differ from rebound to rebound by more than their statistics say: one digit of u is all they carry."""


def plain_value(spec: KitMeasure, value: float, u: float = 0.0) -> str:
    """Return a value as a sentence says it: in its unit, to the digit that u still carries, never to more than three.

    value, u: in stored units; u = 0 where nothing is known of it.
    """
    from joulebook.render.numbers import number, to_place

    # A share of the speed is easier heard in per cent.
    factor, unit = (100.0, "%") if spec.name == "restitution" else (spec.factor, spec.unit)
    shown = value * factor
    text = number(shown, 2) if spec.name in ("rate", "lost", "restitution") else to_place(shown, u * factor)
    if spec.name == "rate":
        return text
    return text + (unit if unit == "°" else f" {unit}" if unit else "")


def shown_value(spec: KitMeasure, measure: Measure) -> str:
    """Return a value in its shown unit, its standard uncertainty in brackets: "0.0048(2)", "0.56(4) mm"."""
    from joulebook.render.numbers import number
    from joulebook.uncertainty.rounding import write

    value, u = measure.value * spec.factor, measure.u * spec.factor
    if spec.name == "rate":
        return f"{number(value, 3)} {spec.unit}"
    if spec.name == "lost":
        # A count of what came and what did not: its uncertainty as a share of all readings says nothing to a person.
        return f"{number(value, 2)} %"
    text = (
        write(value, u, style="brackets", digits=1 if u > 0.3 * abs(value) or spec.name in _COARSE else 2)
        if u > 0.0 and math.isfinite(u)
        else number(value, 3)
    )
    text = text.replace("-", "−")
    return text + (spec.unit if spec.unit == "°" else f" {spec.unit}" if spec.unit else "")


def probability_text(probability: float) -> str:
    """Return how rare something is, in words that need no statistics: "one in 250", "fewer than one in 10 000"."""
    if probability < 1e-4:
        return "fewer than one in 10\u202f000"
    times = 1.0 / probability
    size = 10.0 ** max(math.floor(math.log10(times)) - 1, 0)
    # ISO 80000-1, 7.3.1: digits are grouped by a small space, for a comma may be the decimal sign of the house.
    return f"one in {math.floor(times / size + 1e-9) * size:,.0f}".replace(",", "\u202f")


def check_sentence(benches: Sequence[tuple[str, str]]) -> str:
    """Return one sentence on which benches need what; benches: (title, need) in the order of need."""
    by_need = {need: [title for title, other in benches if other == need] for need in ("service", "unknown", "watch")}
    count = "1 bench" if len(benches) == 1 else f"{len(benches)} benches"
    parts = []
    if by_need["service"]:
        parts.append(f"{listed(by_need['service'])} {_needs(by_need['service'], 'needs', 'need')} service")
    if by_need["unknown"]:
        parts.append(f"{listed(by_need['unknown'])} could not be judged and should be run again")
    if by_need["watch"]:
        parts.append(f"keep an eye on {listed(by_need['watch'])}")
    return f"{count} checked: {'; '.join(parts) if parts else 'none needs anything'}."


def listed(names: Sequence[str]) -> str:
    """Return names as a sentence lists them."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _needs(names: Sequence[str], one: str, several: str) -> str:
    return one if len(names) == 1 else several
