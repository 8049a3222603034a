"""Misfit: a constant-acceleration model must be able to fail.

Four ways in which a real bench departs from it, each with the trace that it would leave on position against time (integrated
twice along an arc, with the fitted motion put in): the slope changes along the track (a sagging track), the resistance grows with
speed, the slope creeps in time (a slipping clamp), and the ranger looks at the cart from the side. Each is laid so that the
energy at the first release depends on the other parameters alone; the shift that a significant one gives to them is then the size
of the doubt, and enters the uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc

from joulebook.engine.residuals import noise_model
from joulebook.errors import FitError

__all__ = ["KINDS", "Misfit", "find_misfit"]

FloatArray = npt.NDArray[np.float64]

KINDS = ("bent track", "resistance grows with speed", "slope creeps", "ranger off the axis")


@dataclass(frozen=True, slots=True, eq=False)
class Misfit:
    """What the residuals hold beyond noise.

    p: probability of as much in noise alone. kind: which departure explains it best, "" when none is significant.
    shift: what that departure does to the fitted values, shape (q,). covariance: the doubt that it adds, shape (q, q).
    size: m, root mean square of the part of the residuals that the departure explains.
    """

    p: float
    kind: str
    shift: FloatArray
    covariance: FloatArray
    size: float


def find_misfit(
    jacobian: FloatArray,
    residual: FloatArray,
    segments: npt.NDArray[np.intp],
    *,
    root: FloatArray,
    by_drag: FloatArray,
    u_drag: float,
    tau: FloatArray,
    position: FloatArray,
    apex_positions: FloatArray,
    apex_times: FloatArray,
    accelerations: FloatArray,
    release_level: float,
    first_apex: float,
    up: int,
) -> Misfit:
    """Test the residuals of a fit against the four departures.

    jacobian: shape (n, q). residual: m, shape (n,). segments: see residuals. root: roots of the samples' weights, shape (n,).
    by_drag: derivative of the position by the drag constant, shape (n,), u_drag: that constant's standard uncertainty: a drag
    other than the stated one is no misfit. tau: s from the hop's apex. position: m, fitted.
    apex_positions, apex_times, accelerations: of each sample's hop and branch, all of shape (n,).
    release_level, first_apex: m, of the launch. up: +1 for a ranger at the bottom, −1 for one at the top.
    """
    q = jacobian.shape[1]
    nothing = Misfit(1.0, "", np.zeros(q), np.zeros((q, q)), 0.0)
    h = first_apex - release_level
    if residual.size < q + 9 or h <= 0.0:
        return nothing
    columns = _columns(
        tau, position, apex_positions, apex_times, accelerations, 0.5 * (first_apex + release_level), h, up, release_level
    )
    columns, jacobian, residual, by_drag = (
        columns * root[:, None], jacobian * root[:, None], residual * root, by_drag * root
    )
    length = np.sqrt((columns * columns).sum(axis=0))
    sound = np.flatnonzero(np.isfinite(length) & (length > 0.0))
    if not _suspicious(jacobian, by_drag, columns[:, sound] / length[sound], residual):
        return nothing
    best: tuple[float, int, float, FloatArray, float] | None = None
    # The drag is known beforehand, as well as it is: one more row, which holds it to that.
    known = np.zeros((1, q + 2))
    sd = float(np.sqrt(residual.dot(residual) / (residual.size - q)))
    known[0, q] = sd
    extended = np.append(residual, 0.0)
    stretches = np.append(segments, segments.max() + 1)
    for kind in sound:
        wide = np.vstack((np.column_stack((jacobian, by_drag * u_drag, columns[:, kind] / length[kind])), known))
        solution, *_ = np.linalg.lstsq(wide, extended, rcond=None)
        rest = extended - wide @ solution
        try:
            noise = noise_model(rest, wide, segments=stretches, least_rho=0.0)
        except FitError:
            continue
        variance = float(noise.covariance[q + 1, q + 1])
        if not variance > 0.0:
            continue
        statistic = float(solution[q + 1]) ** 2 / variance
        p = float(fdtrc(1.0, max(noise.effective, 1.0), statistic))
        explained = float(np.sqrt(np.mean((extended - rest)[:-1] ** 2)))
        if best is None or p < best[0]:
            best = (p, int(kind), statistic, solution[:q], explained)
    if best is None:
        return nothing
    p, place, statistic, shift, explained = best
    p = min(1.0, p * sound.size)
    # Where the departure is no more than noise the shift is noise too, and the fit's own covariance has it already.
    weight = max(0.0, 1.0 - 9.0 / statistic) if p < 0.02 else 0.0
    return Misfit(p, KINDS[place] if p < 0.02 else "", shift, weight * np.outer(shift, shift), explained)


def _suspicious(jacobian: FloatArray, by_drag: FloatArray, columns: FloatArray, residual: FloatArray) -> bool:
    """Say whether white noise alone would let one of the columns matter at 5 %; correlated noise makes it matter less."""
    scale = np.sqrt((jacobian * jacobian).sum(axis=0))
    q = np.linalg.qr(jacobian / np.where(scale > 0.0, scale, 1.0))[0]
    columns = columns - q @ (q.T @ columns)
    size = (columns * columns).sum(axis=0)
    taken = (columns.T @ residual) ** 2 / np.where(size > 1e-12, size, np.inf)
    dof = residual.size - jacobian.shape[1] - 1
    return bool(np.any(taken > 3.8 * (float(residual @ residual) - taken) / dof))


def _columns(
    tau: FloatArray,
    position: FloatArray,
    apex_positions: FloatArray,
    apex_times: FloatArray,
    a: FloatArray,
    middle: float,
    h: float,
    up: int,
    release_level: float,
) -> FloatArray:
    """Return what a unit of each departure adds to the position, shape (n, 4)."""
    square = tau * tau
    fall = float(np.mean(a))
    climb_time = np.sqrt(2.0 * h / fall)
    launch_speed = fall * climb_time
    bent = a * square * square / 24.0 - (apex_positions - middle) * square / 2.0
    size = np.abs(tau)
    resisting = np.sign(tau) * (a * size**3 / 6.0 - (2.0 / 3.0) * launch_speed * square / 2.0)
    start = apex_times.min() - (2.0 / 3.0) * climb_time
    creeping = -((apex_times - start) * square / 2.0 + square * tau / 6.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        distance = np.abs(position)  # the reading itself: position is up times distance
        aside = up * (0.5 / distance - 0.5 / abs(release_level))
    return np.column_stack((bent, resisting, creeping, aside))
