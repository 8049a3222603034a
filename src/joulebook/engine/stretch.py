"""A stretch: constant acceleration fitted to one phase of a record that is no launch, such as a block that slides down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from joulebook.engine.clean import Trace
from joulebook.engine.least_squares import linear_least_squares
from joulebook.engine.residuals import noise_model
from joulebook.errors import AnalysisError
from joulebook.uncertainty import Quantity

__all__ = ["Stretch", "fit_stretch"]


@dataclass(frozen=True, slots=True)
class Stretch:
    """One phase at constant acceleration; positive away from the ranger.

    start_s, end_s: first and last sample used. samples: how many.
    acceleration, start_speed, start_distance: fitted, with their coverage intervals. noise_m: scatter of one sample.
    """

    start_s: float
    end_s: float
    samples: int
    acceleration: Quantity
    start_speed: Quantity
    start_distance: Quantity
    noise_m: float


def fit_stretch(trace: Trace, start: float, end: float, *, coverage: float = 0.95) -> Stretch:
    """Fit d = d₀ + v₀t + ½at² to the unflagged samples from `start` to `end` (s), both included.

    Raises AnalysisError when fewer than four samples are left to fit three values.
    """
    inside = np.flatnonzero(trace.good & (trace.time >= start) & (trace.time <= end))
    if inside.size < 4:
        raise AnalysisError(
            f"only {inside.size} usable samples lie between {start:g} s and {end:g} s, and three values are to be found from "
            "them.",
            remedy="Choose a longer stretch, or record at a higher rate.",
            code="too-short",
        )
    time = trace.time[inside]
    tau = time - time[0]
    design = np.column_stack((np.ones_like(tau), tau, 0.5 * tau * tau))
    solution = linear_least_squares(design, trace.distance[inside], names=("start_distance", "start_speed", "acceleration"))
    noise = noise_model(solution.residuals, design, least_rho=0.0)
    floor = trace.step / np.sqrt(12.0)
    factor = max(noise.sd, floor) / noise.sd if noise.sd > 0.0 else 1.0
    covariance = noise.covariance * factor**2 if noise.sd > 0.0 else solution.unscaled * floor**2
    u = np.sqrt(np.diag(covariance))
    k = float(stdtrit(noise.effective, 0.5 * (1.0 + coverage)))

    def quantity(place: int, unit: str) -> Quantity:
        value, half = float(solution.parameters[place]), k * float(u[place])
        return Quantity(value, unit, float(u[place]), noise.effective, value - half, value + half, coverage)

    return Stretch(
        float(time[0]), float(time[-1]), int(inside.size),
        quantity(2, "m/s^2"), quantity(1, "m/s"), quantity(0, "m"), max(noise.sd, floor),
    )  # fmt: skip
