"""Hops: the fit in progress, its parameters and the samples that it rests on."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from joulebook.engine.clean import Trace
from joulebook.engine.experiment import ArcMotion
from joulebook.engine.least_squares import Solution, least_squares
from joulebook.engine.phases import Outline
from joulebook.errors import FitError
from joulebook.uncertainty.robust import median

__all__ = ["Hops"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]


@dataclass(slots=True, eq=False)
class Hops:
    """All hops of one launch, while they are fitted: the one record of the engine that changes.

    trace: the samples. level: m, up-slope readings, shape (n,). good: samples that may be used, shape (n,).
    arc: the experiment's closed form. drag: 1/m. apex: s, the first apex where a person has set it, else None.
    values: climb, descent (when it is seen), then apex_time_j and apex_j of each hop, shape (p,).
    index, hop: samples in the fit and the hop that each belongs to, shape (m,). weights: shape (m,), or None for equal ones.
    solution: the last solution on these samples.
    """

    trace: Trace
    level: FloatArray
    good: BoolArray
    arc: ArcMotion
    drag: float
    values: FloatArray
    count: int
    descent_seen: bool = True
    apex: float | None = None
    index: IntArray = field(default_factory=lambda: np.empty(0, dtype=np.intp))
    hop: IntArray = field(default_factory=lambda: np.empty(0, dtype=np.intp))
    weights: FloatArray | None = None
    solution: Solution | None = None
    _here: tuple[FloatArray, FloatArray, FloatArray, FloatArray] | None = None

    @classmethod
    def start(cls, trace: Trace, outline: Outline, good: BoolArray, arc: ArcMotion, drag: float, apex: float | None) -> Hops:
        """Return the first guess from an outline: its arcs' cores, their mean fall and their apexes."""
        arcs = outline.arcs
        weights = np.array([1.0 / max(each.u_fall, 1e-6) ** 2 for each in arcs])
        fall = float(np.sum(weights * [each.fall for each in arcs]) / weights.sum())
        values = np.array([fall, fall, *(value for each in arcs for value in (each.apex_time, each.apex))])
        if apex is not None:
            values[2] = apex
        hops = cls(trace, outline.up * trace.distance, good, arc, drag, values, len(arcs), True, apex)
        hops.take([np.flatnonzero(good[each.first : each.last + 1]) + each.first for each in arcs])
        return hops

    @property
    def lead(self) -> int:
        """How many accelerations stand before the apexes."""
        return 2 if self.descent_seen else 1

    @property
    def climb(self) -> float:
        """a_u, m/s²."""
        return float(self.values[0])

    @property
    def descent(self) -> float:
        """a_d, m/s²; the climb's where the descent is not seen."""
        return float(self.values[self.lead - 1])

    @property
    def apex_times(self) -> FloatArray:
        """s, shape (count,)."""
        return self.values[self.lead :: 2]

    @property
    def apexes(self) -> FloatArray:
        """m, up-slope, shape (count,)."""
        return self.values[self.lead + 1 :: 2]

    @property
    def names(self) -> tuple[str, ...]:
        """Of the values."""
        lead = ("climb", "descent")[: self.lead]
        return lead + tuple(name for j in range(1, self.count + 1) for name in (f"apex_time_{j}", f"apex_{j}"))

    @property
    def fixed(self) -> tuple[str, ...]:
        """Names of the values that a person has set."""
        return () if self.apex is None else ("apex_time_1",)

    @property
    def time(self) -> FloatArray:
        """s, of the samples in the fit, shape (m,)."""
        return self.trace.time[self.index]

    def windows(self, level: float) -> FloatArray:
        """Return when each hop goes up and down through `level` (m), shape (count, 2); its apex time where it stays below."""
        rise = np.maximum(self.apexes - level, 0.0)
        up, down = np.sqrt(2.0 * rise / self.climb), np.sqrt(2.0 * rise / self.descent)
        return np.stack([self.apex_times - up, self.apex_times + down], axis=1)

    def take(self, parts: list[IntArray]) -> None:
        """Rest the fit on these samples, one array for each hop; hops at the end without three samples are forgotten."""
        keep = len(parts)
        while keep > 1 and parts[keep - 1].size < 3:
            keep -= 1
        if keep < self.count:
            self.values, self.count = self.values[: self.lead + 2 * keep], keep
        parts = parts[:keep]
        self.index = np.concatenate(parts)
        self.hop = np.repeat(np.arange(keep), [part.size for part in parts])
        self.weights, self._here = None, None
        self._settle_descent()

    def keep(self, mask: BoolArray) -> None:
        """Keep only these of the samples in the fit, shape (m,)."""
        index, hop = self.index[mask], self.hop[mask]
        self.take([index[hop == j] for j in range(self.count)])

    def first_hops(self, count: int) -> None:
        """Keep only the first hops."""
        self.take([self.index[self.hop == j] for j in range(count)])

    def predict(self, hop: IntArray | int, time: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return position, and its derivatives by acceleration, by time since the apex and by drag, each of shape (m,)."""
        tau = time - self.apex_times[hop]
        position, by_a, by_tau, by_drag = self.arc(tau, self.climb, self.descent, self.drag)
        return self.apexes[hop] + position, by_a, by_tau, by_drag

    def here(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return what `predict` says of the samples in the fit; asked often between two changes, and worked out once."""
        if self._here is None:
            self._here = self.predict(self.hop, self.time)
        return self._here

    def solve(self) -> Solution:
        """Fit all values to the samples. Raises FitError where they do not determine them."""
        t, y, hop, lead, p = self.time, self.level[self.index], self.hop, self.lead, self.values.size
        if t.size <= p:
            raise FitError(
                f"only {t.size} samples lie on free motion, and {p} values are to be found from them.",
                remedy="Use a higher sampling rate, or a longer climb.",
                code="too-slow",
            )
        rows, column = np.arange(t.size), lead + 2 * hop
        arc, drag = self.arc, self.drag

        def model(values: FloatArray) -> tuple[FloatArray, FloatArray]:
            apex_times = values[lead::2][hop]
            position, by_a, by_tau, _ = arc(t - apex_times, values[0], values[lead - 1], drag)
            jacobian = np.zeros((t.size, p))
            jacobian[rows, (t >= apex_times).astype(np.intp) * (lead - 1)] = by_a
            jacobian[rows, column] = -by_tau
            jacobian[rows, column + 1] = 1.0
            return y - values[lead + 1 :: 2][hop] - position, jacobian

        solution = least_squares(model, self.values, names=self.names, fixed=self.fixed, weights=self.weights, tolerance=1e-10)
        self.values, self.solution, self._here = solution.parameters.copy(), solution, None
        if not (self.climb > 0.0 and self.descent > 0.0):
            name = "climb" if self.climb <= 0.0 else "descent"
            raise FitError(
                f"the fit gives the {name} an acceleration of {min(self.climb, self.descent):.3g} m/s², which does not slow a "
                "cart.",
                remedy="Look at the trace: this stretch is not free motion on a slope.",
            )
        return solution

    def scatter(self) -> float:
        """Return a robust guess of one sample's noise from the fit so far, m, never below what the readings' step leaves."""
        residual = self.level[self.index] - self.here()[0]
        spare = max(residual.size - self.values.size, 1)
        robust = 1.4826 * median(np.abs(residual)) * float(np.sqrt(residual.size / spare))
        return float(max(robust, self.trace.step / np.sqrt(12.0), 0.5 * self.trace.noise, 5e-5))

    def prediction(self, j: int, time: FloatArray) -> FloatArray:
        """Return the standard uncertainty of hop j's fitted position for a noise of 1, shape (m,)."""
        assert self.solution is not None
        _, by_a, by_tau, _ = self.predict(j, time)
        rows = np.zeros((time.size, self.lead + 2))
        rows[np.arange(time.size), (time >= self.apex_times[j]).astype(np.intp) * (self.lead - 1)] = by_a
        rows[:, -2], rows[:, -1] = -by_tau, 1.0
        place = [*range(self.lead), self.lead + 2 * j, self.lead + 2 * j + 1]
        variance = np.einsum("ij,jk,ik->i", rows, self.solution.unscaled[np.ix_(place, place)], rows)
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)))

    def segments(self) -> IntArray:
        """Number the stretches of samples without a break, shape (m,): correlation does not reach across one."""
        breaks = np.diff(self.time) > 1.5 * self.trace.interval
        return np.concatenate(([0], np.cumsum(breaks | (np.diff(self.hop) != 0)))).astype(np.intp)

    def _settle_descent(self) -> None:
        """Drop the descent's acceleration when no hop has three samples after its apex; bring it back when one has."""
        after = np.bincount(self.hop[self.time > self.apex_times[self.hop]], minlength=self.count)
        seen = bool(after.max(initial=0) >= 3)
        if seen != self.descent_seen:
            self.values = self.values[1:] if not seen else np.concatenate((self.values[:1], self.values))
            self.descent_seen = seen
