"""How often each verdict will come: the error of a ledger as the sum of its largest limits, rectangular, and of a normal rest.

For X = R(−a, a) + N(0, s²): P(X ≤ x) = s/(2a)·[H((x + a)/s) − H((x − a)/s)] with H(z) = z·Φ(z) + φ(z), the integral of Φ.
With a protractor the rectangle is all there is, and no normal interval would do: ±1.65 u holds 95 % of it, not ±1.96 u.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

__all__ = ["below", "reach", "shares"]

Floats = npt.NDArray[np.float64]


def below(x: npt.ArrayLike, half_width: npt.ArrayLike, sd: npt.ArrayLike) -> Floats:
    """Return P(X ≤ x) of the sum of a rectangular error of this half-width and a normal one of this standard deviation."""
    x, a, s = np.broadcast_arrays(np.asarray(x, float), np.asarray(half_width, float), np.asarray(sd, float))
    s = np.maximum(s, 1e-300)
    narrow = a < 1e-3 * s
    safe = np.where(narrow, s, a)
    with np.errstate(over="ignore", invalid="ignore"):
        mixed = s / (2.0 * safe) * (_integral((x + safe) / s) - _integral((x - safe) / s))
    return np.asarray(np.clip(np.where(narrow, ndtr(x / np.hypot(s, a / np.sqrt(3.0))), mixed), 0.0, 1.0))


def reach(half_width: npt.ArrayLike, sd: npt.ArrayLike, *, coverage: float = 0.95) -> Floats:
    """Return the expanded uncertainty: half the width of the interval about zero that holds `coverage` of such errors."""
    a, s = np.broadcast_arrays(np.asarray(half_width, float), np.asarray(sd, float))
    low, high = np.zeros(a.shape), a + 6.0 * s
    for _ in range(36):
        middle = 0.5 * (low + high)
        inside = below(middle, a, s) >= 0.5 + 0.5 * coverage
        low, high = np.where(inside, low, middle), np.where(inside, middle, high)
    return np.asarray(0.5 * (low + high))


def shares(
    mean: npt.ArrayLike,
    half_width: npt.ArrayLike,
    sd: npt.ArrayLike,
    expanded: npt.ArrayLike,
    tolerance: float,
    *,
    loss: npt.ArrayLike = 0.0,
    relative_spread: npt.ArrayLike = 0.0,
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return the probabilities of gain, of loss, and of "no difference seen" with U up to and beyond the tolerance.

    mean: the expected difference. half_width, sd: of its error x. expanded: U that an audit states where x = 0; the verdict is
    "gain" below −U, "loss" above U (DESIGN §5). loss: the expected relative loss: U goes with the potential over the kinetic
    energy as it was found, U·(1 − x/(1 − loss)), so that a bench that reads too small a loss also states too large a U.
    relative_spread: standard deviation of U from bench to bench beside that, over U.
    """
    mean, expanded = np.asarray(mean, float), np.asarray(expanded, float)
    ratio = 1.0 - np.asarray(loss, float)
    gain = below((-expanded - mean) / (1.0 - np.minimum(expanded / ratio, 0.99)), half_width, sd)
    seen = 1.0 - below((expanded - mean) / (1.0 + expanded / ratio), half_width, sd)
    widened = np.hypot(np.asarray(sd, float), ratio * np.asarray(relative_spread, float))
    too_wide = below(ratio * (1.0 - tolerance / expanded), half_width, widened)
    rest = np.maximum(1.0 - gain - seen, 0.0)
    within = np.clip(1.0 - seen - np.maximum(gain, too_wide), 0.0, rest)
    return gain, seen, within, np.asarray(rest - within)


def _integral(z: Floats) -> Floats:
    return np.asarray(z * ndtr(z) + np.exp(-0.5 * np.minimum(z * z, 1400.0)) / np.sqrt(2.0 * np.pi))
