"""Fit: one motion for all hops of a launch, on the raw unflagged samples.

The accelerations of climb and descent are shared by all hops; each hop has its own apex. Which samples are free is decided by
where the fitted cart is (see free). The residuals' own scatter gives the Type A uncertainty: its size, how it grows with the
cart's speed, and how long it remembers.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from joulebook.engine.clean import Trace, name_outliers
from joulebook.engine.contacts import Contacts, find_contacts
from joulebook.engine.datum import Datum
from joulebook.engine.experiment import ArcMotion
from joulebook.engine.free import drop_strange_hops, drop_wild, holds_all, reject, take_free
from joulebook.engine.hops import Hops
from joulebook.engine.misfit import Misfit, find_misfit
from joulebook.engine.phases import Outline
from joulebook.engine.residuals import NoiseModel, noise_model
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
    trimmed: per hop, samples dropped at the start and the end of its free window because they do not follow it, shape (hops, 2).
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

    @property
    def climb(self) -> float:
        """a_u as read, m/s²."""
        return float(self.values[0])

    @property
    def descent(self) -> float:
        """a_d as read, m/s²; the climb's where the descent was not seen."""
        return float(self.values[1]) if self.descent_seen else float(self.values[0])

    def with_stop(self, stop: Contacts) -> Motion:
        """Return the same motion, released where another launch of the bench shows the stop to let go."""
        contacts = self.contacts.released_at(stop.offset, stop.half_width)
        rise = np.maximum(self.apexes - self.datum.level - stop.offset, 0.0)
        windows = np.stack(
            [self.apex_times - np.sqrt(2.0 * rise / self.climb), self.apex_times + np.sqrt(2.0 * rise / self.descent)], axis=1
        )
        return replace(self, contacts=contacts, windows=windows)

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

    arc: the experiment's closed form. drag: k in 1/m, in the ranger's metres, with standard uncertainty u_drag.
    datum: the rest level, or None.
    release, apex: s, a person's own choice. barred: samples that a person has taken out of free motion, shape (n,).
    Raises FitError, which names the parameter, when the samples do not determine the motion.
    """
    good = trace.good if barred is None else trace.good & ~barred
    if release is not None:
        good = good & (trace.time >= release)
    hops = Hops.start(trace, outline, good, arc, drag, apex)
    hops.solve()
    drop_wild(hops)
    drop_strange_hops(hops, datum)
    given, seen = datum, hops.index.size
    datum = datum or _datum_without_rest(hops, outline)
    for _ in range(3):
        floor = datum.level + _contacts(hops, outline, datum).clear + 2.0 * datum.u
        trimmed = take_free(hops, floor)
        if given is not None and hops.index.size <= hops.values.size:
            raise _rest_above_flight(hops, outline, given, seen)
        hops.solve()
        if holds_all(hops, floor, trimmed):
            break
    rejected = reject(hops)
    if _weigh_by_speed(hops):
        rejected = np.union1d(rejected, reject(hops))
    rejected = _inside(hops, rejected)
    noise, covariance = _noise(hops)
    contacts = _contacts(hops, outline, datum, covariance)
    if release is not None:  # a person says when; the level follows from the climb
        contacts = contacts.released_at(float(hops.predict(np.zeros(1, dtype=np.intp), np.array([release]))[0][0]) - datum.level)
    elif trimmed[0, 0] > 0:
        contacts = _released_above(hops, datum, contacts)
    release_level = datum.level + contacts.offset
    if hops.apexes[0] <= release_level + 0.003:
        raise FitError(
            f"the apex at {hops.apexes[0]:.3f} m lies no higher than the release at {release_level:.3f} m (up-slope readings).",
            remedy="Look whether the rest record belongs to this launch.",
            code="rest-mismatch",
        )
    misfit = _misfit(hops, noise, u_drag, release_level, outline.up)
    windows = hops.windows(release_level)
    fitted = _along(hops, windows)
    used = np.zeros(trace.time.size, dtype=bool)
    used[hops.index] = True
    return Motion(
        names=hops.names, values=hops.values, covariance=covariance + misfit.covariance, dof=noise.effective,
        by_drag=_by_drag(hops), drag=drag, up=outline.up, hops=hops.count, descent_seen=hops.descent_seen,
        used=used, rejected=rejected, reasons=name_outliers(trace, rejected, outline.up * (hops.level - fitted)[rejected]),
        fitted=fitted, residual=hops.level - fitted, windows=windows, noise=noise.sd, correlation=noise.rho, datum=datum,
        contacts=contacts, misfit=misfit, trimmed=trimmed[: hops.count],
    )  # fmt: skip


def _rest_above_flight(hops: Hops, outline: Outline, datum: Datum, seen: int) -> FitError:
    """Return the error for a rest level so high that next to nothing of the flight lies above it, told in readings."""
    rest, turn = outline.up * datum.level, outline.up * float(hops.apexes[0])
    return FitError(
        f"the rest record has the cart at {rest:.3f} m from the ranger, and in the launch it turns at {turn:.3f} m: "
        f"{hops.index.size or 'none'} of the {seen} readings of its flight lie above the rest level.",
        remedy="Take the rest record again with ranger and stop where they are for the launches, or leave it out.",
        code="rest-mismatch",
    )


def _inside(hops: Hops, rejected: IntArray) -> IntArray:
    """Return the rejected samples without stretches at the ends of a hop: there it was a hand or the stop, not the ranger."""
    if rejected.size == 0:
        return rejected
    kept = [rejected[:0]]
    for j in range(hops.count):
        used = hops.index[hops.hop == j]
        if used.size:
            kept.append(rejected[(rejected > used[0]) & (rejected < used[-1])])
    inside = np.concatenate(kept)
    outside = np.setdiff1d(rejected, inside)
    lone = [part for part in np.split(outside, np.flatnonzero(np.diff(outside) > 2) + 1) if part.size < 3]
    return np.sort(np.concatenate([inside, *lone]))


def _weigh_by_speed(hops: Hops) -> bool:
    """Give fast samples less weight when the residuals show that they are noisier; say whether they do.

    A moving or tilting target is read worse than a still one, and an uneven clock adds to it in proportion to the speed
    (BENCH_FACTS), so the variance of a sample is taken as α + βv². Only a β that stands out of the noise is believed.
    """
    solution = hops.solution
    assert solution is not None
    if solution.dof < 12 or not solution.sd > 0.0:
        return False
    square = (solution.residuals / solution.sd) ** 2 / np.maximum(1.0 - solution.leverages(), 0.1)
    x = hops.here()[2] ** 2
    centred = x - x.mean()
    spread = float(centred @ centred)
    beta = float(centred @ square) / spread
    if beta < 2.5 * np.sqrt(2.0 / spread):  # the variance of a squared normal residual is 2
        return False
    alpha = max(float(square.mean()) - beta * float(x.mean()), 0.1)
    variance = alpha + beta * x
    hops.weights = float(variance.mean()) / variance
    hops.solve()
    return True


def _noise(hops: Hops) -> tuple[NoiseModel, FloatArray]:
    """Return the noise of one sample and the covariance of the values, never smaller than the readings' step allows."""
    solution = hops.solution
    assert solution is not None
    root = np.ones(hops.index.size) if hops.weights is None else np.sqrt(hops.weights)
    free = np.array([name not in hops.fixed for name in hops.names])
    noise = noise_model(
        solution.residuals * root, solution.jacobian[:, free] * root[:, None], segments=hops.segments(), least_rho=0.0
    )
    floor = max(hops.trace.step / np.sqrt(12.0), 2e-5)
    sd = max(noise.sd, floor)
    part = noise.covariance * (sd / noise.sd) ** 2 if noise.sd > 0.0 else solution.unscaled[np.ix_(free, free)] * sd * sd
    covariance = np.zeros((free.size, free.size))
    covariance[np.ix_(free, free)] = part
    return noise._replace(sd=sd), covariance


