"""What a person should know about one launch: what its record and its ranger show, and what its motion shows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from joulebook.engine.bench import Bench
from joulebook.engine.datum import RestLevel
from joulebook.engine.fit import Motion
from joulebook.engine.phases import Arc, foot_of_climb
from joulebook.engine.report import Finding
from joulebook.engine.run import Run
from joulebook.experiments.ramp_codes import finding
from joulebook.experiments.ramp_effects import counted, known_to, length, percent, rolling_doubt, travel
from joulebook.experiments.ramp_ranger_findings import inspect_echoes, inspect_range
from joulebook.experiments.ramp_record_findings import inspect_clock, inspect_extent, inspect_rate, inspect_units
from joulebook.experiments.ramp_unfitted_findings import inspect_unfitted

__all__ = ["inspect_run"]

_LONGEST_PUSH = 0.17
"""s: a plunger pushes for less (BENCH_FACTS: about 0.08 s; hands take 0.15 to 0.5 s)."""

_PLUNGER_CONTACT = 0.3
"""s: a plunger holds a cart for less between two hops (BENCH_FACTS: pushes of 0.08 s, twice that for a contact)."""

_MOVED = 0.006
"""m by which rest record and launch record may differ: friction lets a cart stand a little off its balance point."""

_CONTACTS = (0.5, 0.6)
"""s: how long a stop of this lab may hold a cart between two hops, and from when on it was rather met at another level."""

_SOFT = (0.008, 0.015)
"""m above the rest level, and share of the climb, from which on it is told that the stop lets go late or not at a sharp place."""

_CHANCE = 3e-5
"""Probability of as much in noise alone below which a misfit is told: three records in a hundred thousand by chance."""

_LIKENESS = {
    "bent track": "a bent track",
    "resistance grows with speed": "a resistance that grows with speed",
    "slope creeps": "a slope that gives while the cart moves",
    "ranger off the axis": "a ranger beside the track's axis",
}


def inspect_run(bench: Bench, run: Run, rest: RestLevel | None) -> list[Finding]:
    """Return the findings about one launch record, at most one of each code.

    rest: the standing cart of the rest record, None when there is none.
    """
    if run.trace.record.velocity_only:
        message = (
            "the file has a velocity column but no positions. Such columns are smeared over several readings: the tallest "
            "velocity is about 4 % low at 20 readings per second and its energy 8 %, so none is taken from it."
        )
        return [finding("velocity-only", "stop", message, run)]
    found = inspect_units(bench, run)
    if any(each.severity == "stop" for each in found):
        return found
    clock = inspect_clock(run)
    motion = run.motion
    if motion is None:
        # A clock that is wrong is reason enough for a motion that cannot be fitted.
        return [*found, *(replace(each, severity="stop") for each in clock)] if clock else [*found, inspect_unfitted(bench, run)]
    level = _rest(run, motion, rest)
    # Where the rest level is wrong and nothing better is known, the stop cannot tell where a push ends.
    pushed = [] if level and motion.datum.source == "rest" else _pushed(run, motion)
    found += [
        *clock,
        *inspect_extent(run, motion),
        *inspect_range(bench, run, motion),
        *inspect_rate(run, motion),
        *inspect_echoes(run, motion),
        *level,
        *_wrong_side(bench, run),
        *pushed,
        *_caught(run, motion),
        *_second_launch(run, motion),
        *(_soft_stop(run, motion) if not pushed else []),  # where a hand let go says nothing of the stop
        *_misfit(run, motion),
    ]
    first: dict[str, Finding] = {}
    for each in found:
        first.setdefault(each.code, each)
    return list(first.values())


def _rest(run: Run, motion: Motion, rest: RestLevel | None) -> list[Finding]:
    """The rest record against the launch record: where the cart settles, where it bounces, where it stood cocked."""
    if rest is None:
        return []
    level = motion.up * rest.distance
    doubt = _MOVED + 5.0 * float(np.hypot(rest.u, run.tail.u if run.tail else 0.0))
    settled = motion.up * run.tail.distance if run.tail else None
    shift = settled - level if settled is not None else _bounce_shift(motion, level)
    cocked = abs(run.outline.still_level - level) < 0.003 + 3.0 * rest.u  # False where no standing cart is on record
    if shift is None or abs(shift) <= doubt:
        # A cart that settles at the level of the rest record shows that to be right, wherever a hand may have sent it off from.
        return _sets_off_from_rest(run, motion, rest) if cocked and settled is None else []
    share = percent(shift / travel(motion))
    way = f"{100.0 * abs(shift):.1f} cm {'above' if shift > 0.0 else 'below'}"
    seen = f"the cart settles {way}" if settled is not None else f"the cart bounces at least {way}"
    # Where it settles is believed; a bounce alone only shows that something is wrong.
    settles = motion.datum.source == "tail"
    evidence = {"shift_m": shift, "rest_m": rest.distance}
    if shift > 0.0 and cocked:
        effect = (
            f"Counted from the rest record the potential energy would be {share} too large; the launch record is believed."
            if settles
            else f"The rest record is all there is to count from, and the potential energy may be {share} too large."
        )
        message = f"{seen} the level of the rest record ({rest.distance:.3f} m), which is where it stood cocked. {effect}"
        return [finding("rest-cocked", "look", message, run, **evidence)]
    effect = (
        f"Both energies would change by {share}; the launch record is believed."
        if settles
        else f"The rest record is all there is to count from, and both energies may be off by {share}."
    )
    message = f"{seen} the level of the rest record ({rest.distance:.3f} m): stop or ranger were moved in between. {effect}"
    return [finding("rest-mismatch", "look", message, run, **evidence)]


def _sets_off_from_rest(run: Run, motion: Motion, rest: RestLevel) -> list[Finding]:
    """The cart stands at the level of the rest record before its launch: no plunger pushes from its own rest level, so it was cocked."""
    if _pushed(run, motion):
        return []
    message = (
        f"before the launch the cart stands where the rest record has it ({rest.distance:.3f} m), and no plunger pushes from its own rest "
        "level: the rest record was taken with the plunger cocked. Both energies are counted from too low a level."
    )
    return [finding("rest-cocked", "look", message, run, rest_m=rest.distance)]


def _bounce_shift(motion: Motion, level: float) -> float | None:
    """Return how far above `level` (m) the hops meet, where no bounce at that level could last as it would have to; else None."""
    if motion.hops < 2:
        return None
    with np.errstate(invalid="ignore"):
        down = np.sqrt(2.0 * (motion.apexes[:-1] - level) / motion.descent)
        up = np.sqrt(2.0 * (motion.apexes[1:] - level) / motion.climb)
    times = motion.apex_times[1:] - up - motion.apex_times[:-1] - down
    slowness = 1.0 / (motion.descent * down[0]) + 1.0 / (motion.climb * up[0])
    time = float(times[0])
    if not np.isfinite(time):
        return float(level - motion.apexes[1])
    if time < -0.01:
        return float(-time / slowness)
    # A soft stop holds slow carts as long as fast ones; a level that is wrong costs them more time.
    soft = times.size > 1 and times[1] < 1.1 * time
    return float(-(time - _CONTACTS[0]) / slowness) if time > _CONTACTS[1] and not soft else None


def _wrong_side(bench: Bench, run: Run) -> list[Finding]:
    placed, seen = bench.word("sensor.placed"), "bottom" if run.outline.up > 0 else "top"
    if placed is None or placed == seen:
        return []
    message = (
        f"the bench file says that the ranger stands at the {placed}, but the readings bend as they do when it stands at the "
        f"{seen}. The record is believed, so the answer does not change; read the other way, the climb would be a fall."
    )
    return [finding("wrong-side", "look", message, run, stated=placed, seen=seen)]


def _pushed(run: Run, motion: Motion) -> list[Finding]:
    """A push that lasts too long, or goes on above the stop."""
    departure = run.outline.departure
    if departure is None:
        return []
    push = float(motion.windows[0, 0] - run.trace.time[departure])
    contact = motion.contacts.duration
    usual = max(_LONGEST_PUSH, 0.6 * contact if np.isfinite(contact) else 0.0)
    above, long = int(motion.trimmed[0, 0]), push > usual + run.trace.interval
    # Where the motion itself does not fit, or the stop is soft, readings that leave it at the start are no hand's.
    if not long and (above < 1 or motion.misfit.p <= _CHANCE or contact > _PLUNGER_CONTACT):
        return []
    lasting = [f"the push lasts about {push:.2f} s, where a plunger takes less than {usual:.2f} s"] if long else []
    still = [f"the cart is still being pushed in {counted(above, 'reading', 'readings')} above the stop"] if above else []
    message = (
        f"{', and '.join([*lasting, *still])}. The release is where the hand lets go; that is uncertain by "
        f"± {percent(motion.contacts.half_width / travel(motion))} of the climb, and both energies with it."
    )
    return [finding("pushed-by-hand", "look", message, run, push_s=push, samples_above=above)]


def _caught(run: Run, motion: Motion) -> list[Finding]:
    trace, dropped = run.trace, int(motion.trimmed[0, 1])
    used = trace.time[motion.used & (trace.time <= motion.windows[0, 1])]
    apex, back = float(motion.apex_times[0]), float(motion.windows[0, 1])
    last = float(used[-1]) if used.size else apex
    if dropped < 2 or back - last < 1.5 * trace.interval + 0.03:
        return []
    doubt = rolling_doubt(motion)
    effect = (
        f"From what is left of the descent the rolling loss is known {known_to(doubt)}, as a share of the energy."
        if np.isfinite(doubt)
        else "Nothing is left to measure the rolling resistance by: a usual value is put in its place."
    )
    part = max((last - apex) / (back - apex), 0.0)
    message = (
        f"after {last:.2f} s, {100.0 * part:.0f} % of the way back to the stop in time, the cart no longer runs freely. {effect}"
    )
    return [finding("caught", "look", message, run, after_s=last, back_s=back)]


def _second_launch(run: Run, motion: Motion) -> list[Finding]:
    first = run.outline.arcs[0]
    for arc in (*run.outline.arcs[motion.hops :], *run.outline.later):
        alike = abs(arc.fall - first.fall) <= 0.2 * first.fall + 2.0 * arc.u_fall and arc.last - arc.first >= 4
        if not (alike and arc.launched and _launched(run, motion, arc)):
            continue
        rises = arc.apex - motion.release_level
        message = (
            f"the cart is launched once more and rises {100.0 * rises:.0f} cm, to its highest point at {arc.apex_time:.2f} s, "
            "after it had stood. Only the first launch is used, so the answer does not change, but what the second could add is "
            "lost."
        )
        return [finding("second-launch", "look", message, run, apex_s=arc.apex_time, height_m=rises)]
    return []


def _launched(run: Run, motion: Motion, arc: Arc) -> bool:
    """Say whether a later arc is a launch: a rebound never stands before it rises and never rises higher than the hop before."""
    first, last = run.outline.arcs[0], run.outline.arcs[motion.hops - 1]
    rises = arc.apex - motion.release_level
    foot = foot_of_climb(run.trace, motion.up, arc)
    deep = motion.datum.level - motion.up * float(run.trace.distance[foot])
    climb_time = float(np.sqrt(2.0 * max(rises + deep, 0.0) / arc.fall))
    at_once = arc.apex_time - float(run.trace.time[foot]) < 1.25 * climb_time + 0.1 + 1.5 * run.trace.interval
    higher = rises > 1.3 * (last.apex - motion.release_level) + 0.03
    cocked = deep > max(0.005, 6.0 * motion.noise)
    return bool(cocked and at_once and (higher or _stands(run, foot)) and rises > 0.3 * (first.apex - motion.release_level))


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
    effect = contacts.half_width / travel(motion)
    if contacts.kind in ("hard", "unseen") or (contacts.offset < _SOFT[0] and effect < _SOFT[1]):
        return []
    what = {"distant": "pushes at a distance, like magnets", "unclear": "may push at a distance, like magnets"}
    message = (
        f"the stop {what.get(contacts.kind, 'gives way')}: it holds the cart for {contacts.duration:.2f} s and lets go "
        f"{_somewhere(contacts.offset - contacts.half_width, contacts.offset + contacts.half_width)} the rest level. Both "
        f"energies may shift by up to {percent(effect)} for it; the uncertainty allows for that, and their ratio hardly changes."
    )
    evidence = {"offset_m": contacts.offset, "half_width_m": contacts.half_width, "kind": contacts.kind}
    return [finding("soft-stop", "note", message, run, **evidence)]


def _somewhere(low: float, high: float) -> str:
    """Return between which levels (m, above the rest level) something is."""
    if low < -0.0005:
        return f"somewhere between {length(low)} below and {length(high)} above"
    return f"between {length(max(low, 0.0))} and {length(high)} above"


def _misfit(run: Run, motion: Motion) -> list[Finding]:
    misfit = motion.misfit
    if misfit.p > _CHANCE:
        return []
    shift = float(misfit.shift[0]) / motion.climb + float(misfit.shift[motion.names.index("apex_1")]) / travel(motion)
    message = (
        f"the readings lie {1000.0 * motion.noise:.2f} mm off the fitted motion, and {1000.0 * misfit.size:.2f} mm of that is a "
        f"pattern, not noise. It looks most like {_LIKENESS[misfit.kind]}. It could shift the kinetic energy by "
        f"{percent(shift)}, and the uncertainty allows for that."
    )
    return [finding("misfit", "look", message, run, p=misfit.p, kind=misfit.kind, size_m=misfit.size, shift=shift)]
