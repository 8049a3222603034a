"""Gravity and the speed of sound against published tables (REFERENCES G1–G8 and section 4)."""

from __future__ import annotations

import numpy as np
import pytest

from joulebook.experiments.environment import GRAVITY_ANOMALY, STANDARD_PRESSURE, distance_scale, normal_gravity, speed_of_sound

STEP = 1e-30


@pytest.mark.parametrize(
    ("latitude", "published", "tolerance"),
    [
        (0.0, 9.7803267715, 5e-11),  # G1: GRS80, Moritz 1980/2000
        (90.0, 9.8321863685, 5e-11),
        (-90.0, 9.8321863685, 5e-11),
        (45.0, 9.806199203, 1e-9),
        (45.0, 9.8061992026, 5e-10),  # G2: 40 CFR 1065.630, worked example
    ],
)
def test_normal_gravity_on_the_ellipsoid(latitude: float, published: float, tolerance: float) -> None:
    assert normal_gravity(latitude, 0.0) == pytest.approx(published, abs=tolerance)


@pytest.mark.parametrize("latitude", [0.0, 13.0, 39.13, 45.0, 51.5, 68.0, 90.0])
def test_normal_gravity_agrees_with_the_other_printed_formulas(latitude: float) -> None:
    """G2: the series of 40 CFR 1065.630. G5: the formula of Kaye & Laby 2.7.5, printed to 1e-6. G3: WGS84's own constants."""
    sine = np.sin(np.radians(latitude)) ** 2
    series = 9.7803267715 * (1 + 5.2790414e-3 * sine + 2.32718e-5 * sine**2 + 1.262e-7 * sine**3 + 7e-10 * sine**4)
    assert normal_gravity(latitude, 0.0) == pytest.approx(series, abs=1e-9)
    kaye_laby = 9.780327 * (1 + 0.0053024 * sine - 0.0000058 * np.sin(2 * np.radians(latitude)) ** 2) - 3.086e-6 * 1000.0
    assert normal_gravity(latitude, 1000.0) == pytest.approx(kaye_laby, abs=5e-6)
    wgs84 = 9.7803253359 * (1 + 0.00193185265241 * sine) / np.sqrt(1 - 0.00669437999013 * sine)
    # The two systems differ by their masses alone, 1.4e-6 m/s².
    assert normal_gravity(latitude, 0.0) - wgs84 == pytest.approx(1.4356e-6, abs=5e-9)


@pytest.mark.parametrize(("latitude", "per_metre"), [(0.0, -3.0871e-6), (45.0, -3.0849e-6), (90.0, -3.0827e-6)])
def test_free_air_gradient(latitude: float, per_metre: float) -> None:
    """G4: mean gradient over the first kilometre, from the exact field; the usual figure is −3.086e-6."""
    fall = (normal_gravity(latitude, 1000.0) - normal_gravity(latitude, 0.0)) / 1000.0
    assert fall == pytest.approx(per_metre, abs=1e-9)


def exact_normal_gravity(latitude: float, height: float) -> float:
    """The gradient of the ellipsoid's potential in closed form (Heiskanen and Moritz 1967, 2-62), by complex steps.

    GRS80's defining constants: a, GM, ω, and E = e·a from its e² (Moritz 2000).
    """
    a, gm, omega, e_squared = 6378137.0, 3986005e8, 7.292115e-5, 0.00669438002290
    b, focal = a * np.sqrt(1 - e_squared), a * np.sqrt(e_squared)

    def q(u: complex) -> complex:
        x = focal / u  # ½[(1 + 3/x²) arctan x − 3/x] as its series, which keeps the digits that the closed form loses
        return sum((-1) ** n * 4 * n / ((2 * n + 1) * (2 * n + 3)) * x ** (2 * n + 1) for n in range(1, 12)) / -2

    def potential(radius: complex, z: complex) -> complex:
        t = radius**2 + z**2 - focal**2
        u = np.sqrt(0.5 * (t + np.sqrt(t**2 + 4 * focal**2 * z**2)))
        sine_squared = (z / u) ** 2
        arctan = sum((-1) ** n * (focal / u) ** (2 * n + 1) / (2 * n + 1) for n in range(14))
        attraction = gm / focal * arctan + 0.5 * omega**2 * a**2 * q(u) / q(b) * (sine_squared - 1 / 3)
        return attraction + 0.5 * omega**2 * radius**2

    phi = np.radians(latitude)
    normal = a / np.sqrt(1 - e_squared * np.sin(phi) ** 2)
    radius, z = (normal + height) * np.cos(phi), (normal * (1 - e_squared) + height) * np.sin(phi)
    return float(np.hypot(potential(radius + 1e-20j, z).imag, potential(radius, z + 1e-20j).imag) / 1e-20)


