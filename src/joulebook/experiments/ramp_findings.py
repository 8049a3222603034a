"""What a person should know about a ramp launch's records: the findings about one launch."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from joulebook.engine.bench import Bench
from joulebook.engine.clean import Trace
from joulebook.engine.datum import RestLevel
from joulebook.engine.fit import Motion
from joulebook.engine.phases import foot_of_climb
from joulebook.engine.report import Finding, Severity
from joulebook.engine.run import Run
from joulebook.experiments.ramp_codes import CODES

__all__ = ["finding", "inspect_run"]

REMEDIES = {code.code: code.remedy for code in CODES}

LONGEST_TRACK = 3.0
"""m: no cart of this lab travels farther (common practice, no source: tracks are 1.2 to 2.4 m)."""

SHORTEST_PUSH = 0.20
"""s: a plunger pushes for less (BENCH_FACTS: about 0.08 s; hands take 0.15 to 0.5 s)."""

MOVED = 0.006
"""m by which rest record and launch record may differ: friction lets a cart stand a little off its balance point."""


def finding(code: str, severity: Severity, message: str, run: Run | None = None, **evidence: object) -> Finding:
    """Return a finding of the ramp launch with its documented remedy; evidence in SI units."""
    if run is not None:
        evidence = {"record": run.file, **evidence}
    return Finding(code, severity, message, REMEDIES[code], evidence)


def inspect_run(bench: Bench, run: Run, rest: RestLevel | None) -> list[Finding]:
    """Return the findings about one launch record, the reasons to stop first.

    rest: the standing cart of the rest record, None when there is none.
    """
    if run.trace.record.velocity_only:
        return [finding("velocity-only", "stop", f"{run.file} has a velocity column but no positions, so nothing can be fitted.", run)]
    found = [*_units(bench, run)]
    if any(each.severity == "stop" for each in found):
        return found
    found += _clock(run)
    motion = run.motion
    if motion is None:
        return found + _nothing_to_fit(bench, run, any(each.severity == "stop" for each in found))
    found += [
        *_cut_short(run, motion),
        *_range(bench, run, motion),
        *_too_slow(run, motion),
        *_echoes(run, motion),
        *_rest(run, motion, rest),
        *_wrong_side(bench, run),
        *_launching(run, motion),
        *_caught(run, motion),
        *_second_launch(run, motion),
        *_soft_stop(run, motion),
        *_misfit(run, motion),
    ]
    return found


def _units(bench: Bench, run: Run) -> list[Finding]:
    """Distances that no track has, and times that no cart takes."""
    distance = run.trace.record.distance
    values = distance[np.isfinite(distance)]
    if values.size < 5:
        return []
    # A fixed object that is seen through half of the record says nothing about the unit: look at the readings beside it.
    beside = values[np.abs(values - np.median(values)) > 0.005]
    moving = beside if beside.size > 0.1 * values.size else values
    low, middle, high = np.quantile(moving, [0.1, 0.5, 0.9]).tolist()
    length = bench.number("track.length") or LONGEST_TRACK / 1.25
    least = bench.number("sensor.min_range") or 0.0
    if middle > 1.6 * length + 0.5 or high - low > 2.5 * length:
        message = (
            f"{run.file}: the readings lie about {middle:.3g} m and run from {low:.3g} m to {high:.3g} m, on a track of about {length:.2g} m."
        )
        return [finding("units-suspect", "stop", message, run, low_m=low, high_m=high)]
    if middle < max(0.9 * least, 0.05) and np.mean(values < 0.9 * least) > 0.6:
        message = f"{run.file}: most readings are below {middle:.3g} m, nearer than a ranger can measure ({least:.2g} m)."
        return [finding("units-suspect", "stop", message, run, low_m=low, high_m=high)]
    if run.trace.record.unit_doubt:
        message = f"{run.file}: the unit of distance was inferred against its heading, or without one: {run.trace.record.unit_doubt}"
        return [finding("units-suspect", "look", message, run, low_m=low, high_m=high)]
    return []


def _clock(run: Run) -> list[Finding]:
    trace = run.trace
    bad = int(np.isin(trace.flags, ("clock", "duplicate")).sum())
    n = trace.time.size
    found: list[Finding] = []
    if trace.record.time_doubt:
        found.append(finding("clock", "look", f"{run.file}: {trace.record.time_doubt}", run))
    if bad:
        where = float(np.arange(n)[np.isin(trace.flags, ("clock", "duplicate"))][0])
        message = (
            f"{run.file}: {bad} of {n} time stamps repeat or run back, the first at sample {int(where)}. They are left out; if the clock is "
            "wrong elsewhere too, all speeds are."
        )
        found.append(finding("clock", "stop" if bad > 0.1 * n else "look", message, run, samples=bad, first=int(where)))
    if trace.rate > 400.0:
        message = f"{run.file}: {trace.rate:.0f} samples per second is faster than sound lets a ranger be; the times may be in another unit."
        found.append(finding("clock", "stop", message, run, rate_Hz=trace.rate))
    jump = _clock_jump(run)
    if jump is not None:
        at, gap = jump
        message = (
            f"{run.file}: the clock leaps by {gap:.2f} s after {at:.2f} s, where {trace.interval:.3f} s is usual, and the cart does not. "
            "Speeds and accelerations across the leap are wrong."
        )
        found.append(finding("clock", "look", message, run, at_s=at, gap_s=gap))
    return found


def _clock_jump(run: Run) -> tuple[float, float] | None:
    """Return time and size of a leap of the clock that is no whole number of samples, or that the cart did not share."""
    trace = run.trace
    index = np.flatnonzero(trace.flags != "clock")
    time = trace.time[index]
    steps = np.diff(time)
    for place in np.flatnonzero(steps > 2.5 * trace.interval):
        gap, at = float(steps[place]), float(time[place])
        if index[place + 1] != index[place] + 1:
            continue  # rows were flagged in between: a gap of the echo, not of the clock
        count = gap / trace.interval
        moved = abs(float(trace.distance[index[place + 1]] - trace.distance[index[place]]))
        lo = max(place - 3, 0)
        before = abs(float(trace.distance[index[place]] - trace.distance[index[lo]])) / max(float(time[place] - time[lo]), 1e-9)
        skipped = before > 0.15 and moved < 0.4 * before * gap and moved < 2.5 * before * trace.interval + 0.01
        if abs(count - round(count)) > 0.08 or skipped:
            return at, gap
    return None


def _nothing_to_fit(bench: Bench, run: Run, stopped: bool) -> list[Finding]:
    """Say why there is no motion: the reason that can be seen in the record, else that there was no launch."""
    trace = run.trace
    good = trace.good
    n = max(trace.time.size, 1)
    if stopped:
        return []
    count = {flag: int((trace.flags == flag).sum()) for flag in ("missing", "floor", "stuck")}
    level = run.outline.up * trace.distance[good]
    swing = float(np.ptp(level)) if level.size else 0.0
    nearest = bench.number("sensor.min_range") or 0.0
    blind = _blind_leaps(trace, nearest)
    if count["floor"] >= 3 or blind:
        count["floor"] += blind
        message = f"{run.file}: {count['floor']} readings are at or below the ranger's least range of {nearest:.2f} m, and the turn is not on record."
        return [finding("too-close", "stop", message, run, samples=count["floor"])]
    most = bench.number("sensor.max_range")
    beyond = _lost_beyond(trace, most)
    if beyond:
        message = f"{run.file}: from about {beyond:.2f} m on the ranger does not see the cart, and what is left is no launch."
        return [finding("too-far", "stop", message, run, farthest_m=beyond)]
    if count["missing"] > 0.3 * n:
        message = f"{run.file}: {count['missing']} of {n} readings are blank, too many to follow the cart."
        return [finding("lost-echo", "stop", message, run, missing=count["missing"])]
    if count["stuck"] >= 3:
        value = float(np.median(trace.distance[trace.flags == "stuck"]))
        message = f"{run.file}: {count['stuck']} readings stand at {value:.3f} m while the cart was elsewhere, and what is left is no launch."
        return [finding("stuck-echo", "stop", message, run, samples=count["stuck"], at_m=value)]
    if swing > 0.1 and trace.rate < 8.0:
        message = f"{run.file}: at {trace.rate:.1f} samples per second the flight holds too few samples to be fitted."
        return [finding("too-slow", "stop", message, run, rate_Hz=trace.rate)]
    if swing > 0.06:
        return [_broken(run)]
    message = f"{run.file}: the readings change by {100.0 * swing:.1f} cm in all, and nothing in them is a climb and a turn on a slope."
    return [finding("no-launch", "stop", message, run, swing_m=swing)]


def _broken(run: Run) -> Finding:
    """Tell a climb that was caught from one that the record cuts off, and both from no launch at all."""
    trace = run.trace
    index = np.flatnonzero(trace.good)
    time, distance = trace.time[index], trace.distance[index]
    for up in (run.outline.up, -run.outline.up):
        level = up * distance
        speed = np.diff(level) / np.diff(time)
        high = int(np.argmax(level))
        low = int(np.argmin(level[: high + 1]))
        rise = float(level[high] - level[low])
        evidence = {"rise_m": rise}
        opening = speed[: max(2, round(0.1 / trace.interval))]
        if high > 0 and opening.min() > 0.2 and speed[: max(high, 1)].min() > -0.1:
            message = f"{run.file} starts at {time[0]:.2f} s, while the cart is already climbing at {opening[0]:.2f} m/s: the release is not on record."
            return finding("cut-short", "stop", message, run, **evidence)
        if rise < 0.06 or high - low < 2:
            continue
        foot = np.flatnonzero(level[: high + 1] <= level[low] + 5.0 * trace.noise + trace.step)
        low = max(low, int(foot[foot < high][-1])) if (foot < high).any() else low
        climb = speed[low:high]
        fastest = int(np.argmax(climb))
        # A plunger gives all its speed at once; a hand that moves a cart takes its time.
        fired = climb[fastest] > 0.25 and time[low + fastest] - time[low] < max(0.2, 2.5 * trace.interval) and low >= 3
        if high >= level.size - 3 and climb[fastest] > 0.25:
            message = f"{run.file} ends at {time[-1]:.2f} s, while the cart is still climbing, so its apex is not on record."
            return finding("cut-short", "stop", message, run, **evidence)
        if fired:
            message = f"{run.file}: the cart sets off and stops at {time[high]:.2f} s without turning on its own, as if it was caught."
            return finding("caught", "stop", message, run, **evidence)
    message = f"{run.file}: nothing in the record is a climb, a turn and a descent on a slope."
    if run.failure is not None:
        message += f" What came nearest could not be fitted: {run.failure.message}"
    return finding("no-launch", "stop", message, run)


def _cut_short(run: Run, motion: Motion) -> list[Finding]:
    trace = run.trace
    finite = trace.time[np.isfinite(trace.distance) & np.isfinite(trace.time)]
    begin, end, dt = float(finite[0]), float(finite[-1]), trace.interval
    release, back, apex = *motion.windows[0].tolist(), float(motion.apex_times[0])
    if end < apex:
        message = f"{run.file} ends at {end:.2f} s, before the cart turns at about {apex:.2f} s: the apex is an extrapolation."
        return [finding("cut-short", "stop", message, run, end_s=end, apex_s=apex)]
    if begin > release + 0.5 * dt and run.outline.departure is None:
        part = (begin - release) / (apex - release)
        message = (
            f"{run.file} starts at {begin:.2f} s, when {100.0 * part:.0f} % of the climb is over. The release, at about {release:.2f} s, is "
            "extrapolated down to the stop."
        )
        return [finding("cut-short", "stop" if part > 0.75 else "look", message, run, start_s=begin, release_s=release)]
    if end < back - 1.5 * dt and end < apex + 0.6 * (back - apex):
        message = f"{run.file} ends at {end:.2f} s, before the cart is back at the stop at about {back:.2f} s: rolling resistance is less well known."
        return [finding("cut-short", "look", message, run, end_s=end, back_s=back)]
    return []


def _range(bench: Bench, run: Run, motion: Motion) -> list[Finding]:
    """The blind zone and the far end."""
    trace = run.trace
    found: list[Finding] = []
    least, most = bench.number("sensor.min_range") or 0.0, bench.number("sensor.max_range")
    apex, stop = motion.up * float(motion.apexes[0]), motion.up * motion.datum.level
    near, far = min(apex, stop), max(apex, stop)
    flight = _flight(trace, motion)
    with np.errstate(invalid="ignore"):
        floor = int(((trace.flags == "floor") & (trace.time <= motion.windows[-1, 1])).sum())
    floor += _blind_leaps(trace, least)
    where = "at its apex" if apex < stop else "at the stop"
    if near < least or floor >= 2 or _plateau(run, motion, near):
        message = (
            f"{run.file}: the cart comes to {near:.3f} m from the ranger {where}, and readings below {least:.2f} m are not its own. "
            f"{floor} readings are lost there."
        )
        found.append(finding("too-close", "stop" if apex < stop or not flight.any() else "look", message, run, nearest_m=near, min_range_m=least))
    lost_far = _lost_beyond(trace, most)
    if (most is not None and far > most) or lost_far:
        limit = most if most is not None else lost_far
        message = f"{run.file}: the cart goes out to {max(far, lost_far):.2f} m, and from {limit:.2f} m on the ranger does not see it reliably."
        found.append(finding("too-far", "stop" if apex > stop else "look", message, run, farthest_m=max(far, lost_far)))
    length = bench.number("track.length")
    if length is not None and abs(apex - stop) > 1.1 * length:
        message = f"{run.file}: the cart travels {abs(apex - stop):.2f} m on a track of {length:.2f} m."
        found.append(finding("units-suspect", "look", message, run, travel_m=abs(apex - stop), length_m=length))
    return found


def _flight(trace: Trace, motion: Motion) -> npt.NDArray[np.bool_]:
    """Return the samples from the release to the end of the first hop, shape (n,)."""
    with np.errstate(invalid="ignore"):
        return np.asarray((trace.time >= motion.windows[0, 0]) & (trace.time <= motion.windows[0, 1]))


def _blind_leaps(trace: Trace, least: float) -> int:
    """Count the readings of something behind the cart, seen from where it was last read just outside the blind zone."""
    away = np.isin(trace.flags, ("far-echo", "stuck", "outlier"))
    edges = np.flatnonzero(np.diff(np.concatenate(([False], away, [False])).astype(np.int8)))
    count = 0
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        sides = [i for i in (start - 1, stop) if 0 <= i < trace.time.size and np.isfinite(trace.distance[i])]
        near = min((float(trace.distance[i]) for i in sides), default=np.inf)
        if stop - start >= 2 and near < least + max(0.03, 1.5 * trace.interval) and float(np.median(trace.distance[start:stop])) > near + 0.1:
            count += int(stop - start)
    if count < 3 and trace.good.any() and np.ptp(trace.distance[trace.good]) < 0.02:
        # The cart is hidden so long that the object behind it is taken for the target: what stands out is then the cart.
        out = away & (trace.distance < least + 0.35)
        if out.sum() >= 3 and float(np.min(trace.distance[out])) < least + max(0.04, 1.5 * trace.interval):
            return int(out.sum())
    return count if count >= 3 else 0


def _plateau(run: Run, motion: Motion, near: float) -> bool:
    """Say whether samples were rejected because the reading stood at its lowest while the cart came nearer."""
    stuck = motion.rejected[motion.reasons == "stuck"]
    if stuck.size < 3:
        return False
    trace = run.trace
    lowest = float(np.min(trace.distance[trace.good]))
    return bool(np.median(trace.distance[stuck]) <= lowest + 0.01 and near < lowest)


def _lost_beyond(trace: Trace, most: float | None) -> float:
    """Return the distance at which the readings are lost again and again, when that is the farthest of all; 0 for none.

    most: m, the stated range, None when it is not stated.
    """
    lost = np.isin(trace.flags, ("missing", "far-echo"))
    good = trace.good
    if lost.sum() < 3 or good.sum() < 5:
        return 0.0
    farthest = float(np.max(trace.distance[good]))
    edges = np.flatnonzero(np.diff(np.concatenate(([False], lost, [False])).astype(np.int8)))
    at_the_end = elsewhere = 0
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        sides = [float(trace.distance[i]) for i in (start - 1, stop) if 0 <= i < lost.size and good[i]]
        if stop - start < 3 or not sides:
            continue
        # Between two samples the cart may have moved on by some centimetres before it was lost.
        close = 0.02 + 1.2 * trace.interval
        if max(sides) > farthest - close or (most is not None and max(sides) > most - close):
            at_the_end += int(stop - start)
        else:
            elsewhere += int(stop - start)
    short_of_it = good & (trace.distance > farthest - 0.1)
    dense = short_of_it.sum() >= 2
    return farthest if at_the_end >= 3 and at_the_end > 3 * elsewhere and dense and (most is not None or at_the_end >= 6) else 0.0


def _too_slow(run: Run, motion: Motion) -> list[Finding]:
    trace = run.trace
    used = trace.time[motion.used]
    climb = int(((used >= motion.windows[0, 0]) & (used <= motion.apex_times[0])).sum())
    flight = int(((used >= motion.windows[0, 0]) & (used <= motion.windows[0, 1])).sum())
    expected = (motion.windows[0, 1] - motion.windows[0, 0]) * trace.rate
    if expected >= 6.0 or (climb >= 3 and flight >= 6):
        return []
    message = (
        f"{run.file}: at {trace.rate:.1f} samples per second the climb holds {climb} samples and the whole flight {flight}; "
        "whether the motion is what it should be cannot be seen."
    )
    return [finding("too-slow", "stop" if flight < 4 else "look", message, run, rate_Hz=trace.rate, climb=climb, flight=flight)]


def _echoes(run: Run, motion: Motion) -> list[Finding]:
    """Lost, false and stuck readings."""
    trace = run.trace
    flags = trace.flags.copy()
    flags[motion.rejected] = motion.reasons
    with np.errstate(invalid="ignore"):
        active = (trace.time >= motion.windows[0, 0]) & (trace.time <= motion.windows[-1, 1])
    flight = _flight(trace, motion)
    found: list[Finding] = []
    lost = int((flags[flight] == "missing").sum()) + _absent_rows(trace, motion)
    held = int(flight.sum()) + _absent_rows(trace, motion)
    every = int((flags == "missing").sum())
    longest = _longest_run(flags == "missing", flight) * trace.interval
    if lost and (lost > 0.15 * held or longest > 0.15 or every > 0.1 * flags.size):
        message = (
            f"{run.file}: {lost} of {held} readings of the first flight are missing, the longest hole {max(longest, 0.0):.2f} s; "
            f"{every} of {flags.size} in the whole record."
        )
        found.append(finding("lost-echo", "look", message, run, missing=lost, longest_s=longest))
    elif every > 0.1 * flags.size:
        message = f"{run.file}: {every} of {flags.size} readings of the record are missing, though few during the flight."
        found.append(finding("lost-echo", "look", message, run, missing=every))
    ghosts = active & np.isin(flags, ("far-echo", "slip", "outlier"))
    # Readings a few millimetres off are told of only when there are several: one in a hundred records holds one by chance.
    mild = np.zeros(flags.size, dtype=bool)
    mild[motion.rejected] = np.abs(motion.residual[motion.rejected]) < max(0.006, 10.0 * motion.noise)
    false = ghosts | (flags == "far-echo")  # what a hand does before or after is no ghost, but a far echo is
    anywhere = int(false.sum())
    if anywhere:
        plain = int((false & ~mild).sum())
        many = plain >= 2 or anywhere >= max(3, 0.03 * motion.used.sum())
        first = float(trace.time[np.flatnonzero(false)[0]])
        message = f"{run.file}: {anywhere} readings are not the cart, the first at {first:.2f} s; they are left out of the fit."
        found.append(finding("ghost-echo", "look" if many else "note", message, run, samples=anywhere, first_s=first))
    stuck = active & (flags == "stuck")
    if (flags == "stuck").sum() >= 3:
        places = np.flatnonzero(flags == "stuck")
        value = float(np.median(trace.distance[places]))
        message = (
            f"{run.file}: from {trace.time[places[0]]:.2f} s on, {places.size} readings stand at {value:.3f} m while the cart was elsewhere; "
            "they are left out of the fit."
        )
        worst = stuck[flight].sum() > 0.5 * max(int(flight.sum()), 1)
        found.append(finding("stuck-echo", "stop" if worst else "look", message, run, samples=int(places.size), at_m=value))
    return found


def _absent_rows(trace: Trace, motion: Motion) -> int:
    """Count samples of the first flight whose rows are not in the file at all."""
    with np.errstate(invalid="ignore"):
        time = trace.time[(trace.time >= motion.windows[0, 0] - trace.interval) & (trace.time <= motion.windows[0, 1] + trace.interval)]
    steps = np.diff(np.sort(time)) / max(trace.interval, 1e-9)
    return int(np.sum(np.maximum(np.round(steps) - 1.0, 0.0))) if steps.size else 0


def _longest_run(mask: npt.NDArray[np.bool_], where: npt.NDArray[np.bool_]) -> int:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask & where, [False])).astype(np.int8)))
    return int(np.max(edges[1::2] - edges[::2], initial=0))


def _rest(run: Run, motion: Motion, rest: RestLevel | None) -> list[Finding]:
    """The rest record against the launch record: where the cart settles, where it bounces, where it stood cocked."""
    if rest is None:
        return []
    level = motion.up * rest.distance
    doubt = MOVED + 5.0 * float(np.hypot(rest.u, run.tail.u if run.tail else 0.0))
    settled = motion.up * run.tail.distance if run.tail else None
    shift = settled - level if settled is not None else _bounce_shift(motion, level)
    if shift is None or abs(shift) <= doubt:
        return []
    witness = "settles" if settled is not None else "bounces"
    evidence = {"shift_m": shift, "rest_m": rest.distance}
    fall, travel = 0.5 * (motion.climb + motion.descent), float(motion.apexes[0]) - motion.release_level
    effect = 100.0 * abs(shift) / travel
    if shift > 0.0 and np.isfinite(run.outline.still_level) and abs(run.outline.still_level - level) < 0.003 + 3.0 * rest.u:
        message = (
            f"The rest record reads {rest.distance:.3f} m, which is where the cart stood cocked in {run.file}; the cart {witness} "
            f"{100.0 * shift:.1f} cm higher. Counted from the rest record the potential energy would be {effect:.0f} % too large."
        )
        return [finding("rest-cocked", "look", message, run, **evidence, fall_m_per_s2=fall)]
    message = (
        f"The rest record reads {rest.distance:.3f} m, but in {run.file} the cart {witness} {100.0 * abs(shift):.1f} cm "
        f"{'above' if shift > 0 else 'below'} that. It would move the travel by {effect:.0f} %; the launch record is believed."
    )
    return [finding("rest-mismatch", "look", message, run, **evidence, fall_m_per_s2=fall)]


def _bounce_shift(motion: Motion, level: float) -> float | None:
    """Return how far above `level` the hops must meet, where a bounce at that level would have to end before it begins; else None."""
    if motion.hops < 2:
        return None
    with np.errstate(invalid="ignore"):
        down = np.sqrt(2.0 * (motion.apexes[0] - level) / motion.descent)
        up = np.sqrt(2.0 * (motion.apexes[1] - level) / motion.climb)
    time = float(motion.apex_times[1] - up - motion.apex_times[0] - down)
    slowness = 1.0 / (motion.descent * down) + 1.0 / (motion.climb * up)
    if not np.isfinite(time):
        return float(level - motion.apexes[1])
    if time < -0.01:
        return float(-time / slowness)
    return float(-(time - 0.5) / slowness) if time > 0.6 else None


def _wrong_side(bench: Bench, run: Run) -> list[Finding]:
    placed = bench.word("sensor.placed")
    seen = "bottom" if run.outline.up > 0 else "top"
    if placed is None or placed == seen:
        return []
    message = f"{run.file}: the bench file says the ranger stands at the {placed}, but the record bends as seen from the {seen}, which is believed."
    return [finding("wrong-side", "look", message, run, stated=placed, seen=seen)]


def _launching(run: Run, motion: Motion) -> list[Finding]:
    """A push that lasts too long, or goes on above the stop."""
    departure = run.outline.departure
    if departure is None:
        return []
    push = float(motion.windows[0, 0] - run.trace.time[departure])
    contact = motion.contacts.duration
    usual = max(SHORTEST_PUSH, 0.9 * contact if np.isfinite(contact) else 0.0)
    above = int(motion.trimmed[0, 0])
    if above < 1 and push <= usual + run.trace.interval:
        return []
    lasting = f"the push lasts about {push:.2f} s, where a plunger takes less than {usual:.2f} s"
    message = f"{run.file}: {lasting}{f', and goes on for {above} samples above the stop' if above else ''}."
    return [finding("pushed-by-hand", "look", message, run, push_s=push, samples_above=above)]


def _caught(run: Run, motion: Motion) -> list[Finding]:
    trace = run.trace
    dropped = int(motion.trimmed[0, 1])
    used = trace.time[motion.used & (trace.time <= motion.windows[0, 1])]
    last, back = float(used[-1]) if used.size else float(motion.apex_times[0]), float(motion.windows[0, 1])
    if dropped < 2 or back - last < 1.5 * trace.interval + 0.03:
        return []
    part = (last - motion.apex_times[0]) / (back - motion.apex_times[0])
    message = (
        f"{run.file}: after {last:.2f} s the cart no longer runs freely, {100.0 * max(part, 0.0):.0f} % of the way back in time. "
        "The rolling resistance is less well known for it."
    )
    return [finding("caught", "look", message, run, after_s=last, back_s=back)]


def _second_launch(run: Run, motion: Motion) -> list[Finding]:
    first, last = run.outline.arcs[0], run.outline.arcs[motion.hops - 1]
    for arc in (*run.outline.arcs[motion.hops :], *run.outline.later):
        alike = abs(arc.fall - first.fall) <= 0.2 * first.fall + 2.0 * arc.u_fall and arc.last - arc.first >= 4
        rises = arc.apex - motion.release_level
        # A rebound never stands before it rises and never rises higher than the hop before; a launch does either, and at once.
        foot = foot_of_climb(run.trace, motion.up, arc)
        deep = motion.datum.level - motion.up * float(run.trace.distance[foot])
        at_once = arc.apex_time - float(run.trace.time[foot]) < 1.25 * np.sqrt(2.0 * max(rises + deep, 0.0) / arc.fall) + 0.1 + 1.5 * run.trace.interval
        higher = rises > 1.3 * (last.apex - motion.release_level) + 0.03
        cocked = deep > max(0.005, 6.0 * motion.noise) and at_once and (higher or _stands(run, foot))
        if alike and arc.rising > 0.25 and cocked and rises > 0.3 * (first.apex - motion.release_level):
            message = f"{run.file}: at {arc.apex_time:.2f} s the cart rises {100.0 * rises:.0f} cm once more after it had stood: a second launch. Only the first is used."
            return [finding("second-launch", "look", message, run, apex_s=arc.apex_time, height_m=rises)]
    return []


def _stands(run: Run, at: int) -> bool:
    """Say whether the reading about a sample stays the same for 0.15 s and three samples."""
    trace = run.trace
    close = np.abs(trace.distance - trace.distance[at]) <= 6.0 * trace.noise + trace.step + 0.001
    first = last = at
    while first > 0 and close[first - 1]:
        first -= 1
    while last + 1 < close.size and close[last + 1]:
        last += 1
    return last - first >= 2 and float(trace.time[last] - trace.time[first]) >= 0.15


def _soft_stop(run: Run, motion: Motion) -> list[Finding]:
    contacts = motion.contacts
    travel = float(motion.apexes[0]) - motion.release_level
    effect = contacts.half_width / max(travel, 1e-6)
    if contacts.kind in ("hard", "unseen") or (contacts.offset < 0.008 and effect < 0.015):
        return []
    what = {"distant": "pushes at a distance, like magnets", "unclear": "may push at a distance, like magnets"}.get(contacts.kind, "gives way")
    message = (
        f"{run.file}: the stop {what}; it holds the cart for {contacts.duration:.2f} s and lets go {1000.0 * contacts.offset:.0f} mm ± "
        f"{1000.0 * contacts.half_width:.0f} mm above the rest level, which moves the kinetic energy by up to {100.0 * effect:.1f} %."
    )
    return [finding("soft-stop", "note", message, run, offset_m=contacts.offset, half_width_m=contacts.half_width, kind=contacts.kind)]


def _misfit(run: Run, motion: Motion) -> list[Finding]:
    misfit = motion.misfit
    if misfit.p > 3e-5:
        return []
    shift = 100.0 * abs(float(misfit.shift[0])) / motion.climb
    message = (
        f"{run.file}: the residuals hold {1000.0 * misfit.size:.2f} mm that are no noise (of {1000.0 * motion.noise:.2f} mm); they look like: "
        f"{misfit.kind}. It could move the kinetic energy by {shift:.1f} %, which is added to the uncertainty."
    )
    return [finding("misfit", "look", message, run, p=misfit.p, kind=misfit.kind, size_m=misfit.size)]
