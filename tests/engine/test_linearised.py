"""The model made linear at one point: its triangle, its steps and its rank."""

from __future__ import annotations

import numpy as np
import pytest

from joulebook.engine.linearised import Linearised, length_of


@pytest.fixture
def problem() -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(3)
    return rng.normal(size=60), rng.normal(size=(60, 5)) * np.array([1e-3, 1.0, 50.0, 1.0, 2.0])


@pytest.mark.parametrize("rows", [60, 5000])
def test_triangle_and_norms(rows: int) -> None:
    """RᵀR = JᵀJ and Rᵀ·projected = Jᵀr, whether factored at once or block by block."""
    rng = np.random.default_rng(rows)
    residual, jacobian = rng.normal(size=rows), rng.normal(size=(rows, 6))
    local = Linearised(residual, jacobian, None, None)
    normal = jacobian.T @ jacobian
    assert local.triangle.T @ local.triangle == pytest.approx(normal, abs=1e-11 * np.abs(normal).max())
    assert local.triangle.T @ local.projected == pytest.approx(jacobian.T @ residual, abs=1e-10)
    assert local.norms == pytest.approx(np.linalg.norm(jacobian, axis=0), rel=1e-13)
    assert (np.tril(local.triangle, -1) == 0.0).all()


def test_newton_step_and_its_promise(problem: tuple[np.ndarray, np.ndarray]) -> None:
    residual, jacobian = problem
    local = Linearised(residual, jacobian, None, None)
    step = local.newton(local.norms)
    assert step == pytest.approx(np.linalg.lstsq(jacobian, residual, rcond=None)[0], rel=1e-10)
    left = residual - jacobian @ step
    assert local.promised == pytest.approx(residual @ residual - left @ left, rel=1e-12)


@pytest.mark.parametrize("part", [0.9, 0.3, 0.01, 1e-4])
def test_damped_step_solves_the_damped_problem(problem: tuple[np.ndarray, np.ndarray], part: float) -> None:
    """The step has the length asked for, to a tenth, and is the least point of ‖r − Jδ‖² + λ‖Dδ‖² for some λ > 0."""
    residual, jacobian = problem
    local = Linearised(residual, jacobian, None, None)
    weight = local.norms
    radius = part * length_of(weight * local.newton(weight))
    step, promised, length = local.damped(weight, radius)
    assert length == pytest.approx(radius, rel=0.1001)
    assert length_of(weight * step) == pytest.approx(length, rel=1e-10)
    left = residual - jacobian @ step
    assert promised == pytest.approx(residual @ residual - left @ left, rel=1e-8)
    assert promised == pytest.approx(local.reduction(step), rel=1e-8)
    pull = (jacobian.T @ left) / (weight**2 * step)
    assert pull == pytest.approx(np.full(5, pull[0]), rel=1e-7)
    assert pull[0] > 0.0


def test_rank_deficient_step_is_the_shortest() -> None:
    rng = np.random.default_rng(4)
    column, residual = rng.normal(size=30), rng.normal(size=30)
    jacobian = np.column_stack([column, column])
    local = Linearised(residual, jacobian, None, None)
    assert local.rank_deficient()
    step = local.newton(local.norms)
    assert step == pytest.approx(np.linalg.pinv(jacobian) @ residual, rel=1e-9)
    step, _, length = local.damped(local.norms, 0.1 * length_of(local.norms * step))
    assert step[0] == pytest.approx(step[1], rel=1e-9)
    assert length > 0.0


def test_slope_is_the_derivative_along_the_step(problem: tuple[np.ndarray, np.ndarray]) -> None:
    residual, jacobian = problem
    local = Linearised(residual, jacobian, None, None)
    step = local.newton(local.norms)
    tiny = 1e-6
    left = residual - tiny * (jacobian @ step)
    assert local.slope(step) == pytest.approx((left @ left - residual @ residual) / tiny, rel=1e-5)


def test_weights_and_columns(problem: tuple[np.ndarray, np.ndarray]) -> None:
    residual, jacobian = problem
    root = np.linspace(0.0, 2.0, 60)
    chosen = np.array([0, 3])
    local = Linearised(residual, jacobian, root, chosen)
    expected = np.linalg.lstsq(jacobian[:, chosen] * root[:, None], residual * root, rcond=None)[0]
    assert local.newton(local.norms) == pytest.approx(expected, rel=1e-10)


def test_nearly_dependent_columns_are_still_resolved() -> None:
    """Columns that differ by 1e-9 of their length are ill-conditioned, not dependent."""
    t = np.linspace(0.0, 1.0, 50)
    jacobian = np.column_stack([t, t + 1e-9 * np.sin(9.0 * t)])
    local = Linearised(jacobian @ np.array([1.0, 2.0]), jacobian, None, None)
    assert not local.rank_deficient()
    assert local.newton(local.norms) == pytest.approx([1.0, 2.0], rel=1e-5)
