"""Quantities as people write them; what each form means is the GUM's: 7.2.2 (four forms of u), 7.2.4 (U with k), 4.3.7, 4.3.9."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from joulebook.errors import InputError, JoulebookError
from joulebook.uncertainty.notation import Reading, read_quantity

R, T, A = math.sqrt(3.0), math.sqrt(6.0), math.sqrt(2.0)


def near(reading: Reading, value: float, u: float, distribution: str, dof: float = math.inf) -> bool:
    assert (reading.distribution, reading.dof, reading.stated) == (distribution, dof, True)
    assert reading.value == pytest.approx(value, rel=1e-14)
    assert reading.u == pytest.approx(u, rel=1e-14)
    return True


# From memory: the mass that the GUM writes in four ways (7.2.2: 100.021 47 g, u_c = 0.35 mg), and with U (7.2.4).
@pytest.mark.parametrize(
    "text", ["100.02147(35) g", "100.02147(0.00035) g", "(100.02147 ± 0.00035) g (normal)", "100.02147(35)e-3 kg"]
)
def test_the_gums_own_example(text: str) -> None:
    assert near(read_quantity(text, unit="kg"), 0.10002147, 0.35e-6, "normal")


def test_the_gums_own_expanded_uncertainty() -> None:
    """GUM 7.2.4, from memory: (100.021 47 ± 0.000 79) g with k = 2.26 from ν = 9 is u_c = 0.35 mg, to its two digits."""
    reading = read_quantity("(100.02147 ± 0.00079) g (k=2.26, dof=9)", unit="kg")
    assert near(reading, 0.10002147, 0.79e-6 / 2.26, "t", dof=9.0)
    assert round(reading.u * 1e6, 2) == 0.35


def test_limits_from_a_handbook() -> None:
    """GUM 4.3.7, example 1, from memory: copper's expansion 16.52e-6 /°C within ± 0.40e-6 has u = 0.23e-6 /°C."""
    assert read_quantity("16.52e-6 ± 0.40e-6", unit="1").u == pytest.approx(0.23e-6, abs=0.005e-6)


@pytest.mark.parametrize(
    "text",
    [
        "9.8 deg ± 0.25 deg", "9.8 ± 0.25 deg", "(9.8 ± 0.25) deg", "(9.8 deg ± 0.25 deg)", "9.8 deg +/- 0.25 deg",
        "9.8 deg +- 0.25 deg", "9.8deg±0.25deg", "9.8°±0.25°", "9.8° ± 15′", "9.8 deg ± 15'", "9° 48′ ± 15′",
        "9°48'0\" ± 0° 15′", "9,8 deg ± 0,25 deg", "  9.8\u00a0deg ± 0.25\u2009deg ", "9.8 deg ± 0.25",
        "9.8 deg ± 0.25 deg (rectangular)", "9.8 deg ± 0.25 deg ( Uniform )", "98e-1 deg ± 2.5E-1 deg",
        "9.8×10^0 deg ± 2.5 × 10⁻¹ deg", "+9.8 deg + / - 0.25 deg", "9.8 º +/− 0.25 º", "588 arcmin ± 15 arcmin",
        "9.80 degrees ± .25 degree",
    ],
)  # fmt: skip
def test_limits_are_rectangular(text: str) -> None:
    """GUM 4.3.7: u = a/√3."""
    assert near(read_quantity(text, unit="deg"), 9.8, 0.25 / R, "rectangular")


