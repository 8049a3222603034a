"""From a unit as people write it to the factor that carries its numbers into another unit.

A unit is a product of names with whole exponents ("kg/m^3", "m s⁻²", "cm²", "°"). The product is read here, by a grammar of
our own; only a single name that is not in the short table below is looked up in Pint, which is not even imported before that.
So no text is evaluated. Radians count as a dimension of their own here: 9 deg is an angle, never the pure number 0.157.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache
from typing import Any

from joulebook.errors import InputError

__all__ = ["COMMON_UNITS", "Conversion", "Dimension", "SIUnit", "conversion", "describe_dimension", "dimension_of"]

Dimension = tuple[tuple[str, int], ...]

_LONGEST = 60
_PURE: Dimension = ()


@dataclass(frozen=True, slots=True)
class SIUnit:
    """A unit said in SI base units: number_in_SI = factor × number + offset.

    factor: an exact fraction (of π/180 in binary, for degrees). offset: kelvins, for the scales that do not start at zero.
    dimension: exponents of the base units, sorted by name ("K", "kg", "m", "rad", "s").
    """

    factor: Fraction
    dimension: Dimension
    offset: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True)
class Conversion:
    """How numbers in one unit become numbers in another: (number + shift) × up / down + offset for a value.

    A difference, and so an uncertainty, takes no shift and no offset. `up` and `down` stay apart because 251.3 / 1000 is
    the double nearest to 0.2513 and 251.3 × 0.001 is not.
    """

    up: float
    down: float
    shift: float = 0.0
    offset: float = 0.0

    def value(self, number: float) -> float:
        """Return a value in the new unit."""
        return (number + self.shift) * self.up / self.down + self.offset

    def difference(self, number: float) -> float:
        """Return a difference of two values, such as an uncertainty, in the new unit."""
        return number * self.up / self.down

    @property
    def has_offset(self) -> bool:
        """True where the two units' zeros differ, as those of kelvin and degree Celsius do."""
        return self.shift != 0.0 or self.offset != 0.0


def conversion(text: str, unit: str) -> Conversion:
    """Return how numbers in the unit `text` become numbers in `unit`, which is one of ours.

    Raises InputError where `text` is no unit, or one of another dimension; the message names both dimensions.
    """
    if text == unit:
        return _SAME
    return _conversion(text, unit)


def dimension_of(text: str) -> Dimension:
    """Return the dimension of a unit as exponents of SI base units, radians included. Raises InputError where it is no unit."""
    return _parsed(text).dimension


def describe_dimension(dimension: Dimension) -> str:
    """Return a dimension in words ("a mass", "an angle"), or as a product of SI units where it has no common name."""
    words = _WORDS.get(dimension)
    if words is not None:
        return words
    return "a quantity in " + " ".join(base if power == 1 else f"{base}^{power}" for base, power in dimension)


def _table() -> dict[str, SIUnit]:
    length, mass, time, angle, kelvin = (("m", 1),), (("kg", 1),), (("s", 1),), (("rad", 1),), (("K", 1),)
    pressure = (("kg", 1), ("m", -1), ("s", -2))
    force = (("kg", 1), ("m", 1), ("s", -2))
    energy = (("kg", 1), ("m", 2), ("s", -2))
    degree = Fraction(math.pi) / 180
    zero_celsius = Fraction(27315, 100)
    rows: list[tuple[str, Fraction | int, Dimension]] = [
        ("m metre meter metres meters", 1, length),
        ("km", 1000, length),
        ("dm", Fraction(1, 10), length),
        ("cm", Fraction(1, 100), length),
        ("mm", Fraction(1, 1000), length),
        ("µm um", Fraction(1, 10**6), length),
        ("in inch", Fraction(254, 10000), length),
        ("ft foot", Fraction(3048, 10000), length),
        ("kg kilogram", 1, mass),
        ("g gram", Fraction(1, 1000), mass),
        ("mg", Fraction(1, 10**6), mass),
        ("s second seconds", 1, time),
        ("ms", Fraction(1, 1000), time),
        ("min minute", 60, time),
        ("h hour", 3600, time),
        ("deg degree degrees °", degree, angle),
        ("rad radian", 1, angle),
        ("mrad", Fraction(1, 1000), angle),
        ("arcmin ′", degree / 60, angle),
        ("arcsec ″", degree / 3600, angle),
        ("K kelvin", 1, kelvin),
        ("delta_degC", 1, kelvin),
        ("delta_degF", Fraction(5, 9), kelvin),
        ("Pa pascal", 1, pressure),
        ("hPa mbar", 100, pressure),
        ("kPa", 1000, pressure),
        ("bar", 10**5, pressure),
        ("N newton", 1, force),
        ("J joule", 1, energy),
        ("1", 1, _PURE),
        ("% percent", Fraction(1, 100), _PURE),
        ("‰ permille", Fraction(1, 1000), _PURE),
        ("ppm", Fraction(1, 10**6), _PURE),
    ]
    table = {name: SIUnit(Fraction(factor), dimension) for names, factor, dimension in rows for name in names.split()}
    for name in ["degC", "°C", "℃", "celsius"]:
        table[name] = SIUnit(Fraction(1), kelvin, zero_celsius)
    for name in ["degF", "°F", "℉", "fahrenheit"]:
        table[name] = SIUnit(Fraction(5, 9), kelvin, zero_celsius - Fraction(160, 9))
    return table


