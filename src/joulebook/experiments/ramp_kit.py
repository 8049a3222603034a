"""The kit of a ramp launch: what a school's cupboard holds, from which a plan is made before the class comes in.

What has no published source is common practice of the trade, and docs/planning.md says so beside each default.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from joulebook.uncertainty import Input

__all__ = ["KIT_SPECS", "METHOD_DEFAULTS", "AngleMethod", "Kit", "KitSpec"]


@dataclass(frozen=True, slots=True)
class KitSpec:
    """One entry of a kit file.

    name: dotted name. unit: "1" for a pure number, "" for a word or text. default: as it would be written; () for none.
    many: a list is allowed. low, high: limits in `unit`. spread: an uncertainty belongs to it, and `bare` is the relative
    half-width that a number without one is given. choices: the words allowed. meaning: one plain phrase.
    """

    name: str
    unit: str
    default: str | float | tuple[str | float, ...]
    meaning: str
    low: float = -math.inf
    high: float = math.inf
    many: bool = False
    spread: bool = False
    bare: float = 0.0
    choices: tuple[str, ...] = ()


KIT_SPECS: tuple[KitSpec, ...] = (
    KitSpec("track.length", "m", "1.20 m", "length of the track", 0.3, 20.0),
    KitSpec("track.start", "m", "0.15 m", "from the track's lower end to the cart's front as it stands at the stop", 0.0, 5.0),
    KitSpec("cart.mass", "kg", "0.500 kg ± 0.0005 kg", "mass of the cart; a list for carts with and without added masses",
            0.01, 20.0, many=True, spread=True, bare=0.005),
    KitSpec("cart.rotating_fraction", "1", "0.015 ± 0.015", "wheels' sum of I/r² over the cart's mass",
            0.0, 0.5, spread=True, bare=0.5),
    KitSpec("cart.drag_area", "m^2", "0.003 m^2 ± 0.003 m^2", "drag coefficient times frontal area",
            0.0, 0.1, spread=True, bare=0.5),
    KitSpec("cart.rolling_resistance", "1", "0.005 ± 0.003", "rolling resistance, a guess", 0.0, 0.1, spread=True, bare=0.5),
    KitSpec("launch.speeds", "m/s", ("0.6 m/s", "0.7 m/s", "0.8 m/s", "0.9 m/s", "1.0 m/s", "1.1 m/s", "1.2 m/s", "1.3 m/s"),
            "release speeds that the plunger gives; left out where stiffness and strokes are given", 0.1, 5.0, many=True),
    KitSpec("launch.stiffness", "N/m", (), "stiffness of the plunger's spring", 1.0, 1e5),
    KitSpec("launch.strokes", "m", (), "how deep the plunger can be cocked; with launch.stiffness", 0.001, 0.5, many=True),
    KitSpec("launch.repeat", "1", "2 %", "relative standard deviation of the release speed from launch to launch", 0.0, 0.3),
    KitSpec("launch.numbers", "1", (1, 3, 5), "numbers of launches to choose from", 1, 20, many=True),
    KitSpec("launch.restitution", "1", 0.75, "speed after over speed before the rebound from the stop", 0.2, 1.0),
    KitSpec("launch.flights", "1", 3, "free flights that the record is meant to hold, the rebounds' among them", 1, 8),
    KitSpec("sensor.rates", "Hz", ("10 Hz", "20 Hz", "50 Hz"), "sampling rates of the ranger", 2.0, 1000.0, many=True),
    KitSpec("sensor.noise", "m", "0.7 mm", "standard deviation of one reading of a moving cart", 1e-6, 0.05),
    KitSpec("sensor.step", "m", "0.1 mm", "step in which distances are written", 1e-7, 0.02),
    KitSpec("sensor.min_range", "m", "0.15 m", "nearest distance that the ranger can measure", 0.0, 2.0),
    KitSpec("sensor.max_range", "m", "6 m", "farthest distance that it can be trusted at", 0.2, 50.0),
    KitSpec("sensor.scale", "1", "1.000 ± 0.007", "true distance over reading", 0.5, 2.0, spread=True, bare=0.007),
    KitSpec("sensor.placed", "", "top", "the end of the track at which the ranger stands", choices=("top", "bottom")),
    KitSpec("sensor.behind", "m", "0.30 m", "from a ranger at the bottom to the cart as it stands at the stop", 0.0, 5.0),
    KitSpec("angle.angles", "deg", ("3 deg", "4 deg", "5 deg", "6 deg", "7 deg", "8 deg", "9 deg", "10 deg", "12 deg", "14 deg"),
            "slopes to choose from", 0.5, 45.0, many=True),
    KitSpec("place.gravity", "m/s^2", "9.807 m/s^2 ± 0.027 m/s^2", "acceleration of free fall",
            9.0, 10.5, spread=True, bare=0.002),
    KitSpec("place.air_density", "kg/m^3", "1.20 kg/m^3 ± 0.06 kg/m^3", "density of the air", 0.2, 2.0, spread=True, bare=0.02),
    KitSpec("class.benches", "1", 6, "number of benches", 1, 40),
    KitSpec("class.period", "min", "50 min", "length of the lesson", 15.0, 300.0),
    KitSpec("class.launch_time", "min", "2 min", "time for one launch with its file saved", 0.2, 30.0),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class AngleMethod:
    """One way of measuring the slope.

    name: what the teacher calls it. u: standard uncertainty of the angle, degrees, with its distribution; unused where a height
    is measured. over: length along the track over which the rise is taken, m, 0 for a gauge. over_u: its standard uncertainty, m.
    reading_u: standard uncertainty of each of the two height readings, m, rectangular.
    """

    name: str
    u: float = 0.0
    distribution: str = "rectangular"
    over: float = 0.0
    over_u: float = 0.0
    reading_u: float = 0.0

    def inputs(self, angle: float) -> tuple[Input, ...]:
        """Return the inputs that a bench file would hold for a slope in degrees."""
        if not self.over:
            return (Input("track.angle", angle, "deg", self.u, self.distribution),)
        rise = self.over * math.sin(math.radians(angle))
        return (
            Input("track.rise", rise, "m", math.sqrt(2.0) * self.reading_u, "rectangular"),
            Input("track.along", self.over, "m", self.over_u, "rectangular"),
        )

    def standard_uncertainty(self, angle: float) -> float:
        """Return the standard uncertainty that the slope has by this method, degrees (GUM 5.1.2 for the quotient)."""
        if not self.over:
            return self.u
        sine = math.sin(math.radians(angle))
        return math.degrees(
            math.hypot(math.sqrt(2.0) * self.reading_u, sine * self.over_u) / self.over / math.cos(math.radians(angle))
        )

    def relative_limits(self, angle: float) -> float:
        """Return ± by which the sine, and so the potential energy, may be wrong: cotθ·dθ, limits (√3 u)."""
        u = math.radians(self.standard_uncertainty(angle))
        return math.sqrt(3.0) * u / math.tan(math.radians(angle))


METHOD_DEFAULTS: tuple[AngleMethod, ...] = (
    AngleMethod("protractor", u=0.5 / math.sqrt(3.0)),
    AngleMethod("digital level", u=0.2 / math.sqrt(3.0)),
    AngleMethod("height over length", over=1.0, over_u=0.001 / math.sqrt(3.0), reading_u=0.001 / math.sqrt(3.0)),
)


@dataclass(frozen=True, slots=True)
class Kit:
    """A kit: see KIT_SPECS for what each entry means; lengths in m, speeds in m/s, times in minutes, rates per second.

    masses, rotating_fraction …: inputs with what is not known about them. strokes: empty where the speeds are given.
    methods: the first is the one that the class uses today. title: what the teacher calls it. defaults: names of the entries
    that were left out.
    """

    title: str
    track_length: float
    start: float
    masses: tuple[Input, ...]
    rotating_fraction: Input
    drag_area: Input
    rolling_resistance: Input
    speeds: tuple[float, ...]
    stiffness: float | None
    strokes: tuple[float, ...]
    repeat: float
    numbers: tuple[int, ...]
    restitution: float
    flights: int
    rates: tuple[float, ...]
    noise: float
    step: float
    min_range: float
    max_range: float
    scale: Input
    placed: Literal["top", "bottom"]
    behind: float
    angles: tuple[float, ...]
    methods: tuple[AngleMethod, ...]
    gravity: Input
    air_density: Input
    benches: int
    period: float
    launch_time: float
    defaults: tuple[str, ...] = ()

    CONTACT_TIME = 0.14
    """s: a contact with the plunger where its stiffness is not given (common practice, no source)."""

    OTHER_MINUTES = 33.0
    """min: introduction, set-up, rest record, calculation and packing (common practice, no source)."""

    REST_SECONDS = 3.0
    """s: length of the rest record."""

    LAST_FLIGHT = 0.9
    """The part of the last flight that is on the record."""

    def spring(self, mass: float) -> float:
        """Return the plunger's stiffness, N/m; where it is not given, that of a contact of CONTACT_TIME."""
        if self.stiffness is not None:
            return self.stiffness
        return mass * (1.0 + self.rotating_fraction.value) * (math.pi / self.CONTACT_TIME) ** 2

    @property
    def most_launches(self) -> int:
        """How many launches fit into the lesson."""
        return max(0, int((self.period - self.OTHER_MINUTES) / self.launch_time + 1e-9))

    @property
    def reading_noise(self) -> float:
        """Standard deviation of one written reading, m: noise and rounding."""
        return math.hypot(self.noise, self.step / math.sqrt(12.0))