@pytest.mark.parametrize(
    ("text", "u", "distribution", "dof"),
    [
        ("1 m ± 6 mm (triangular)", 6e-3 / T, "triangular", math.inf),  # GUM 4.3.9
        ("1 m ± 6 mm (arcsine)", 6e-3 / A, "arcsine", math.inf),  # JCGM 101, 6.4.6
        ("1 m ± 6 mm (U-shaped)", 6e-3 / A, "arcsine", math.inf),
        ("1 m ± 6 mm (normal)", 6e-3, "normal", math.inf),  # GUM 7.2.2, fourth form
        ("1 m ± 6 mm (k=2)", 3e-3, "normal", math.inf),  # GUM 7.2.4
        ("1 m ± 6 mm ( k = 2 )", 3e-3, "normal", math.inf),
        ("1 m ± 6 mm (k=1.96)", 6e-3 / 1.96, "normal", math.inf),
        ("1 m ± 6 mm (k=1,96)", 6e-3 / 1.96, "normal", math.inf),
        ("1 m ± 6 mm (normal, k=2)", 3e-3, "normal", math.inf),
        ("1 m ± 6 mm (k=2,dof=9)", 3e-3, "t", 9.0),
        ("1 m ± 6 mm (k = 2; dof = 4,5)", 3e-3, "t", 4.5),
        ("1 m ± 6 mm (normal, dof=9)", 6e-3, "t", 9.0),
        ("1.0000(60) m", 6e-3, "normal", math.inf),  # GUM 7.2.2, second form
        ("1.000(6) m", 6e-3, "normal", math.inf),
        ("1.000 (6) m", 6e-3, "normal", math.inf),
        ("1,0000(60) m (dof=9)", 6e-3, "t", 9.0),
        ("1.0(0.006) m", 6e-3, "normal", math.inf),  # GUM 7.2.2, third form
        ("1000(6) mm", 6e-3, "normal", math.inf),
        ("1.000(6)e3 mm", 6e-3, "normal", math.inf),
        ("10.00(6)e-1 m", 6e-3, "normal", math.inf),
        ("1.000(6)×10³ mm", 6e-3, "normal", math.inf),
        ("1 m ± 0.6 %", 6e-3 / R, "rectangular", math.inf),
        ("(1 ± 0.6 %) m", 6e-3 / R, "rectangular", math.inf),
        ("1 m ± 6 ‰", 6e-3 / R, "rectangular", math.inf),
        ("-1 m ± 0.6 % (k=2)", 3e-3, "normal", math.inf),
    ],
)  # fmt: skip
def test_every_form_of_uncertainty(text: str, u: float, distribution: str, dof: float) -> None:
    reading = read_quantity(text, unit="m")
    assert near(reading, -1.0 if text.startswith("-") else 1.0, u, distribution, dof)


@pytest.mark.parametrize(
    ("text", "value", "u"),
    [
        ("0.015 ± 0.015", 0.015, 0.015 / R),
        ("1.000 ± 0.7 %", 1.0, 0.007 / R),  # a part of the value, since the value is not in %
        ("50 % ± 10 %", 0.5, 0.1 / R),  # both in %: points
        ("(50 ± 10) %", 0.5, 0.1 / R),
        ("50 % ± 10", 0.5, 0.1 / R),
        ("(0.5 ± 0.1)", 0.5, 0.1 / R),
        ("0.5 ± 1e5 ppm", 0.5, 0.05 / R),
    ],
)
def test_pure_numbers_and_percent(text: str, value: float, u: float) -> None:
    assert near(read_quantity(text, unit="1"), value, u, "rectangular")


