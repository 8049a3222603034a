"""What really happened in a simulated launch, in the quantities of the audit."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import takewhile

import numpy as np
import numpy.typing as npt

from joulebook.planning.cart import Setup, height_at, weight_along
from joulebook.planning.motion import Event, Motion

__all__ = ["Hop", "Truth", "losses_between", "mechanical_energy", "true_quantities"]

Floats = npt.NDArray[np.float64]
Power = Callable[[Floats, Floats, Floats], Floats]

# Three-point Gauss–Legendre abscissae and weights on [0, 1] (Abramowitz and Stegun 25.4.30).
_NODES = 0.5 + 0.5 * np.array([-math.sqrt(0.6), 0.0, math.sqrt(0.6)])
_WEIGHTS = np.array([5.0, 8.0, 5.0]) / 18.0


@dataclass(frozen=True, slots=True)
class Hop:
    """One free flight. release, apex, contact: seconds; apex or contact are NaN where the motion ended before.

    apex_s: s of the apex, m. speed_out: at release, m/s. speed_in: at the contact that ends the hop, m/s, positive.
    """

    release: float
    apex: float
    contact: float
    apex_s: float
    speed_out: float
    speed_in: float


@dataclass(frozen=True, slots=True)
class Truth:
    """The truth of one launch; times are on the record's clock.

    Quantities are those of the audit, in SI units, slope_from_motion in degrees. release_position and apex_position are s in
    metres counted from the free length of the stop; rest_level is s of the cart at rest, negative. kinetic_energy is ½mv² at
    release; potential_energy uses the true slope, from release to apex; climb_acceleration and descent_acceleration are the
    positive magnitudes at vanishing speed. restitution: speed out over speed in, for each contact that was completed.
    contacts: (start, end) of each contact after the launch, the end NaN when the cart stayed. hops: the free flights.
    settled_time: when the cart stood for good, NaN if it had not.
    """

    release_time: float
    release_speed: float
    release_position: float
    apex_time: float
    apex_position: float
    travel: float
    height: float
    climb_acceleration: float
    descent_acceleration: float
    slope_from_motion: float
    rolling_resistance: float
    kinetic_energy: float
    rotational_energy: float
    potential_energy: float
    rolling_loss: float
    drag_loss: float
    rest_level: float
    restitution: tuple[float, ...]
    contacts: tuple[tuple[float, float], ...]
    hops: tuple[Hop, ...]
    settled_time: float

    @property
    def difference(self) -> float:
        """Kinetic and rotational energy at release less the potential energy at the apex, J."""
        return self.kinetic_energy + self.rotational_energy - self.potential_energy

    @property
    def relative_difference(self) -> float:
        """The difference over the energy at release."""
        return self.difference / (self.kinetic_energy + self.rotational_energy)

    @property
    def unaccounted(self) -> float:
        """What is left of the difference after rolling and drag losses, J: zero but for the integrator's error."""
        return self.difference - self.rolling_loss - self.drag_loss

    def quantities(self) -> dict[str, float | tuple[float, ...]]:
        """Return the quantities of the audit under their names there."""
        names = (
            "release_time", "release_speed", "apex_time", "travel", "height", "climb_acceleration", "descent_acceleration",
            "slope_from_motion", "rolling_resistance", "kinetic_energy", "rotational_energy", "potential_energy",
            "rolling_loss", "drag_loss", "difference", "relative_difference", "unaccounted", "restitution",
        )
        return {name: getattr(self, name) for name in names}


