"""Fit: one motion for all hops of a launch, on the raw unflagged samples.

The accelerations of climb and descent are shared by all hops; each hop has its own apex. Which samples are free is decided by
where the fitted cart is (above the release level), never by where a noisy reading is, and samples at the edges that the motion
cannot explain are left to the stop or the hand. The residuals' own scatter gives the Type A uncertainty.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from joulebook.engine.clean import Trace, name_outliers
from joulebook.engine.contacts import LONGEST, Contacts, find_contacts
from joulebook.engine.datum import Datum
from joulebook.engine.experiment import ArcMotion
from joulebook.engine.least_squares import Solution, least_squares
from joulebook.engine.misfit import Misfit, find_misfit
from joulebook.engine.phases import Outline
from joulebook.engine.residuals import noise_model
from joulebook.errors import FitError

__all__ = ["Motion", "fit_motion"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """The fitted motion of one launch, in the ranger's own metres.

    names, values: climb, descent (only when it was seen), then apex_time_j and apex_j of each hop; shape (p,).
    covariance: shape (p, p), noise and misfit together. dof: its degrees of freedom.
    by_drag: derivative of the values by the drag constant, shape (p,); drag: the constant at which the fit was made, 1/m.
    descent_seen: False when the record holds no usable descent; `descent` is then the climb's.
    used: samples in the fit, shape (n,). rejected: samples that the fit threw out; reasons: for each, a flag of clean.FLAGS.
    hop: for each used sample its hop, shape (m,). fitted: m, shape (n,), NaN outside free motion. residual likewise.
    windows: (hops, 2), s between which each hop is free. noise: m, one sample's standard deviation. correlation: lag-one.
    datum: the rest level that was used. contacts: what lies between the hops.
    trimmed: per hop, samples dropped at the start and at the end of its free window because they do not follow it, shape (hops, 2).
    """

    names: tuple[str, ...]
    values: FloatArray
    covariance: FloatArray
    dof: float
    by_drag: FloatArray
    drag: float
    up: int
    hops: int
    descent_seen: bool
    used: npt.NDArray[np.bool_]
    rejected: IntArray
    reasons: npt.NDArray[np.str_]
    fitted: FloatArray
    residual: FloatArray
    windows: FloatArray
    noise: float
    correlation: float
    datum: Datum
    contacts: Contacts
    misfit: Misfit
    trimmed: npt.NDArray[np.intp]
    noise_covariance: FloatArray = field(repr=False)

    @property
    def climb(self) -> float:
        """a_u as read, m/s²."""
        return float(self.values[0])

    @property
    def descent(self) -> float:
        """a_d as read, m/s²; the climb's where the descent was not seen."""
        return float(self.values[1]) if self.descent_seen else float(self.values[0])

    @property
    def apex_times(self) -> FloatArray:
        """s, shape (hops,)."""
        return self.values[len(self.names) - 2 * self.hops :: 2]

    @property
    def apexes(self) -> FloatArray:
        """m, up-slope readings, shape (hops,)."""
        return self.values[len(self.names) - 2 * self.hops + 1 :: 2]

    @property
    def release_level(self) -> float:
        """m, up-slope reading at which the stop lets go."""
        return self.datum.level + self.contacts.offset


@dataclass(slots=True)
class _State:
    """The fit in progress: parameters, and the free samples with the hop that each belongs to; apex: s, fixed by a person."""

    values: FloatArray
    hops: int
    descent_seen: bool
    apex: float | None = None
    index: IntArray = field(default_factory=lambda: np.empty(0, dtype=np.intp))
    hop: IntArray = field(default_factory=lambda: np.empty(0, dtype=np.intp))

    @property
    def lead(self) -> int:
        return 2 if self.descent_seen else 1

    @property
    def climb(self) -> float:
        return float(self.values[0])

    @property
    def descent(self) -> float:
        return float(self.values[self.lead - 1])

    @property
    def apex_times(self) -> FloatArray:
        return self.values[self.lead :: 2]

    @property
    def apexes(self) -> FloatArray:
        return self.values[self.lead + 1 :: 2]

    @property
    def fixed(self) -> tuple[str, ...]:
        return () if self.apex is None else ("apex_time_1",)

    @property
    def names(self) -> tuple[str, ...]:
        lead = ("climb", "descent")[: self.lead]
        return lead + tuple(name for j in range(1, self.hops + 1) for name in (f"apex_time_{j}", f"apex_{j}"))


