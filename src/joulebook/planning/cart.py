"""The cart's motion on the track, integrated step by step from its forces.

Nothing here is a closed form of the motion: a classical fourth-order Runge–Kutta rule (Kutta 1901) walks through time, and
the instants at which the forces change their law (the stop lets go, the cart turns, the stop is met again) are located to the
last bits by repeating the step with a shorter length. A fit that uses closed forms can therefore be tested against it.

Coordinates: s is metres up the slope, counted from the place where the stop's push ends for a cart at rest (the free
length of the plunger, the edge of the magnets' reach); the stop pushes only at s < 0. Time is in seconds.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from joulebook.planning.motion import Event, Motion, MotionBuilder
from joulebook.planning.stops import Stop

__all__ = ["Setup", "height_at", "run", "weight_along"]

_FREE_STEP = 0.02
"""Longest step of free flight, s: the acceleration changes by less than a hundredth in it."""

_STEPS_PER_RADIAN = 16.0
"""Steps of a contact per radian of its oscillation: 50 for a contact with a spring."""

_MOST_STEPS = 200_000


@dataclass(frozen=True, slots=True)
class Setup:
    """The true state of one bench: what the forces on the cart are.

    mass: kg. rotating_fraction: wheels' sum of I/r² over the mass. rolling_resistance: coefficient at vanishing speed.
    drag_area: drag coefficient times frontal area, m². angle: of the track's chord to the horizontal, degrees.
    gravity: m/s². air_density: kg/m³. stop: what the cart rests on and bounces from.
    plunger: the spring of the launch where it is not the stop itself; once it has let go it stays out, locked, and what is
    met from then on is the stop.
    track_length: m. sag: depth of the track's parabolic sag in its middle, m, over the length. low_end: s of the track's
    lower end, m. creep: drift of the slope, degrees per second, from a clamp that gives way.
    resistance_per_speed: growth of the rolling resistance with speed, s/m. resistance_drift: growth with time, 1/s.
    resistance_along: growth up the track, 1/m, as of a rail that is dirty at one end.
    """

    mass: float
    angle: float
    stop: Stop
    rolling_resistance: float = 0.0
    rotating_fraction: float = 0.0
    drag_area: float = 0.0
    gravity: float = 9.80665
    air_density: float = 1.2
    plunger: Stop | None = None
    track_length: float = 1.2
    sag: float = 0.0
    low_end: float = -0.05
    creep: float = 0.0
    resistance_per_speed: float = 0.0
    resistance_drift: float = 0.0
    resistance_along: float = 0.0

    @property
    def inertia(self) -> float:
        """The inertia that an acceleration meets, wheels included, kg."""
        return self.mass * (1.0 + self.rotating_fraction)

    @property
    def rest_level(self) -> float:
        """Where the stop's push balances the weight along the slope, m; friction may hold the cart a little off it."""
        return -self.stop.depth(self.mass * weight_along(self, 0.0, 0.0))

    @property
    def rest_band(self) -> float:
        """How far friction may hold the cart off its rest level, m either way."""
        friction = self.mass * self.gravity * math.cos(math.radians(self.angle)) * self.rolling_resistance
        return friction / self.stop.stiffness_at(self.rest_level)


def weight_along(setup: Setup, time: float, s: float) -> float:
    """Return the weight's part along the slope over the mass, m/s²: positive pulls down the slope."""
    tangent = math.sin(math.radians(setup.angle + setup.creep * time))
    if setup.sag:
        tangent -= 4.0 * setup.sag / setup.track_length * (1.0 - 2.0 * (s - setup.low_end) / setup.track_length)
    return setup.gravity * tangent


def height_at(setup: Setup, s: float) -> float:
    """Return the height of the track at s over its height at s = 0, m, without creep."""

    def dip(place: float) -> float:
        along = 2.0 * (place - setup.low_end) / setup.track_length - 1.0
        return setup.sag * (1.0 - along * along)

    return s * math.sin(math.radians(setup.angle)) - dip(s) + dip(0.0)


def run(
    setup: Setup,
    *,
    s: float,
    v: float = 0.0,
    start: float = 0.0,
    until: float,
    launched: bool = False,
    hops: int | None = None,
    refine: float = 1.0,
) -> Motion:
    """Integrate the cart's motion from a state until a time, until it stands still for good, or until some hops are done.

    s, v: place (m) and velocity (m/s, up-slope) at `start`. until: the time to stop at, s.
    launched: the cart starts on the cocked plunger, which lets go at `start`.
    hops: stop when the stop is met for this many times after a free flight. refine: divides every step.
    Raises ValueError when the state cannot be integrated.
    """
    if not all(map(math.isfinite, (s, v, start, until))) or refine <= 0.0:
        raise ValueError(f"a run needs a finite state and a positive refine, got s={s}, v={v}, refine={refine}")
    laws = _ForceLaws(setup)
    law: Stop = setup.plunger if launched and setup.plunger is not None else setup.stop
    builder = MotionBuilder(start, s, v)
    touching = law.edge(s, v) > 0.0
    sign = laws.direction(law if touching else None, start, s, v)
    force = laws.acceleration(law if touching else None, sign)
    a = force(start, s, v)
    time, met, small, grown = start, 0, 0.0, _FREE_STEP / refine
    for _ in range(_MOST_STEPS):
        if time >= until:
            break
        if sign == 0:
            builder.mark(Event("stick", time, s, 0.0))
            break
        if touching:
            step = small = grown = 1.0 / (_STEPS_PER_RADIAN * refine * law.rate_at(min(s, 0.0), v, setup.inertia))
        else:
            # After a contact the steps grow again, so that a short hop is not jumped over.
            step, grown = grown, min(2.0 * grown, _FREE_STEP / refine)
        step, kind, new_s, new_v = _first_event(force, (time, s, v, a), sign, law, min(step, until - time), touching)
        new_a = force(time + step, new_s, new_v)
        builder.add(step, new_s, new_v, a, new_a)
        time, s, v, a = time + step, new_s, new_v, new_a
        if not kind:
            continue
        if kind == "turn":
            v = builder.turn()
            builder.mark(Event("turn", time, s, 0.0))
        else:
            touching = not touching
            builder.mark(Event("contact" if touching else "release", time, s, v))
            if touching:
                met += 1
                if hops is not None and met >= hops:
                    break
            else:
                law, grown = setup.stop, small
        sign = laws.direction(law if touching else None, time, s, v)
        force = laws.acceleration(law if touching else None, sign)
        a = force(time, s, v)
    else:
        raise ValueError(f"the motion took more than {_MOST_STEPS} steps: is a stop far too stiff for its cart?")
    return builder.finish()


