"""A design: everything that is true of one simulated bench, and what its group states about it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from joulebook.planning.cart import Setup
from joulebook.planning.ranger import ECHO_STEP, Ranger
from joulebook.planning.statements import Statement, default_statement
from joulebook.planning.stops import MagneticStop, SpringStop

__all__ = ["Design", "StopKind", "random_design"]

StopKind = Literal["spring", "hard", "magnetic"]


@dataclass(frozen=True, slots=True)
class Design:
    """One bench to simulate.

    setup: the true forces. ranger: the true sensor; its `stuck` and `lost` are counted from the release. speed: aimed-at release
    speed, m/s. launches: how many records. repeat: relative standard deviation of the launch speed.
    wait: seconds that the cart stands cocked before each launch. hops: free flights in the record, the last one cut at the
    fraction `last_hop` of itself; None: until the cart has settled and stood for a second. longest: the record ends at the
    latest this long after the launch, s.
    rest_seconds: length of the rest record, 0 for none. rest_at: place of the cart on it in units of the band that friction
    leaves, −1 to 1. rest_cocked: it was taken with the plunger cocked. rest_shift: what the stop or the sensor moved between
    rest record and launches, m.
    hand_first, hand_last: a hand places the cart before the launch, lifts it at the end. push: what drives the launch.
    caught_at: the cart is caught this long after the release, s. again_after: it is caught then, and launched again, s.
    missing_launch: nothing is launched at all. skip: seconds after the release at which the record starts, None: `wait` before
    the launch. stop_after: seconds after the release at which the record ends, None: as `hops` says.
    statements: what the bench file says. stated_placed: what it says of the sensor's place, None for nothing. stated_length,
    stated_min_range, stated_max_range: settings, m, None when left out.
    distance_factor: what every distance of the files is multiplied by. velocity_only: the files hold no position.
    title: of the bench.
    """

    setup: Setup
    ranger: Ranger
    stop_kind: StopKind
    speed: float
    statements: tuple[Statement, ...]
    launches: int = 1
    repeat: float = 0.02
    wait: float = 1.0
    hops: int | None = 3
    last_hop: float = 0.5
    longest: float = 60.0
    rest_seconds: float = 3.0
    rest_at: float = 0.0
    rest_cocked: bool = False
    rest_shift: float = 0.0
    hand_first: bool = False
    hand_last: bool = False
    push: Literal["plunger", "hand"] = "plunger"
    caught_at: float | None = None
    again_after: float | None = None
    missing_launch: bool = False
    skip: float | None = None
    stop_after: float | None = None
    stated_placed: Literal["top", "bottom"] | None = None
    stated_length: float | None = None
    stated_min_range: float | None = 0.15
    stated_max_range: float | None = None
    distance_factor: float = 1.0
    velocity_only: bool = False
    title: str = "Bench"

    @property
    def load(self) -> float:
        """The weight's part along the slope, N."""
        return self.setup.mass * self.setup.gravity * math.sin(math.radians(self.setup.angle))

    def stroke(self, speed: float) -> float:
        """Return the stroke (m) that the plunger is cocked by for about this release speed (m/s)."""
        launcher = self.setup.plunger or self.setup.stop
        return launcher.stroke(speed=speed, inertia=self.setup.inertia, load=self.load)


def random_design(
    rng: np.random.Generator,
    *,
    stop: StopKind | None = None,
    placed: Literal["top", "bottom"] | None = None,
    rate: float | None = None,
    angle: float | None = None,
    launches: int | None = None,
    hands: bool = True,
) -> Design:
    """Return a clean bench from the region in which the audit must work.

    Angles 3–18°, launches 0.5–1.6 m/s, 10–100 samples per second, noise 0.2–1.5 mm, printed steps 0.1–1 mm or the echo clock's
    0.17 mm, rolling resistance 0.002–0.010, rotating fraction 0–0.04, 0.25–1 kg, tracks 1.2–2.2 m. Kept feasible, as
    a teacher keeps it: the cart turns well before the end of the track and the blind zone, climbs 0.12 m or more, and its first
    flight holds at least eight samples. What the group states is drawn from what it states about it.
    stop, placed, rate (1/s), angle (deg), launches: fixed instead of drawn. hands: some records start or end with a hand.
    """
    for _ in range(10_000):
        design = _attempt(rng, stop=stop, placed=placed, rate=rate, angle=angle, launches=launches, hands=hands)
        if design is not None:
            return design
    raise ValueError("no feasible bench was found for these fixed values: loosen one of them")


