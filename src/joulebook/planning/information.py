"""What a record's samples can tell about the motion: the Fisher information of the closed form at the sample times of all
flights.

For white noise of standard deviation σ the inverse of JᵀJ/σ² bounds the covariance of any unbiased estimate (Cramér 1946, Rao
1945), and the audit's least-squares fit reaches it; J is the motion's derivative by the accelerations of climb and descent and by
each flight's apex. Where between two samples the release falls is nobody's choice, so the covariance is averaged over it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from joulebook.experiments.ramp_launch import arc
from joulebook.planning.expected import Expected

__all__ = ["Information", "gather", "polynomial_covariance"]

Floats = npt.NDArray[np.float64]

_PHASES = (0.125, 0.375, 0.625, 0.875)
_UNKNOWN = 1e6
"""Variance, for a noise of 1 m, of what a forgotten flight would have told."""


@dataclass(frozen=True, slots=True, eq=False)
class Information:
    """What p set-ups' records tell; q = 2 + 2h parameters: climb, descent, then apex time and apex of each of h flights.

    covariance: for a noise of 1 m, mean over the phases, shape (p, q, q); infinite where the samples do not determine the motion.
    by_drag: derivative of the parameters by the drag constant, shape (p, q). samples, on_climb: mean number of samples in all
    flights and on the first climb, shape (p,).
    """

    covariance: Floats
    by_drag: Floats
    samples: Floats
    on_climb: Floats


def gather(expected: Expected, *, rate: float, last_flight: float = 1.0, clear: float = 0.0) -> Information:
    """Return what records of these motions tell at a sampling rate (1/s).

    last_flight: the part of the last flight that is on the record. clear: m above the release level from which samples count.
    """
    p, h = expected.apexes.shape
    q = 2 + 2 * h
    covariance, by_drag = np.zeros((p, q, q)), np.zeros((p, q))
    samples, on_climb, sound = np.zeros(p), np.zeros(p), np.ones(p, dtype=bool)
    ends = expected.landings.copy()
    ends[:, -1] = expected.releases[:, -1] + last_flight * (ends[:, -1] - expected.releases[:, -1])
    ends[:, 0] = np.maximum(ends[:, 0], expected.apexes[:, 0])
    starts = expected.releases
    if clear > 0.0:
        starts = starts + clear / np.maximum(expected.climb[:, None] * (expected.apexes - expected.releases), 1e-9)
        ends = ends - clear / np.maximum(expected.descent[:, None] * (expected.landings - expected.apexes), 1e-9)
    count = int(np.max(ends[:, -1]) * rate) + 2
    for phase in _PHASES:
        time = (np.arange(count) + phase) / rate
        jacobian, drag_column = np.zeros((p, count, q)), np.zeros((p, count))
        kept, lost = np.ones(p, dtype=bool), np.zeros((p, q), dtype=bool)
        for j in range(h):
            inside = (time >= starts[:, j, None]) & (time <= ends[:, j, None])
            if j > 0:  # as the audit does: a flight without three samples is forgotten, and those after it
                kept &= inside.sum(axis=1) >= 3
                inside &= kept[:, None]
                lost[:, 2 + 2 * j : 4 + 2 * j] = ~kept[:, None]
            tau = np.where(inside, time - expected.apexes[:, j, None], 0.0)
            down = inside & (tau >= 0.0)
            for drag in np.unique(expected.drag):
                row = expected.drag == drag
                _, by_a, by_tau, by_k = arc(tau[row], expected.climb[row, None], expected.descent[row, None], float(drag))
                here = inside[row]
                jacobian[row, :, 0] += np.where(here & ~down[row], by_a, 0.0)
                jacobian[row, :, 1] += np.where(down[row], by_a, 0.0)
                jacobian[row, :, 2 + 2 * j] = np.where(here, -by_tau, 0.0)
                jacobian[row, :, 3 + 2 * j] = here
                drag_column[row] += np.where(here, by_k, 0.0)
            samples += inside.sum(axis=1) / len(_PHASES)
            if j == 0:
                on_climb += (inside & ~down).sum(axis=1) / len(_PHASES)
        inverse, good = _inverse(jacobian.transpose(0, 2, 1) @ jacobian + lost[:, :, None] * np.eye(q))
        inverse[lost[:, :, None] & np.eye(q, dtype=bool)] = _UNKNOWN
        sound &= good
        covariance += inverse / len(_PHASES)
        along = np.einsum("pnj,pn->pj", jacobian, drag_column)
        by_drag -= np.einsum("pij,pj->pi", inverse, along) / len(_PHASES)
    covariance[~sound] = np.inf
    return Information(covariance, by_drag, samples, on_climb)


def polynomial_covariance(count: int, interval: float, degree: int) -> Floats:
    """Return the covariance, for noise 1, of value, slope and half-curvature at the middle of evenly spaced samples.

    count: samples. interval: s. degree: of the polynomial. Used for readings that a person takes from a few samples by hand.
    """
    time = (np.arange(count) - 0.5 * (count - 1)) * interval
    columns = np.vander(time, degree + 1, increasing=True)
    return np.asarray(np.linalg.inv(columns.T @ columns))


def _inverse(information: Floats) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Invert scaled matrices; a singular one gives zeros and False."""
    diagonal = np.einsum("pii->pi", information)
    scale = np.sqrt(np.where(diagonal > 0.0, diagonal, 1.0))
    scaled = information / scale[:, :, None] / scale[:, None, :]
    least = np.linalg.eigvalsh(scaled)[:, 0]
    good = (diagonal > 0.0).all(axis=1) & (least > 1e-9)
    scaled[~good] = np.eye(scaled.shape[1])
    inverse = np.linalg.inv(scaled) / scale[:, :, None] / scale[:, None, :]
    inverse[~good] = 0.0
    return inverse, good
