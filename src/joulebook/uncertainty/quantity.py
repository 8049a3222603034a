"""The two nouns of this package: an input with its uncertainty, and a quantity with its interval."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

__all__ = ["Block", "Input", "Origin", "Quantity"]

Origin = Literal["given", "default", "inferred", "planned"]


@dataclass(frozen=True, slots=True)
class Input:
    """An input quantity's estimate and what is known about it (GUM 4.1.4).

    name: its dotted name, as in the bench file ("track.angle").
    value: the estimate, in `unit`.
    unit: the unit of value and u ("deg", "kg", "1" for a pure number).
    u: the standard uncertainty, in `unit`; 0 for a constant.
    distribution: "normal", "t", "rectangular", "triangular", "trapezoidal", "curvilinear-trapezoidal", "arcsine" or "constant".
        A rectangular input has half-width u·√3, a triangular one u·√6, an arcsine one u·√2.
    origin: "given" by the user, "default" (documented Type B default), "inferred" from a record, or "planned" and
        not measured yet.
    dof: degrees of freedom of u, infinite for Type B limits.
    shape: trapezoidal: the ratio of top to base, β in [0, 1] (GUM 4.3.9); curvilinear-trapezoidal: the
        half-width of the limits' inexactness over the half-width, d/w in [0, 1] (JCGM 101, 6.4.3); else unused.
    note: one sentence on where value or uncertainty come from.
    """

    name: str
    value: float
    unit: str
    u: float
    distribution: str = "normal"
    origin: Origin = "given"
    dof: float = math.inf
    shape: float = 0.0
    note: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Several inputs estimated together, as by a fit: a multivariate normal or t (JCGM 101, 6.4.8; GUM H.2).

    names: shape (p,).
    values: estimates, shape (p,), SI units.
    covariance: shape (p, p).
    dof: degrees of freedom shared by the block.
    label: what the block is called in a budget ("fit of the motion").
    """

    names: tuple[str, ...]
    values: npt.NDArray[np.float64]
    covariance: npt.NDArray[np.float64]
    dof: float = math.inf
    label: str = "fit of the motion"


@dataclass(frozen=True, slots=True)
class Quantity:
    """A result with its coverage interval.

    value: the estimate. unit: SI, except where documented (slope_from_motion in deg).
    u: combined standard uncertainty (GUM 5). dof: effective degrees of freedom (GUM G.4), may be infinite.
    low, high: ends of the coverage interval. coverage: its probability.
    method: "gum" (linear propagation) or "monte-carlo" (JCGM 101), the one that gave low and high.
    """

    value: float
    unit: str
    u: float
    dof: float
    low: float
    high: float
    coverage: float = 0.95
    method: Literal["gum", "monte-carlo"] = "gum"

    @property
    def expanded(self) -> float:
        """Half the width of the coverage interval, the expanded uncertainty U where it is symmetric."""
        return 0.5 * (self.high - self.low)

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object Q of the audit format; infinite dof is null."""
        return {
            "value": self.value,
            "unit": self.unit,
            "u": self.u,
            "dof": None if math.isinf(self.dof) else self.dof,
            "low": self.low,
            "high": self.high,
            "coverage": self.coverage,
            "method": self.method,
        }