@pytest.mark.parametrize("latitude", [0.0, 30.0, 45.0, 60.0, 90.0])
@pytest.mark.parametrize("height", [0.0, 430.0, 3000.0, 9000.0])
def test_second_order_free_air_keeps_to_the_exact_field(latitude: float, height: float) -> None:
    """The docstring's 2e-6 m/s² up to 9 km, against the exact field; on the ellipsoid the two are one."""
    tolerance = 2e-6 if height else 2e-9
    assert normal_gravity(latitude, height) == pytest.approx(exact_normal_gravity(latitude, height), abs=tolerance)


def test_a_real_place_keeps_within_the_anomaly() -> None:
    """G7: Gaithersburg, absolute, Tate 1966: 9.801018 m/s² at 39.13° N, 132 m, one of the larger anomalies in the tables."""
    formula = float(normal_gravity(39.13, 132.0))
    assert formula == pytest.approx(9.80052, abs=5e-6)
    measured = 9.801018
    assert formula == pytest.approx(measured, rel=1.05 * GRAVITY_ANOMALY)


@pytest.mark.parametrize(
    ("place", "latitude", "altitude", "printed"),
    [
        ("North Pole", 90, 0, 9.832),
        ("Greenland", 70, 20, 9.825),
        ("Stockholm", 59, 45, 9.818),
        ("Brussels", 51, 102, 9.811),
        ("Banff", 51, 1376, 9.808),
        ("New York", 41, 38, 9.803),
        ("Chicago", 42, 182, 9.803),
        ("Denver", 40, 1638, 9.796),
        ("San Francisco", 38, 114, 9.800),
        ("Canal Zone", 9, 0, 9.782),
        ("Java", -6, 0, 9.782),
        ("New Zealand", -37, 0, 9.800),
    ],
)
def test_handbook_table_of_places(place: str, latitude: float, altitude: float, printed: float) -> None:
    """G8: a handbook's table with whole degrees; half a degree is up to 4.5e-4 m/s², the printing 5e-4, the ground the rest."""
    assert normal_gravity(latitude, altitude) == pytest.approx(printed, abs=1.2e-3), place


def test_the_default_gravity_holds_standard_gravity_and_the_inhabited_earth() -> None:
    """G6: 9.806 65 m/s² (3rd CGPM 1901) is the formula's value at 45.5°."""
    assert normal_gravity(45.5, 0.0) == pytest.approx(9.80665, abs=1e-5)


# REFERENCES §4: Cramer 1993, 400 ppm CO2, 101 325 Pa: dry, 50 % and 100 % relative humidity.
CRAMER = [
    (0.0, 331.448, 331.604, 331.759),
    (10.0, 337.459, 337.781, 338.103),
    (20.0, 343.359, 343.987, 344.614),
    (25.0, 346.268, 347.127, 347.985),
    (30.0, 349.148, 350.310, 351.470),
]


@pytest.mark.parametrize(("temperature", "dry", "half", "full"), CRAMER)
def test_speed_of_sound_table(temperature: float, dry: float, half: float, full: float) -> None:
    for humidity, expected in ((0.0, dry), (0.5, half), (1.0, full)):
        assert speed_of_sound(temperature, humidity) == pytest.approx(expected, abs=0.002)


@pytest.mark.parametrize(("temperature", "dry"), [(row[0], row[1]) for row in CRAMER])
def test_speed_of_sound_against_simple_formulas(temperature: float, dry: float) -> None:
    """Dry air: ISO 9613-1 is within 0.2 m/s, 331.3 + 0.606 t within 0.35 m/s, OpenStax's (UP vol. 1, 17.2) within 0.5 m/s."""
    speed = float(speed_of_sound(temperature))
    kelvin = temperature + 273.15
    assert speed == pytest.approx(343.2 * np.sqrt(kelvin / 293.15), abs=0.2)
    assert speed == pytest.approx(331.3 + 0.606 * temperature, abs=0.35)
    assert speed == pytest.approx(331.0 * np.sqrt(kelvin / 273.0), abs=0.5)


