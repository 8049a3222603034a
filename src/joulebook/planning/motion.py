"""A motion as nodes in time, readable at any instant: the noun that the integrator and the ranger share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

__all__ = ["Event", "Motion", "MotionBuilder", "hold", "join", "through"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Event:
    """An instant at which the forces change their law.

    kind: "release" (the stop lets go), "contact" (the stop is met), "turn" (velocity zero), "stick" (stands for good),
    "hand" (a hand takes or leaves the cart). time: s. s: m. v: m/s.
    """

    kind: Literal["release", "contact", "turn", "stick", "hand"]
    time: float
    s: float
    v: float


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """Place and velocity at nodes, with the acceleration at both ends of every interval between them.

    time, s, v: shape (n,). a_start, a_end: shape (n − 1,), m/s². events: in order of time.
    Between nodes the motion is the quintic polynomial that these six numbers fix; it jumps nowhere in s and v.
    """

    time: Floats
    s: Floats
    v: Floats
    a_start: Floats
    a_end: Floats
    events: tuple[Event, ...] = ()

    @property
    def start(self) -> float:
        """The first instant, s."""
        return float(self.time[0])

    @property
    def end(self) -> float:
        """The last instant, s."""
        return float(self.time[-1])

    def place(self, time: npt.ArrayLike) -> Floats:
        """Return s (m) at these times (s); before the start and after the end the cart stands."""
        return self._evaluate(time)[0]

    def velocity(self, time: npt.ArrayLike) -> Floats:
        """Return the velocity (m/s, up-slope) at these times; zero outside the motion."""
        return self._evaluate(time)[1]

    def acceleration(self, time: npt.ArrayLike) -> Floats:
        """Return the acceleration (m/s²) at these times; zero outside the motion."""
        return self._evaluate(time)[2]

    def shifted(self, by: float) -> Motion:
        """Return the same motion, later by some seconds."""
        events = tuple(Event(e.kind, e.time + by, e.s, e.v) for e in self.events)
        return Motion(self.time + by, self.s, self.v, self.a_start, self.a_end, events)

    def until(self, time: float) -> Motion:
        """Return the motion up to this instant, with a node there."""
        if time >= self.end:
            return self
        last = max(int(np.searchsorted(self.time, time, side="left")), 1)
        s, v, a = (float(part[0]) for part in self._evaluate([time]))
        return Motion(
            np.append(self.time[:last], time), np.append(self.s[:last], s), np.append(self.v[:last], v),
            self.a_start[:last], np.append(self.a_end[: last - 1], a),
            tuple(event for event in self.events if event.time <= time),
        )

    def _evaluate(self, time: npt.ArrayLike) -> tuple[Floats, Floats, Floats]:
        wanted = np.asarray(time, dtype=np.float64)
        inside = (wanted >= self.time[0]) & (wanted <= self.time[-1])
        at = np.clip(np.searchsorted(self.time, wanted, side="right") - 1, 0, self.time.size - 2)
        h = np.maximum(self.time[at + 1] - self.time[at], 1e-300)
        u = np.clip((wanted - self.time[at]) / h, 0.0, 1.0)
        s0, v0, a0 = self.s[at], self.v[at] * h, self.a_start[at] * h * h
        v1, a1 = self.v[at + 1] * h, self.a_end[at] * h * h
        # The remainders after the first three Taylor terms: taken as differences, so that short intervals lose no digits.
        rs = (self.s[at + 1] - s0) - v0 - 0.5 * a0
        rv = (v1 - v0) - a0
        ra = a1 - a0
        c3 = 10.0 * rs - 4.0 * rv + 0.5 * ra
        c4 = -15.0 * rs + 7.0 * rv - ra
        c5 = 6.0 * rs - 3.0 * rv + 0.5 * ra
        place = s0 + u * (v0 + u * (0.5 * a0 + u * (c3 + u * (c4 + u * c5))))
        velocity = (v0 + u * (a0 + u * (3.0 * c3 + u * (4.0 * c4 + u * 5.0 * c5)))) / h
        acceleration = (a0 + u * (6.0 * c3 + u * (12.0 * c4 + u * 20.0 * c5))) / (h * h)
        return place, np.where(inside, velocity, 0.0), np.where(inside, acceleration, 0.0)


class MotionBuilder:
    """Collects the steps of an integration."""

    def __init__(self, time: float, s: float, v: float) -> None:
        self._time, self._s, self._v = [time], [s], [v]
        self._a_start: list[float] = []
        self._a_end: list[float] = []
        self._events: list[Event] = []

    def add(self, step: float, s: float, v: float, a_start: float, a_end: float) -> None:
        """Add the node at the end of a step (s), with the acceleration at both ends of the step."""
        self._time.append(self._time[-1] + step)
        self._s.append(s)
        self._v.append(v)
        self._a_start.append(a_start)
        self._a_end.append(a_end)

    def turn(self) -> float:
        """Set the velocity of the last node, which is zero but for rounding, to zero, and return it."""
        self._v[-1] = 0.0
        return 0.0

    def mark(self, event: Event) -> None:
        """Note an event at the last node."""
        self._events.append(event)

    def finish(self) -> Motion:
        """Return the motion."""
        if not self._a_start:
            # A cart that never moves still needs an interval to be read in.
            self.add(1e-6, self._s[-1], 0.0, 0.0, 0.0)
        return Motion(
            np.array(self._time), np.array(self._s), np.array(self._v), np.array(self._a_start), np.array(self._a_end),
            tuple(self._events),
        )


def hold(s: float, start: float, end: float) -> Motion:
    """Return a cart that stands at s (m) from start to end (s)."""
    zero = np.zeros(1)
    return Motion(np.array([start, end]), np.array([s, s]), np.zeros(2), zero, zero)


def through(time: npt.ArrayLike, s: npt.ArrayLike, *, v_start: float = 0.0, v_end: float = 0.0) -> Motion:
    """Return a smooth motion through given places, as of a hand: a cubic spline with these end velocities (m/s)."""
    from scipy.interpolate import CubicSpline

    times, places = np.asarray(time, dtype=np.float64), np.asarray(s, dtype=np.float64)
    spline = CubicSpline(times, places, bc_type=((1, v_start), (1, v_end)))
    v, a = spline(times, 1), spline(times, 2)
    return Motion(times, places, v, a[:-1], a[1:])


def join(motions: Sequence[Motion]) -> Motion:
    """Return motions that follow each other as one; where one ends before the next starts, the cart stands."""
    first = motions[0]
    for following in motions[1:]:
        gap = following.start - first.end
        if gap < -1e-9:
            raise ValueError(f"a motion starts {-gap:.3g} s before the one before it ends")
        first = _append(first, following)
    return first


def _append(before: Motion, after: Motion) -> Motion:
    bridge = np.zeros(1)
    return Motion(
        np.concatenate([before.time, after.time]), np.concatenate([before.s, after.s]), np.concatenate([before.v, after.v]),
        np.concatenate([before.a_start, bridge, after.a_start]), np.concatenate([before.a_end, bridge, after.a_end]),
        before.events + after.events,
    )
