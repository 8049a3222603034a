"""Arithmetic as it is written on paper: "½ × 0.2513 × 0.99599²" worked out, and numbers written with so many figures.

The working of an audit is text. Its results are worked out from that very text, so that the figures on the paper and the
calculation cannot part ways.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable

__all__ = ["evaluate", "figure"]

_TOKEN = re.compile(r"\s*(\d+(?:[.,]\d+)?|arcsin|sin|cos|exp|[½π√()+−×/|°]|[⁰¹²³⁴⁵⁶⁷⁸⁹⁻]+)")
_SUPERSCRIPT = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", "0123456789-")
_RAISED = str.maketrans("0123456789-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻")


def figure(value: float, digits: int = 6, *, decimal: str = ".") -> str:
    """Return a number with `digits` significant figures, zeros at the end of a decimal left out; very small and large ones as
    "1.23456 × 10⁻⁷"."""
    if value == 0:
        return "0"
    mantissa, exponent = f"{value:.{digits - 1}e}".split("e")
    power = int(exponent)
    if -5 <= power < 8:
        text = f"{float(f'{mantissa}e{exponent}'):.{max(0, digits - 1 - power)}f}"
        text = text.rstrip("0").rstrip(".") if "." in text else text
    else:
        text = (mantissa.rstrip("0").rstrip(".") if "." in mantissa else mantissa) + f" × 10{str(power).translate(_RAISED)}"
    return text.replace("-", "−").replace(".", decimal)


def evaluate(text: str) -> float:
    """Return the value of an expression.

    text: numbers with decimal point or comma, ½ and π; + − × /; ² and powers of ten as 10⁻³; brackets and |…| for the size;
    √(…), exp(…), sin(…) and cos(…) with an angle in degrees marked °, arcsin(…), which gives degrees.
    Raises ValueError for anything else.
    """
    tokens: list[str] = []
    place = 0
    while place < len(text.rstrip()):
        match = _TOKEN.match(text, place)
        if match is None:
            raise ValueError(f"not arithmetic at {text[place:]!r}")
        tokens.append(match[1])
        place = match.end()
    value, end = _sum(tokens, 0)
    if end != len(tokens):
        raise ValueError(f"{text!r} goes on after its end, at {tokens[end]!r}")
    return value


def _sum(tokens: list[str], place: int) -> tuple[float, int]:
    value, place = _product(tokens, place)
    while place < len(tokens) and tokens[place] in "+−":
        right, after = _product(tokens, place + 1)
        value = value + right if tokens[place] == "+" else value - right
        place = after
    return value, place


def _product(tokens: list[str], place: int) -> tuple[float, int]:
    value, place = _signed(tokens, place)
    while place < len(tokens) and tokens[place] in "×/":
        right, after = _signed(tokens, place + 1)
        value = value * right if tokens[place] == "×" else value / right
        place = after
    return value, place


def _signed(tokens: list[str], place: int) -> tuple[float, int]:
    if place < len(tokens) and tokens[place] == "−":
        value, place = _signed(tokens, place + 1)
        return -value, place
    value, place = _one(tokens, place)
    while place < len(tokens):
        token = tokens[place]
        if token == "°":
            value = math.radians(value)
        elif token[0] in "⁰¹²³⁴⁵⁶⁷⁸⁹⁻":
            value = value ** int(token.translate(_SUPERSCRIPT))
        else:
            break
        place += 1
    return value, place


def _one(tokens: list[str], place: int) -> tuple[float, int]:
    if place >= len(tokens):
        raise ValueError("the expression ends too early")
    token = tokens[place]
    if token[0].isdecimal() and token[0] in "0123456789":
        return float(token.replace(",", ".")), place + 1
    if token in _CONSTANTS:
        return _CONSTANTS[token], place + 1
    closing = "|" if token == "|" else ")"
    if token not in "(|" and token in _FUNCTIONS and tokens[place + 1 : place + 2] == ["("]:
        start = place + 2
    elif token in "(|":
        start = place + 1
    else:
        raise ValueError(f"not a number: {token!r}")
    value, end = _sum(tokens, start)
    if tokens[end : end + 1] != [closing]:
        raise ValueError(f"a {closing!r} is missing")
    return _FUNCTIONS[token](value), end + 1


_CONSTANTS = {"½": 0.5, "π": math.pi}
_FUNCTIONS: dict[str, Callable[[float], float]] = {
    "(": float,
    "|": abs,
    "√": math.sqrt,
    "exp": math.exp,
    "sin": math.sin,
    "cos": math.cos,
    "arcsin": lambda ratio: math.degrees(math.asin(ratio)),
}
