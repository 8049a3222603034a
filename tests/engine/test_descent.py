"""The way downhill: what a step may move, where it stops, and why the search ends."""

from __future__ import annotations

import numpy as np
import pytest

from joulebook.engine.descent import STALLED, Place, Task, descend, weighted_rss

Floats = np.ndarray


def rosenbrock(p: Floats) -> tuple[Floats, Floats]:
    """H. H. Rosenbrock, Comput. J. 3 (1960) 175, as the sum of squares of J. J. Moré et al., ACM TOMS 7 (1981) 17, problem 1."""
    return np.array([-10.0 * (p[1] - p[0] ** 2), p[0] - 1.0]), np.array([[-20.0 * p[0], 10.0], [-1.0, 0.0]])


def begin(task: Task, start: list[float]) -> Place:
    return task.visit(np.array(start))


def test_rosenbrock_from_the_published_start() -> None:
    task = Task(rosenbrock, ("x", "y"), np.arange(2))
    end = descend(task, begin(task, [-1.2, 1.0]), max_steps=60, tolerance=1e-12)
    assert end.converged
    assert end.place.point == pytest.approx([1.0, 1.0], rel=1e-9)


def test_steps_that_run_out_leave_no_reason() -> None:
    task = Task(rosenbrock, ("x", "y"), np.arange(2))
    start = begin(task, [-1.2, 1.0])
    end = descend(task, start, max_steps=3, tolerance=1e-12)
    assert (end.steps, end.reason, end.converged) == (3, "", False)
    assert end.place.rss < start.rss


def test_wrong_derivatives_stall() -> None:
    task = Task(lambda p: (rosenbrock(p)[0], -rosenbrock(p)[1]), ("x", "y"), np.arange(2))
    end = descend(task, begin(task, [-1.2, 1.0]), max_steps=200, tolerance=1e-12)
    assert end.reason == STALLED
    assert not end.converged


def test_trials_that_are_not_finite_are_taken_back() -> None:
    """√(p − 1) has no value below 1, where the first whole step leads."""

    def model(p: Floats) -> tuple[Floats, Floats]:
        with np.errstate(invalid="ignore"):
            root = np.sqrt(p[0] - 1.0)
        return np.array([0.1 - root]), np.array([[0.5 / root]])

    task = Task(model, ("p",), np.arange(1))
    assert np.isnan(model(np.array([3.0 - 2.0 * np.sqrt(2.0) * (np.sqrt(2.0) - 0.1)]))[0][0])
    end = descend(task, begin(task, [3.0]), max_steps=60, tolerance=1e-12)
    assert end.place.point[0] == pytest.approx(1.01, rel=1e-9)


def test_a_flat_place_ends_at_once() -> None:
    task = Task(rosenbrock, ("x", "y"), np.arange(2))
    end = descend(task, begin(task, [1.0, 1.0]), max_steps=10, tolerance=1e-12)
    assert end.steps == 0
    assert end.reason == "the sum of squares cannot be lowered further"


def test_a_step_is_cut_short_on_the_first_bound() -> None:
    task = Task(rosenbrock, ("x", "y"), np.arange(2), np.array([0.0, 0.0]), np.array([1.0, 10.0]))
    target, cut = task.moved(np.array([0.5, 5.0]), np.arange(2), np.array([1.0, 2.0]))
    assert cut
    assert target.tolist() == [1.0, 6.0]
    target, cut = task.moved(np.array([0.5, 5.0]), np.array([1]), np.array([-4.0]))
    assert not cut
    assert target.tolist() == [0.5, 1.0]


def test_what_would_leave_its_bound_is_held() -> None:
    """From (0, 0) the linear step leads to (1, 0); with x held below 0 only y is free."""
    task = Task(rosenbrock, ("x", "y"), np.arange(2), np.array([-5.0, -5.0]), np.array([0.0, 5.0]))
    columns, _ = task.linearise(begin(task, [0.0, 1.0]))
    assert columns.tolist() == [1]
    end = descend(task, begin(task, [-1.2, 1.0]), max_steps=60, tolerance=1e-12)
    assert end.place.point == pytest.approx([0.0, 0.0], abs=1e-9)
    assert end.columns.tolist() == [1]


def test_weighted_rss() -> None:
    assert weighted_rss(np.array([1.0, 2.0]), None) == 5.0
    assert weighted_rss(np.array([1.0, 2.0]), np.array([3.0, 0.5])) == 10.0
