"""A model made linear at one point: the triangle of its Jacobian, and the steps that it suggests."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NoReturn

import numpy as np
import numpy.typing as npt
from scipy.linalg.lapack import dgeqrf, dpotrf, dtrtri, dtrtrs

from joulebook.errors import FitError

__all__ = ["EPS", "FloatArray", "Linearised", "length_of"]

FloatArray = npt.NDArray[np.float64]

EPS = float(np.finfo(np.float64).eps)
_TRUST = 1e-4  # the squared sine above which a column is different enough from those before it for the normal equations
_SUSPECT = 1e-6  # a column whose part independent of the columns before it is smaller than this is looked at by SVD
# Numbers in one block: above about 9000 BLAS spreads the products over threads, whose start costs more than it saves.
_BLOCK = 8000


class Linearised:
    """The model linearised at one point: the triangle of the Jacobian's QR, and the residual in its frame.

    residual: shape (n,). jacobian: shape (n, p). root: root weights, shape (n,), or None. columns: those of the Jacobian that
    count, or None for all. exact: always by Householder QR; otherwise by Cholesky of JᵀJ, three times as fast, where the columns
    are so different (sine of the angle between each and the ones before it above 0.01) that no more than four digits of
    sixteen are lost.


    triangle: R, shape (p, p), RᵀR = JᵀJ. projected: the first p of Qᵀ·residual. norms: of J's columns, shape (p,).
    promised: how much the last Gauss–Newton step asked for lowers the sum of squares if the model is linear.
    """

    triangle: FloatArray
    projected: FloatArray
    norms: FloatArray
    promised: float

    __slots__ = ("_suspect", "_svd", "norms", "projected", "promised", "triangle")

    def __init__(
        self,
        residual: FloatArray,
        jacobian: FloatArray,
        root: FloatArray | None,
        columns: npt.NDArray[np.intp] | None,
        *,
        exact: bool = False,
    ) -> None:
        if columns is not None:
            jacobian = jacobian[:, columns]
        if root is not None:
            jacobian, residual = jacobian * root[:, None], residual * root
        self.promised = 0.0
        self._svd: tuple[FloatArray, FloatArray, FloatArray] | None = None
        if exact or not self._factor_normal(residual, jacobian):
            self._factor(residual, jacobian)

    def _factor_normal(self, residual: FloatArray, jacobian: FloatArray) -> bool:
        """Factor JᵀJ by Cholesky; return whether its columns are different enough for that to be as good as a QR."""
        normal, inner = _products(residual, jacobian)
        sums = normal.diagonal()
        self.triangle, fault = dpotrf(normal)
        if fault or any([d * d <= _TRUST * s for d, s in zip(self.triangle.diagonal().tolist(), sums.tolist(), strict=True)]):
            return False
        self.projected, fault = dtrtrs(self.triangle, inner, trans=1)
        self.norms = np.sqrt(sums)
        self._suspect = False
        return bool(fault == 0)

    def _factor(self, residual: FloatArray, jacobian: FloatArray) -> None:
        """Factor J by Householder QR."""
        packed = _packed(residual, jacobian)
        count = packed.shape[1] - 1
        self.triangle = np.triu(packed[:count, :count])
        self.projected = packed[:count, count].copy()
        squares = self.triangle * self.triangle
        sums = squares.sum(axis=0)
        self.norms = np.sqrt(sums)
        # A column that hardly differs from the columns before it shows on the diagonal of the triangle.
        self._suspect = bool((squares.diagonal() <= sums * (_SUSPECT * _SUSPECT)).any())

    def newton(self, weight: FloatArray) -> FloatArray:
        """Return the Gauss–Newton step; where the triangle is singular, the shortest such step in the scaled parameters."""
        if not self._suspect:
            step, fault = dtrtrs(self.triangle, self.projected)
            if fault == 0:
                self.promised = float(self.projected.dot(self.projected))
                return np.asarray(step, dtype=np.float64)
        unit, singular, turned, back = self._decompose(weight)
        kept = singular > _cut(singular)
        self.promised = float(turned[kept].dot(turned[kept]))
        return np.asarray(back[:, kept] @ (turned[kept] / singular[kept]) / unit, dtype=np.float64)

    def damped(self, weight: FloatArray, radius: float) -> tuple[FloatArray, float, float]:
        """Return the Levenberg–Marquardt step of scaled length `radius`, to a tenth; the reduction it promises; its length."""
        unit, singular, turned, back = self._decompose(weight)
        square = singular * singular
        damping = 0.0 if singular[-1] > _cut(singular) else EPS * float(square[0])
        inner = singular * turned
        along = inner / (square + damping)
        length = length_of(along)
        for _ in range(40):
            if abs(length - radius) <= 0.1 * radius:
                break
            # Hebden's iteration: 1/length is nearly linear in the damping.
            slope = float((along * along / (square + damping)).sum())
            damping = max(damping + (length / radius - 1.0) * length * length / slope, 0.1 * damping)
            along = inner / (square + damping)
            length = length_of(along)
        left = damping / (square + damping)
        promised = float((turned * turned * (1.0 - left * left)).sum())
        return np.asarray(back @ along / unit, dtype=np.float64), promised, length

    def reduction(self, step: FloatArray) -> float:
        """Return how much the linearised model says that `step` lowers the sum of squares."""
        moved = self.triangle @ step
        return float(2.0 * moved.dot(self.projected) - moved.dot(moved))

    def slope(self, step: FloatArray) -> float:
        """Return the derivative of the sum of squares along `step`, which is negative downhill."""
        return float(-2.0 * (self.triangle @ step).dot(self.projected))

    def rank_deficient(self) -> bool:
        """Whether rounding alone could make the scaled columns dependent."""
        if not self._suspect:
            return False
        if not self.norms.all():
            return True
        singular = np.linalg.svd(self.triangle / self.norms, compute_uv=False).astype(np.float64, copy=False)
        return bool(singular[-1] <= _cut(singular))

    def inverse(self, labels: Sequence[str], *, require: bool) -> FloatArray:
        """Return (JᵀJ)⁻¹; raise FitError when it does not exist, or return NaN when that is not required."""
        count = self.norms.size
        if count == 0:
            return np.empty((0, 0))
        if self.rank_deficient():
            if require:
                self.raise_undetermined(labels)
            return np.full((count, count), np.nan)
        root = dtrtri(self.triangle)[0]
        return np.asarray(root @ root.T, dtype=np.float64)

    def raise_undetermined(self, labels: Sequence[str]) -> NoReturn:
        """Raise the FitError that names the parameters along which the model does not change."""
        still = [label for label, norm in zip(labels, self.norms, strict=True) if norm == 0.0]
        remedy = "Use samples that depend on it, or give its value instead of fitting it."
        if still:
            raise FitError(f"the samples do not depend on {' and '.join(still)} at all.", remedy=remedy)
        _, singular, back = np.linalg.svd(self.triangle / self.norms)
        null = np.abs(back[-1])
        together = [label for label, part in zip(labels, null, strict=True) if part >= 0.1 * null.max()]
        raise FitError(
            f"the samples do not determine {' and '.join(together)}: changed together, they leave the model as it is "
            f"(condition number {singular[0] / max(singular[-1], 1e-300):.0e}).",
            remedy="Use samples that tell them apart, or give the value of one instead of fitting it.",
        )

    def _decompose(self, weight: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return scale, singular values, residual in their frame and right vectors of the scaled triangle."""
        unit = np.where(weight > 0.0, weight, 1.0)
        if self._svd is None:
            left, singular, right = np.linalg.svd(self.triangle / unit)
            self._svd = (singular, left.T @ self.projected, right.T)
        singular, turned, back = self._svd
        return unit, singular, turned, back