def _by_drag(hops: Hops) -> FloatArray:
    """Return how the values would change with the drag constant, shape (p,): the fit follows its residuals."""
    solution = hops.solution
    assert solution is not None
    weights = np.ones(hops.index.size) if hops.weights is None else hops.weights
    change = hops.here()[3]
    return np.asarray(-solution.unscaled @ (solution.jacobian.T @ (weights * change)))


def _misfit(hops: Hops, noise: NoiseModel, u_drag: float, release_level: float, up: int) -> Misfit:
    solution = hops.solution
    assert solution is not None
    root = np.ones(hops.index.size) if hops.weights is None else np.sqrt(hops.weights)
    time, apex_times = hops.time, hops.apex_times[hops.hop]
    return find_misfit(
        solution.jacobian, solution.residuals, hops.segments(), root=root, by_drag=hops.here()[3], u_drag=u_drag,
        tau=time - apex_times, position=hops.level[hops.index] - solution.residuals, apex_positions=hops.apexes[hops.hop],
        apex_times=apex_times, accelerations=np.where(time < apex_times, hops.climb, hops.descent),
        release_level=release_level, first_apex=float(hops.apexes[0]), up=up,
    )  # fmt: skip


def _contacts(hops: Hops, outline: Outline, datum: Datum, covariance: FloatArray | None = None) -> Contacts:
    if covariance is not None and not hops.descent_seen:
        doubled = np.insert(covariance, 1, covariance[0], axis=0)
        covariance = np.insert(doubled, 1, np.insert(covariance[0], 1, covariance[0, 0]), axis=1)
    return find_contacts(
        hops.climb, hops.descent, hops.apex_times, hops.apexes, datum.level,
        still_level=outline.still_level, covariance=covariance, u_level=datum.u, u_still=hops.trace.step / np.sqrt(12.0),
        bounce=_bounce(hops, datum.level) if hops.count == 1 else np.nan,
    )  # fmt: skip