COMMON_UNITS: Mapping[str, SIUnit] = _table()

_SAME = Conversion(1.0, 1.0)
_WORDS: Mapping[Dimension, str] = {
    _PURE: "a pure number",
    (("m", 1),): "a length",
    (("m", 2),): "an area",
    (("m", 3),): "a volume",
    (("kg", 1),): "a mass",
    (("s", 1),): "a time",
    (("s", -1),): "a rate",
    (("rad", 1),): "an angle",
    (("K", 1),): "a temperature",
    (("m", 1), ("s", -1)): "a speed",
    (("m", 1), ("s", -2)): "an acceleration",
    (("kg", 1), ("m", -3)): "a density",
    (("kg", 1), ("m", -1), ("s", -2)): "a pressure",
    (("kg", 1), ("m", 1), ("s", -2)): "a force",
    (("kg", 1), ("s", -2)): "a spring constant",
    (("kg", 1), ("m", 2), ("s", -2)): "an energy",
    (("A", 1), ("s", 1)): "an electric charge",
}
_SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻⁺", "0123456789-+")
_TOKEN = re.compile(
    r"\s*(?:(?P<name>[°℃℉′″%‰]|°[CF]\b|[A-Za-zµΩÅ_]+)|(?P<power>(?:\^|\*\*)\s*[-+]?\d{1,2}(?!\d)|[⁻⁺]?[⁰¹²³⁴⁵⁶⁷⁸⁹]{1,2}|(?<=[A-Za-z])[-+]?[1-9](?!\d))"
    r"|(?P<sign>[*/·⋅×()])|(?P<one>1(?![\d.,])))"
)
# Pint's names of base units, and ours.
_BASE_SIGN = {
    "meter": "m", "gram": "kg", "second": "s", "radian": "rad", "kelvin": "K", "ampere": "A", "mole": "mol", "candela": "cd",
}  # fmt: skip
_CELSIUS = re.compile(r"°\s?([CF])\b")


@lru_cache(maxsize=4096)
def _conversion(text: str, unit: str) -> Conversion:
    source, target = _parsed(text), _parsed(unit)
    if source.dimension != target.dimension:
        here, needed = describe_dimension(source.dimension), describe_dimension(target.dimension)
        remedy = (
            f'Write it in "{unit}" or another unit of that kind.' if target.dimension else "Write a bare number, or one in %."
        )
        raise InputError(f'the unit "{text}" is that of {here}, but {needed} is needed here.', remedy=remedy, code="unit")
    ratio = source.factor / target.factor
    # Whole numbers below 2^53 are exact doubles, so that one rounding is all there is.
    exact = max(ratio.numerator, ratio.denominator) < 2**53
    up, down = (float(ratio.numerator), float(ratio.denominator)) if exact else (float(ratio), 1.0)
    # (number + shift) × ratio + offset: the zero is moved in the unit that keeps it a short decimal.
    zero = (source.offset - target.offset) / target.factor
    if zero == 0:
        return Conversion(up, down)
    shift = (source.offset - target.offset) / source.factor
    if shift.denominator <= zero.denominator:
        return Conversion(up, down, shift=float(shift))
    return Conversion(up, down, offset=float(zero))


@lru_cache(maxsize=4096)
def _parsed(text: str) -> SIUnit:
    common = COMMON_UNITS.get(text)
    if common is not None:
        return common
    if len(text) > _LONGEST:
        what = f"a unit of {len(text)} characters is too long to be one."
        raise InputError(what, remedy="Write the unit's short sign.", code="unit")
    tokens = _tokens(text)
    unit, position = _product(tokens, 0, text)
    if position != len(tokens):
        raise _not_a_unit(text)
    return unit


