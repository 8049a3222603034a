"""What the place does to the readings: the acceleration of free fall, and the speed of sound that a ranger counts on.

Plain NumPy formulas, smooth and free of branches, so that the same function takes arrays of Monte Carlo draws and complex steps.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

__all__ = [
    "GRAVITY_ANOMALY",
    "STANDARD_PRESSURE",
    "distance_scale",
    "normal_gravity",
    "speed_of_sound",
]

# What comes back has the broadcast shape of what went in; a complex step is an array too.
Numbers = float | npt.NDArray[Any]
Result = npt.NDArray[Any]

STANDARD_PRESSURE = 101325.0
"""Standard atmosphere, Pa."""

GRAVITY_ANOMALY = 5e-5
"""Relative half-width within which the formula generally keeps to the real acceleration of free fall (NPL; Kaye & Laby 2.7.5)."""

# GRS80 (Moritz 2000, J. Geodesy 74, 128): the equator's value in m/s² and the constants of the closed form.
_EQUATOR = 9.7803267715
_SOMIGLIANA_K = 0.001931851353
_ECCENTRICITY_SQUARED = 0.00669438002290
_SEMI_MAJOR_AXIS = 6378137.0
_FLATTENING = 0.00335281068118
_CENTRIFUGAL_RATIO = 0.00344978600308  # ω²a²b/GM


def normal_gravity(latitude: Numbers, altitude: Numbers) -> Result:
    """Return the normal acceleration of free fall in m/s².

    latitude: degrees (geodetic), any shape. altitude: metres above sea level, broadcastable.
    Somigliana's closed form on GRS80 (Moritz 2000, J. Geodesy 74, 128–133) with the free-air correction to second order in
    altitude, g = γ(φ)·[1 − 2(1 + f + m − 2f sin²φ)·h/a + 3h²/a²], which keeps to the exact field within 2e-6 m/s² up to 9 km.
    The ground's own masses move the real value off it, generally by no more than GRAVITY_ANOMALY (5 parts in 100 000).
    """
    sine_squared = np.sin(latitude * (np.pi / 180.0)) ** 2
    on_ellipsoid = _EQUATOR * (1.0 + _SOMIGLIANA_K * sine_squared) / np.sqrt(1.0 - _ECCENTRICITY_SQUARED * sine_squared)
    rise = altitude / _SEMI_MAJOR_AXIS
    gradient = 1.0 + _FLATTENING + _CENTRIFUGAL_RATIO - 2.0 * _FLATTENING * sine_squared
    gravity: Result = on_ellipsoid * (1.0 - 2.0 * gradient * rise + 3.0 * rise**2)
    return gravity


def speed_of_sound(
    temperature: Numbers,
    humidity: Numbers = 0.0,
    *,
    pressure: Numbers = STANDARD_PRESSURE,
    carbon_dioxide: float = 400e-6,
) -> Result:
    """Return the speed of sound in air in m/s, at zero frequency.

    temperature: degrees Celsius, any shape. humidity: relative, as a fraction. pressure: Pa. carbon_dioxide: mole fraction.
    Cramer 1993, J. Acoust. Soc. Am. 93, 2510: the polynomial is published as good to 300 parts in a million from 0 to 30 °C and
    75 to 102 kPa, up to 0.06 mole of water and 0.01 mole of carbon dioxide per mole of air. Outside nothing is published; for dry
    air from −20 to 60 °C it keeps to the ideal gas's √T within 600 parts in a million, small beside 2 K of air temperature.
    """
    t, p, x_c = temperature, pressure, carbon_dioxide
    x_w = _water_mole_fraction(temperature, humidity, pressure)
    speed: Result = (
        331.5024
        + 0.603055 * t
        - 0.000528 * t**2
        + (51.471935 + 0.1495874 * t - 0.000782 * t**2) * x_w
        + (-1.82e-7 + 3.73e-8 * t - 2.93e-10 * t**2) * p
        + (-85.20931 - 0.228525 * t + 5.91e-5 * t**2) * x_c
        - 2.835149 * x_w**2
        - 2.15e-13 * p**2
        + 29.179762 * x_c**2
        + 0.000486 * x_w * p * x_c
    )
    return speed


def distance_scale(
    air_temperature: Numbers,
    humidity: Numbers,
    assumed_temperature: Numbers,
    *,
    pressure: Numbers = STANDARD_PRESSURE,
) -> Result:
    """Return the true distance over the reading of a ranger that takes the air for dry and at `assumed_temperature`.

    air_temperature, assumed_temperature: degrees Celsius, any shape. humidity: relative, as a fraction. pressure: Pa.
    An echo's time times the real speed is the distance; the ranger multiplies by its own: scale = c(room)/c(dry air, assumed).
    """
    room = speed_of_sound(air_temperature, humidity, pressure=pressure)
    scale: Result = room / speed_of_sound(assumed_temperature, 0.0, pressure=pressure)
    return scale


def _water_mole_fraction(temperature: Numbers, humidity: Numbers, pressure: Numbers) -> Result:
    """Return moles of water vapour per mole of air: relative humidity × enhancement factor × saturation pressure / pressure.

    The two formulas are those that Cramer 1993 gives with the polynomial, of the kind of Giacomo 1982, Metrologia 18, 33.
    """
    kelvin = temperature + 273.15
    saturation = np.exp(1.2811805e-5 * kelvin**2 - 1.9509874e-2 * kelvin + 34.04926034 - 6.3536311e3 / kelvin)
    enhancement = 1.00062 + 3.14e-8 * pressure + 5.6e-7 * temperature**2
    fraction: Result = humidity * enhancement * saturation / pressure
    return fraction
