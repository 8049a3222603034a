"""Launch records written by hand, without the package's simulator: constant accelerations, half-sine contacts, white noise.

One bench throughout: 8° to the horizontal, κ = 0.02, μ = 0.005, g = 9.81 m/s², no drag (DESIGN §4), the ranger at the top and 1 m
from the cart at rest. Up-slope positions s are counted from the rest level, where the stop lets go (a contact of 0.1 s lets go
1.4 mm above it, which is left out).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from joulebook.engine.bench import Bench
from joulebook.engine.record import Record
from joulebook.uncertainty import Input

__all__ = ["ANGLE", "CLIMB", "DESCENT", "KAPPA", "MASS", "Ride", "bench_of", "record_of", "rest_record", "ride"]

Floats = npt.NDArray[np.float64]

ANGLE, KAPPA, MU, GRAVITY, MASS = 8.0, 0.02, 0.005, 9.81, 0.5
_SIN, _COS = math.sin(math.radians(ANGLE)), math.cos(math.radians(ANGLE))
CLIMB = GRAVITY * (_SIN + MU * _COS) / (1.0 + KAPPA)
"""a_u, m/s²."""
DESCENT = GRAVITY * (_SIN - MU * _COS) / (1.0 + KAPPA)
"""a_d, m/s²."""
CONTACT = 0.10
"""s that the stop holds the cart between two hops."""
ZERO = 1.0
"""m from the ranger to the cart at rest."""


@dataclass(frozen=True)
class Ride:
    """A motion. position: s (m) at times (s, shape (n,)). release, apex, back: s, of the first hop; rise: m. end: s."""

    position: Callable[[Floats], Floats]
    release: float
    apex: float
    back: float
    rise: float
    end: float


def ride(
    *, speed: float = 1.0, depth: float = 0.04, wait: float = 1.0, hops: int = 3, restitution: float = 0.8, settles: float = 0.0,
    contact: float = CONTACT,
) -> Ride:  # fmt: skip
    """Return a launch: the cart stands `depth` below the rest level for `wait` seconds, is fired to `speed`, and hops.

    settles: s that it stands at the rest level after the last hop. contact: s that each contact lasts.
    """
    pieces: list[tuple[float, Callable[[Floats], Floats]]] = [(0.0, lambda t: np.full(t.shape, -depth))]
    push = 2.0 * depth / speed
    pieces.append((wait, lambda t: -depth + 0.5 * speed / push * t * t))
    at, release = wait + push, wait + push
    first = (0.0, 0.0, 0.0)
    v = speed
    for hop in range(hops):
        up, rise = v / CLIMB, v * v / (2.0 * CLIMB)
        down = math.sqrt(2.0 * rise / DESCENT)
        pieces.append((at, _hop(v, up, rise)))
        if hop == 0:
            first = (at + up, at + up + down, rise)
        at += up + down
        fast = DESCENT * down
        v = restitution * fast
        if hop < hops - 1:
            pieces.append((at, _contact(0.5 * (fast + v), contact)))
            at += contact
    if settles:
        pieces.append((at, lambda t: np.zeros(t.shape)))
        at += settles

    def position(time: Floats) -> Floats:
        place = np.searchsorted([start for start, _ in pieces], time, side="right") - 1
        s = np.zeros(time.shape)
        for number, (start, piece) in enumerate(pieces):
            inside = place == number
            s[inside] = piece(time[inside] - start)
        return s

    return Ride(position, release, *first, at)


def _hop(v: float, up: float, rise: float) -> Callable[[Floats], Floats]:
    return lambda t: np.where(t < up, v * t - 0.5 * CLIMB * t * t, rise - 0.5 * DESCENT * (t - up) ** 2)


def _contact(v: float, duration: float) -> Callable[[Floats], Floats]:
    return lambda t: -v * duration / math.pi * np.sin(math.pi * t / duration)


def record_of(
    motion: Ride, *, file: str = "launch.csv", rate: float = 50.0, seed: int = 1, noise: float = 0.0004, placed: str = "top",
    start: float = 0.0, end: float | None = None,
) -> Record:  # fmt: skip
    """Return what a ranger at one end reads of a motion, in steps of 0.1 mm. start, end: s of the motion's clock on record."""
    time = np.arange(start, motion.end if end is None else end, 1.0 / rate)
    s = motion.position(time)
    distance = (ZERO - s if placed == "top" else ZERO + s) + noise * np.random.default_rng(seed).standard_normal(time.size)
    return Record(file, time - start, np.round(distance, 4), distance_step=1e-4)


def rest_record(*, at: float = ZERO, seed: int = 99) -> Record:
    """Return three seconds of the standing cart, `at` m from the ranger."""
    distance = at + 0.0004 * np.random.default_rng(seed).standard_normal(60)
    return Record("rest.csv", np.arange(60) / 20.0, np.round(distance, 4), distance_step=1e-4)


def bench_of(
    *launches: Record, rest: Record | None = None, angle: float = ANGLE, mass: float = MASS, **settings: float | str | None
) -> Bench:
    """Return the bench as its file would state it, true values, with limits of ±0.25° and ±1 % in the scale.

    rest: None for the usual rest record. settings: by their name without "sensor." or "track.".
    """
    stated = {
        "cart.mass": (mass, "kg", 0.0005), "cart.rotating_fraction": (KAPPA, "1", 0.01), "cart.drag_area": (0.0, "m^2", 0.0),
        "track.angle": (angle, "deg", 0.25), "sensor.scale": (1.0, "1", 0.01), "place.gravity": (GRAVITY, "m/s^2", 0.01),
        "place.air_density": (1.2, "kg/m^3", 0.05),
    }  # fmt: skip
    inputs = {
        name: Input(name, value, unit, half / math.sqrt(3.0), "rectangular" if half else "constant")
        for name, (value, unit, half) in stated.items()
    }
    known: dict[str, float | str | None] = {
        "sensor.placed": "top", "sensor.min_range": 0.15, "sensor.max_range": None, "track.length": 1.2
    }  # fmt: skip
    known |= {("track.length" if name == "length" else f"sensor.{name}"): value for name, value in settings.items()}
    return Bench("Bench", "ramp-launch", inputs, known, launches, rest if rest is not None else rest_record())
