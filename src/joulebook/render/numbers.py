"""How the reports write numbers: values after the GUM's rounding, intervals to the same place, and a true minus sign."""

from __future__ import annotations

import math
from collections.abc import Sequence

from joulebook.render.words import input_words, quantity_words, unit_text
from joulebook.uncertainty import Input, Quantity

__all__ = [
    "aligned",
    "common_places",
    "input_text",
    "interval_text",
    "number",
    "percent",
    "resolution_sentence",
    "to_place",
    "value_and_u",
    "value_with_u",
]

_NONE = "–"
_LEAST, _MOST = 1e-6, 1e7  # outside, a power of ten is easier to read than zeros
_FIGURE_SPACE = "\u2007"
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "+")


def value_with_u(name: str, quantity: Quantity) -> str:
    """Return a quantity with its standard uncertainty in brackets, which stands under the last two digits: "0.1385(18) J"."""
    words = quantity_words(name)
    unit = words.unit or unit_text(quantity.unit)
    return _written(quantity.value * words.factor, quantity.u * words.factor, unit)


def value_and_u(name: str, quantity: Quantity) -> tuple[str, str]:
    """Return a quantity's value and its standard uncertainty apart, for two columns of a table, both to the same place."""
    from joulebook.uncertainty.rounding import round_together

    words = quantity_words(name)
    unit = words.unit or unit_text(quantity.unit)
    value, u = quantity.value * words.factor, quantity.u * words.factor
    if not math.isfinite(value):
        return _NONE, _NONE
    if not (math.isfinite(u) and u > 0):
        return _with_unit(number(value, 5), unit), _NONE
    rounded, uncertainty = round_together(value, u)
    if not _LEAST <= max(abs(value), u) < _MOST:
        return _with_unit(number(value, 5), unit), _with_unit(number(u, 2), unit)
    return _with_unit(_minus(f"{rounded:f}"), unit), _with_unit(f"{uncertainty:f}", unit)


def aligned(name: str, items: Sequence[object]) -> list[str]:
    """Return one quantity of several launches or benches as a column: all to the same decimal place, the points below each other.

    items: Quantity each; anything else is shown as "–". The digits in brackets are the standard uncertainty. Figure spaces after
    a shorter bracket keep the points in line where the column is set flush right.
    """
    known = [item for item in items if isinstance(item, Quantity) and math.isfinite(item.value)]
    words = quantity_words(name)
    places = common_places([item.u * words.factor for item in known])
    shown = max((abs(item.value * words.factor) for item in known), default=0.0)
    if places is None or places < 0 or not _LEAST <= shown < _MOST:
        return [value_with_u(name, item) if isinstance(item, Quantity) else _NONE for item in items]
    texts, tails = [], []
    for item in items:
        if not isinstance(item, Quantity) or not math.isfinite(item.value):
            texts.append(_NONE)
            tails.append("")
            continue
        u = item.u * words.factor
        unit = words.unit or unit_text(item.unit)
        bracket = f"({round(_round(u, places) * 10**places)})" if u > 0 and math.isfinite(u) else ""
        texts.append(_minus(f"{_round(item.value * words.factor, places):.{places}f}"))
        tails.append(_with_unit(bracket, unit))
    longest = max(map(len, tails), default=0)
    return [
        text + tail + _FIGURE_SPACE * (longest - len(tail)) if text != _NONE else text
        for text, tail in zip(texts, tails, strict=True)
    ]


