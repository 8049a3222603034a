"""The integrator against what must hold whatever the bench: energy, order of convergence, closed forms, an independent solver."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from joulebook.planning.cart import Setup, height_at, run
from joulebook.planning.motion import Motion
from joulebook.planning.stops import MagneticStop, SpringStop, Stop
from joulebook.planning.truth import losses_between, mechanical_energy

INERTIA = 0.5 * 1.02
STOPS: dict[str, tuple[Stop, SpringStop | None]] = {
    "spring": (SpringStop.hysteretic(stiffness=200.0, speed=1.0, restitution=0.8), SpringStop(200.0)),
    "hard": (SpringStop.damped(stiffness=2e5, inertia=INERTIA, restitution=0.5), SpringStop(200.0)),
    "magnetic": (MagneticStop.with_restitution(force=0.07, reach=0.008, speed=1.0, restitution=0.95), None),
}


def bench(kind: str) -> Setup:
    stop, plunger = STOPS[kind]
    return Setup(
        mass=0.5, angle=8.0, stop=stop, plunger=plunger, rolling_resistance=0.005, rotating_fraction=0.02, drag_area=0.004
    )


def launch(setup: Setup, *, hops: int = 3, refine: float = 1.0) -> Motion:
    launcher = setup.plunger or setup.stop
    stroke = launcher.stroke(speed=1.0, inertia=setup.inertia, load=0.5 * 9.8 * math.sin(math.radians(8.0)))
    return run(setup, s=-stroke, until=20.0, launched=True, hops=hops, refine=refine)


def work_of_stop(setup: Setup, motion: Motion, stop: Stop, start: float, end: float) -> float:
    """The stop's work by Gauss–Legendre quadrature between the nodes of the motion."""
    inner = motion.time[(motion.time > start) & (motion.time < end)]
    edges = np.concatenate([[start], inner, [end]])
    nodes, weights = np.polynomial.legendre.leggauss(5)
    times = 0.5 * (edges[:-1] + edges[1:])[:, None] + 0.5 * np.diff(edges)[:, None] * nodes
    s, v = motion.place(times), motion.velocity(times)
    push = np.vectorize(stop.push)(np.minimum(s, 0.0), v)
    return float(np.sum(push * v * weights * 0.5 * np.diff(edges)[:, None]))


@pytest.mark.parametrize("kind", STOPS)
def test_energy_is_accounted_for_in_flight_and_in_contact(kind: str) -> None:
    setup = bench(kind)
    motion = launch(setup)
    events = [event for event in motion.events if event.kind in ("release", "contact")]
    energy = mechanical_energy(setup, motion, events[0].time)
    for before, after in pairwise(events):
        given = work_of_stop(setup, motion, setup.stop, before.time, after.time) if before.kind == "contact" else 0.0
        balance = (
            mechanical_energy(setup, motion, after.time)
            - mechanical_energy(setup, motion, before.time)
            + sum(losses_between(setup, motion, before.time, after.time))
            - given
        )
        assert abs(balance) < 1e-6 * energy, (before, after)


def test_a_lossless_spring_gives_back_what_it_took() -> None:
    setup = Setup(mass=0.4, angle=6.0, stop=SpringStop(180.0))
    motion = run(setup, s=-0.05, until=6.0, launched=True)
    times = np.linspace(0.0, 6.0, 400)
    s = motion.place(times)
    total = [mechanical_energy(setup, motion, float(t)) for t in times] + 90.0 * np.minimum(s, 0.0) ** 2
    assert np.ptp(total) < 1e-6 * 90.0 * 0.05**2


def test_a_sagging_track_keeps_its_energy_too() -> None:
    setup = replace(bench("spring"), sag=0.004, track_length=1.2, resistance_per_speed=0.002)
    motion = launch(setup, hops=1)
    release, apex = motion.events[0], motion.events[1]
    lost = sum(losses_between(setup, motion, release.time, apex.time))
    change = mechanical_energy(setup, motion, release.time) - mechanical_energy(setup, motion, apex.time)
    assert lost == pytest.approx(change, rel=1e-6)
    straight = (apex.s - release.s) * math.sin(math.radians(8.0))
    assert abs(height_at(setup, apex.s) - height_at(setup, release.s) - straight) > 1e-4


def test_the_error_falls_with_the_fourth_power_of_the_step() -> None:
    setup = bench("spring")
    best = launch(setup, hops=1, refine=32.0).events[0].time
    errors = [abs(launch(setup, hops=1, refine=refine).events[0].time - best) for refine in (0.5, 1.0, 2.0)]
    assert errors[1] < 1e-7
    assert 10.0 < errors[0] / errors[1] < 24.0
    assert 10.0 < errors[1] / errors[2] < 24.0


@pytest.mark.parametrize(("stiffness", "kappa"), [(200.0, 0.0), (50.0, 0.04), (2e5, 0.02)])
def test_a_contact_lasts_half_a_period_of_the_spring(stiffness: float, kappa: float) -> None:
    setup = Setup(mass=0.5, angle=0.0, stop=SpringStop(stiffness), rotating_fraction=kappa)
    motion = run(setup, s=0.1, v=-0.8, until=2.0)
    met, left = (next(e for e in motion.events if e.kind == kind) for kind in ("contact", "release"))
    assert left.time - met.time == pytest.approx(math.pi * math.sqrt(0.5 * (1.0 + kappa) / stiffness), rel=1e-6)
    assert left.v == pytest.approx(0.8, rel=1e-6)


