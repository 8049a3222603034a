"""What the ranger did wrong during a launch: its blind zone, its reach, readings that it lost or that are not the cart."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from joulebook.engine.bench import Bench
from joulebook.engine.clean import Trace
from joulebook.engine.fit import Motion
from joulebook.engine.report import Finding
from joulebook.engine.run import Run
from joulebook.experiments.ramp_codes import finding
from joulebook.experiments.ramp_effects import counted, kinetic_doubt, known_to, length, percent, travel

__all__ = ["inspect_echoes", "inspect_range", "leaps_in_blind_zone", "lost_beyond"]

Mask = npt.NDArray[np.bool_]

_MANY_LOST = 0.15
"""Share of the first flight, or seconds in one hole, from which on missing readings are told of."""

_MANY_BLANK = 0.1
"""Share of the whole record from which on missing readings are told of, wherever they are."""

_PLAIN_GHOSTS = 2
"""False echoes far off the cart's path from which on a person should look; mild ones are told of from three on."""


def inspect_range(bench: Bench, run: Run, motion: Motion) -> list[Finding]:
    """Return the findings about the ranger's blind zone and its far end, and about a travel longer than the track."""
    found = [*_too_close(bench, run, motion), *_too_far(bench, run, motion)]
    track, way = bench.number("track.length"), float(motion.apexes[0]) - motion.datum.level
    if track is not None and way > 1.1 * track:
        message = (
            f"the cart climbs {way:.2f} m on a track of {track:.2f} m, so the record is in another unit or the track's length "
            "is wrong. The kinetic energy goes with the square of the unit, the potential energy with the unit itself."
        )
        found.append(finding("units-suspect", "look", message, run, travel_m=way, length_m=track))
    return found


def inspect_echoes(run: Run, motion: Motion) -> list[Finding]:
    """Return the findings about lost, false and stuck readings."""
    flags = run.trace.flags.copy()
    flags[motion.rejected] = motion.reasons
    return [*_lost(run, motion, flags), *_ghosts(run, motion, flags), *_stuck(run, motion, flags)]


def leaps_in_blind_zone(trace: Trace, least: float) -> int:
    """Count the readings of something behind the cart, seen from just outside the blind zone on; 0 for fewer than three.

    least: m, the ranger's nearest distance.
    """
    away = np.isin(trace.flags, ("far-echo", "stuck", "outlier"))
    count = 0
    for start, stop in _stretches(away):
        sides = [i for i in (start - 1, stop) if 0 <= i < trace.time.size and np.isfinite(trace.distance[i])]
        near = min((float(trace.distance[i]) for i in sides), default=np.inf)
        at_the_edge = near < least + max(0.03, 1.5 * trace.interval)
        if stop - start >= 2 and at_the_edge and float(np.median(trace.distance[start:stop])) > near + 0.1:
            count += stop - start
    if count < 3 and trace.good.any() and np.ptp(trace.distance[trace.good]) < 0.02:
        # The cart is hidden so long that the object behind it is taken for the target: what stands out is then the cart.
        out = away & (trace.distance < least + 0.35)
        if out.sum() >= 3 and float(np.min(trace.distance[out])) < least + max(0.04, 1.5 * trace.interval):
            return int(out.sum())
    return count if count >= 3 else 0


def lost_beyond(trace: Trace, most: float | None) -> float:
    """Return the distance (m) at which the readings are lost again and again, when that is the farthest of all; 0 for none.

    most: m, the stated range, None when it is not stated.
    """
    lost = np.isin(trace.flags, ("missing", "far-echo"))
    good = trace.good
    if lost.sum() < 3 or good.sum() < 5:
        return 0.0
    farthest = float(np.max(trace.distance[good]))
    # Between two samples the cart may have moved on by some centimetres before it was lost.
    close = 0.02 + 1.2 * trace.interval
    at_the_end = elsewhere = 0
    for start, stop in _stretches(lost):
        sides = [float(trace.distance[i]) for i in (start - 1, stop) if 0 <= i < lost.size and good[i]]
        if stop - start < 3 or not sides:
            continue
        if max(sides) > farthest - close or (most is not None and max(sides) > most - close):
            at_the_end += stop - start
        else:
            elsewhere += stop - start
    dense = int((good & (trace.distance > farthest - 0.1)).sum()) >= 2
    if not dense or at_the_end < 3 or at_the_end <= 3 * elsewhere:
        return 0.0
    # Where no reach is stated, a cart that is often seen well at that distance was lost for another reason.
    seen = int((good & (trace.distance > farthest - close)).sum())
    return farthest if most is not None or (at_the_end >= 6 and seen < at_the_end) else 0.0


