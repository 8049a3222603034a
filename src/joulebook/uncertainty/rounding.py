"""Results written with the GUM's rounding (JCGM 100, 7.2.2 and 7.2.6)."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Context, Decimal
from typing import Literal

from joulebook.errors import InputError

__all__ = ["round_together", "write"]

# Leading places between which a number is written without a power of ten.
_LOWEST, _HIGHEST = -5, 5
# The default context's 28 digits are too few for a large value with a tiny uncertainty.
_EXACT = Context(prec=700, rounding=ROUND_HALF_EVEN)


def write(
    value: float,
    u: float,
    unit: str = "",
    *,
    digits: int = 2,
    style: Literal["plus-minus", "brackets"] = "plus-minus",
    decimal: str = ".",
) -> str:
    """Return a value and its uncertainty as text, both rounded to the same decimal place.

    u: the standard (or expanded) uncertainty, in `unit`; 0 writes an exact value, NaN or infinity one of unknown uncertainty.
    unit: written after the numbers; "" or "1" for a pure number.
    digits: significant digits of u, 1 or 2 (GUM 7.2.6).
    style: "plus-minus": "9.80 deg ± 0.12 deg"; "brackets": "9.80(12) deg", the digits in brackets standing under the last ones.
    decimal: the decimal sign, "." or ",".
    Very large and very small numbers share a power of ten, as in "1.727(18)e-6 1/degC".
    Raises InputError for a negative u, another number of digits, style or decimal sign.
    """
    if style not in ("plus-minus", "brackets"):
        raise InputError(f"the style {style!r} is not known.", remedy="Choose plus-minus or brackets.")
    if decimal not in (".", ","):
        raise InputError(f"the decimal sign {decimal!r} is not known.", remedy="Choose a point or a comma.")
    _check(u, digits)
    tail = f" {unit}" if unit not in ("", "1") else ""
    if not math.isfinite(value):
        return f"not known{tail}"
    if not math.isfinite(u):
        shown = _number(Decimal(f"{value:.5e}").normalize(_EXACT), decimal)
        return f"{shown}{tail} (uncertainty not known)"
    if u == 0.0:
        return f"{_number(Decimal(repr(float(value))).normalize(_EXACT), decimal)}{tail}"
    rounded, uncertainty = round_together(value, u, digits=digits)
    leading = max(rounded.adjusted(), uncertainty.adjusted()) if rounded else uncertainty.adjusted()
    if style == "plus-minus":
        return f"{_number(rounded, decimal, leading)}{tail} ± {_number(uncertainty, decimal, leading)}{tail}"
    below_point = max(-_place(rounded), 0)
    bracket = int(_EXACT.scaleb(uncertainty, below_point))
    if _power(leading):
        # A mantissa has all its significant digits behind the point, whatever stood there before.
        bracket = int(_EXACT.scaleb(uncertainty, -_place(rounded)))
    return f"{_number(rounded, decimal, leading, f'({bracket})')}{tail}"


def round_together(value: float, u: float, *, digits: int = 2) -> tuple[Decimal, Decimal]:
    """Return value and u as decimals rounded to the place of the last significant digit of u.

    value: finite. u: finite and positive. Halves go to the even digit (ISO 80000-1, annex B), taken from the shortest decimal
    numbers that stand for value and u, so that binary rounding does not show.
    Raises InputError for a u that is not positive and for a number of digits other than 1 or 2.
    """
    _check(u, digits)
    if not (math.isfinite(value) and math.isfinite(u) and u > 0.0):
        raise InputError(f"{value:g} ± {u:g} cannot be rounded.", remedy="Give a finite value and a positive uncertainty.")
    exact = Decimal(repr(float(u)))
    place = exact.adjusted() - digits + 1
    uncertainty = _to_place(exact, place)
    if uncertainty.adjusted() > exact.adjusted():
        # 0.0996 became 0.100, one digit too many.
        place += 1
        uncertainty = _to_place(exact, place)
    rounded = _to_place(Decimal(repr(float(value))), place)
    return (rounded.copy_abs() if rounded == 0 else rounded), uncertainty


def _check(u: float, digits: int) -> None:
    if u < 0.0:
        raise InputError(f"an uncertainty cannot be {u:g}.", remedy="Give zero or a positive number.")
    if digits not in (1, 2):
        raise InputError(f"an uncertainty is not written with {digits} digits.", remedy="Choose 1 or 2 (GUM 7.2.6).")


def _number(number: Decimal, decimal: str, leading: int | None = None, bracket: str = "") -> str:
    """The number in plain form, or as mantissa, bracket and power of ten when its leading place is far from the point."""
    power = _power(number.adjusted() if leading is None and number else leading or 0)
    exponent = f"e{power}" if power else ""
    return f"{_EXACT.scaleb(number, -power):f}".replace(".", decimal) + bracket + exponent


def _power(leading: int) -> int:
    return 0 if _LOWEST <= leading <= _HIGHEST else leading


def _place(number: Decimal) -> int:
    exponent = number.as_tuple().exponent
    assert isinstance(exponent, int)
    return exponent


def _to_place(number: Decimal, place: int) -> Decimal:
    return number.quantize(Decimal((0, (1,), place)), context=_EXACT)