def fit_motion(
    trace: Trace,
    outline: Outline,
    arc: ArcMotion,
    *,
    drag: float = 0.0,
    u_drag: float = 0.0,
    datum: Datum | None = None,
    release: float | None = None,
    apex: float | None = None,
    barred: npt.NDArray[np.bool_] | None = None,
) -> Motion:
    """Fit all hops of one launch together.

    arc: the experiment's closed form. drag: k in 1/m, in the ranger's metres, with standard uncertainty u_drag. datum: the rest level, or None.
    release, apex: s, a person's own choice. barred: samples that a person has taken out of free motion, shape (n,).
    Raises FitError, which names the parameter, when the samples do not determine the motion.
    """
    level = outline.up * trace.distance
    state = _first_guess(outline, apex)
    good = trace.good if barred is None else trace.good & ~barred
    if release is not None:
        good &= trace.time >= release
    _take_cores(state, trace.time, good, outline)
    _solve(state, trace.time, level, arc, drag)
    _drop_wild(state, trace.time, level, arc, drag)
    _drop_strange_hops(state, trace, level, arc, drag, datum)
    trimmed = np.zeros((state.hops, 2), dtype=np.intp)
    datum = datum or _datum_without_rest(state, trace, outline, level, arc, drag)
    for _ in range(3):
        contacts = _contacts(state, outline, datum)
        before = state.index
        trimmed = _take_free(state, trace, level, good, arc, drag, datum.level + contacts.offset + 2.0 * datum.u)
        _settle_descent(state, trace.time)
        solution = _solve(state, trace.time, level, arc, drag)
        if np.array_equal(before, state.index):
            break
    solution, rejected = _reject(state, trace, level, arc, drag, solution)
    return _finish(trace, outline, state, arc, drag, datum, solution, rejected, trimmed, level, release, u_drag)


def _first_guess(outline: Outline, apex: float | None) -> _State:
    arcs = outline.arcs
    weights = np.array([1.0 / max(arc.u_fall, 1e-6) ** 2 for arc in arcs])
    fall = float(np.sum(weights * [arc.fall for arc in arcs]) / weights.sum())
    values = [fall, fall]
    for arc in arcs:
        values += [arc.apex_time, arc.apex]
    if apex is not None:
        values[2] = apex
    return _State(np.array(values), len(arcs), True, apex)


def _take_cores(state: _State, time: FloatArray, good: npt.NDArray[np.bool_], outline: Outline) -> None:
    parts = [np.flatnonzero(good[arc.first : arc.last + 1]) + arc.first for arc in outline.arcs]
    state.index = np.concatenate(parts)
    state.hop = np.repeat(np.arange(len(parts)), [part.size for part in parts])
    _settle_descent(state, time)


def _settle_descent(state: _State, time: FloatArray) -> None:
    """Drop the descent's acceleration from the parameters when no hop has enough samples after its apex."""
    after = np.bincount(state.hop[time[state.index] > state.apex_times[state.hop]], minlength=state.hops)
    seen = bool(after.max(initial=0) >= 3)
    if seen != state.descent_seen:
        state.values = state.values[1:] if not seen else np.concatenate((state.values[:1], state.values))
        state.descent_seen = seen


