"""The expected motion against textbook numbers and against the simulator, which integrates the forces."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from joulebook.experiments.ramp_kit import Kit
from joulebook.experiments.ramp_plan import SetUp
from joulebook.planning.expected import expected_motion, plunger_speed
from joulebook.planning.expected_trace import expected_trace
from joulebook.planning.set_ups import design_of
from joulebook.planning.simulate import simulate_launch
from joulebook.readers.kit_file import make_kit
from joulebook.uncertainty import Input


def exact(kit: Kit) -> Kit:
    """The kit with nothing uncertain and no scatter, so that a simulated bench is the planned one."""
    changed = {
        name: replace(getattr(kit, name), u=0.0, distribution="constant")
        for name in ("rotating_fraction", "drag_area", "rolling_resistance", "scale", "gravity", "air_density")
    }
    return replace(kit, repeat=0.0, masses=(replace(kit.masses[0], u=0.0, distribution="constant"),), **changed)


def test_travel_up_a_slope_with_friction() -> None:
    """REFERENCES M2 (OpenStax College Physics m42150): 65.0 kg at 6.00 m/s against 450 N of friction, up 5.00°: 2.31 m."""
    mu = 450.0 / (65.0 * 9.80 * math.cos(math.radians(5.0)))
    kit = replace(
        make_kit(values={"rotating_fraction": 0, "drag_area": "0 m^2", "flights": 1}),
        rolling_resistance=Input("cart.rolling_resistance", mu, "1", 0.0), gravity=Input("place.gravity", 9.80, "m/s^2", 0.0),
    )  # fmt: skip
    motion = expected_motion(kit, mass=np.array([65.0]), angle=np.array([5.0]), speed=np.array([6.0]))
    assert round(float(motion.travel[0]), 2) == 2.31


def test_the_plunger() -> None:
    """REFERENCES M1 (OpenStax College Physics m42148): 250.0 N/m cocked by 4.00 cm gives 0.100 kg 2.00 m/s on the level."""
    speed = plunger_speed(np.array([0.04]), stiffness=250.0, mass=0.1, inertia=0.1, angle=np.array([0.0]), gravity=9.80)
    assert round(float(speed[0]), 2) == 2.00
    stuck = plunger_speed(np.array([0.001]), stiffness=10.0, mass=1.0, inertia=1.0, angle=np.array([0.2]), gravity=9.80)
    assert stuck[0] == 0.0


def test_stroke_and_speed_are_each_others_inverse() -> None:
    kit = make_kit()
    motion = expected_motion(kit, mass=np.array([0.5]), angle=np.array([8.0]), speed=np.array([0.9]))
    back = plunger_speed(
        motion.stroke, stiffness=kit.spring(0.5), mass=0.5, inertia=0.5 * 1.015, angle=motion.angle, gravity=kit.gravity.value
    )
    assert back[0] == pytest.approx(0.9, rel=1e-12)


@pytest.mark.parametrize("placed", ["top", "bottom"])
def test_against_the_forces(placed: str) -> None:
    """Travel, times and the whole trace agree with the integrated motion; only the rebound's loss is modelled another way."""
    kit = exact(make_kit(values={"noise": "0.001 mm", "step": "0.001 mm", "placed": placed, "length": "1.8 m", "repeat": 0}))
    stroke = float(expected_motion(kit, mass=np.array([0.5]), angle=np.array([6.0]), speed=np.array([1.1])).stroke[0])
    set_up = SetUp(0.5, 6.0, 1.1, stroke, 50.0, kit.methods[0], 1)
    rng = np.random.default_rng(4)
    design = design_of(kit, replace(set_up, method=replace(kit.methods[0], u=0.0)), rng)
    _, truth, _, simulated = simulate_launch(design, rng)
    assert truth is not None
    # What the stroke really gives: the hysteresis of the simulated plunger takes its part, which the plan's does not.
    motion = expected_motion(kit, mass=np.array([0.5]), angle=np.array([6.0]), speed=np.array([truth.release_speed]))
    assert truth.release_speed == pytest.approx(1.1, rel=0.02)
    assert motion.travel[0] == pytest.approx(truth.travel, rel=1e-6)
    assert motion.time_up[0] == pytest.approx(truth.apex_time - truth.release_time, rel=1e-6)
    assert motion.climb[0] == pytest.approx(truth.climb_acceleration, rel=1e-9)
    assert motion.descent[0] == pytest.approx(truth.descent_acceleration, rel=1e-9)
    assert motion.offset[0] == pytest.approx(-truth.rest_level, rel=1e-6)
    release = next(event.time for event in simulated.events if event.kind == "release")
    trace = expected_trace(kit, replace(set_up, speed=truth.release_speed))
    times = np.array(trace.time)
    before_landing = (times > 0.0) & (times < motion.landings[0, 0])
    seen = design.ranger.distance(simulated.place(release + times[before_landing]))
    assert np.array(trace.distance)[before_landing] == pytest.approx(seen, abs=2e-5)


def test_the_trace_is_unbroken() -> None:
    """Between two samples at 500/s no step is longer than the fastest speed allows: pushes, flights and contacts join."""
    kit = make_kit()
    stroke = float(expected_motion(kit, mass=np.array([0.5]), angle=np.array([5.0]), speed=np.array([1.0])).stroke[0])
    trace = expected_trace(kit, SetUp(0.5, 5.0, 1.0, stroke, 500.0, kit.methods[2], 3))
    assert np.abs(np.diff(trace.distance)).max() <= 1.02 * 1.0 / 500.0
    assert trace.distance[0] > max(trace.distance[250:])  # cocked: farther from a ranger at the top than ever again
    assert min(trace.band) >= 1.96 * kit.reading_noise * (1 - 1e-12)