def _attempt(
    rng: np.random.Generator,
    *,
    stop: StopKind | None,
    placed: Literal["top", "bottom"] | None,
    rate: float | None,
    angle: float | None,
    launches: int | None,
    hands: bool,
) -> Design | None:
    length = round(float(rng.uniform(1.2, 2.2)), 2)
    speed = float(rng.uniform(0.5, 1.6))
    slope, true_angle = _slope(rng, float(rng.uniform(3.0, 18.0)) if angle is None else angle)
    resistance = float(rng.uniform(0.002, 0.010))
    pull = 9.81 * (math.sin(math.radians(true_angle)) + resistance)
    travel = speed**2 / (2.0 * pull) * 1.08
    per_second = rate or float(rng.choice([10.0, 20.0, 20.0, 25.0, 30.0, 40.0, 50.0, 100.0]))
    min_range = float(rng.choice([0.15, 0.15, 0.20, 0.25]))
    side: Literal["top", "bottom"] = placed or ("top" if rng.uniform() < 0.5 else "bottom")
    room = length - 0.15 - (min_range + 0.06 if side == "top" else 0.05)
    if not 0.12 <= travel <= room or 2.0 * speed / pull * per_second < 8.0:
        return None
    others = _others(rng)
    truth = {statement.name: statement.draw(rng) for statement in others}
    for name in ("cart.rotating_fraction", "cart.drag_area", "sensor.scale", "place.gravity", "place.air_density"):
        if name not in truth:
            truth[name] = default_statement(name).draw(rng)
    mass, kappa = truth["cart.mass"], max(truth["cart.rotating_fraction"], 0.0)
    kinds: tuple[StopKind, ...] = ("spring", "spring", "hard", "magnetic")
    kind = stop or kinds[int(rng.integers(4))]
    setup = Setup(
        mass=mass, angle=true_angle, stop=SpringStop(1.0), rolling_resistance=resistance, rotating_fraction=kappa,
        drag_area=max(truth["cart.drag_area"], 0.0), gravity=truth["place.gravity"], air_density=truth["place.air_density"],
        track_length=length, low_end=-0.10,
    )
    setup = _with_stop(rng, setup, kind, speed)
    zero = length - 0.10 - float(rng.uniform(0.0, 0.04)) if side == "top" else min_range + 0.10 + float(rng.uniform(0.0, 0.1))
    ranger = _ranger(rng, per_second, side, zero, truth["sensor.scale"], min_range)
    settled = rng.uniform() < 0.25
    design = Design(
        setup=setup, ranger=ranger, stop_kind=kind, speed=speed, statements=(*slope, *others),
        launches=launches or int(rng.choice([1, 1, 2, 3, 5])), repeat=float(rng.uniform(0.01, 0.03)),
        wait=float(rng.uniform(0.5, 1.5)), hops=None if settled else int(rng.integers(2, 6)),
        last_hop=float(rng.uniform(0.1, 0.95)), rest_seconds=float(rng.uniform(2.0, 5.0)), rest_at=float(rng.uniform(-0.8, 0.8)),
        hand_first=bool(hands and rng.uniform() < 0.25), hand_last=bool(hands and rng.uniform() < 0.25),
        stated_placed=side if rng.uniform() < 0.8 else None, stated_length=length if rng.uniform() < 0.8 else None,
        stated_min_range=min_range,
    )
    deepest = design.stroke(speed * 1.07)
    if side == "bottom" and ranger.zero - deepest < min_range + 0.02:
        design = replace(design, ranger=replace(ranger, zero=min_range + 0.03 + deepest))
    return design


