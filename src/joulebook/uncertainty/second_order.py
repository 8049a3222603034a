"""The second-order terms that linear propagation leaves out (JCGM 100, 5.1.2, note)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from joulebook.uncertainty.ensemble import Model, assemble, check_finite, evaluate
from joulebook.uncertainty.quantity import Input

__all__ = ["second_order_variance"]

_STEP = 1e-30
# Places and weights of the five-point rules for first and second derivatives, in steps of `_REACH`·u.
_OFFSETS = np.array([-2.0, -1.0, 1.0, 2.0])
_FIRST = np.array([1.0, -8.0, 8.0, -1.0]) / 12.0
_SECOND = np.array([-1.0, 16.0, 16.0, -1.0]) / 12.0
_REACH = 0.1


def second_order_variance(model: Model, inputs: Sequence[Input]) -> dict[str, float]:
    """Return, for each output, the variance to be added to that of linear propagation.

    Σᵢ Σⱼ [½ f_ij² + f_i f_ijj] u_i² u_j² over independent inputs (GUM 5.1.2, note), which supposes that each is distributed
    symmetrically, and normally where i = j. The first derivative is by complex step and the next two by five-point
    differences of it at ±0.1u and ±0.2u, exact for polynomials up to the fifth degree.
    Raises InputError and AnalysisError as `propagate` does.
    """
    ensemble = assemble(inputs, ())
    (which,) = (ensemble.u > 0.0).nonzero()
    count = which.size
    u = ensemble.u[which]
    # Points (j, offset, i): input j moved by the offset, input i stepped; the last `count` points are not moved.
    moved = count * _OFFSETS.size * count
    points = np.empty((ensemble.values.size, moved + count + 1), dtype=np.complex128)
    points[:] = ensemble.values[:, None]
    grid = points[:, :moved].reshape(ensemble.values.size, count, _OFFSETS.size, count)
    order = np.arange(count)
    for j in range(count):
        grid[which[j], j] += (_REACH * u[j] * _OFFSETS)[:, None]
        grid[which[j], :, :, j] += 1j * _STEP
    points[which, moved + order] += 1j * _STEP
    arguments: dict[str, npt.NDArray[Any]] = {name: points[row] for row, name in enumerate(ensemble.names)}
    outputs, result = evaluate(model, arguments, points.shape[1], np.complex128)
    check_finite(outputs, result, "points")
    slope = result.imag[:, :-1] / _STEP * np.tile(u, count * _OFFSETS.size + 1)
    first = slope[:, moved:]
    around = slope[:, :moved].reshape(-1, count, _OFFSETS.size, count)
    second = np.einsum("mjoi,o->mij", around, _FIRST) / _REACH
    third = np.einsum("mjoi,o->mij", around - first[:, None, None, :], _SECOND) / _REACH**2
    added = 0.5 * (second**2).sum(axis=(1, 2)) + (first[:, :, None] * third).sum(axis=(1, 2))
    return dict(zip(outputs, added.tolist(), strict=True))
