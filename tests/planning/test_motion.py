"""Motions between their nodes, cut, moved, joined."""

from __future__ import annotations

import numpy as np
import pytest

from joulebook.planning.motion import Event, Motion, MotionBuilder, hold, join, through


def quintic() -> tuple[Motion, np.ndarray]:
    coefficients = np.array([0.3, -1.0, 0.7, 0.2, -0.4, 0.1])
    polynomial = np.polynomial.Polynomial(coefficients)
    nodes = np.array([0.0, 0.4, 1.1, 2.0])
    first, second = polynomial.deriv(), polynomial.deriv(2)
    event = Event("turn", 1.5, 0.0, 0.0)
    return Motion(nodes, polynomial(nodes), first(nodes), second(nodes)[:-1], second(nodes)[1:], (event,)), coefficients


def test_a_quintic_is_read_back_exactly() -> None:
    motion, coefficients = quintic()
    polynomial = np.polynomial.Polynomial(coefficients)
    times = np.linspace(0.0, 2.0, 101)
    assert motion.place(times) == pytest.approx(polynomial(times), abs=1e-12)
    assert motion.velocity(times) == pytest.approx(polynomial.deriv()(times), abs=1e-11)
    assert motion.acceleration(times) == pytest.approx(polynomial.deriv(2)(times), abs=1e-10)


def test_outside_the_motion_the_cart_stands() -> None:
    motion, _ = quintic()
    assert motion.place([-1.0, 9.0]) == pytest.approx([motion.s[0], motion.s[-1]])
    assert motion.velocity([-1.0, 9.0]).tolist() == [0.0, 0.0]


def test_cut_and_shifted_it_is_the_same_motion() -> None:
    motion, _ = quintic()
    cut = motion.until(1.3)
    assert cut.end == 1.3
    assert cut.events == ()
    assert motion.until(1.6).events == motion.events
    assert motion.until(5.0) is motion
    times = np.linspace(0.0, 1.3, 31)
    assert cut.place(times) == pytest.approx(motion.place(times), abs=1e-12)
    later = motion.shifted(3.0)
    assert later.place(times + 3.0) == pytest.approx(motion.place(times), abs=1e-12)
    assert later.events[0].time == 4.5


def test_joined_motions_stand_in_between() -> None:
    motion, _ = quintic()
    both = join([motion, hold(0.2, 2.5, 3.0)])
    assert both.end == 3.0
    assert float(both.place(2.8)) == pytest.approx(0.2)
    with pytest.raises(ValueError, match="before the one before it ends"):
        join([motion, hold(0.2, 1.0, 3.0)])


def test_a_path_goes_through_its_places_with_its_end_velocities() -> None:
    path = through([0.0, 0.2, 0.5], [0.0, 0.1, 0.05], v_start=0.3, v_end=-0.4)
    assert path.place([0.0, 0.2, 0.5]) == pytest.approx([0.0, 0.1, 0.05])
    assert path.velocity([0.0, 0.5]) == pytest.approx([0.3, -0.4])


def test_a_cart_that_never_moves_is_a_motion_too() -> None:
    assert float(MotionBuilder(1.0, 0.4, 0.0).finish().place(1.0)) == pytest.approx(0.4)