def _slope(rng: np.random.Generator, aim: float) -> tuple[tuple[Statement, ...], float]:
    """Return the stated slope, as angle or as rise over length, and the true angle in degrees."""
    kind = int(rng.integers(4))
    if kind == 0:
        stated = Statement("track.angle", round(aim * 2.0) / 2.0 if aim > 3.5 else round(aim, 1), 0.25, "limits", 2)
    elif kind == 1:
        stated = Statement("track.angle", round(aim, 2), 0.10, "standard", 2)
    elif kind == 2:
        stated = Statement("track.angle", round(aim, 1), 0.5, "triangular", 1)
    else:
        along = Statement("track.along", 1.0, 0.001, "limits", 1, "cm", 100.0)
        rise = Statement("track.rise", round(math.sin(math.radians(aim)), 3), 0.001, "limits", 1, "cm", 100.0)
        return (rise, along), math.degrees(math.asin(rise.draw(rng) / along.draw(rng)))
    return (stated,), stated.draw(rng)


def _others(rng: np.random.Generator) -> tuple[Statement, ...]:
    mass = round(float(rng.uniform(0.25, 1.0)), 4)
    statements = [Statement("cart.mass", mass, 0.0005, "limits", 4)]
    if rng.uniform() < 0.5:
        kappa = round(float(rng.uniform(0.01, 0.03)), 3)
        statements.append(Statement("cart.rotating_fraction", kappa, 0.01, "limits", 3))
    if rng.uniform() < 0.3:
        statements.append(Statement("cart.drag_area", 0.003, 0.003, "limits", 4))
    if rng.uniform() < 0.6:
        statements.append(Statement("sensor.scale", 1.0, 0.007, "limits", 4))
    if rng.uniform() < 0.6:
        statements.append(Statement("place.gravity", round(float(rng.uniform(9.79, 9.83)), 3), 0.001, "limits", 4))
    return tuple(statements)


def _with_stop(rng: np.random.Generator, setup: Setup, kind: StopKind, speed: float) -> Setup:
    """Return the setup with a stop of this kind and with what launches the cart."""
    if kind == "magnetic":
        load = setup.mass * setup.gravity * math.sin(math.radians(setup.angle))
        magnets = MagneticStop.with_restitution(
            force=float(rng.uniform(0.05, 0.15)) * load, reach=float(rng.uniform(0.004, 0.010)), speed=speed,
            restitution=float(rng.uniform(0.90, 0.98)),
        )
        return replace(setup, stop=magnets)
    plunger_contact = float(rng.uniform(0.10, 0.18))
    stiffness = setup.inertia * (math.pi / plunger_contact) ** 2
    plunger = SpringStop(stiffness)
    if kind == "spring":
        stop = SpringStop.hysteretic(stiffness=stiffness, speed=speed, restitution=float(rng.uniform(0.6, 0.95)))
    else:
        hard = setup.inertia * (math.pi / float(rng.uniform(0.003, 0.008))) ** 2
        stop = SpringStop.damped(stiffness=hard, inertia=setup.inertia, restitution=float(rng.uniform(0.3, 0.6)))
    return replace(setup, stop=stop, plunger=plunger)


def _ranger(
    rng: np.random.Generator, rate: float, placed: Literal["top", "bottom"], zero: float, scale: float, min_range: float
) -> Ranger:
    noise = float(np.exp(rng.uniform(math.log(0.0002), math.log(0.0015))))
    correlated = rng.uniform() < 0.25
    printed = int(rng.integers(4))
    return Ranger(
        rate=rate, placed=placed, zero=zero, scale=scale, min_range=min_range,
        noise=noise * (0.7 if correlated else 1.0), drift_noise=noise * 0.7 if correlated else 0.0,
        memory=float(rng.uniform(0.3, 0.8)), moving_noise=float(rng.choice([0.0, 0.0, 0.0003])),
        echo_step=ECHO_STEP if printed == 0 else 0.0, decimals=(5, 4, 3, 4)[printed],
        printed_step=0.0005 if printed == 3 else 0.0,
        jitter=float(rng.choice([0.0, 0.0, 2e-5])),
    )