def _bounce(hops: Hops, level: float) -> float:
    """Return the most that the restitution can be, from samples that show the cart coming back up once and down again after its only
    fitted hop; NaN where they do not, as when it was caught or the record ends.
    """
    trace = hops.trace
    rise = float(hops.apexes[0]) - level
    if rise <= 0.0:
        return np.nan
    down = float(hops.apex_times[0]) + float(np.sqrt(2.0 * rise / hops.descent))
    whole = 2.0 * float(np.sqrt(2.0 * hops.descent * rise)) / hops.climb  # the flight after a rebound without loss
    inside = np.flatnonzero(trace.good & (trace.time > down) & (trace.time < down + whole))
    if inside.size < 3:
        return np.nan
    above = hops.level[inside] - level
    top = int(np.argmax(above))
    back = above[top + 1 :]
    if above[top] < max(0.004, 6.0 * trace.noise) or back.size == 0 or back.min() > 0.5 * above[top]:
        return np.nan
    # The highest point may lie between two samples.
    gap = float(np.max(np.diff(trace.time[inside[max(top - 1, 0) : top + 2]])))
    highest = float(above[top]) + 0.5 * hops.climb * (0.5 * gap) ** 2 + 3.0 * trace.noise
    return float(np.sqrt(hops.climb * highest / (hops.descent * rise)))


def _released_above(hops: Hops, datum: Datum, contacts: Contacts) -> Contacts:
    """Put the release between the last sample that is still pushed and the first that is free, when that is above the stop."""
    trace = hops.trace
    first = int(hops.index[0])
    before = np.flatnonzero(trace.good[:first])
    if before.size == 0:
        return contacts
    pushed = float(hops.level[before[-1]])
    free = float(hops.predict(np.zeros(1, dtype=np.intp), trace.time[first : first + 1])[0][0])
    low, high = min(pushed, free) - datum.level, max(pushed, free) - datum.level
    if high <= contacts.offset + contacts.half_width:
        return contacts
    return contacts.released_at(0.5 * (low + high), max(0.5 * (high - low), contacts.half_width))


def _datum_without_rest(hops: Hops, outline: Outline) -> Datum:
    """Bracket the rest level from the rebounds and from the push, for want of a standing cart.

    Between two hops the fitted arcs cross where an instant bounce would be; a contact of 0 to 0.2 s puts the level at most
    some centimetres above. The lowest sample that still follows the climb is a second witness.
    """
    trace, noise = hops.trace, hops.scatter()
    low, high = -np.inf, float(hops.apexes[0]) - 0.01
    if hops.count >= 2:
        low = _crossing_level(hops)
        down = np.sqrt(2.0 * hops.descent * max(hops.apexes[0] - low, 1e-6))
        up = np.sqrt(2.0 * hops.climb * max(hops.apexes[1] - low, 1e-6))
        high = min(high, low + 0.2 / (1.0 / down + 1.0 / up))
    before = np.flatnonzero(trace.good[: outline.arcs[0].first])[::-1]
    if before.size:
        position = hops.predict(np.zeros(before.size, dtype=np.intp), trace.time[before])[0]
        off = np.flatnonzero(~(np.abs(hops.level[before] - position) <= 6.0 * noise + 0.003))
        follows = int(off[0]) if off.size else before.size
        if follows:  # a push leaves the climb so gently that the last few hundredths of a second of it still seem to follow
            at = float(position[follows - 1])
            high = min(high, at + 0.06 * float(np.sqrt(2.0 * hops.climb * max(hops.apexes[0] - at, 0.0))))
        if off.size and np.isfinite(position[follows]):
            low = max(low, float(position[follows]))
    if not np.isfinite(low):
        low = min(float(np.min(hops.level[trace.good])), high - 0.01)
    low = min(low, high - 0.01)
    half = 0.5 * (high - low)
    return Datum(float(0.5 * (high + low)), float(half / np.sqrt(3.0)), np.inf, "contacts" if hops.count >= 2 else "push")


def _crossing_level(hops: Hops) -> float:
    """Return the level at which the first two arcs meet."""
    low, high = float(hops.apexes[1]) - 3.0, float(hops.apexes[1])
    for _ in range(50):
        middle = 0.5 * (low + high)
        windows = hops.windows(middle)
        if windows[1, 0] > windows[0, 1]:
            high = middle
        else:
            low = middle
    return 0.5 * (low + high)


def _along(hops: Hops, windows: FloatArray) -> FloatArray:
    """Return the fitted position on all samples inside the hops' windows, NaN elsewhere, shape (n,)."""
    time = hops.trace.time
    fitted = np.full(time.size, np.nan)
    inside = [np.flatnonzero((time >= start) & (time <= stop)) for start, stop in windows.tolist()]
    index = np.concatenate(inside)
    # Where two hops share a sample the later one counts: it is written last.
    fitted[index] = hops.predict(np.repeat(np.arange(len(inside)), [part.size for part in inside]), time[index])[0]
    return fitted
