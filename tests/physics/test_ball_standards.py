"""Restitution from bounce heights, after the published rules for balls, with the slope turned upright.

REFERENCES M19: ITF Rules of Tennis, Appendix I: dropped from 254 cm a ball rebounds 135 to 147 cm. REFERENCES M20: ITTF: dropped
from 30.5 cm on steel a ball rebounds 24 to 26 cm, "0.89 to 0.92".
"""

from __future__ import annotations

import math

import pytest

from joulebook.planning.cart import Setup, run
from joulebook.planning.stops import SpringStop
from joulebook.planning.truth import true_quantities


def dropped(height: float, *, mass: float, restitution: float, contact: float) -> tuple[float, float]:
    """Drop a ball; return its rebound height (m) and the restitution that the simulated contact itself reports."""
    stop = SpringStop.damped(stiffness=mass * (math.pi / contact) ** 2, inertia=mass, restitution=restitution)
    setup = Setup(mass=mass, angle=90.0, stop=stop)
    motion = run(setup, s=height, until=10.0, hops=2)
    met, left = motion.events[0], next(event for event in motion.events if event.kind == "release")
    apex = next(event for event in motion.events if event.kind == "turn" and event.time > left.time)
    return apex.s, left.v / -met.v


@pytest.mark.parametrize(
    ("height", "mass", "contact", "restitution", "rebound", "tolerance"),
    [
        (2.54, 0.058, 0.004, 0.729, 1.35, 0.005),
        (2.54, 0.058, 0.004, 0.761, 1.47, 0.005),
        (0.305, 0.0027, 0.001, 0.887, 0.24, 0.0005),
        (0.305, 0.0027, 0.001, 0.923, 0.26, 0.0005),
    ],
)
def test_the_edges_of_the_rules(
    height: float, mass: float, contact: float, restitution: float, rebound: float, tolerance: float
) -> None:
    reached, reported = dropped(height, mass=mass, restitution=restitution, contact=contact)
    assert reached == pytest.approx(rebound, abs=tolerance)
    # e = √(h/H) from the heights is what the contact itself shows: the textbook's relation (OpenStax CP 8.5, REFERENCES M5).
    assert math.sqrt(reached / height) == pytest.approx(reported, abs=0.002)


def test_every_bounce_of_a_run_is_reported() -> None:
    """Without friction on a slope the heights of successive hops fall by e² each."""
    stop = SpringStop.damped(stiffness=2e6, inertia=0.5, restitution=0.6)
    setup = Setup(mass=0.5, angle=10.0, stop=stop, plunger=SpringStop(200.0))
    motion = run(setup, s=-0.05, until=10.0, launched=True, hops=4)
    truth = true_quantities(setup, motion)
    assert len(truth.restitution) == 3
    for first, second, e in zip(truth.hops[:-1], truth.hops[1:], truth.restitution, strict=True):
        assert second.apex_s / first.apex_s == pytest.approx(e * e, rel=0.01)
        assert e == pytest.approx(0.6, abs=0.01)