def test_speed_of_sound_with_less_carbon_dioxide() -> None:
    """REFERENCES §4: at 314 ppm 331.455 m/s; the classical c0 is 331.45 m/s (from memory)."""
    assert speed_of_sound(0.0, 0.0, carbon_dioxide=314e-6) == pytest.approx(331.455, abs=0.001)


def test_dry_air_outside_the_published_range_follows_the_ideal_gas() -> None:
    """The docstring's 600 parts in a million from −20 to 60 °C, against √T from 20 °C."""
    temperature = np.linspace(-20.0, 60.0, 161)
    ideal = speed_of_sound(20.0) * np.sqrt((temperature + 273.15) / 293.15)
    excess = np.abs(speed_of_sound(temperature) / ideal - 1.0)
    assert excess.max() < 600e-6
    assert excess[(temperature >= 0.0) & (temperature <= 30.0)].max() < 300e-6  # the published uncertainty


def test_pressure_hardly_matters() -> None:
    """75 kPa (2400 m) changes dry air by less than the published 300 parts in a million."""
    assert speed_of_sound(20.0, pressure=75e3) == pytest.approx(speed_of_sound(20.0, pressure=STANDARD_PRESSURE), rel=300e-6)


def test_distance_scale() -> None:
    """§4: 0.17–0.18 % a kelvin; humid air at 30 °C against dry air at 20 °C is 350.310/343.359."""
    assert distance_scale(20.0, 0.0, 20.0) == 1.0
    assert distance_scale(30.0, 0.5, 20.0) == pytest.approx(350.310 / 343.359, abs=1e-5)
    assert 0.0017 < float(distance_scale(21.0, 0.0, 20.0)) - 1.0 < 0.0018
    # A ranger that takes 343 m/s reads 2.1 % short at 30 °C and 50 %: 343 m/s is dry air at 19.4 °C.
    assumed = float(np.interp(343.0, speed_of_sound(np.array([19.0, 20.0])), [19.0, 20.0]))
    assert float(distance_scale(30.0, 0.5, assumed)) - 1.0 == pytest.approx(0.0213, abs=5e-5)


def test_complex_steps_give_the_slopes() -> None:
    """Analytic in every argument: a complex step agrees with central differences, which lose half the digits."""
    points = {
        "latitude": (lambda x: normal_gravity(x, 430.0), 47.0, 1e-3),
        "altitude": (lambda x: normal_gravity(47.0, x), 430.0, 1.0),
        "air": (lambda x: distance_scale(x, 0.5, 20.0), 27.0, 1e-3),
        "humidity": (lambda x: distance_scale(27.0, x, 20.0), 0.5, 1e-4),
        "assumed": (lambda x: distance_scale(27.0, 0.5, x), 20.0, 1e-3),
        "pressure": (lambda x: speed_of_sound(27.0, 0.5, pressure=x), 101325.0, 10.0),
    }
    for name, (function, at, width) in points.items():
        exact = function(np.array([at + 1j * STEP])).imag[0] / STEP
        central = (function(at + width) - function(at - width)) / (2 * width)
        assert exact == pytest.approx(float(central), rel=1e-5), name
        assert exact != 0.0


def test_arrays_of_draws_are_taken_together() -> None:
    rng = np.random.default_rng(3)
    temperature, humidity = rng.normal(22.0, 2.0, 50), rng.uniform(0.3, 0.7, 50)
    together = distance_scale(temperature, humidity, 20.0)
    assert together.shape == (50,)
    alone = [float(distance_scale(float(t), float(h), 20.0)) for t, h in zip(temperature, humidity, strict=True)]
    np.testing.assert_allclose(together, alone, rtol=1e-15)
    latitude = rng.uniform(-90.0, 90.0, (4, 1))
    assert normal_gravity(latitude, np.zeros(3)).shape == (4, 3)
