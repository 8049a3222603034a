"""Units in headings."""

from __future__ import annotations

import pytest

from joulebook.readers.units import parse_unit

# NIST SP 811, appendix B.8 (inch, foot, yard, exact); SI Brochure, 9th edition, tables 7 and 8 (prefixes, minute, hour).
SIZES = [
    ("s", "time", 1.0),
    ("ms", "time", 1e-3),
    ("µs", "time", 1e-6),
    ("μs", "time", 1e-6),
    ("min", "time", 60.0),
    ("h", "time", 3600.0),
    ("m", "length", 1.0),
    ("cm", "length", 1e-2),
    ("mm", "length", 1e-3),
    ("dm", "length", 0.1),
    ("km", "length", 1e3),
    ("in", "length", 0.0254),
    ("inches", "length", 0.0254),
    ("ft", "length", 0.3048),
    ("yd", "length", 0.9144),
    ("Sekunden", "time", 1.0),
    ("secondes", "time", 1.0),
    ("Meter", "length", 1.0),
    ("mètres", "length", 1.0),
    ("δευτερόλεπτα", "time", 1.0),
    ("Zentimeter", "length", 0.01),
    ("S", "time", 1.0),
    ("MM", "length", 1e-3),
]


@pytest.mark.parametrize(("text", "dimension", "factor"), SIZES)
def test_sizes(text: str, dimension: str, factor: float) -> None:
    unit = parse_unit(text)
    assert unit is not None
    assert (unit.dimension, unit.factor) == (dimension, pytest.approx(factor, rel=1e-15))


@pytest.mark.parametrize("text", ["m/s", "cm/s", "mm/s", "m s^-1", "m·s⁻¹", "m*s-1", "ft/s", "km/h", "м/с"])
def test_velocities(text: str) -> None:
    unit = parse_unit(text)
    assert unit is not None and unit.dimension == "velocity"


@pytest.mark.parametrize("text", ["m/s²", "m/s^2", "m/s2", "m/s/s", "m·s⁻²", "m s^-2", "cm/s²", "m/(s^2)", "m/(s*s)"])
def test_accelerations(text: str) -> None:
    unit = parse_unit(text)
    assert unit is not None and unit.dimension == "acceleration"


@pytest.mark.parametrize("text", ["N", "V", "°C", "deg", "Hz", "kg", "J", "%"])
def test_others(text: str) -> None:
    unit = parse_unit(text)
    assert unit is not None and unit.dimension == "other"


@pytest.mark.parametrize("text", ["", " ", "cart", "run", "xyz", "m" * 30, "1"])
def test_no_unit(text: str) -> None:
    assert parse_unit(text) is None