@pytest.mark.parametrize(
    ("text", "unit", "value", "u"),
    [
        ("27 degC ± 2 degC", "degC", 27.0, 2.0 / R),
        ("27 °C ± 2 K", "degC", 27.0, 2.0 / R),
        ("300.15 K ± 2 K", "degC", 27.0, 2.0 / R),
        ("(80.6 ± 3.6) degF", "degC", 27.0, 2.0 / R),
        ("80.6 °F ± 2 K", "degC", 27.0, 2.0 / R),
        ("27 degC ± 2 degC", "K", 300.15, 2.0 / R),
        ("−5 degC ± 2 degC", "degC", -5.0, 2.0 / R),
        ("–5,5 ℃ ± 2 K", "degC", -5.5, 2.0 / R),
        ("27.0(12) degC", "K", 300.15, 1.2),
    ],
)
def test_temperatures(text: str, unit: str, value: float, u: float) -> None:
    """The value takes the scale's zero along, the uncertainty does not."""
    assert near(read_quantity(text, unit=unit), value, u, "normal" if "(1" in text else "rectangular")


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("1.20 m", "m", 1.2),
        ("120 cm", "m", 1.2),
        ("1.2e-3", "1", 0.0012),
        ("15 %", "1", 0.15),
        (0.015, "1", 0.015),
        (1, "1", 1.0),
        ("47 deg", "deg", 47.0),
        ("-33° 51′ 36″", "deg", -33.86),
        ("0,251 kg", "kg", 0.251),  # no thousands start with 0
        ("1,20 m", "m", 1.2),
        ("9.81 m/s²", "m/s^2", 9.81),
        ("9.81 m s⁻²", "m/s^2", 9.81),
        ("1013.25 hPa", "Pa", 101325.0),
    ],
)
def test_without_uncertainty(text: str | float, unit: str, value: float) -> None:
    reading = read_quantity(text, unit=unit)
    assert reading == Reading(reading.value)
    assert not reading.stated
    assert reading.value == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "unit", "what", "remedy"),
    [
        ("0.25", "kg", '"0.25" has no unit, and a mass needs one', 'Write "0.25 kg".'),
        (0.25, "kg", '"0.25" has no unit, and a mass needs one', 'Write "0.25 kg".'),
        (9, "deg", '"9" has no unit, and an angle needs one', 'Write "9 deg".'),
        ("9.8 ± 0.25", "deg", "has no unit", 'Write "(9.8 ± 0.25) deg".'),
        ("(9.8 ± 0.25)", "deg", "has no unit", 'Write "(9.8 ± 0.25) deg".'),
        ("9.8 ± 2 %", "deg", "has no unit", 'Write "(9.8 ± 2 %) deg".'),
        ("9.80(12)", "deg", "has no unit", 'Write "9.80(12) deg".'),
        ("250 g", "deg", 'the unit "g" is that of a mass, but an angle is needed here', '"deg"'),
        ("9.8 deg ± 1 kg", "deg", "a mass, but an angle", '"deg"'),
        ("9 deg", "1", "an angle, but a pure number", "bare number"),
        ("1 m ± 0 m", "m", "is zero", "can be off by"),
        ("0 m ± 2 %", "m", "is zero", "can be off by"),
        ("1.0(0) m", "m", "is zero", "can be off by"),
        ("1 m ± 1e-400 m", "m", "is zero", "can be off by"),
        ("1 m ± -1 m", "m", "is negative", "without a minus"),
        ("1 m ± −2 %", "m", "is negative", "without a minus"),
        ("nan m", "m", "no measured value", "finite"),
        ("-Infinity", "1", "no measured value", "finite"),
        (float("nan"), "1", "nan is no measured value", "finite"),
        (float("-inf"), "1", "-inf is no measured value", "finite"),
        (10**400, "1", "a number beyond 1e308 is no measured value", "finite"),
        ("1e999 m", "m", "beyond any measured value", "finite"),
        ("1e306 km", "m", "beyond any measured value", "finite"),
        ("1 m ± 1e306 km", "m", "is not finite", "finite"),
        ("1 m ± 1 m (k=0)", "m", "coverage factor in .* is 0", "above 0"),
        ("1 m ± 1 m (k=-2)", "m", "coverage factor in .* is -2", "above 0"),
        ("1.0(2) m (dof=0.5)", "m", "degrees of freedom in .* are 0.5", "at least 1"),
        ("1 m ± 1 m (dof=9)", "m", "limits degrees of freedom", "Add k"),
        ("1 m ± 1 m (k=2, rectangular)", "m", "rectangular limits a coverage factor", "(k=2) alone"),
        ("1 m ± 1 m (triangular, dof=3)", "m", "triangular limits degrees of freedom", "(k=2) alone"),
        ("1.0(2) m (k=2)", "m", "holds a standard uncertainty", "U (k=2)"),
        ("1.0(2) m (arcsine)", "m", "holds a standard uncertainty", "U (k=2)"),
        ("1 m ± 1 m (two sigma)", "m", '"two sigma" in .* does not say how', "triangular"),
        ("1 m ± 1 m (sigma)", "m", '"sigma" in .* does not say how', "triangular"),
        ("1 m (k=2)", "m", "but none is there", "±"),
        ("1 m (normal)", "m", "but none is there", "±"),
        ("1 m ± 1 m ± 1 m", "m", "more than one ±", "±"),
        ("(1 ± 1 m", "m", "is not closed", "Close it"),
        ("(1 m ± 1) m", "m", "inside and outside the bracket", "once"),
        ("(1 ± 1 mm) m", "m", "inside and outside the bracket", "once"),
        ("± 1 m", "m", "not a quantity", "1.00 m ± 0.01 m"),
        ("1 m ±", "m", "not a quantity", "1.00 m ± 0.01 m"),
        ("about 1 m", "m", "not a quantity", "1.00 m ± 0.01 m"),
        ("", "m", "nothing between the quotes", "leave the line out"),
        (" \t", "m", "nothing between the quotes", "leave the line out"),
        ("1 000 m", "m", "a number where its unit should be", "without spaces"),
        ("1.234.567 m", "m", "a number where its unit should be", "without spaces"),
        ("1.234,5 m", "m", "a number where its unit should be", "second decimal sign"),
        ("1,430 m", "m", "can be a decimal comma or part thousands", "Write 1.430 or 1430"),
        ("1,200 m ± 0.1 m", "m", "mixes decimal point and comma", "without separators"),
        ("27 degC ± 2 %", "degC", "a part of a temperature", '"± 2 degC"'),
        ("27 degC ± 2 %", "K", "a part of a temperature", '"± 2 K"'),
        ("9° 60′", "deg", "60 or more minutes", "Carry"),
        ("1 m" + " " * 200, "m", "203 characters", "1.00 m"),
        ("1 xyzzy", "m", '"xyzzy" is not a unit', "kg, g, m"),
        (True, "1", "true is neither a number nor a text", "1.00 ± 0.01"),
        ([1, 2], "m", r"\[1, 2\] is neither", "1.00 m ± 0.01 m"),
        (None, "m", "None is neither", "1.00 m ± 0.01 m"),
    ],
)
def test_faults_say_what_and_what_to_do(text: object, unit: str, what: str, remedy: str) -> None:
    with pytest.raises(InputError, match=what) as caught:
        read_quantity(text, unit=unit)  # type: ignore[arg-type]
    assert remedy in caught.value.remedy
    assert caught.value.code in ("quantity", "unit")