def _products(residual: FloatArray, jacobian: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return JᵀJ and Jᵀr, block by block when the record is long."""
    rows, count = jacobian.shape
    if rows * count <= _BLOCK:
        return jacobian.T @ jacobian, residual @ jacobian
    normal, inner = np.zeros((count, count)), np.zeros(count)
    block = _BLOCK // count + 1
    for first in range(0, rows, block):
        part = jacobian[first : first + block]
        normal += part.T @ part
        inner += residual[first : first + block] @ part
    return normal, inner


def _packed(residual: FloatArray, jacobian: FloatArray) -> FloatArray:
    """Return the QR of the Jacobian with the residual as one more column, packed as LAPACK does.

    A long record is factored block by block, and then the triangles of the blocks, one above the other.
    """
    rows, count = jacobian.shape
    width = count + 1
    block = rows if rows * width <= _BLOCK else max(_BLOCK // width, 4 * width)
    tops = []
    for first in range(0, rows, block):
        last = min(first + block, rows)
        augmented = np.empty((last - first, width), order="F")
        augmented[:, :count] = jacobian[first:last]
        augmented[:, count] = residual[first:last]
        packed = dgeqrf(augmented, overwrite_a=1)[0]
        if block >= rows:
            return np.asarray(packed, dtype=np.float64)
        tops.append(np.triu(packed[:width]))
    stacked = np.concatenate(tops)
    return _packed(stacked[:, count], stacked[:, :count])


def _cut(singular: FloatArray) -> float:
    return float(singular[0]) * EPS * 10.0 * singular.size


def length_of(vector: FloatArray) -> float:
    """Return the Euclidean length; for a dozen numbers np.linalg.norm is several times slower."""
    return math.sqrt(float(vector.dot(vector)))