def _predict(
    values: FloatArray, lead: int, hop: IntArray, time: FloatArray, arc: ArcMotion, drag: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return position, derivative by acceleration, by time since the apex, and by drag, and leave the rest to the caller."""
    tau = time - values[lead::2][hop]
    position, by_a, by_tau, by_drag = arc(tau, values[0], values[lead - 1], drag)
    return values[lead + 1 :: 2][hop] + position, by_a, by_tau, by_drag


def _solve(state: _State, time: FloatArray, level: FloatArray, arc: ArcMotion, drag: float) -> Solution:
    """Solve for all parameters on the state's samples, and leave the result in the state."""
    t, y, hop, lead = time[state.index], level[state.index], state.hop, state.lead
    if t.size <= state.values.size:
        raise FitError(
            f"only {t.size} samples lie on free motion, and {state.values.size} values are to be found from them.",
            remedy="Use a higher sampling rate, or a longer climb.",
            code="too-slow",
        )
    rows = np.arange(t.size)
    p = state.values.size
    column = lead + 2 * hop

    def model(values: FloatArray) -> tuple[FloatArray, FloatArray]:
        position, by_a, by_tau, _ = _predict(values, lead, hop, t, arc, drag)
        jacobian = np.zeros((t.size, p))
        if lead == 2:
            down = t >= values[lead::2][hop]
            jacobian[rows, down.astype(np.intp)] = by_a
        else:
            jacobian[:, 0] = by_a
        jacobian[rows, column] = -by_tau
        jacobian[rows, column + 1] = 1.0
        return y - position, jacobian

    solution = least_squares(model, state.values, names=state.names, fixed=state.fixed, tolerance=1e-10)
    state.values = solution.parameters.copy()
    if not (state.climb > 0.0 and state.descent > 0.0):
        name = "climb" if state.climb <= 0.0 else "descent"
        raise FitError(
            f"the fit gives the {name} an acceleration of {min(state.climb, state.descent):.3g} m/s², which does not slow a cart.",
            remedy="Look at the trace: this stretch is not free motion on a slope.",
        )
    return solution


def _drop_wild(state: _State, time: FloatArray, level: FloatArray, arc: ArcMotion, drag: float) -> None:
    """Drop from the cores what is wildly off, so that it cannot bend the first fit."""
    for _ in range(3):
        position = _predict(state.values, state.lead, state.hop, time[state.index], arc, drag)[0]
        residual = np.abs(level[state.index] - position)
        keep = residual <= max(8.0 * 1.4826 * float(np.median(residual)), 0.002)
        if keep.all() or keep.sum() < max(state.values.size + 2, 0.6 * keep.size):
            return
        state.index, state.hop = state.index[keep], state.hop[keep]
        _solve(state, time, level, arc, drag)


def _drop_strange_hops(
    state: _State, trace: Trace, level: FloatArray, arc: ArcMotion, drag: float, datum: Datum | None
) -> None:
    """Keep the hops up to the first that does not go on from the one before: another motion, or a pause that no stop makes."""
    while state.hops > 1:
        position = _predict(state.values, state.lead, state.hop, trace.time[state.index], arc, drag)[0]
        square = np.bincount(state.hop, (level[state.index] - position) ** 2, minlength=state.hops)
        count = np.bincount(state.hop, minlength=state.hops)
        scatter = np.sqrt(square / np.maximum(count, 1))
        strange = scatter > np.maximum(4.0 * scatter.min(), 3.0 * max(trace.step, 0.0005))
        if datum is not None:
            rise = np.maximum(state.apexes - datum.level, 0.0)
            ends = state.apex_times + np.sqrt(2.0 * rise / state.descent)
            starts = state.apex_times - np.sqrt(2.0 * rise / state.climb)
            pause = starts[1:] - ends[:-1]
            strange[1:] |= (pause > LONGEST) | (pause < -LONGEST)
        strange[0] = False
        if not strange.any():
            return
        keep = int(np.argmax(strange))
        inside = state.hop < keep
        state.index, state.hop = state.index[inside], state.hop[inside]
        state.values, state.hops = state.values[: state.lead + 2 * keep], keep
        _settle_descent(state, trace.time)
        _solve(state, trace.time, level, arc, drag)


def _take_free(
    state: _State,
    trace: Trace,
    level: FloatArray,
    good: npt.NDArray[np.bool_],
    arc: ArcMotion,
    drag: float,
    floor: float,
) -> npt.NDArray[np.intp]:
    """Take all samples on which the fitted cart is above `floor`, and trim the ends that do not follow it.

    Returns how many samples were trimmed at the start and the end of each hop, shape (hops, 2).
    """
    noise = _scatter(state, trace, level, arc, drag)
    margin = max(3.0 * noise, 0.0005)
    index: list[IntArray] = []
    trimmed = np.zeros((state.hops, 2), dtype=np.intp)
    for j in range(state.hops):
        rise = state.apexes[j] - floor - margin
        if rise <= 0.0:
            index.append(np.empty(0, dtype=np.intp))
            continue
        start = state.apex_times[j] - np.sqrt(2.0 * rise / state.climb)
        stop = state.apex_times[j] + np.sqrt(2.0 * rise / state.descent)
        if j and index[j - 1].size:
            start = max(start, float(trace.time[index[j - 1][-1]]) + 1e-9)
        inside = np.flatnonzero(good & (trace.time >= start) & (trace.time <= stop))
        kept, trimmed[j] = _trim(state, j, inside, trace, level, arc, drag, noise)
        index.append(kept)
    state.index = np.concatenate(index)
    state.hop = np.repeat(np.arange(state.hops), [part.size for part in index])
    _drop_empty_hops(state)
    return trimmed


def _drop_empty_hops(state: _State) -> None:
    """Forget the last hops when they have too few samples to place an apex."""
    count = np.bincount(state.hop, minlength=state.hops)
    keep = state.hops
    while keep > 1 and count[keep - 1] < 3:
        keep -= 1
    if keep < state.hops:
        inside = state.hop < keep
        state.index, state.hop = state.index[inside], state.hop[inside]
        state.values = state.values[: state.lead + 2 * keep]
        state.hops = keep


def _trim(
    state: _State,
    j: int,
    inside: IntArray,
    trace: Trace,
    level: FloatArray,
    arc: ArcMotion,
    drag: float,
    noise: float,
) -> tuple[IntArray, tuple[int, int]]:
    """Trim a hop's outermost samples while they do not follow the motion; a lone odd sample inside is left to the rejection."""
    if inside.size == 0:
        return inside, (0, 0)
    position = _predict(state.values, state.lead, np.full(inside.size, j), trace.time[inside], arc, drag)[0]
    # The first fit rests on the cores: allow for what it does not yet know further out.
    tau = np.abs(trace.time[inside] - state.apex_times[j])
    reach = 0.5 * tau * tau * 0.01 * state.climb
    off = np.abs(level[inside] - position) > 5.0 * noise + trace.step + np.minimum(reach, 0.004)
    first, last = 0, inside.size
    while first < last and _leaves(off[first : first + 3]):
        first += 1
    while last > first and _leaves(off[max(first, last - 3) : last][::-1]):
        last -= 1
    return inside[first:last], (first, inside.size - last)


def _leaves(off: npt.NDArray[np.bool_]) -> bool:
    """Say whether the outermost sample is off, or the two behind it are."""
    return bool(off.size and (off[0] or off[1:3].sum() == 2))


def _scatter(state: _State, trace: Trace, level: FloatArray, arc: ArcMotion, drag: float) -> float:
    position = _predict(state.values, state.lead, state.hop, trace.time[state.index], arc, drag)[0]
    residual = level[state.index] - position
    spare = max(residual.size - state.values.size, 1)
    robust = 1.4826 * float(np.median(np.abs(residual))) * float(np.sqrt(residual.size / spare))
    return max(robust, trace.step / np.sqrt(12.0), 0.5 * trace.noise, 5e-5)


def _contacts(state: _State, outline: Outline, datum: Datum, covariance: FloatArray | None = None) -> Contacts:
    if covariance is not None and not state.descent_seen:
        covariance = np.insert(np.insert(covariance, 1, covariance[0], axis=0), 1, np.insert(covariance[0], 1, covariance[0, 0]), axis=1)
    return find_contacts(
        state.climb, state.descent, state.apex_times, state.apexes, datum.level,
        still_level=outline.still_level, covariance=covariance, u_level=datum.u,
    )  # fmt: skip


def _datum_without_rest(
    state: _State, trace: Trace, outline: Outline, level: FloatArray, arc: ArcMotion, drag: float
) -> Datum:
    """Bracket the rest level from the rebounds and from the push, for want of a standing cart.

    Between two hops the fitted arcs cross where an instant bounce would be; a contact of 0 to 0.2 s puts the level at most
    some centimetres above. The lowest sample that still follows the climb is a second witness.
    """
    noise = _scatter(state, trace, level, arc, drag)
    low, high = -np.inf, float(state.apexes[0]) - 0.01
    if state.hops >= 2:
        low = _crossing_level(state)
        down = np.sqrt(2.0 * state.descent * max(state.apexes[0] - low, 1e-6))
        up = np.sqrt(2.0 * state.climb * max(state.apexes[1] - low, 1e-6))
        high = min(high, low + 0.2 / (1.0 / down + 1.0 / up))
    first = outline.arcs[0].first
    before = np.flatnonzero(trace.good[:first])[::-1]
    if before.size:
        position = _predict(state.values, state.lead, np.zeros(before.size, dtype=np.intp), trace.time[before], arc, drag)[0]
        off = np.flatnonzero(np.abs(level[before] - position) > 6.0 * noise + 0.003)
        stop = int(off[0]) if off.size else before.size
        if stop:
            high = min(high, float(position[stop - 1]))
        if off.size:
            low = max(low, float(position[stop])) if np.isfinite(position[stop]) else low
    if not np.isfinite(low) or low >= high:
        low = min(float(np.min(level[trace.good])), high - 0.01) if not np.isfinite(low) else high - 0.01
    half = 0.5 * (high - low)
    return Datum(0.5 * (high + low), half / np.sqrt(3.0), np.inf, "contacts" if state.hops >= 2 else "push")


def _crossing_level(state: _State) -> float:
    """Return the level at which the first two arcs meet."""
    low, high = float(state.apexes[1]) - 3.0, float(state.apexes[1])
    for _ in range(60):
        middle = 0.5 * (low + high)
        down = state.apex_times[0] + np.sqrt(2.0 * max(state.apexes[0] - middle, 0.0) / state.descent)
        up = state.apex_times[1] - np.sqrt(2.0 * max(state.apexes[1] - middle, 0.0) / state.climb)
        if up > down:
            high = middle
        else:
            low = middle
    return 0.5 * (low + high)


def _reject(
    state: _State, trace: Trace, level: FloatArray, arc: ArcMotion, drag: float, solution: Solution
) -> tuple[Solution, IntArray]:
    """Reject the samples that the noise cannot explain, a few at a time; at most a fifth of all."""
    rejected: list[IntArray] = []
    most = state.index.size // 5
    for _ in range(6):
        residual = solution.residuals
        q = np.linalg.qr(solution.jacobian)[0]
        spread = np.sqrt(np.maximum(1.0 - np.einsum("ij,ij->i", q, q), 0.05))
        size = np.abs(residual) / spread
        spare = max(solution.dof, 1)
        scale = min(1.4826 * float(np.median(size)) * (1.0 + 2.0 / spare), max(solution.sd, 1e-9))
        scale = max(scale, trace.step / np.sqrt(12.0), 0.3 * trace.noise)
        threshold = float(stdtrit(spare, 1.0 - 5e-5)) * scale + 0.5 * trace.step
        wrong = size > threshold
        if not wrong.any() or sum(part.size for part in rejected) + wrong.sum() > most:
            break
        rejected.append(state.index[wrong])
        state.index, state.hop = state.index[~wrong], state.hop[~wrong]
        _drop_empty_hops(state)
        solution = _solve(state, trace.time, level, arc, drag)
    return solution, np.sort(np.concatenate(rejected)) if rejected else np.empty(0, dtype=np.intp)


def _finish(
    trace: Trace,
    outline: Outline,
    state: _State,
    arc: ArcMotion,
    drag: float,
    datum: Datum,
    solution: Solution,
    rejected: IntArray,
    trimmed: npt.NDArray[np.intp],
    level: FloatArray,
    release: float | None,
    u_drag: float,
) -> Motion:
    time = trace.time[state.index]
    residual, jacobian = solution.residuals, solution.jacobian
    segments = _segments(state, trace)
    free = np.array([name not in state.fixed for name in state.names])
    noise = noise_model(residual, jacobian[:, free], segments=segments, least_rho=0.0)
    sd = max(noise.sd, trace.step / np.sqrt(12.0), 2e-5)
    covariance = np.zeros((free.size, free.size))
    covariance[np.ix_(free, free)] = noise.covariance * (sd / noise.sd) ** 2 if noise.sd > 0.0 else 0.0
    if not noise.sd > 0.0:
        covariance = solution.unscaled * sd * sd
    dof = noise.effective
    by_drag_samples = _predict(state.values, state.lead, state.hop, time, arc, drag)[3]
    by_drag = -solution.unscaled @ (jacobian.T @ by_drag_samples)
    contacts = _contacts(state, outline, datum, covariance)
    if release is not None:  # a person says when; the level follows from the climb
        at = _predict(state.values, state.lead, np.zeros(1, dtype=np.intp), np.array([release]), arc, drag)[0]
        contacts = contacts.released_at(float(at[0]) - datum.level)
    release_level = datum.level + contacts.offset
    misfit = find_misfit(
        jacobian, residual, segments, by_drag=by_drag_samples, u_drag=u_drag, tau=time - state.apex_times[state.hop], time=time, position=level[state.index] - residual,
        apex_positions=state.apexes[state.hop], apex_times=state.apex_times[state.hop],
        accelerations=np.where(time < state.apex_times[state.hop], state.climb, state.descent),
        release_level=release_level, first_apex=float(state.apexes[0]), up=outline.up,
    )  # fmt: skip
    used = np.zeros(trace.time.size, dtype=bool)
    used[state.index] = True
    rise = np.maximum(state.apexes - release_level, 0.0)
    windows = np.stack(
        [state.apex_times - np.sqrt(2.0 * rise / state.climb), state.apex_times + np.sqrt(2.0 * rise / state.descent)], axis=1
    )
    fitted, deviation = _along(trace, state, arc, drag, windows, level)
    reasons = name_outliers(trace, rejected, outline.up * (level[rejected] - fitted[rejected]))
    return Motion(
        state.names, state.values, covariance + misfit.covariance, dof, by_drag, drag, outline.up, state.hops,
        state.descent_seen, used, rejected, reasons, fitted, deviation, windows, sd, noise.rho, datum, contacts, misfit,
        trimmed[: state.hops], covariance,
    )  # fmt: skip


def _segments(state: _State, trace: Trace) -> IntArray:
    """Number the stretches of used samples without a break, shape (m,): correlation does not reach across one."""
    steps = np.diff(trace.time[state.index]) > 1.5 * trace.interval
    return np.concatenate(([0], np.cumsum(steps | (np.diff(state.hop) != 0)))).astype(np.intp)


def _along(
    trace: Trace, state: _State, arc: ArcMotion, drag: float, windows: FloatArray, level: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return fitted position and residual on all samples inside the hops' windows, NaN elsewhere."""
    fitted = np.full(trace.time.size, np.nan)
    for j, (start, stop) in enumerate(windows):
        inside = np.flatnonzero((trace.time >= start) & (trace.time <= stop))
        if inside.size:
            fitted[inside] = _predict(state.values, state.lead, np.full(inside.size, j), trace.time[inside], arc, drag)[0]
    return fitted, level - fitted
