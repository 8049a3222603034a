"""A second simulator, which shares nothing with the first: so that the method is not tuned to one picture of a bench.

Where the package's simulator integrates forces step by step, this one strings events together: parabolas between instants,
contacts in closed form. It differs in what it takes a stop to be:

"sine": a spring; the contact is half a swing about the level where spring and weight balance, and the loss comes at its end.
"damped": a spring with a damper beside it (Kelvin–Voigt), which lets go before its free length.
"instant": a hard buffer; the speed turns round at once.
"magnets": two dipoles on one axis, push ∝ x⁻⁴ less what is left of it where it has faded to a tenth of the weight's part along
the slope.

There is no drag and the bench file says so. The ranger adds plain Gaussian noise and prints millimetres. Lengths in metres,
counted up the slope from where the stop's push ends for a standing cart.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt

from joulebook import Record, make_bench
from joulebook.engine.bench import Bench

__all__ = ["KINDS", "PlainBench", "plain_bench"]

Floats = npt.NDArray[np.float64]
Kind = Literal["sine", "damped", "instant", "magnets"]
Path = Callable[[Floats], Floats]

KINDS: tuple[Kind, ...] = ("sine", "damped", "instant", "magnets")
GRAVITY = 9.80665
_FADE = 0.1
"""What is left of the magnets' push where it counts as ended, over the weight along the slope."""


@dataclass(frozen=True, slots=True, eq=False)
class PlainBench:
    """A bench with its truth, under the audit's names; restitutions as "restitution_1" and so on. region: what it is like."""

    bench: Bench
    truth: dict[str, float]
    region: dict[str, float | str]


@dataclass(slots=True)
class _World:
    """One cart on its slope, and its motion as pieces (start, end, path).

    up, down: m/s², magnitudes of the accelerations. omega, zeta: of the stop's swing. gap: m, of the magnets at s = 0.
    """

    kind: Kind
    up: float
    down: float
    omega: float
    zeta: float
    gap: float
    restitution: float
    pieces: list[tuple[float, float, Path]] = field(default_factory=list)
    now: float = 0.0

    def add(self, length: float, path: Path) -> None:
        self.pieces.append((self.now, self.now + length, path))
        self.now += length

    @property
    def mean(self) -> float:
        return 0.5 * (self.up + self.down)

    @property
    def rest(self) -> float:
        """Where the stop carries the standing cart."""
        if self.kind == "instant":
            return 0.0
        if self.kind == "magnets":
            return float(((1.0 + _FADE) / _FADE) ** -0.25 * self.gap - self.gap)
        return -self.mean / self.omega**2

    def place(self, time: Floats) -> Floats:
        found = np.empty_like(time)
        for start, end, path in self.pieces:
            inside = (time >= start) & ((time < end) | (end == self.pieces[-1][1]))
            found[inside] = path(time[inside] - start)
        return found