def _tokens(text: str) -> list[tuple[str, str]]:
    tokens, position = [], 0
    text_joined = _CELSIUS.sub(r"deg\1", text).rstrip()
    while position < len(text_joined):
        match = _TOKEN.match(text_joined, position)
        if match is None:
            raise _not_a_unit(text)
        kind = match.lastgroup or ""
        tokens.append((kind, match[kind]))
        position = match.end()
    return tokens


def _product(tokens: list[tuple[str, str]], position: int, text: str) -> tuple[SIUnit, int]:
    """Read factors from left to right; a slash divides by the one factor that follows it."""
    factors: list[tuple[SIUnit, int]] = []
    direction, wanted = 1, True
    while position < len(tokens):
        kind, sign = tokens[position]
        if kind == "sign" and sign in "*/·⋅×":
            if wanted:
                raise _not_a_unit(text)
            direction, wanted = (-1 if sign == "/" else 1), True
            position += 1
            continue
        if kind == "sign" and sign == ")":
            break
        if kind == "sign":
            unit, position = _product(tokens, position + 1, text)
            if position >= len(tokens) or tokens[position] != ("sign", ")"):
                raise _not_a_unit(text)
        elif kind in ("name", "one"):
            unit = _named(sign, text)
        else:
            raise _not_a_unit(text)
        position += 1
        power = direction
        if position < len(tokens) and tokens[position][0] == "power":
            power *= int(tokens[position][1].translate(_SUPERSCRIPTS).lstrip("^*").replace(" ", ""))
            position += 1
        factors.append((unit, power))
        direction, wanted = 1, False
    if wanted:
        raise _not_a_unit(text)
    return (factors[0][0] if len(factors) == 1 and factors[0][1] == 1 else _multiplied(factors, text)), position


def _multiplied(factors: list[tuple[SIUnit, int]], text: str) -> SIUnit:
    """Multiply units; inside a product a degree Celsius is a difference, so offsets drop out."""
    factor, exponents = Fraction(1), dict[str, int]()
    for unit, power in factors:
        factor *= unit.factor**power
        for base, exponent in unit.dimension:
            exponents[base] = exponents.get(base, 0) + exponent * power
    # A double must hold the factor, and nothing that is measured at a bench comes near that.
    if not 10**-100 < factor < 10**100:
        raise _not_a_unit(text)
    return SIUnit(factor, tuple(sorted((base, exponent) for base, exponent in exponents.items() if exponent)))


def _named(name: str, text: str) -> SIUnit:
    common = COMMON_UNITS.get(name)
    unit = common if common is not None else _from_pint(name)
    if unit is None:
        raise _not_a_unit(text, name)
    return unit


def _not_a_unit(text: str, name: str = "") -> InputError:
    alike = {known.casefold(): known for known in reversed(list(COMMON_UNITS))}
    near = difflib.get_close_matches((name or text).casefold(), alike, n=1, cutoff=0.6)
    hint = f' Did you mean "{alike[near[0]]}"?' if near else ""
    return InputError(
        f'"{name or text}" is not a unit that joulebook knows.{hint}',
        remedy="Write a unit such as kg, g, m, cm, mm, deg, s, m/s^2, m^2, kg/m^3, degC or %.",
        code="unit",
    )


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(cache_folder=None)


@lru_cache(maxsize=1024)
def _from_pint(name: str) -> SIUnit | None:
    """Look a single name up in Pint; None where Pint knows it not, or where its scale is not a straight line."""
    if not name.isidentifier():
        return None
    registry = _registry()
    try:
        unit = registry.Unit(name)
        root = registry.Quantity(1.0, unit).to_root_units().units
        zero, one, two = (float(registry.Quantity(number, unit).to(root).magnitude) for number in (0.0, 1.0, 2.0))
        exponents = {str(base): power for base, power in root._units.items()}
    except Exception:  # Pint raises its own, but also AssertionError, TypeError or ZeroDivisionError, on odd names and scales.
        return None
    slope = one - zero
    # A logarithmic scale (decibel, pH) is no straight line, and no measured input here is given in one.
    straight = math.isfinite(two) and math.isclose(two - one, slope, rel_tol=1e-9)
    if not straight or slope <= 0.0 or any(power != int(power) for power in exponents.values()):
        return None
    factor, dimension = Fraction(slope), []
    for base, power in exponents.items():
        if base == "gram":
            factor *= Fraction(1, 1000) ** int(power)
        dimension.append((_BASE_SIGN.get(base, base), int(power)))
    return SIUnit(factor, tuple(sorted(dimension)), Fraction(zero))
