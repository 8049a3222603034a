"""The truth of motions that are no ordinary launch."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from joulebook.planning.cart import Setup, run
from joulebook.planning.motion import hold
from joulebook.planning.stops import SpringStop
from joulebook.planning.truth import losses_between, true_quantities

SETUP = Setup(mass=0.5, angle=7.0, stop=SpringStop(200.0), rolling_resistance=0.006, rotating_fraction=0.03, drag_area=0.01)


def test_no_release_no_truth() -> None:
    with pytest.raises(ValueError, match="never let the cart go"):
        true_quantities(SETUP, hold(-0.05, 0.0, 2.0))


def test_no_apex_no_truth() -> None:
    with pytest.raises(ValueError, match="before its first turning point"):
        true_quantities(SETUP, run(SETUP, s=-0.05, until=0.2, launched=True))


def test_losses_are_force_times_way() -> None:
    motion = run(SETUP, s=-0.05, until=5.0, launched=True, hops=1)
    truth = true_quantities(SETUP, motion, clock_offset=0.5)
    grip = 0.006 * 0.5 * SETUP.gravity * math.cos(math.radians(7.0))
    assert truth.rolling_loss == pytest.approx(grip * truth.travel, rel=1e-9)
    # Weak drag along a climb at constant deceleration: ∫ c v² ds with v² = v0²(1 − s/L) is c v0² L/2.
    assert truth.drag_loss == pytest.approx(0.5 * 1.2 * 0.01 * truth.release_speed**2 * truth.travel / 2.0, rel=0.01)
    assert truth.difference == pytest.approx(truth.rolling_loss + truth.drag_loss, rel=1e-9)
    assert truth.relative_difference == pytest.approx(truth.difference / (truth.kinetic_energy * 1.03), rel=1e-12)
    assert truth.release_time == motion.events[0].time + 0.5
    back_and_forth = losses_between(SETUP, motion, motion.events[0].time, motion.end)[0]
    assert back_and_forth == pytest.approx(2.0 * truth.rolling_loss, rel=1e-9)


@pytest.mark.parametrize(
    "change",
    [{"sag": 0.003}, {"creep": 0.05}, {"resistance_per_speed": 0.004}, {"resistance_drift": 0.002}, {"resistance_along": 0.01}],
)
def test_the_books_balance_under_faults_of_the_model(change: dict[str, float]) -> None:
    setup = replace(SETUP, **change)
    truth = true_quantities(setup, run(setup, s=-0.05, until=5.0, launched=True, hops=1))
    plain = true_quantities(SETUP, run(SETUP, s=-0.05, until=5.0, launched=True, hops=1))
    assert abs(truth.unaccounted) < 1e-6 * truth.kinetic_energy
    # The fault is felt, and its size is that of the change: another travel from the same push.
    assert truth.travel != pytest.approx(plain.travel, rel=1e-3)
    assert truth.travel == pytest.approx(plain.travel, rel=0.1)
