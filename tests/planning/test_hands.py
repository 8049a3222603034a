"""What hands do to the cart."""

from __future__ import annotations

import numpy as np
import pytest

from joulebook.planning.cart import Setup, run
from joulebook.planning.hands import caught, lifted, placed, pushed
from joulebook.planning.stops import SpringStop

FLIGHT = run(Setup(mass=0.5, angle=6.0, stop=SpringStop(200.0)), s=-0.06, until=10.0, launched=True, hops=2)


@pytest.mark.parametrize("seed", range(5))
def test_a_placed_cart_ends_where_it_was_put(seed: int) -> None:
    motion = placed(-0.05, rng=np.random.default_rng(seed))
    assert float(motion.place(motion.end)) == pytest.approx(-0.05)
    assert 0.5 < motion.end < 3.0
    assert motion.s[0] > 0.04


@pytest.mark.parametrize("seed", range(5))
def test_a_push_is_long_and_ends_past_the_plunger(seed: int) -> None:
    motion = pushed(-0.05, start=1.0, speed=1.0, rng=np.random.default_rng(seed))
    assert motion.end - motion.start > 0.2
    assert [event.kind for event in motion.events] == ["release"]
    assert motion.events[0].s > 0.0
    assert float(motion.velocity(motion.end)) == pytest.approx(motion.events[0].v)
    assert 0.8 < motion.events[0].v < 1.2


@pytest.mark.parametrize("at", [0.5, 1.0, 2.0])
def test_a_caught_cart_stops_within_centimetres(at: float) -> None:
    motion = caught(FLIGHT, at=at, rng=np.random.default_rng(1))
    assert [event.kind for event in motion.events][-1] == "hand"
    before = np.linspace(0.0, at, 50)
    assert motion.place(before) == pytest.approx(FLIGHT.place(before), abs=1e-12)
    assert abs(float(motion.place(at + 0.5)) - float(FLIGHT.place(at))) < 0.15
    # Place and velocity go on without a jump.
    assert float(motion.velocity(at + 1e-6)) == pytest.approx(float(FLIGHT.velocity(at)), abs=1e-3)


def test_a_lifted_cart_moves_on_after_it_was_caught() -> None:
    motion = lifted(FLIGHT, at=FLIGHT.end + 0.5, rng=np.random.default_rng(3))
    assert motion.end > FLIGHT.end + 1.0
    assert np.ptp(motion.place(np.linspace(FLIGHT.end + 0.5, motion.end, 100))) > 0.02
