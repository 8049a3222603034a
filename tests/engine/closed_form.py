"""Launch records written down from closed forms, without noise, for the tests of the engine: no integrator and no code of ours.

Free motion is that of DESIGN §4; a spring holds the cart in simple harmonic motion about the rest level, from which it lets go at
its free length, δ = a/ω² higher (any textbook of mechanics: a body on a spring in a steady force), a hard stop turns it at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from joulebook.engine.record import Record

__all__ = ["ClosedForm", "Hop"]

Floats = np.ndarray


@dataclass(frozen=True)
class Hop:
    """One free flight: s at release, apex and landing; m of the apex above the rest level; m/s at release and landing."""

    release: float
    apex_time: float
    landing: float
    apex: float
    speed_out: float
    speed_in: float


@dataclass(frozen=True)
class ClosedForm:
    """One launch.

    climb, descent: a_u and a_d, m/s². drag: k, 1/m. speed: at the first release, m/s. hops: free flights before the record stops.
    contact: π/ω, the time (s) for which the spring keeps a cart below the rest level; 0 for a hard stop.
    restitution: speed out over speed in at the level of release. wait: s of standing cocked before the launch.
    rest: m from the ranger to the cart at its rest level. up: +1 for a ranger at the bottom, −1 at the top.
    settle: s of standing at the rest level at the end. push: m over which a hard stop's launcher pushes, evenly.
    """

    climb: float = 1.72
    descent: float = 1.60
    drag: float = 0.0
    speed: float = 1.0
    hops: int = 3
    contact: float = 0.12
    restitution: float = 0.8
    wait: float = 0.8
    rest: float = 1.10
    up: int = -1
    settle: float = 0.0
    push: float = 0.045

    @property
    def omega(self) -> float:
        """rad/s of the cart on its spring."""
        return math.pi / self.contact

    @property
    def offset(self) -> float:
        """δ, m, of the release above the rest level."""
        return 0.0 if not self.contact else 0.5 * (self.climb + self.descent) / self.omega**2

    @property
    def cocked(self) -> float:
        """m below the rest level where the cart stands before the launch: the spring gives the speed at its free length."""
        return math.hypot(self.offset, self.speed / self.omega) if self.contact else self.push

    @property
    def push_end(self) -> float:
        """s at which the stop lets go for the first time: a quarter of the spring's period or more after the start."""
        if not self.contact:
            return self.wait + 2.0 * self.cocked / self.speed
        return self.wait + (0.5 * math.pi + math.asin(self.offset / self.cocked)) / self.omega

    def flights(self) -> list[Hop]:
        """Return the free flights."""
        flights, time, speed = [], self.push_end, self.speed
        for _ in range(self.hops):
            up_time, rise = self._rise(speed)
            down_time, speed_in = self._fall(rise)
            apex_time = time + up_time
            flights.append(Hop(time, apex_time, apex_time + down_time, self.offset + rise, speed, speed_in))
            time = flights[-1].landing + self._held(speed_in, self.restitution * speed_in)
            speed = self.restitution * speed_in
        return flights

    def position(self, time: Floats) -> Floats:
        """Return the cart's place above the rest level, m, shape (n,)."""
        place = np.full(time.size, -self.cocked)
        flights = self.flights()
        pushed = (time > self.wait) & (time <= flights[0].release)
        if self.contact:
            place[pushed] = -self.cocked * np.cos(self.omega * (time[pushed] - self.wait))
        else:
            share = (time[pushed] - self.wait) / (flights[0].release - self.wait)
            place[pushed] = self.cocked * (share**2 - 1.0)
        for number, hop in enumerate(flights):
            free = (time > hop.release) & (time <= hop.landing)
            place[free] = hop.apex + self._below(time[free] - hop.apex_time)
            if self.contact and number + 1 < len(flights):
                after = flights[number + 1]
                held = (time > hop.landing) & (time <= after.release)
                place[held] = self._on_the_spring(time[held], hop, after)
        place[time > flights[-1].landing] = 0.0
        return place

    def record(
        self, rate: float = 40.0, *, noise: float = 0.0, step: float = 0.0, seed: int = 0, file: str = "launch.csv",
        start: float = 0.0037,
    ) -> Record:  # fmt: skip
        """Return the record; noise: m, white; step: m, in which the readings are printed, 0 for not at all."""
        end = self.flights()[-1].landing + self.settle
        time = start + np.arange(math.floor((end - start) * rate)) / rate
        distance = self.rest + self.up * self.position(time)
        if noise:
            distance = distance + noise * np.random.default_rng(seed).standard_normal(time.size)
        if step:
            distance = np.round(distance / step) * step
        return Record(file, time, distance, read_as="written by a test", content=b"test")

    def standing(self, *, seconds: float = 2.0, rate: float = 40.0, noise: float = 0.0, seed: int = 99) -> Record:
        """Return the rest record."""
        time = np.arange(round(seconds * rate)) / rate
        distance = np.full(time.size, self.rest)
        if noise:
            distance = distance + noise * np.random.default_rng(seed).standard_normal(time.size)
        return Record("rest.csv", time, distance, read_as="written by a test")

    def values(self) -> dict[str, float]:
        """Return what a fit of the record should find, by its own names, in the ranger's readings."""
        found = {"climb": self.climb, "descent": self.descent}
        for number, hop in enumerate(self.flights(), 1):
            found[f"apex_time_{number}"] = hop.apex_time
            found[f"apex_{number}"] = self.up * self.rest + hop.apex
        return found

    def _rise(self, speed: float) -> tuple[float, float]:
        """Return time and height of a climb: tan(√(ak)t) = v√(k/a), h = ln(1 + kv²/a)/(2k)."""
        a, k = self.climb, self.drag
        if k == 0.0:
            return speed / a, speed * speed / (2.0 * a)
        return math.atan(speed * math.sqrt(k / a)) / math.sqrt(a * k), math.log1p(k * speed * speed / a) / (2.0 * k)

    def _fall(self, height: float) -> tuple[float, float]:
        """Return time and end speed of a descent: cosh(√(ak)t) = e^(kh), v = √(a/k)·tanh(√(ak)t)."""
        a, k = self.descent, self.drag
        if k == 0.0:
            return math.sqrt(2.0 * height / a), math.sqrt(2.0 * height * a)
        time = math.acosh(math.exp(k * height)) / math.sqrt(a * k)
        return time, math.sqrt(a / k) * math.tanh(math.sqrt(a * k) * time)

    def _below(self, tau: Floats) -> Floats:
        a, k = np.where(tau < 0.0, self.climb, self.descent), self.drag
        if k == 0.0:
            return np.asarray(-0.5 * a * tau * tau)
        root = np.sqrt(a * k) * tau
        return np.asarray(np.where(tau < 0.0, np.log(np.cos(np.minimum(np.abs(root), 1.5))), -np.log(np.cosh(root))) / k)

    def _held(self, speed_in: float, speed_out: float) -> float:
        if not self.contact:
            return 0.0
        quarters = [0.5 * math.pi + math.atan(self.offset * self.omega / speed) for speed in (speed_in, speed_out)]
        return sum(quarters) / self.omega

    def _on_the_spring(self, time: Floats, before: Hop, after: Hop) -> Floats:
        """A swing whose amplitude falls smoothly between its two passages of the rest level: the spring takes it."""
        turn = before.landing + (0.5 * math.pi + math.atan(self.offset * self.omega / before.speed_in)) / self.omega
        phase = self.omega * (time - turn)
        first, second = (math.hypot(self.offset, speed / self.omega) for speed in (before.speed_in, after.speed_out))
        share = 0.5 * (1.0 + np.sin(np.clip(phase, -0.5 * math.pi, 0.5 * math.pi)))
        return np.asarray(-(first + (second - first) * share) * np.cos(phase))