def _too_close(bench: Bench, run: Run, motion: Motion) -> list[Finding]:
    trace, least = run.trace, bench.number("sensor.min_range") or 0.0
    apex, stop = motion.up * float(motion.apexes[0]), motion.up * motion.datum.level
    near, at_apex = min(apex, stop), apex < stop
    with np.errstate(invalid="ignore"):
        hidden = int(((trace.flags == "floor") & (trace.time <= motion.windows[-1, 1])).sum())
    hidden += leaps_in_blind_zone(trace, least)
    if near >= least and hidden < 2 and not _stays_at_least(run, motion, near):
        return []
    seen = f" {counted(hidden, 'reading shows', 'readings show')} something else there." if hidden else ""
    blind = f"the ranger, which measures from {least:.2f} m on"
    if at_apex and near < least:
        message = (
            f"at its highest point the cart is {max(near, 0.0):.3f} m from {blind}.{seen} The last "
            f"{percent((least - near) / travel(motion))} of the climb is a guess, and the potential energy with it."
        )
    elif at_apex:
        message = (
            f"near its highest point the cart comes too close to {blind}.{seen} The fit puts that point at {near:.3f} m, which "
            "need not be true, and the potential energy with it."
        )
    else:
        message = (
            f"at the stop the cart is {near:.3f} m from {blind}.{seen} The release is worked out from the climb above, which "
            f"leaves the kinetic energy known {known_to(kinetic_doubt(motion))}."
        )
    severe = at_apex or not _first_flight(trace, motion).any()
    return [finding("too-close", "stop" if severe else "look", message, run, nearest_m=near, min_range_m=least, readings=hidden)]


def _stays_at_least(run: Run, motion: Motion, near: float) -> bool:
    """Say whether samples were rejected because the reading stood at its lowest while the cart came nearer."""
    stuck = motion.rejected[motion.reasons == "stuck"]
    if stuck.size < 3:
        return False
    trace = run.trace
    lowest = float(np.min(trace.distance[trace.good]))
    return bool(np.median(trace.distance[stuck]) <= lowest + 0.01 and near < lowest)


def _too_far(bench: Bench, run: Run, motion: Motion) -> list[Finding]:
    most, lost = bench.number("sensor.max_range"), lost_beyond(run.trace, bench.number("sensor.max_range"))
    apex, stop = motion.up * float(motion.apexes[0]), motion.up * motion.datum.level
    far = max(apex, stop)
    if not ((most is not None and far > most) or lost):
        return []
    limit = most if most is not None and far > most else lost
    far = max(far, lost)
    unseen = percent((far - limit) / travel(motion))
    seen = f"the cart goes out to {far:.2f} m from the ranger, which does not see it reliably from {limit:.2f} m on."
    if apex > stop:
        message = f"{seen} The last {unseen} of the climb is a guess, and the potential energy with it."
        return [finding("too-far", "stop", message, run, farthest_m=far, seen_to_m=limit)]
    message = (
        f"{seen} That is at the stop: the release is worked out from the climb above, which leaves the kinetic energy known "
        f"{known_to(kinetic_doubt(motion))}."
    )
    return [finding("too-far", "look", message, run, farthest_m=far, seen_to_m=limit)]


def _lost(run: Run, motion: Motion, flags: npt.NDArray[np.str_]) -> list[Finding]:
    trace, flight = run.trace, _first_flight(run.trace, motion)
    absent = _absent_rows(trace, motion)
    lost, held = int((flags[flight] == "missing").sum()) + absent, int(flight.sum()) + absent
    every = int((flags == "missing").sum())
    longest = max((stop - start for start, stop in _stretches((flags == "missing") & flight)), default=0) * trace.interval
    doubt = f"the kinetic energy known {known_to(kinetic_doubt(motion))}."
    if lost and (lost > _MANY_LOST * held or longest > _MANY_LOST or every > _MANY_BLANK * flags.size):
        hole = f", the longest hole is {longest:.2f} s" if longest > 0.0 else ""
        message = (
            f"{lost} of {counted(held, 'reading', 'readings')} of the first flight {'is' if lost == 1 else 'are'} missing{hole}; "
            f"in the whole record it is {every} of {flags.size}. The fit bridges them, which leaves {doubt}"
        )
        return [finding("lost-echo", "look", message, run, missing=lost, of=held, longest_s=longest)]
    if every > _MANY_BLANK * flags.size:
        message = (
            f"{counted(every, 'reading', 'readings')} of {flags.size} {'is' if every == 1 else 'are'} missing, though none of "
            f"them on the first flight, so the answer hardly changes: the fit leaves {doubt}"
        )
        return [finding("lost-echo", "look", message, run, missing=every, of=flags.size, longest_s=0.0)]
    return []