@pytest.mark.parametrize("text", ["1,200 m ± 0,001 m", "1,2000 m ± 0,001 m", "1,200 m ± 0,1 cm"])
def test_a_second_number_can_settle_the_comma(text: str) -> None:
    assert near(read_quantity(text, unit="m"), 1.2, 0.001 / R, "rectangular")


@pytest.mark.parametrize(
    "text",
    [
        "__import__('os').getcwd()",
        "1 __import__('os')",
        "1 m**9**9**9**9",
        "9**9**9 m",
        "1 m.__class__",
        "{0.__class__}",
        "1 m; 2",
    ],
)
def test_no_text_is_ever_evaluated(text: str) -> None:
    with pytest.raises(InputError):
        read_quantity(text, unit="m")


@given(
    st.text(max_size=210)
    | st.text(alphabet="0123456789.,eE+-±/()% mkgdegs°′²^×k=dof", max_size=40)
    | st.floats()
    | st.integers()
    | st.booleans()
    | st.none()
    | st.lists(st.integers(), max_size=2),
    st.sampled_from(["m", "deg", "kg", "1", "degC", "m/s^2", "Pa"]),
)
def test_anything_is_a_quantity_or_a_clear_error(text: object, unit: str) -> None:
    try:
        reading = read_quantity(text, unit=unit)  # type: ignore[arg-type]
    except JoulebookError as error:
        assert error.message and error.remedy
    else:
        assert math.isfinite(reading.value)
        assert 0.0 <= reading.u < math.inf
        assert reading.stated == (reading.u > 0.0)


plain = st.floats(-1e6, 1e6, allow_nan=False).map(lambda number: float(f"{number:.9g}"))
above_zero = st.floats(1e-6, 1e6).map(lambda number: float(f"{number:.6g}"))


@given(
    plain,
    above_zero,
    st.sampled_from(["m", "deg", "kg", "1", "degC", "m/s^2"]),
    st.sampled_from(["±", "+/-", "+-"]),
    st.booleans(),
)
def test_what_is_written_reads_back_the_same(value: float, half: float, unit: str, sign: str, minus: bool) -> None:
    """Value and half-width come back bit for bit, whatever the sign for ± and minus."""
    unit_text = "" if unit == "1" else f" {unit}"
    text = f"{value!r}{unit_text} {sign} {half!r}{unit_text}"
    reading = read_quantity(text.replace("-", "−") if minus and sign == "±" else text, unit=unit)
    assert reading.value == value
    assert reading.u == half / R


@given(st.integers(-(10**8), 10**8), st.integers(1, 10**4), st.integers(1, 6), st.sampled_from([".", ","]))
def test_digits_in_brackets_read_back_the_same(whole: int, last: int, places: int, point: str) -> None:
    """A standard uncertainty in the last digits is the nearest double to its decimal."""
    digits = f"{abs(whole):0{places + 1}d}"
    text = f"{'-' if whole < 0 else ''}{digits[:-places]}{point}{digits[-places:]}({last})"
    try:
        reading = read_quantity(text, unit="1")
    except InputError as error:
        assert point == "," and places == 3 and "part thousands" in error.message
    else:
        assert reading.value == float(f"{whole}e-{places}")
        assert reading.u == float(f"{last}e-{places}")