Acceleration = Callable[[float, float, float], float]
State = tuple[float, float, float, float]


class _ForceLaws:
    """Gives the acceleration as a function of time, s and v, for one sense of motion and one state of touch."""

    def __init__(self, setup: Setup) -> None:
        self._setup = setup
        self._drag = 0.5 * setup.air_density * setup.drag_area / setup.mass
        self._normal = setup.gravity * math.cos(math.radians(setup.angle))
        self._weight = setup.gravity * math.sin(math.radians(setup.angle))
        unsteady = setup.resistance_per_speed or setup.resistance_drift or setup.resistance_along
        self._plain = not (setup.sag or setup.creep or unsteady)

    def acceleration(self, law: Stop | None, sign: int) -> Acceleration:
        """Return the acceleration for a cart that moves up (+1) or down (−1), touching a stop or none."""
        setup, drag = self._setup, self._drag / (1.0 + self._setup.rotating_fraction)
        steady = (-self._weight - sign * setup.rolling_resistance * self._normal) / (1.0 + setup.rotating_fraction)
        inertia = setup.inertia
        if not self._plain:
            return self._unusual(law, sign)
        if law is None:
            return lambda time, s, v: steady - drag * v * abs(v)
        push = law.push
        return lambda time, s, v: steady - drag * v * abs(v) + push(s, v) / inertia

    def direction(self, law: Stop | None, time: float, s: float, v: float) -> int:
        """Return the sense of motion: of the velocity, else of the force that overcomes friction, else 0."""
        if v != 0.0:
            return 1 if v > 0.0 else -1
        return next((sign for sign in (1, -1) if sign * self.acceleration(law, sign)(time, s, 0.0) > 0.0), 0)

    def _unusual(self, law: Stop | None, sign: int) -> Acceleration:
        setup, normal, drag = self._setup, self._normal, self._drag

        def acceleration(time: float, s: float, v: float) -> float:
            resistance = setup.rolling_resistance + setup.resistance_per_speed * abs(v) + setup.resistance_drift * time
            resistance += setup.resistance_along * s
            force = -weight_along(setup, time, s) - sign * max(resistance, 0.0) * normal - drag * v * abs(v)
            if law is not None:
                force += law.push(s, v) / setup.mass
            return force / (1.0 + setup.rotating_fraction)

        return acceleration


def _take(force: Acceleration, state: State, h: float) -> tuple[float, float]:
    """Return s and v one Runge–Kutta step of length h after a state."""
    time, s, v, a1 = state
    half = 0.5 * h
    v2 = v + half * a1
    a2 = force(time + half, s + half * v, v2)
    v3 = v + half * a2
    a3 = force(time + half, s + half * v2, v3)
    v4 = v + h * a3
    a4 = force(time + h, s + h * v3, v4)
    return s + h * (v + 2.0 * (v2 + v3) + v4) / 6.0, v + h * (a1 + 2.0 * (a2 + a3) + a4) / 6.0


def _first_event(
    force: Acceleration, state: State, sign: int, law: Stop, step: float, touching: bool
) -> tuple[float, Literal["", "turn", "edge"], float, float]:
    """Return the length of the step up to the first change of the forces' law, which it is, and s and v there."""
    s, v = _take(force, state, step)
    side = 1.0 if touching else -1.0
    edge = side * law.edge(s, v)
    if sign * v >= 0.0 and edge >= 0.0:
        return step, "", s, v
    at_turn = at_edge = math.inf
    if sign * v < 0.0:
        at_turn = _root(lambda h: sign * _take(force, state, h)[1], sign * state[2], step)
    if edge < 0.0:
        at_edge = _root(lambda h: side * law.edge(*_take(force, state, h)), side * law.edge(state[1], state[2]), step)
    first = max(min(at_turn, at_edge), 1e-9)
    s, v = _take(force, state, first)
    return first, "turn" if at_turn <= at_edge else "edge", s, v


def _root(quantity: Callable[[float], float], at_start: float, step: float) -> float:
    """Return where a quantity, positive at first, falls through zero within a step (regula falsi, Illinois form)."""
    low, high = 0.0, step
    at_low, at_high = max(at_start, 0.0), quantity(step)
    if at_low == 0.0:
        # The step starts on the edge itself: look just behind it, or the root found would be the start.
        low = 1e-3 * step
        at_low = quantity(low)
        if at_low <= 0.0:
            return low
    last = 0
    for _ in range(60):
        middle = high - at_high * (high - low) / (at_high - at_low)
        value = quantity(middle)
        if value == 0.0 or high - low < 1e-14:
            return middle
        if value > 0.0:
            low, at_low = middle, value
            at_high *= 0.5 if last == 1 else 1.0
            last = 1
        else:
            high, at_high = middle, value
            at_low *= 0.5 if last == -1 else 1.0
            last = -1
    return 0.5 * (low + high)