def _ghosts(run: Run, motion: Motion, flags: npt.NDArray[np.str_]) -> list[Finding]:
    trace = run.trace
    with np.errstate(invalid="ignore"):
        active = (trace.time >= motion.windows[0, 0]) & (trace.time <= motion.windows[-1, 1])
    # What a hand does before or after is no ghost, but a far echo is.
    false = (active & np.isin(flags, ("far-echo", "slip", "outlier"))) | (flags == "far-echo")
    count = int(false.sum())
    if not count:
        return []
    # Readings a few millimetres off are told of only when there are several: one in a hundred records holds one by chance.
    mild = np.zeros(flags.size, dtype=bool)
    mild[motion.rejected] = np.abs(motion.residual[motion.rejected]) < max(0.006, 10.0 * motion.noise)
    many = int((false & ~mild).sum()) >= _PLAIN_GHOSTS or count >= max(3, 0.03 * motion.used.sum())
    first = float(trace.time[np.flatnonzero(false)[0]])
    off = np.abs(motion.residual[false])
    farthest = float(np.max(off[np.isfinite(off)], initial=0.0))
    where = f"at {first:.2f} s" if count == 1 else f"the first at {first:.2f} s"
    size = f"{',' if count == 1 else ', up to'} {length(farthest)} off its path" if farthest > 0.0005 else ""
    message = (
        f"{counted(count, 'reading is', 'readings are')} not the cart, {where}{size}. {'It is' if count == 1 else 'They are'} "
        f"left out of the fit, which rests on {counted(int(motion.used.sum()), 'other reading', 'others')}, so the answer does "
        "not change."
    )
    return [finding("ghost-echo", "look" if many else "note", message, run, samples=count, first_s=first, farthest_m=farthest)]


def _stuck(run: Run, motion: Motion, flags: npt.NDArray[np.str_]) -> list[Finding]:
    trace, flight, places = run.trace, _first_flight(run.trace, motion), np.flatnonzero(flags == "stuck")
    if places.size < 3:
        return []
    at = float(np.median(trace.distance[places]))
    off = np.abs(motion.residual[places])
    farthest = float(np.max(off[np.isfinite(off)], initial=0.0))
    worst = int((flags[flight] == "stuck").sum()) > 0.5 * max(int(flight.sum()), 1)
    if worst:
        effect = "That is more than half of the first flight: what is left cannot be trusted to show the motion."
    elif farthest > 0.0:
        effect = f"Taken for the cart they would put it {length(farthest)} off its path; they are left out of the fit."
    else:
        effect = "They are left out of the fit, and the first flight is not touched."
    message = (
        f"from {trace.time[places[0]]:.2f} s on {places.size} readings stand still at {at:.3f} m while the "
        f"cart was elsewhere. {effect}"
    )
    return [finding("stuck-echo", "stop" if worst else "look", message, run, samples=int(places.size), at_m=at)]


def _first_flight(trace: Trace, motion: Motion) -> Mask:
    """Return the samples from the release to the end of the first hop, shape (n,)."""
    with np.errstate(invalid="ignore"):
        return np.asarray((trace.time >= motion.windows[0, 0]) & (trace.time <= motion.windows[0, 1]))


def _absent_rows(trace: Trace, motion: Motion) -> int:
    """Count samples of the first flight whose rows are not in the file at all."""
    with np.errstate(invalid="ignore"):
        around = (trace.time >= motion.windows[0, 0] - trace.interval) & (trace.time <= motion.windows[0, 1] + trace.interval)
    steps = np.diff(np.sort(trace.time[around])) / max(trace.interval, 1e-9)
    return int(np.sum(np.maximum(np.round(steps) - 1.0, 0.0))) if steps.size else 0


def _stretches(mask: Mask) -> list[tuple[int, int]]:
    """Return start and end (one past the last) of each unbroken stretch of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8))).tolist()
    return list(zip(edges[::2], edges[1::2], strict=True))
