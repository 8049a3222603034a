"""A planned set-up as something that can be simulated: the truth behind it is drawn from what the kit says of itself."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from joulebook.experiments.ramp_kit import Kit
from joulebook.experiments.ramp_plan import SetUp
from joulebook.planning.cart import Setup, run
from joulebook.planning.design import Design
from joulebook.planning.ranger import Ranger
from joulebook.planning.statements import Statement
from joulebook.planning.stops import SpringStop
from joulebook.uncertainty import Input

__all__ = ["design_of", "statements_of"]

_LONGEST_PUSH = 0.5
"""s: a plunger has let go by then."""
_NOTATION = {"normal": "standard", "triangular": "triangular"}


def design_of(
    kit: Kit, set_up: SetUp, rng: np.random.Generator, *, title: str = "Bench", damped: float = 0.0
) -> Design:  # fmt: skip
    """Return a bench of this set-up, to be simulated: its true values drawn within what the kit states, nothing else wrong
    with it.

    rng: decides the true mass, slope, wheels, drag, scale, g and rolling resistance. damped: part of the stop's loss that a
    damper takes all along, launch included, so that the plunger lets go early; 0: all is lost when the stop is struck.
    """
    statements = statements_of(kit, set_up)
    truth = {statement.name: statement.draw(rng) for statement in statements}
    by_rise = "track.rise" in truth
    angle = math.degrees(math.asin(truth["track.rise"] / truth["track.along"])) if by_rise else truth["track.angle"]
    mass, kappa = truth["cart.mass"], max(truth["cart.rotating_fraction"], 0.0)
    stiffness = kit.spring(set_up.mass)
    plunger, stop = _spring(kit, set_up, mass * (1.0 + kappa), damped=damped)
    setup = Setup(
        mass=mass, angle=angle, stop=stop, plunger=plunger, rotating_fraction=kappa,
        rolling_resistance=max(_statement(kit.rolling_resistance, "cart.rotating_fraction").draw(rng), 0.0),
        drag_area=max(truth["cart.drag_area"], 0.0), gravity=truth["place.gravity"], air_density=truth["place.air_density"],
        track_length=kit.track_length, low_end=-kit.start,
    )  # fmt: skip
    rest = mass * setup.gravity * math.sin(math.radians(angle)) / stiffness
    zero = kit.track_length - kit.start - rest if kit.placed == "top" else kit.behind + rest
    decimals = max(0, math.ceil(-math.log10(kit.step) - 1e-9))
    ranger = Ranger(
        rate=set_up.rate, placed=kit.placed, zero=zero, noise=kit.noise, decimals=decimals,
        printed_step=0.0 if math.isclose(kit.step, 10.0**-decimals) else kit.step,
        scale=truth["sensor.scale"], min_range=kit.min_range, max_range=kit.max_range,
    )  # fmt: skip
    return Design(
        setup=setup, ranger=ranger, stop_kind="spring", speed=_aim(setup, set_up.speed) if damped else set_up.speed,
        statements=statements, launches=set_up.launches,
        repeat=kit.repeat, wait=1.0, hops=kit.flights, last_hop=kit.LAST_FLIGHT, longest=60.0, rest_seconds=kit.REST_SECONDS,
        rest_at=float(rng.uniform(-0.8, 0.8)), stated_placed=kit.placed, stated_length=kit.track_length,
        stated_min_range=kit.min_range, stated_max_range=kit.max_range, title=title,
    )  # fmt: skip


def _spring(kit: Kit, set_up: SetUp, inertia: float, *, damped: float) -> tuple[SpringStop, SpringStop]:
    """Return the plunger's spring as it launches and as it is bounced from.

    damped: part of the loss, in ln e, that a damper takes all along; the rest is lost only when it is struck.
    """
    stiffness, restitution = kit.spring(set_up.mass), max(min(kit.restitution, 1.0), 0.2)
    if damped == 0.0:
        return SpringStop(stiffness), SpringStop.hysteretic(stiffness=stiffness, speed=set_up.speed, restitution=restitution)
    whole = SpringStop.damped(stiffness=stiffness, inertia=inertia, restitution=restitution)
    struck = SpringStop.hysteretic(stiffness=stiffness, speed=set_up.speed, restitution=restitution ** (1.0 - damped))
    damping = damped * whole.damping
    return SpringStop(stiffness, damping=damping), replace(struck, damping=damping)


def _aim(setup: Setup, speed: float) -> float:
    """Return the speed (m/s) that a plunger without loss would have to be cocked for, to launch at `speed` with its own."""
    assert setup.plunger is not None
    load = setup.mass * setup.gravity * math.sin(math.radians(setup.angle))
    aim = speed
    for _ in range(3):
        stroke = setup.plunger.stroke(speed=aim, inertia=setup.inertia, load=load)
        motion = run(setup, s=-stroke, until=_LONGEST_PUSH, launched=True, hops=1)
        released = next((event.v for event in motion.events if event.kind == "release"), aim)
        aim *= speed / max(released, 0.1 * speed)
    return aim


def statements_of(kit: Kit, set_up: SetUp) -> tuple[Statement, ...]:
    """Return what the bench file of a set-up states about its inputs."""
    mass = next((item for item in kit.masses if item.value == set_up.mass), replace(kit.masses[0], value=set_up.mass))
    inputs = (
        mass,
        kit.rotating_fraction,
        kit.drag_area,
        *set_up.method.inputs(set_up.angle),
        kit.scale,
        kit.gravity,
        kit.air_density,
    )
    return tuple(_statement(item, item.name) for item in inputs)


def _statement(item: Input, name: str) -> Statement:
    notation = _NOTATION.get(item.distribution, "limits")
    factor = {"limits": math.sqrt(3.0), "triangular": math.sqrt(6.0)}.get(notation, 1.0)
    width = item.u * factor
    places = max(2, 2 - math.floor(math.log10(width)) - 1) if width > 0.0 else 5
    return Statement(name, item.value, width, notation, min(places + 1, 9))  # type: ignore[arg-type]
