"""Units: the table of common units against Pint, and the grammar of products."""

from __future__ import annotations

import math
import subprocess
import sys
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from joulebook.errors import InputError, JoulebookError
from joulebook.uncertainty.units import COMMON_UNITS, conversion, describe_dimension, dimension_of

PINT = pint.UnitRegistry(cache_folder=None)
# Signs that Pint's own parser does not take, and the names that it has for them.
PINT_NAME = {"′": "arcminute", "″": "arcsecond", "℃": "degC", "°F": "degF", "℉": "degF", "1": "dimensionless"}
SI = {"m": "meter", "kg": "kilogram", "s": "second", "rad": "radian", "K": "kelvin"}


@pytest.mark.parametrize("name", COMMON_UNITS)
def test_common_units_agree_with_pint(name: str) -> None:
    """Every unit of the table has Pint's factor, offset and dimension."""
    mine = COMMON_UNITS[name]
    unit = PINT.Unit(PINT_NAME.get(name, name))
    base = PINT.dimensionless
    for sign, power in mine.dimension:
        base = base * PINT.Unit(SI[sign]) ** power
    zero, hundred = (PINT.Quantity(number, unit).to(base).magnitude for number in (0.0, 100.0))
    assert zero == pytest.approx(float(mine.offset), rel=1e-13, abs=1e-300)
    assert hundred == pytest.approx(float(100 * mine.factor + mine.offset), rel=1e-13)
    # Pint counts an angle as a pure number; its root units do not, and neither do we.
    roots = {str(sign): power for sign, power in PINT.Quantity(1.0, unit).to_root_units().units._units.items()}
    assert roots == {{"kilogram": "gram"}.get(SI[sign], SI[sign]): power for sign, power in mine.dimension}


@pytest.mark.parametrize(
    "text",
    [
        "m^2",
        "m²",
        "m**2",
        "m2",
        "m·m",
        "m*m",
        "m m",
        "m⋅m",
        "m × m",
        "(m)^2",
        "m^3/m",
        "m³ m⁻¹",
        "m3 m-1",
        "m^ 2",
        "m^+2",
        "1/m^-2",
        "m^2 · s^0",
    ],
)
def test_products_have_many_spellings(text: str) -> None:
    assert conversion(text, "m^2").value(3.0) == 3.0


@pytest.mark.parametrize(
    ("text", "unit", "number", "expected"),
    [
        ("cm^2", "m^2", 30.0, 0.003),
        ("g", "kg", 251.3, 0.2513),
        ("mm", "m", 171.0, 0.171),
        ("g/cm^3", "kg/m^3", 0.0012, 1.2),
        ("kg/(m s^2)", "Pa", 5.0, 5.0),
        ("kg/m/s^2", "Pa", 5.0, 5.0),
        ("hPa", "Pa", 1013.25, 101325.0),
        ("rad", "deg", math.pi, 180.0),
        ("km/h^2", "m/s^2", 1296.0, 0.1),
        ("degC", "K", 20.0, 293.15),
        ("K", "degC", 293.15, 20.0),
        ("° C", "degC", 20.0, 20.0),
        ("degF", "degC", 68.0, 20.0),
        ("degF", "K", 32.0, 273.15),
        ("%", "1", 50.0, 0.5),
    ],
)
def test_common_units_convert_without_a_rounding_error_of_their_own(text: str, unit: str, number: float, expected: float) -> None:
    assert conversion(text, unit).value(number) == pytest.approx(expected, rel=3e-16)


@pytest.mark.parametrize(
    ("text", "unit"),
    [("lb", "kg"), ("oz", "kg"), ("yd", "m"), ("mile", "m"), ("Gal", "m/s^2"), ("lb/ft^3", "kg/m^3"), ("torr", "Pa"),
     ("gon", "deg"), ("turn", "deg"), ("kgf/cm^2", "Pa"), ("megagram", "kg"), ("degR", "degC"), ("kelvin", "degC")],
)  # fmt: skip
def test_other_units_are_pints(text: str, unit: str) -> None:
    expected = PINT.Quantity(3.7, text).to(unit).magnitude
    assert conversion(text, unit).value(3.7) == pytest.approx(expected, rel=1e-12)