def true_quantities(setup: Setup, motion: Motion, *, clock_offset: float = 0.0) -> Truth:
    """Return the truth of a launch from its motion, whose first "release" event is the launch.

    clock_offset: what the record's clock shows more than the simulation's, s.
    Raises ValueError when the motion holds no release or no turn after it.
    """
    events = list(motion.events)
    first = next((i for i, event in enumerate(events) if event.kind == "release"), None)
    if first is None:
        raise ValueError("the stop never let the cart go: there is no truth to a launch that did not happen")
    # What follows a hand is no longer this launch.
    free = list(takewhile(lambda event: event.kind != "hand", events[first:]))
    hops, contacts, restitution = _flights(free, clock_offset)
    release = free[0]
    apex = next((event for event in free if event.kind == "turn"), None)
    if apex is None:
        raise ValueError("the motion ends before its first turning point: let it run for longer")
    rolling, drag = losses_between(setup, motion, release.time, apex.time)
    mass, kappa, g = setup.mass, setup.rotating_fraction, setup.gravity
    angle = math.radians(setup.angle + setup.creep * release.time)
    resistance = setup.rolling_resistance + setup.resistance_drift * release.time + setup.resistance_along * release.s
    grip = g * math.cos(angle) * resistance
    kinetic = 0.5 * mass * release.v**2
    height = height_at(setup, apex.s) - height_at(setup, release.s)
    potential = mass * g * height if not setup.creep else -_work(motion, release.time, apex.time, _weight(setup))
    settled = next((event.time + clock_offset for event in free if event.kind == "stick"), math.nan)
    return Truth(
        release_time=release.time + clock_offset, release_speed=release.v, release_position=release.s,
        apex_time=apex.time + clock_offset, apex_position=apex.s, travel=apex.s - release.s, height=height,
        climb_acceleration=(g * math.sin(angle) + grip) / (1.0 + kappa),
        descent_acceleration=(g * math.sin(angle) - grip) / (1.0 + kappa),
        slope_from_motion=math.degrees(angle), rolling_resistance=grip / (g * math.cos(angle)),
        kinetic_energy=kinetic, rotational_energy=kappa * kinetic, potential_energy=potential,
        rolling_loss=rolling, drag_loss=drag, rest_level=setup.rest_level,
        restitution=restitution, contacts=contacts, hops=hops, settled_time=settled,
    )


def losses_between(setup: Setup, motion: Motion, start: float, end: float) -> tuple[float, float]:
    """Return the work (J) against rolling resistance and against drag between two instants (s)."""

    def rolling(time: Floats, s: Floats, v: Floats) -> Floats:
        resistance = setup.rolling_resistance + setup.resistance_per_speed * np.abs(v) + setup.resistance_drift * time
        resistance = resistance + setup.resistance_along * s
        force = setup.mass * setup.gravity * math.cos(math.radians(setup.angle)) * np.maximum(resistance, 0.0)
        return np.asarray(force * np.abs(v))

    def drag(time: Floats, s: Floats, v: Floats) -> Floats:
        return np.asarray(0.5 * setup.air_density * setup.drag_area * np.abs(v) ** 3)

    return _work(motion, start, end, rolling), _work(motion, start, end, drag)


def mechanical_energy(setup: Setup, motion: Motion, time: float) -> float:
    """Return kinetic, rotational and potential energy together at one instant, J, counted from s = 0; without creep."""
    v = float(motion.velocity(time))
    s = float(motion.place(time))
    return 0.5 * setup.inertia * v * v + setup.mass * setup.gravity * height_at(setup, s)


def _flights(
    events: Sequence[Event], offset: float
) -> tuple[tuple[Hop, ...], tuple[tuple[float, float], ...], tuple[float, ...]]:
    hops: list[Hop] = []
    contacts: list[tuple[float, float]] = []
    restitution: list[float] = []
    release: Event | None = None
    apex: Event | None = None
    met: Event | None = None
    for event in events:
        if event.kind == "release":
            if met is not None:
                contacts.append((met.time + offset, event.time + offset))
                restitution.append(event.v / -met.v)
            release, apex, met = event, None, None
        elif event.kind == "turn" and met is None and apex is None:
            apex = event
        elif event.kind == "contact" and release is not None and apex is not None:
            hops.append(Hop(release.time + offset, apex.time + offset, event.time + offset, apex.s, release.v, -event.v))
            release, met = None, event
    if met is not None:
        contacts.append((met.time + offset, math.nan))
    if release is not None:
        turned = (apex.time + offset, apex.s) if apex is not None else (math.nan, math.nan)
        hops.append(Hop(release.time + offset, turned[0], math.nan, turned[1], release.v, math.nan))
    return tuple(hops), tuple(contacts), tuple(restitution)


def _weight(setup: Setup) -> Power:
    def power(time: Floats, s: Floats, v: Floats) -> Floats:
        pull = [weight_along(setup, t, place) for t, place in zip(time.tolist(), s.tolist(), strict=True)]
        return -setup.mass * np.array(pull) * v

    return power


def _work(motion: Motion, start: float, end: float, power: Power) -> float:
    inner = motion.time[(motion.time > start) & (motion.time < end)]
    edges = np.concatenate([[start], inner, [end]])
    width = np.diff(edges)
    times = (edges[:-1, None] + width[:, None] * _NODES).ravel()
    values = power(times, motion.place(times), motion.velocity(times))
    return float(np.sum(values.reshape(-1, 3) @ _WEIGHTS * width))
