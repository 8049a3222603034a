"""The ramp launch's inputs and settings: units, documented Type B defaults, and what is plausible.

A default's half-width is meant to hold nearly every bench of its kind; whoever knows better writes it in the bench file.
Trade facts without a published source are marked so in docs/inputs.md.
"""

from __future__ import annotations

from joulebook.engine.bench import InputSpec, SettingSpec

__all__ = ["INPUTS", "SETTINGS"]

INPUTS: tuple[InputSpec, ...] = (
    InputSpec(
        "cart.mass", "kg", "mass of the cart with all that rides on it",
        bare_relative=0.005, low=1e-6, high=1e4, required=True,
    ),
    InputSpec(
        "cart.rotating_fraction", "1", "rotating part of the inertia: sum of I/r² of the wheels over the cart's mass",
        default=0.02, default_half_width=0.02, bare_relative=0.5, low=0.0, high=1.0,
    ),
    InputSpec(
        "cart.drag_area", "m^2", "drag coefficient times frontal area of the cart",
        default=0.003, default_half_width=0.003, bare_relative=0.5, low=0.0, high=0.5,
    ),
    InputSpec(
        "track.angle", "deg", "angle of the track to the horizontal",
        bare_half_width=0.5, low=0.0, high=89.0, required=True, group="slope", alternative="angle",
    ),
    InputSpec(
        "track.rise", "m", "height gained over the measured stretch of track",
        bare_half_width=0.001, low=0.0, high=5.0, required=True, group="slope", alternative="rise-along",
    ),
    InputSpec(
        "track.along", "m", "the stretch, measured along the track, over which the rise was taken",
        bare_half_width=0.001, low=1e-3, high=10.0, required=True, group="slope", alternative="rise-along",
    ),
    InputSpec(
        "sensor.scale", "1", "true distance over reading (speed of sound in the room over the speed that the ranger assumes)",
        default=1.0, default_half_width=0.01, bare_half_width=0.007, low=0.5, high=2.0,
        group="scale", alternative="scale", default_alternative=True,
    ),
    InputSpec(
        "sensor.air_temperature", "degC", "temperature of the air between ranger and cart",
        bare_half_width=2.0, low=-20.0, high=60.0, group="scale", alternative="air",
    ),
    InputSpec(
        "sensor.assumed_temperature", "degC", "air temperature that the ranger assumes (dry air)",
        default=20.0, default_half_width=2.0, bare_half_width=0.5, low=-20.0, high=60.0, group="scale", alternative="air",
    ),
    InputSpec(
        "sensor.humidity", "1", "relative humidity of the air, as a fraction",
        default=0.5, default_half_width=0.3, bare_half_width=0.1, low=0.0, high=1.0, group="scale", alternative="air",
    ),
    InputSpec(
        "place.gravity", "m/s^2", "acceleration of free fall at the place",
        default=9.807, default_half_width=0.027, bare_half_width=0.02, low=9.0, high=10.5,
        group="gravity", alternative="gravity", default_alternative=True,
    ),
    InputSpec(
        "place.latitude", "deg", "latitude of the place",
        bare_half_width=0.5, low=-90.0, high=90.0, group="gravity", alternative="latitude",
    ),
    InputSpec(
        "place.altitude", "m", "height of the place above sea level",
        default=200.0, default_half_width=200.0, bare_half_width=50.0, low=-500.0, high=9000.0,
        group="gravity", alternative="latitude",
    ),
    InputSpec(
        "place.air_density", "kg/m^3", "density of the air",
        default=1.2, default_half_width=0.06, bare_half_width=0.02, low=0.2, high=2.0,
    ),
)

SETTINGS: tuple[SettingSpec, ...] = (
    SettingSpec("sensor.placed", "the end of the track at which the ranger stands", choices=("top", "bottom")),
    SettingSpec("sensor.min_range", "nearest distance that the ranger can measure", unit="m", default=0.15, low=0.0, high=2.0),
    SettingSpec("sensor.max_range", "farthest distance that the ranger can be trusted at", unit="m", low=0.2, high=50.0),
    SettingSpec("track.length", "length of the track", unit="m", low=0.1, high=20.0),
)
