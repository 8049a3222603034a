"""Reading a quantity with its uncertainty as people write it (GUM 7.2.2, 4.3.7).

    9.8 deg ± 0.25 deg          limits that hold the value: rectangular, u = a/√3 (GUM 4.3.7)
    9.8 deg ± 2 %               the same, as a part of the value
    9.8 deg ± 0.25 deg (triangular)  or (arcsine): u = a/√6 (GUM 4.3.9) or a/√2 (JCGM 101, 6.4.6)
    9.8 deg ± 0.25 deg (k=2)    an expanded uncertainty: normal, u = a/k (GUM 7.2.4, 4.3.3)
    9.8 deg ± 0.12 deg (normal) a standard uncertainty, normal (GUM 7.2.2, fourth form)
    9.80(12) deg                a standard uncertainty in the last digits (GUM 7.2.2, second form); 9.80(0.12) deg is its third
    9.80(12) deg (dof=9)        the same with degrees of freedom, scaled t

A text is matched against this grammar and never evaluated; units are those of `joulebook.uncertainty.units`.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache

from joulebook.errors import InputError
from joulebook.uncertainty.units import conversion, describe_dimension, dimension_of

__all__ = ["Reading", "read_quantity"]

_LONGEST = 200


@dataclass(frozen=True, slots=True)
class Reading:
    """A quantity as it was written, in the unit that was asked for.

    value: the estimate. u: the standard uncertainty; 0 where none was stated.
    distribution: "rectangular", "triangular", "arcsine", "normal" or "t"; "constant" where no uncertainty was stated.
    dof: degrees of freedom of u, infinite unless stated.
    stated: whether an uncertainty was written.
    """

    value: float
    u: float = 0.0
    distribution: str = "constant"
    dof: float = math.inf
    stated: bool = False


def read_quantity(text: str | float, *, unit: str) -> Reading:
    """Read a quantity, with or without uncertainty, and return it in `unit`.

    text: what was written, or a bare number, which will do for a pure number (unit "1") alone.
    unit: the unit wanted, one that joulebook knows ("deg", "kg", "m/s^2", "degC", "1").
    Raises InputError where the text is none of the forms above, the unit is missing, unknown or of another dimension, a number
    is not finite, or the uncertainty or its coverage factor is not above zero.
    """
    if isinstance(text, str):
        return _read_text(text, unit)
    if isinstance(text, bool) or not isinstance(text, int | float):
        raise _fault(f"{_shown(text)} is neither a number nor a text.", f'Write a text such as "{_example(unit)}".')
    try:
        value = float(text)
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        shown = "a number beyond 1e308" if isinstance(text, int) else str(text)
        raise _fault(f"{shown} is no measured value.", "Write a finite number.")
    if dimension_of(unit):
        raise _unit_missing(f"{text}", unit)
    return Reading(value)


_MINUS = re.compile(r"[\u2010-\u2014\u2212\ufe63\uff0d]")
_PLUS_MINUS = re.compile(r"\+\s?/\s?-|\+-|±")
_TIMES_TEN = re.compile(r"(?<=[\d.,)])\s?[×x]\s?10\s?(?:(?:\^|\*\*)\s?([-+]?\d+)|([⁻⁺]?[⁰¹²³⁴⁵⁶⁷⁸⁹]+))")
_SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻⁺", "0123456789-+")
_UNSIGNED = r"(?:\d+(?:[.,]\d*)?|[.,]\d+)"
_NUMBER = re.compile(rf"([-+]?\s?{_UNSIGNED}(?:[eE][-+]?\d+)?)\s*(.*)", re.DOTALL)
_BRACKET = re.compile(rf"([-+]?\s?{_UNSIGNED})\s?\(\s?({_UNSIGNED})\s?\)([eE][-+]?\d+)?\s*(.*)", re.DOTALL)
_SEXAGESIMAL = re.compile(r"([-+]?)\s?(\d+)\s?°\s?(\d+(?:[.,]\d+)?)\s?′(?:\s?(\d+(?:[.,]\d+)?)\s?″)?")
_REMARK = re.compile(r"^(.*[^\s/*·×^])\s?\(\s?([A-Za-z][^()]*)\)$", re.DOTALL)
_REMARK_PART = re.compile(rf"(?:(k|dof)\s?=\s?([-+]?{_UNSIGNED}(?:[eE][-+]?\d+)?)|([A-Za-z][A-Za-z-]*))")
_COMMA_NUMBER = re.compile(r"(?<![\d.,])(?:\d+,\d*|,\d+)(?![\d,])")
_GROUPED = re.compile(r"[1-9]\d{0,2},\d{3}")
_NOT_FINITE = re.compile(r"[-+]?\s?(nan|inf|infinity)\b", re.IGNORECASE)

# How far the limits ± a of each distribution lie from the mean, in standard deviations.
_LIMITS = {"rectangular": math.sqrt(3.0), "triangular": math.sqrt(6.0), "arcsine": math.sqrt(2.0)}
_PARTS = frozenset(["%", "percent", "‰", "permille", "ppm"])
_NO_NATURAL_ZERO = frozenset(["degC", "degF"])
_SAME_DISTRIBUTION = {"uniform": "rectangular", "u-shaped": "arcsine", "gaussian": "normal", "triangle": "triangular"}


@dataclass(frozen=True, slots=True)
class _Remark:
    """What stands in brackets at the end: a coverage factor, degrees of freedom, the name of a distribution."""

    k: float | None = None
    dof: float = math.inf
    distribution: str = ""


@lru_cache(maxsize=8192)
def _read_text(written: str, unit: str) -> Reading:
    if len(written) > _LONGEST:
        raise _fault(f"a quantity of {len(written)} characters is too long to be one.", f'Write it like "{_example(unit)}".')
    text = _plain(written)
    if not text:
        raise _fault("there is nothing between the quotes.", f'Write a value such as "{_example(unit)}", or leave the line out.')
    if _NOT_FINITE.match(text):
        raise _fault(f'"{written}" is no measured value.', "Write a finite number.")
    text, remark = _split_remark(text, written)
    _check_commas(text, written)
    sides = _PLUS_MINUS.split(text)
    if len(sides) > 2:
        raise _fault(f'"{written}" has more than one ±.', f'Write it like "{_example(unit)}".')
    if len(sides) == 2:
        return _with_limits(sides[0].strip(), sides[1].strip(), remark, unit, written)
    bracket = _BRACKET.fullmatch(text)
    if bracket is not None:
        return _with_bracket(bracket, remark, unit, written)
    if remark != _Remark():
        raise _fault(f'"{written}" says how an uncertainty was found, but none is there.', f'Write it like "{_example(unit)}".')
    number, own_unit = _number_and_unit(text, written, unit)
    return Reading(_value(number, own_unit, unit, written))


def _plain(written: str) -> str:
    """Return the text with one kind of space, minus and prime, and powers of ten as E notation."""
    text = " ".join(_MINUS.sub("-", written.replace("μ", "µ").replace("º", "°")).split())
    text = re.sub(r"(?<=[\d°\s])''|(?<=[\d\s])\"", "″", text)
    text = re.sub(r"(?<=[\d°\s])['’]", "′", text)
    return _TIMES_TEN.sub(lambda found: f"e{(found[1] or found[2]).translate(_SUPERSCRIPTS)}", text)


def _check_commas(text: str, written: str) -> None:
    """Refuse numbers whose comma could part thousands: 1,430 is a thousandfold apart in two countries."""
    found = _COMMA_NUMBER.findall(text)
    if not found or not all(map(_GROUPED.fullmatch, found)):
        return
    if "." in text:
        raise _fault(f'"{written}" mixes decimal point and comma.', "Write numbers without separators between thousands.")
    point, whole = found[0].replace(",", "."), found[0].replace(",", "")
    remedy = f"Write {point} or {whole}, whichever is meant."
    raise _fault(f'the comma in "{written}" can be a decimal comma or part thousands.', remedy)


def _split_remark(text: str, written: str) -> tuple[str, _Remark]:
    match = _REMARK.match(text)
    if match is None:
        return text, _Remark()
    k, dof, distribution = None, math.inf, ""
    for part in re.split(r"\s?[;,]\s?(?=[A-Za-z])", match[2].strip()):
        found = _REMARK_PART.fullmatch(part.strip())
        if found is None:
            raise _unknown_remark(part, written)
        if found[1] == "k":
            k = _finite(found[2], written)
        elif found[1] == "dof":
            dof = _finite(found[2], written)
        else:
            word = found[3].casefold()
            distribution = _SAME_DISTRIBUTION.get(word, word)
            if distribution not in _LIMITS and distribution != "normal":
                raise _unknown_remark(part, written)
    if k is not None and k <= 0.0:
        raise _fault(f'the coverage factor in "{written}" is {k:g}.', "A coverage factor is above 0, most often 2.")
    if dof < 1.0:
        raise _fault(f'the degrees of freedom in "{written}" are {dof:g}.', "There is at least 1: readings less one for a mean.")
    if distribution in _LIMITS and (k is not None or math.isfinite(dof)):
        what = "a coverage factor" if k is not None else "degrees of freedom"
        remedy = "Limits have none: write (k=2) alone for an expanded uncertainty."
        raise _fault(f'"{written}" gives {distribution} limits {what}.', remedy)
    return match[1].strip(), _Remark(k, dof, distribution)


def _with_limits(left: str, right: str, remark: _Remark, unit: str, written: str) -> Reading:
    """Read `left ± right`, where a unit may follow each side, the right one for both, or a bracket around both."""
    common = ""
    if left.startswith("("):
        inner, closed, common = right.partition(")")
        if not closed:
            raise _fault(f'a bracket in "{written}" is not closed.', "Close it before the unit.")
        left, right, common = left[1:].strip(), inner.strip(), common.strip()
    number, left_unit = _number_and_unit(left, written, unit)
    half, right_unit = _number_and_unit(right, written, unit)
    is_part = right_unit in _PARTS and left_unit not in _PARTS
    if common:
        if left_unit or (right_unit and not is_part):
            raise _fault(f'"{written}" has a unit inside and outside the bracket.', "Write the unit once, after the bracket.")
        left_unit = common
    elif not left_unit and not is_part:
        left_unit = right_unit
    value = _value(number, left_unit, unit, written)
    if is_part:
        if unit in _NO_NATURAL_ZERO or conversion(left_unit or "1", unit).has_offset:
            raise _fault(f'"{written}" gives a part of a temperature.', f'Degrees have no natural zero: write "± 2 {unit}".')
        half = abs(value) * conversion(right_unit, "1").difference(half)
    else:
        half = conversion(right_unit or left_unit or "1", unit).difference(half)
    _check_above_zero(half, written)
    if remark.distribution == "normal" or remark.k is not None or math.isfinite(remark.dof):
        if remark.k is None and not remark.distribution:
            raise _fault(f'"{written}" gives limits degrees of freedom.', "Add k, as in (k=2, dof=9), or write (normal, dof=9).")
        return _normal(value, half / (remark.k or 1.0), remark.dof, written)
    distribution = remark.distribution or "rectangular"
    return _stated(Reading(value, half / _LIMITS[distribution], distribution, stated=True), written)


def _with_bracket(match: re.Match[str], remark: _Remark, unit: str, written: str) -> Reading:
    """Read `9.80(12) deg`: digits without a decimal sign count in the last place of the value."""
    digits, bracket, exponent, own_unit = match[1], match[2], match[3] or "", match[4].strip()
    if remark.k is not None or remark.distribution in _LIMITS:
        raise _fault(
            f'the bracket in "{written}" holds a standard uncertainty, which takes no coverage factor or limits.',
            'Write "value ± half-width" for limits, or "value ± U (k=2)".',
        )
    places = len(re.split("[.,]", digits)[1]) if re.search("[.,]", digits) else 0
    counted = 0 if re.search("[.,]", bracket) else places
    # Read from its digits, so that no power of ten is multiplied inexactly.
    u = _finite(f"{bracket}e{int(exponent[1:] or 0) - counted}", written)
    value = _value(_finite(digits + exponent, written), own_unit, unit, written)
    u = conversion(own_unit or "1", unit).difference(u)
    _check_above_zero(u, written)
    return _normal(value, u, remark.dof, written)


def _normal(value: float, u: float, dof: float, written: str) -> Reading:
    return _stated(Reading(value, u, "t" if math.isfinite(dof) else "normal", dof, stated=True), written)


def _stated(reading: Reading, written: str) -> Reading:
    _check_above_zero(reading.u, written)
    return reading


def _check_above_zero(uncertainty: float, written: str) -> None:
    if not math.isfinite(uncertainty):
        raise _fault(f'the uncertainty in "{written}" is not finite.', "Write a finite number after ±.")
    if uncertainty == 0.0:
        raise _fault(f'the uncertainty in "{written}" is zero.', "No reading is that good: write what it can be off by.")
    if uncertainty < 0.0:
        raise _fault(f'the uncertainty in "{written}" is negative.', "Write it without a minus sign.")


def _number_and_unit(text: str, written: str, unit: str) -> tuple[float, str]:
    """Split "9.8 deg" into its number and its unit, which is "" where none is there; 9° 48′ is one number in degrees."""
    angle = _SEXAGESIMAL.fullmatch(text)
    if angle is not None:
        sign, degrees, minutes, seconds = angle.groups()
        parts = [_finite(part or "0", written) for part in (degrees, minutes, seconds)]
        if parts[1] >= 60.0 or parts[2] >= 60.0:
            raise _fault(f'"{written}" has 60 or more minutes or seconds of angle.', "Carry them over into degrees or minutes.")
        return math.copysign(parts[0] + parts[1] / 60.0 + parts[2] / 3600.0, -1.0 if sign == "-" else 1.0), "deg"
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise _fault(f'"{written}" is not a quantity that joulebook can read.', f'Write it like "{_example(unit)}".')
    rest = match[2].strip()
    # "1.2.3 m" or "1 000 m": what follows a number is a unit, and no unit starts with a digit other than the 1 of "1/s".
    if re.match(r"[\d.,+-]", rest) and not re.match(r"1(?![\d.,])", rest):
        remedy = "Write numbers without spaces or a second decimal sign."
        raise _fault(f'"{written}" has a number where its unit should be.', remedy)
    return _finite(match[1], written), rest


def _value(number: float, own_unit: str, unit: str, written: str) -> float:
    if not own_unit and dimension_of(unit):
        raise _unit_missing(written, unit)
    value = conversion(own_unit or "1", unit).value(number)
    if not math.isfinite(value):
        raise _fault(f'"{written}" is beyond any measured value.', "Write a finite number.")
    return value


def _finite(digits: str, written: str) -> float:
    number = float(digits.replace(",", ".").replace(" ", ""))
    if not math.isfinite(number):
        raise _fault(f'"{written}" is beyond any measured value.', "Write a finite number.")
    return number


def _example(unit: str) -> str:
    return "1.00 ± 0.01" if unit == "1" else f"1.00 {unit} ± 0.01 {unit}"


def _shown(thing: object) -> str:
    shown = str(thing).lower() if isinstance(thing, bool) else repr(thing)
    return shown if len(shown) <= 40 else f"{shown[:37]}..."


def _unit_missing(written: str, unit: str) -> InputError:
    """Say which unit to add, with the person's own number."""
    number = _PLUS_MINUS.split(written)
    shown = written.strip()
    suggestion = f"({shown.strip('()')}) {unit}" if len(number) > 1 else f"{shown} {unit}"
    return _fault(f'"{shown}" has no unit, and {describe_dimension(dimension_of(unit))} needs one.', f'Write "{suggestion}".')


def _unknown_remark(part: str, written: str) -> InputError:
    return _fault(
        f'"{part.strip()}" in "{written}" does not say how the uncertainty was found.',
        "Write (k=2), (normal), (rectangular), (triangular), (arcsine) or (dof=9).",
    )


def _fault(what: str, remedy: str) -> InputError:
    return InputError(what, remedy=remedy, code="quantity")