def test_an_uncertainty_takes_no_offset() -> None:
    """A difference of temperatures (Pint's delta units) has the factor alone."""
    assert conversion("degF", "degC").difference(9.0) == pytest.approx(5.0, rel=1e-15)
    assert conversion("K", "degC").difference(2.0) == 2.0
    assert conversion("degC", "degC").has_offset is False
    assert conversion("K", "degC").has_offset is True


def test_an_angle_is_no_pure_number() -> None:
    assert dimension_of("deg") == (("rad", 1),) != dimension_of("1")
    with pytest.raises(InputError, match='unit "deg" is that of an angle, but a pure number is needed') as caught:
        conversion("deg", "1")
    assert caught.value.remedy == "Write a bare number, or one in %."


@pytest.mark.parametrize(
    ("text", "unit", "both"),
    [
        ("kg", "deg", "a mass, but an angle"),
        ("m/s", "m/s^2", "a speed, but an acceleration"),
        ("C", "degC", "an electric charge, but a temperature"),
        ("%", "m", "a pure number, but a length"),
        ("kg^2 m", "m^2", r"a quantity in kg\^2 m, but an area"),
        ("1/s", "s", "a rate, but a time"),
    ],
)
def test_a_wrong_dimension_names_both(text: str, unit: str, both: str) -> None:
    with pytest.raises(InputError, match=both) as caught:
        conversion(text, unit)
    assert unit in caught.value.remedy


@pytest.mark.parametrize(
    "text",
    ["Kgg", "deg C2x", "m^", "^2", "/m", "m/", "m//s", "(m", "m)", "()", "m^2.5", "m^100", "m^999999", "m²³⁴", "2 m",
     "m 2", "m^2^2", "dBm", "pH_", "__import__", "m;s", "m\x00", "", " ", "km^99", "os.system", "f(m)", "m**m", "10^3 m",
     "dB", "Np", "=", "x" * 61, "(" * 60, "[m]", "☃"],
)  # fmt: skip
def test_what_is_no_unit_is_refused(text: str) -> None:
    with pytest.raises(InputError, match=r"is not a unit|too long to be one") as caught:
        conversion(text, "m")
    assert caught.value.remedy


def test_a_near_miss_gets_a_hint() -> None:
    with pytest.raises(InputError, match=r'"Kg" is not a unit that joulebook knows\. Did you mean "kg"'):
        conversion("Kg", "kg")


def test_pint_is_not_loaded_for_common_units() -> None:
    """A bench file in common units never pays for Pint's start."""
    code = (
        "import sys; from joulebook.uncertainty.units import conversion as c\n"
        "for one in ['kg', 'g', 'm', 'cm', 'mm', 's', 'ms']: c(one, one)\n"
        "c('g', 'kg'), c('cm', 'm'), c('cm^2', 'm^2'), c('m/s²', 'm/s^2'), c('°', 'deg'), c('%', '1')\n"
        "c('K', 'degC'), c('g/cm^3', 'kg/m^3')\n"
        "print('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"


def test_words_for_dimensions() -> None:
    assert describe_dimension(dimension_of("N/m")) == "a spring constant"
    assert describe_dimension(dimension_of("m^4")) == "a quantity in m^4"
    assert COMMON_UNITS["g"].factor == Fraction(1, 1000)


@given(st.text(max_size=70) | st.text(alphabet="mkgs°%/*^()-+ 0123²⁻·", max_size=20))
def test_any_text_is_a_unit_or_a_clear_error(text: str) -> None:
    try:
        assert isinstance(dimension_of(text), tuple)
    except JoulebookError as error:
        assert error.remedy
