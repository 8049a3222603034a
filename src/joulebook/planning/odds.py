"""How often each verdict will come: the whole distribution of a ledger's error, and the audit's own rule applied to it.

An error is the sum of its influences, each with the distribution it is stated with: rectangular limits and a normal rest. Its
characteristic function is the product of theirs, sin(a·t)/(a·t) and exp(−s²t²/2); the distribution follows as the sine series
F(x) = ½ + x/2L + Σ φ(πk/L)·sin(πkx/L)/πk on ±L. With a protractor one rectangle is nearly all there is, and no normal interval would
do: ±1.65 u holds 95 % of it, not ±1.96 u.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.fft import dst
from scipy.special import ndtri

__all__ = ["Errors", "Guess", "Shares", "errors_of", "guess_of", "shares"]

Floats = npt.NDArray[np.float64]

_REACH = 8.0
"""L, in standard deviations: no sum of limits and normal parts goes farther with a probability that matters."""
_CELLS = 256
"""Cells of the table between 0 and L; the straight line inside a cell is good to 3·10⁻⁵."""
_QUANTILES = ndtri((np.arange(12) + 0.5) / 12.0)
_SMALL = 0.1
"""A rectangle with less than this part of the whole standard deviation cannot be told from a normal one: it moves the sum's
fourth moment by 1.2·10⁻⁴."""


@dataclass(frozen=True, slots=True, eq=False)
class Errors:
    """The distributions of n symmetric errors.

    u: standard deviations, shape (n,). table: P(0 ≤ X ≤ x) at x = 0 … 8 u, shape (n, 257).
    """

    u: Floats
    table: Floats

    def below(self, x: npt.ArrayLike) -> Floats:
        """Return P(X ≤ x). x: shape (n,) or (n, k)."""
        x = np.asarray(x, dtype=np.float64)
        rows = np.arange(self.u.size).reshape(-1, *([1] * (x.ndim - 1)))
        place = np.minimum(np.abs(x) / self.u[rows] * (_CELLS / _REACH), _CELLS * (1.0 - 1e-12))
        cell = place.astype(np.intp)
        low = self.table[rows, cell]
        half = low + (self.table[rows, cell + 1] - low) * (place - cell)
        return np.asarray(0.5 + np.copysign(half, x))

    def reach(self, coverage: float = 0.95) -> Floats:
        """Return half the width of the interval about zero that holds `coverage` of each error, shape (n,)."""
        wanted = 0.5 * coverage
        cell = np.minimum((self.table < wanted).sum(axis=1) - 1, _CELLS - 1)
        rows = np.arange(self.u.size)
        low, high = self.table[rows, cell], self.table[rows, cell + 1]
        return np.asarray((cell + (wanted - low) / np.maximum(high - low, 1e-300)) * (_REACH / _CELLS) * self.u)


@dataclass(frozen=True, slots=True, eq=False)
class Guess:
    """What is only guessed of the loss, as points and weights in its own standard deviations, each of shape (k,)."""

    points: Floats
    weights: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Shares:
    """Probabilities of the verdicts of n benches, each of shape (n,): seen below zero, seen above zero, and not seen with U
    within and beyond the tolerance."""

    below: Floats
    above: Floats
    within: Floats
    beyond: Floats


def errors_of(rectangular: Floats, normal: Floats) -> Errors:
    """Return the distributions of sums of errors.

    rectangular: standard uncertainties of the rectangular parts (half-width over √3), shape (k, n). normal: of the normal rest,
    shape (n,).
    """
    u = np.sqrt((rectangular**2).sum(axis=0) + normal**2)
    u = np.maximum(u, 1e-300)
    t = np.pi * np.arange(1, _CELLS) / _REACH
    large = rectangular > _SMALL * u
    rest = normal**2 + np.where(large, 0.0, rectangular**2).sum(axis=0)
    phi = np.exp(-0.5 * (rest / u**2)[:, None] * t**2)
    for part, rows in zip(rectangular, large, strict=True):
        if rows.any():
            phi[rows] *= np.sinc((np.sqrt(3.0) / np.pi) * (part[rows] / u[rows])[:, None] * t)
    k = np.arange(1, _CELLS)
    table = np.zeros((u.size, _CELLS + 1))
    table[:, 1:-1] = 0.5 * dst(phi / (np.pi * k), type=1, axis=1)
    table += np.arange(_CELLS + 1) / (2.0 * _CELLS)
    return Errors(u, np.clip(table, 0.0, 0.5))


def guess_of(distribution: str, *, count: int = 24) -> Guess:
    """Return a guess's distribution as points and weights: Gauss's rule of Legendre for limits, of Hermite for a normal one.

    distribution: "rectangular", "triangular" or another, taken to be normal. count: points.
    """
    if distribution in ("rectangular", "triangular"):
        points, weights = np.polynomial.legendre.leggauss(count)
        if distribution == "rectangular":
            return Guess(np.sqrt(3.0) * points, 0.5 * weights)
        weights = weights * (1.0 - np.abs(points))
        return Guess(np.sqrt(6.0) * points, weights / weights.sum())
    points, weights = np.polynomial.hermite_e.hermegauss(count)
    return Guess(points, weights / weights.sum())


def shares(
    errors: Errors,
    expanded: Floats,
    tolerance: float,
    *,
    loss: Floats,
    guess: Guess,
    guess_u: Floats,
    carried: Floats,
    relative_spread: Floats,
    account: bool = False,
) -> Shares:
    """Return how often each verdict comes (DESIGN §5).

    errors: of n benches, relative to the energy at release. expanded: U that an audit states of a bench that finds just the
    expected loss. loss: that loss; guess_u: its standard uncertainty from what is guessed of it, distributed as `guess`; no
    friction gives energy back, so that a loss below zero is taken to be zero. carried: share of U's variance that grows with the
    potential energy as it was found: a bench that reads too small a loss also states too large a U. relative_spread: standard
    deviation, over U, of the rest that a U is judged with from bench to bench. All of shape (n,).
    account: judge what is left after the known losses, whose mean is zero, in place of the loss itself.
    """
    moved = np.maximum(guess_u[:, None] * guess.points, -np.maximum(loss, 0.0)[:, None])
    stated = expanded[:, None]
    # U goes with the potential over the kinetic energy as it was found: U(x) = stated − slope·(moved + x) for an error x.
    slope = np.clip((carried * expanded / np.maximum(1.0 - loss, 1e-6))[:, None], 1e-9, 0.99)
    own = stated - slope * moved
    value = 0.0 if account else loss[:, None] + moved
    high = errors.below((own - value) / (1.0 + slope))
    low = np.minimum(errors.below(-(own + value) / (1.0 - slope)), high)
    # Smaller errors than this state a U beyond the tolerance. Which U a bench states by its own noise is taken at twelve equally
    # likely values; where the error hardly moves U, it is let move it as far as from one of those to the next.
    noise = (expanded * relative_spread)[:, None, None]
    steep = np.maximum(slope[:, :, None], 0.2 * noise / errors.u[:, None, None])
    edge = (stated[:, :, None] + noise * _QUANTILES - tolerance) / steep - moved[:, :, None]
    flat = errors.below(edge.reshape(edge.shape[0], -1)).reshape(edge.shape)
    narrow = np.clip(np.clip(flat, low[:, :, None], high[:, :, None]).mean(axis=2), low, high)
    return Shares(low @ guess.weights, (1.0 - high) @ guess.weights, (high - narrow) @ guess.weights, (narrow - low) @ guess.weights)