def plain_bench(rng: np.random.Generator, *, kind: Kind | None = None) -> PlainBench:
    """Return one bench: angles 3–18°, launches 0.5–1.6 m/s, 20–50 samples a second, noise 0.2–1 mm printed to 1 mm.

    kind: of the stop, None for a random one.
    """
    while True:
        angle, speed, rate = rng.uniform(3.0, 18.0), rng.uniform(0.5, 1.6), float(rng.choice([20.0, 25.0, 50.0]))
        travel = speed**2 / (2.0 * GRAVITY * math.sin(math.radians(angle)))
        if 0.15 < travel < 1.4 and 2.0 * travel / speed * rate > 6.0:
            break
    stated_angle, stated_mass = round(angle, 1), round(rng.uniform(0.25, 1.0), 3)
    angle = math.radians(stated_angle + 0.3 * rng.uniform(-1.0, 1.0))
    mass = stated_mass + 0.001 * rng.uniform(-1.0, 1.0)
    wheels = 0.02 + 0.01 * rng.uniform(-1.0, 1.0)
    scale = 1.0 + 0.007 * rng.uniform(-1.0, 1.0)
    friction = rng.uniform(0.002, 0.010)
    chosen: Kind = kind or KINDS[int(rng.integers(4))]
    grip = GRAVITY * friction * math.cos(angle)
    world = _world(chosen, GRAVITY * math.sin(angle), grip, 1.0 + wheels, rng)
    launched, heights, bounces = _play(world, speed, int(rng.integers(2, 5)), float(rng.uniform(0.2, 0.95)), rng)
    release, level, speed = launched
    top = bool(rng.uniform() < 0.5)
    side = "top" if top else "bottom"
    zero = heights[0] + rng.uniform(0.25, 0.4) if top else rng.uniform(0.3, 0.5)
    noise = float(rng.uniform(0.0002, 0.001))

    def read(time: Floats, place: Floats) -> Floats:
        distance = (zero - place if top else zero + place) / scale + noise * rng.standard_normal(time.size)
        return np.round(distance, 3)

    start = float(rng.uniform(0.0, 1.0)) / rate
    time = np.arange(0.0, world.now - start, 1.0 / rate)
    waiting = np.arange(0.0, 3.0, 1.0 / rate)
    bench = make_bench(
        values={
            "cart.mass": f"{stated_mass:.3f} kg ± 0.001 kg", "cart.rotating_fraction": "0.020 ± 0.010",
            "cart.drag_area": "0 m^2 ± 0.000001 m^2",
            "track.angle": f"{stated_angle:.1f} deg ± 0.3 deg", "sensor.scale": "1.000 ± 0.007",
            "sensor.placed": side, "place.gravity": "9.80665 m/s^2 ± 0.00001 m/s^2",
        },
        launches=[_record("launch.csv", time, read(time, world.place(time + start)))],
        rest=_record("rest.csv", waiting, read(waiting, np.full(waiting.size, world.rest))),
    )
    travel = heights[0] - level
    kinetic, potential = 0.5 * mass * speed**2, mass * GRAVITY * travel * math.sin(angle)
    rolling = mass * grip * travel
    whole = kinetic * (1.0 + wheels)
    truth = {
        "release_time": release - start, "release_speed": speed, "travel": travel,
        "apex_time": release + speed / world.up - start,
        "height": travel * math.sin(angle), "climb_acceleration": world.up, "descent_acceleration": world.down,
        "slope_from_motion": math.degrees(angle), "rolling_resistance": friction, "kinetic_energy": kinetic,
        "rotational_energy": wheels * kinetic, "potential_energy": potential, "rolling_loss": rolling,
        "difference": whole - potential, "relative_difference": (whole - potential) / whole, "unaccounted": 0.0,
        **{f"restitution_{number}": value for number, value in enumerate(bounces, start=1)},
    }
    region: dict[str, float | str] = {
        "stop": chosen, "rate": rate, "angle": round(math.degrees(angle), 2), "speed": round(speed, 3),
        "noise_mm": round(1e3 * noise, 3),
        "placed": side, "travel": round(travel, 3), "hops": len(heights),
    }
    return PlainBench(bench, truth, region)


def _world(kind: Kind, pull: float, grip: float, inertia: float, rng: np.random.Generator) -> _World:
    swing = float(rng.uniform(0.10, 0.18))
    restitution = {"sine": (0.6, 0.95), "damped": (0.6, 0.9), "instant": (0.3, 0.6), "magnets": (0.9, 0.98)}[kind]
    bounce = float(rng.uniform(*restitution))
    log = math.log(bounce)
    # The damping that gives this restitution when the swing ends at the free length; ending earlier gives a little more.
    zeta = -log / math.hypot(math.pi, log) if kind == "damped" else 0.0
    up, down = (pull + grip) / inertia, (pull - grip) / inertia
    return _World(kind, up, down, math.pi / swing, zeta, float(rng.uniform(0.03, 0.06)), bounce)


def _play(
    world: _World, speed: float, hops: int, last: float, rng: np.random.Generator
) -> tuple[tuple[float, float, float], list[float], list[float]]:
    """Let the cart wait, launch and bounce; return (release time, level, speed), the apexes, and the restitutions at the stop."""
    depth, length, path, level, speed = _launch(world, speed)
    world.add(float(rng.uniform(0.6, 1.4)), lambda t: np.full(t.size, depth))
    world.add(length, path)
    first = (world.now, level, speed)
    heights, bounces, at = [], [], level
    for hop in range(hops):
        rise = speed**2 / (2.0 * world.up)
        apex = at + rise
        heights.append(apex)
        world.add(speed / world.up, _parabola(at, speed, -world.up))
        fall = math.sqrt(2.0 * apex / world.down)
        if hop == hops - 1:
            world.add(fall * last, _parabola(apex, 0.0, -world.down))
            break
        world.add(fall, _parabola(apex, 0.0, -world.down))
        arriving = world.down * fall
        length, path, at, speed = _contact(world, arriving)
        if length > 0.0:
            world.add(length, path)
        # The audit quotes the restitution between the speeds that the cart has at its first release level.
        out = max(speed**2 + 2.0 * world.up * (at - level), 0.0)
        bounces.append(math.sqrt(out / (2.0 * world.down * (apex - level))))
    return first, heights, bounces


def _parabola(at: float, speed: float, acceleration: float) -> Path:
    return lambda t: at + speed * t + 0.5 * acceleration * t * t