@pytest.mark.parametrize("kind", ["spring", "magnetic"])
def test_the_cart_settles_where_the_stop_carries_its_weight(kind: str) -> None:
    setup = bench(kind)
    motion = run(setup, s=setup.rest_level - 0.004, until=60.0)
    assert motion.events[-1].kind == "stick"
    assert abs(motion.s[-1] - setup.rest_level) <= setup.rest_band * 1.01
    if kind == "spring":
        # Hooke's law: δ = m g sin θ / k.
        assert setup.rest_level == pytest.approx(-0.5 * 9.80665 * math.sin(math.radians(8.0)) / 200.0, rel=1e-12)


@pytest.mark.parametrize("restitution", [0.3, 0.5, 0.7, 0.9])
@pytest.mark.parametrize("kind", ["damper", "hysteresis", "magnets"])
def test_the_restitution_asked_for_is_the_one_that_comes_out(kind: str, restitution: float) -> None:
    stop: Stop = SpringStop.damped(stiffness=300.0, inertia=0.5, restitution=restitution)
    if kind == "hysteresis":
        stop = SpringStop.hysteretic(stiffness=300.0, speed=0.9, restitution=restitution)
    if kind == "magnets":
        stop = MagneticStop.with_restitution(force=0.05, reach=0.01, speed=0.9, restitution=restitution)
    motion = run(Setup(mass=0.5, angle=0.0, stop=stop), s=0.01, v=-0.9, until=3.0, refine=2.0)
    left = next(event for event in motion.events if event.kind == "release")
    assert left.v / 0.9 == pytest.approx(restitution, abs=2e-5)


@pytest.mark.parametrize("kind", STOPS)
def test_an_independent_solver_finds_the_same_motion(kind: str) -> None:
    """Release, apex, contact and second release by scipy's DOP853 at rtol 1e-11 from the forces written out again here."""
    setup = bench(kind)
    motion = launch(setup, hops=2)
    sine, cosine = math.sin(math.radians(8.0)), math.cos(math.radians(8.0))

    def solve(start: list[float], *, stop: Stop | None, sign: int, ends: object) -> list[float]:
        def rate(t: float, y: np.ndarray) -> list[float]:
            force = -0.5 * 9.80665 * sine - sign * 0.005 * 0.5 * 9.80665 * cosine - 0.5 * 1.2 * 0.004 * y[1] * abs(y[1])
            if isinstance(stop, SpringStop):
                force += -stop.stiffness * y[0] * (1.0 - stop.hysteresis * y[1]) - stop.damping * y[1]
            if isinstance(stop, MagneticStop):
                force += stop.force * (math.exp(-y[0] / stop.reach) - 1.0) * (1.0 - stop.hysteresis * y[1])
            return [y[1], force / INERTIA]

        ends.terminal = True  # type: ignore[attr-defined]
        ends.direction = -1  # type: ignore[attr-defined]
        found = solve_ivp(rate, (start[0], start[0] + 5.0), start[1:], method="DOP853", rtol=1e-11, atol=1e-13, events=ends)
        assert found.status == 1
        return [float(found.t_events[0][0]), *map(float, found.y_events[0][0])]

    def lets_go(t: float, y: np.ndarray) -> float:
        damping = setup.stop.damping if isinstance(setup.stop, SpringStop) and released else 0.0
        stiffness = setup.stop.stiffness if damping else 1.0
        return -y[0] - damping / stiffness * y[1]

    def stands_up(t: float, y: np.ndarray) -> float:
        return y[1]

    def stands_down(t: float, y: np.ndarray) -> float:
        return -y[1]

    released = False
    state = solve([0.0, float(motion.s[0]), 0.0], stop=setup.plunger or setup.stop, sign=1, ends=lets_go)
    expected = [("release", state)]
    released = True
    for kind_of_event, stop, sign, ends in (
        ("turn", None, 1, stands_up),
        ("contact", None, -1, lambda t, y: y[0]),
        ("turn", setup.stop, -1, stands_down),
        ("release", setup.stop, 1, lets_go),
        ("turn", None, 1, stands_up),
    ):
        state = solve(state if kind_of_event != "contact" else [state[0], state[1], -1e-15], stop=stop, sign=sign, ends=ends)
        expected.append((kind_of_event, state))
    assert [event.kind for event in motion.events[:6]] == [kind_of_event for kind_of_event, _ in expected]
    for event, (_, (time, s, v)) in zip(motion.events, expected, strict=False):
        assert event.time == pytest.approx(time, abs=2e-6)
        assert event.s == pytest.approx(s, abs=2e-6)
        assert event.v == pytest.approx(v, abs=2e-6)


def test_between_the_nodes_the_motion_is_as_good_as_on_them() -> None:
    setup = bench("spring")
    coarse, fine = launch(setup, hops=1), launch(setup, hops=1, refine=20.0)
    times = np.linspace(0.001, min(coarse.end, fine.end) - 0.001, 777)
    assert np.max(np.abs(coarse.place(times) - fine.place(times))) < 1e-6
    assert np.max(np.abs(coarse.velocity(times) - fine.velocity(times))) < 1e-5
