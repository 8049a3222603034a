"""What the stops promise to the integrator."""

from __future__ import annotations

import math

import pytest

from joulebook.planning.cart import Setup, run
from joulebook.planning.stops import MagneticStop, SpringStop, Stop

STOPS: list[Stop] = [
    SpringStop(200.0),
    SpringStop(200.0, damping=2.0),
    SpringStop.hysteretic(stiffness=200.0, speed=1.0, restitution=0.7),
    MagneticStop.with_restitution(force=0.08, reach=0.008, speed=1.0, restitution=0.94),
]


@pytest.mark.parametrize("stop", STOPS)
def test_a_stop_pushes_exactly_where_its_edge_is_positive(stop: Stop) -> None:
    for s in (-0.04, -0.01, -0.001, 0.001, 0.02):
        for v in (-1.0, -0.1, 0.0, 0.1, 0.9):
            if stop.edge(s, v) > 0.0:
                assert s < 0.0
                assert stop.push(s, v) > 0.0
            else:
                assert s > 0.0 or stop.push(s, v) <= 0.0


@pytest.mark.parametrize("stop", STOPS)
def test_the_depth_under_a_load_carries_that_load(stop: Stop) -> None:
    depth = stop.depth(0.8)
    assert stop.push(-depth, 0.0) == pytest.approx(0.8, rel=1e-9)
    step = 1e-7
    slope = (stop.push(-depth - step, 0.0) - stop.push(-depth + step, 0.0)) / (2.0 * step)
    assert stop.stiffness_at(-depth) == pytest.approx(slope, rel=1e-5)


@pytest.mark.parametrize("stop", [STOPS[0], STOPS[3]])
@pytest.mark.parametrize("speed", [0.5, 1.0, 1.6])
def test_the_stroke_gives_about_the_speed_asked_for(stop: Stop, speed: float) -> None:
    setup = Setup(mass=0.5, angle=7.0, stop=stop, rolling_resistance=0.004)
    load = 0.5 * setup.gravity * math.sin(math.radians(7.0))
    motion = run(setup, s=-stop.stroke(speed=speed, inertia=0.5, load=load), until=1.0, launched=True)
    assert motion.events[0].v == pytest.approx(speed, rel=0.03)


@pytest.mark.parametrize("restitution", [0.1, 1.2, -0.5])
def test_a_restitution_that_cannot_be_is_refused(restitution: float) -> None:
    for make in (
        lambda: SpringStop.damped(stiffness=1.0, inertia=1.0, restitution=restitution),
        lambda: SpringStop.hysteretic(stiffness=1.0, speed=1.0, restitution=restitution),
        lambda: MagneticStop.with_restitution(force=1.0, reach=1.0, speed=1.0, restitution=restitution),
    ):
        with pytest.raises(ValueError, match=r"between 0\.15 and 1"):
            make()


def test_a_perfect_stop_loses_nothing() -> None:
    assert SpringStop.hysteretic(stiffness=1.0, speed=1.0, restitution=1.0).hysteresis == 0.0
    assert SpringStop.damped(stiffness=1.0, inertia=1.0, restitution=1.0).damping == pytest.approx(0.0, abs=1e-12)