def _launch(world: _World, speed: float) -> tuple[float, float, Path, float, float]:
    """Return the cocked place, how long the push lasts, its path, and place and speed of the release."""
    if world.kind == "magnets":
        return _from_magnets(world, speed)
    omega = world.omega
    zeta = world.zeta
    balance = -world.up / omega**2
    # A swing from standing at `depth`; the depth that gives this speed follows in a few steps from its energy.
    depth = balance - math.hypot(balance, speed / omega) * math.exp(1.6 * zeta)
    path, push = _swing(balance, depth - balance, 0.0, omega, zeta)
    length = _first_zero(push, 0.5 * math.pi / omega / 4.0, 2.0 * math.pi / omega)
    level = 0.0 if zeta == 0.0 else float(path(np.array([length]))[0])
    gained = float((path(np.array([length + 1e-7])) - path(np.array([length - 1e-7])))[0] / 2e-7)
    return depth, length, path, level, gained


def _contact(world: _World, arriving: float) -> tuple[float, Path, float, float]:
    """Return how long a contact lasts that begins at s = 0, its path, and place and speed where it ends."""
    if world.kind == "instant":
        return 0.0, lambda t: np.zeros(t.size), 0.0, world.restitution * arriving
    if world.kind == "magnets":
        time, place = _against_magnets(world, -arriving)
        return float(time[-1]), lambda t: np.interp(t, time, place), 0.0, world.restitution * arriving
    balance = -world.mean / world.omega**2
    path, push = _swing(balance, -balance, -arriving, world.omega, world.zeta)
    length = _first_zero(push, 0.5 / world.omega, 4.0 * math.pi / world.omega)
    level = 0.0 if world.zeta == 0.0 else float(path(np.array([length]))[0])
    leaving = float((path(np.array([length + 1e-7])) - path(np.array([length - 1e-7])))[0] / 2e-7)
    return length, path, level, world.restitution * arriving if world.zeta == 0.0 else leaving


def _swing(balance: float, offset: float, speed: float, omega: float, zeta: float) -> tuple[Path, Callable[[float], float]]:
    """Return the path of a damped swing about `balance`, and the push of spring and damper over the inertia."""
    fast = omega * math.sqrt(1.0 - zeta * zeta)
    sine = (speed + zeta * omega * offset) / fast

    def path(t: Floats) -> Floats:
        return np.asarray(balance + np.exp(-zeta * omega * t) * (offset * np.cos(fast * t) + sine * np.sin(fast * t)))

    def push(t: float) -> float:
        s = float(path(np.array([t]))[0])
        v = float((path(np.array([t + 1e-7])) - path(np.array([t - 1e-7])))[0] / 2e-7)
        return -(omega**2) * s - 2.0 * zeta * omega * v

    return path, push


def _first_zero(push: Callable[[float], float], start: float, end: float) -> float:
    """Return when a push that is positive at `start` first vanishes."""
    times = np.linspace(start, end, 400)
    low = high = start
    for t in times:
        high = float(t)
        if push(high) <= 0.0:
            break
        low = high
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if push(middle) > 0.0 else (low, middle)
    return 0.5 * (low + high)


def _magnet_push(world: _World, s: float) -> float:
    """Push over the inertia at s < 0; x = gap + s is the distance of the dipoles, and at s = 0 it has faded."""
    return float(_FADE * world.mean * ((world.gap / (world.gap + s)) ** 4 - 1.0))


def _against_magnets(world: _World, speed: float) -> tuple[Floats, Floats]:
    """Walk a cart into the magnets and out again (leapfrog); return times and places up to its return to s = 0."""
    step = 5e-5
    s, v = 0.0, speed
    places = [0.0]
    v += 0.5 * step * -world.mean
    while True:
        s += step * v
        places.append(min(s, 0.0))
        if s >= 0.0:
            break
        v += step * (_magnet_push(world, s) - world.mean)
    return np.asarray(step * np.arange(len(places)), dtype=np.float64), np.array(places)


def _from_magnets(world: _World, speed: float) -> tuple[float, float, Path, float, float]:
    """A cart held against the magnets and let go: the way out of a contact, with friction's sign for a climb."""
    low, high = -world.gap * 0.98, world.rest
    for _ in range(60):
        depth = 0.5 * (low + high)
        gap = world.gap
        stored = _FADE * world.mean * (gap**4 / 3.0 * ((gap + depth) ** -3 - gap**-3) + depth)
        low, high = (low, depth) if stored + world.up * depth < 0.5 * speed**2 else (depth, high)
    depth = 0.5 * (low + high)
    step = 5e-5
    s, v, places = depth, 0.5 * step * (_magnet_push(world, depth) - world.up), [depth]
    while s < 0.0:
        s += step * v
        places.append(s)
        if s < 0.0:
            v += step * (_magnet_push(world, s) - world.up)
    time = step * np.arange(len(places))
    # The last step overshoots s = 0 by a fraction: cut it there.
    over = places[-1] / v
    length = float(time[-1]) - over
    return depth, length, lambda t: np.interp(t, time, np.array(places)), 0.0, v


def _record(file: str, time: Floats, distance: Floats) -> Record:
    return Record(file=file, time=np.round(time, 4), distance=distance, read_as="made in memory", distance_step=0.001)