def common_places(uncertainties: Sequence[float]) -> int | None:
    """Return the decimal place to which a column is written, None when no uncertainty is known.

    It shows two digits of the middle one of the uncertainties, and at least one digit of the smallest.
    """
    known = sorted(u for u in uncertainties if u > 0.0 and math.isfinite(u))
    return max(_places(known[len(known) // 2]), _places(known[0]) - 1) if known else None


def interval_text(name: str, quantity: Quantity) -> str:
    """Return the coverage interval, both ends rounded to the place of the standard uncertainty's second digit."""
    words = quantity_words(name)
    unit = words.unit or unit_text(quantity.unit)
    ends = (quantity.low * words.factor, quantity.high * words.factor)
    if not all(map(math.isfinite, ends)):
        return _NONE
    u = quantity.u * words.factor
    places = _places(u) if u > 0 and math.isfinite(u) else _places(abs(ends[1] - ends[0]) or 1e-3)
    low, high = (_minus(f"{_round(end, places):.{max(places, 0)}f}") for end in ends)
    return _with_unit(f"{low} to {high}", unit)


def input_text(item: Input) -> str:
    """Return an input's estimate with its standard uncertainty, in the unit that reports show."""
    words = input_words(item.name)
    unit = words.unit or unit_text(item.unit)
    if item.u == 0:
        return _with_unit(number(item.value * words.factor, 8), unit)
    return _written(item.value * words.factor, item.u * words.factor, unit)


def number(value: float, digits: int) -> str:
    """Return a number with so many significant digits, never in E notation between 1e-4 and 1e7; "–" when there is none."""
    if not math.isfinite(value):
        return _NONE if math.isnan(value) else ("∞" if value > 0 else "−∞")
    if value == 0:
        return "0"
    rounded = float(f"{value:.{digits - 1}e}")
    size = math.floor(math.log10(abs(rounded)))
    if not -5 <= size < 8:
        mantissa, exponent = f"{value:.{digits - 1}e}".split("e")
        return _typeset(f"{mantissa}e{int(exponent)}")
    text = f"{rounded:.{max(digits - 1 - size, 0)}f}"
    # A whole number keeps its zeros; trailing zeros of a decimal say nothing where no uncertainty goes with them.
    return _minus(text.rstrip("0").rstrip(".") if "." in text else text)


def to_place(value: float, u: float) -> str:
    """Return a number rounded to the first digit of its uncertainty u, to three significant digits at most.

    u: 0 where nothing is known of it; three significant digits are kept then.
    """
    if not (u > 0.0 and math.isfinite(u) and math.isfinite(value) and value != 0.0):
        return number(value, 3)
    place = max(int(f"{u:.0e}".split("e")[1]), int(f"{value:.2e}".split("e")[1]) - 2)
    return _minus(f"{_round(value, -place):.{max(-place, 0)}f}")


def percent(value: float, digits: int = 2) -> str:
    """Return a fraction as a percentage with so many significant digits."""
    return f"{number(value * 100, digits)} %" if math.isfinite(value) else _NONE


def resolution_sentence(resolution: float) -> str:
    """Return what a bench can see, without a full stop: the limit of decision, and what is found nearly always.

    A loss as large as the expanded uncertainty U is told from zero half of the time. For a normal error it is found 95 times in
    100 when it is 1 + 1.645/1.960 times U (ISO 11843-1: critical value and minimum detectable value).
    """
    return (
        f"A difference below {percent(resolution)} of the energy at release would not have been told from zero; a loss has to be "
        f"near {percent(1.84 * resolution, 1 if resolution < 0.05 else 2)} to be found nearly always"
    )


def _written(value: float, u: float, unit: str) -> str:
    from joulebook.uncertainty.rounding import write

    if not math.isfinite(value):
        return _NONE
    if not (math.isfinite(u) and u > 0):
        return _with_unit(number(value, 5), unit)
    return _with_unit(_typeset(write(value, u, style="brackets")), unit)


def _typeset(text: str) -> str:
    """Return a number with a true minus sign and a power of ten written out: "1.7(2)e-6" as "1.7(2) × 10⁻⁶"."""
    mantissa, _, exponent = text.partition("e")
    return _minus(f"{mantissa} × 10{exponent.translate(_RAISED)}" if exponent else mantissa)


def _with_unit(text: str, unit: str) -> str:
    if not unit:
        return text
    return f"{text}{unit}" if unit == "°" else f"{text} {unit}"


def _places(u: float) -> int:
    """Return the decimal place of the second significant digit of u; negative left of the point."""
    return 1 - int(f"{u:.1e}".split("e")[1])


def _round(value: float, places: int) -> float:
    return round(value, places) + 0.0


def _minus(text: str) -> str:
    return text.replace("-", "−")
