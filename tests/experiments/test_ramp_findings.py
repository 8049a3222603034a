"""Every finding is made where it belongs, says the right numbers, names its record, and is not made on a clean bench.

Twice over: on records written by hand in this file, whose numbers follow from the lines that spoil them (hand_made.py), and on
benches of planning.faults with one fault each, whose numbers follow from the design and the integrated truth.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from tests.experiments.hand_made import (
    ANGLE,
    CLIMB,
    CONTACT,
    DESCENT,
    ZERO,
    Ride,
    bench_of,
    record_of,
    rest_record,
    ride,
)

from joulebook.analysis import audit_bench
from joulebook.engine.bench import Bench
from joulebook.engine.misfit import KINDS
from joulebook.engine.record import Record
from joulebook.engine.report import Audit, Finding
from joulebook.experiments import ramp_findings
from joulebook.experiments.ramp_codes import CODES
from joulebook.experiments.ramp_effects import counted, known_to, length, percent
from joulebook.planning.design import random_design
from joulebook.planning.faults import FAULTS, faulty_bench
from joulebook.planning.simulate import SimulatedBench, simulate_bench

TABLE = {item.code: item for item in CODES}
SEEDS = (1, 3, 4)

RIDE = ride()
SETTLED = ride(settles=1.5)


def audited(bench: Bench) -> Audit:
    return audit_bench(bench, method="linear")


def told(audit: Audit) -> list[tuple[str, str]]:
    return [(finding.code, finding.severity) for finding in audit.findings]


def only(bench: Bench, code: str, severity: str, *, beside: tuple[str, ...] = ()) -> Finding:
    """Return the one finding of a bench, which must be this; beside: others that come with it by their nature."""
    audit = audited(bench)
    assert [each for each in told(audit) if each[0] not in beside] == [(code, severity)]
    finding = next(each for each in audit.findings if each.code == code)
    sound(finding, bench)
    return finding


def sound(finding: Finding, bench: Bench) -> None:
    """What holds for every finding: documented, remedied, its record named first, said in whole sentences and numbers."""
    assert finding.severity in TABLE[finding.code].severities
    assert finding.remedy == TABLE[finding.code].remedy and len(finding.remedy) > 30
    record = finding.evidence.get("record")
    if record is not None:
        assert record in {each.file for each in bench.launches}
        assert finding.message.startswith(f"{record}: ")
    assert finding.message.endswith(".") and len(finding.message) > 60
    body = finding.message.removeprefix(f"{record}: ")
    assert re.search(r"\bnan\b|\binf\b|None|  |\.\.|\(s\)|-\d|\b1 readings|\b1 time stamps", body) is None, body
    for value in finding.evidence.values():
        assert isinstance(value, (str, int)) or (isinstance(value, float) and math.isfinite(value))


def number(finding: Finding, name: str) -> float:
    value = finding.evidence[name]
    assert isinstance(value, (int, float))
    return float(value)


def spoiled(record: Record, at: np.ndarray, value: float | np.ndarray) -> Record:
    """Return the record with other distances where `at` is True."""
    distance = record.distance.copy()
    distance[at] = value
    return replace(record, distance=distance)


# ---- a clean bench ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("placed", ["top", "bottom"])
@pytest.mark.parametrize("motion", [RIDE, SETTLED], ids=["cut", "settles"])
def test_a_clean_bench_by_hand_has_no_findings(placed: str, motion: Ride) -> None:
    launches = [record_of(motion, file=f"launch-{seed}.csv", seed=seed, placed=placed) for seed in (1, 2)]
    assert told(audited(bench_of(*launches, placed=placed))) == []


def test_clean_benches_have_nothing_to_look_at() -> None:
    """A short look; the conformance suite counts false alarms on many more."""
    for seed in range(6):
        rng = np.random.default_rng([91, seed])
        audit = audited(simulate_bench(random_design(rng, rate=50.0, angle=8.0, hands=False), rng).bench)
        assert [each for each in told(audit) if each[1] != "note"] == [], seed


# ---- records by hand -------------------------------------------------------------------------------------------------------


def test_no_launch() -> None:
    standing = record_of(replace(RIDE, position=lambda t: 0.01 * np.sin(t)))
    finding = only(bench_of(standing), "no-launch", "stop")
    swing = float(np.ptp(standing.distance))
    assert number(finding, "swing_m") == pytest.approx(swing, abs=2e-3)
    assert f"change by {100.0 * swing:.1f} cm" in finding.message


@pytest.mark.parametrize(("over", "severity", "motion"), [(0.5, "look", RIDE), (0.85, "stop", ride(hops=1))])
def test_cut_short_at_the_start(over: float, severity: str, motion: Ride) -> None:
    start = motion.release + over * (motion.apex - motion.release)
    finding = only(bench_of(record_of(motion, start=start)), "cut-short", severity)
    assert number(finding, "over") == pytest.approx(over, abs=0.03)
    assert number(finding, "release_s") == pytest.approx(RIDE.release - start, abs=0.03)
    assert f"{100.0 * number(finding, 'over'):.0f} % of the climb" in finding.message


def test_cut_short_so_late_that_a_bounce_is_all_there_is() -> None:
    """From 85 % of the climb on the first flight is no launch; the next, with 0.8 of the speed, rises 0.8²·(a_d/a_u) as high."""
    start = RIDE.release + 0.85 * (RIDE.apex - RIDE.release)
    finding = only(bench_of(record_of(RIDE, start=start)), "cut-short", "look")
    assert number(finding, "rise_m") == pytest.approx(0.64 * DESCENT / CLIMB * RIDE.rise, abs=0.01)
    assert number(finding, "earlier_m") == pytest.approx(RIDE.rise, abs=0.01)
    assert number(finding, "release_s") == pytest.approx(RIDE.back + CONTACT - start, abs=0.03)
    assert f"a bounce instead, {length(number(finding, 'rise_m'))} high" in finding.message


def test_cut_short_before_the_turn() -> None:
    """Nothing is fitted to half a climb, or its apex is extrapolated: either way the launch is stopped."""
    end = RIDE.release + 0.6 * (RIDE.apex - RIDE.release)
    finding = only(bench_of(record_of(RIDE, end=end)), "cut-short", "stop")
    assert number(finding, "end_s") == pytest.approx(end, abs=0.02)
    assert f"{number(finding, 'end_s'):.2f} s" in finding.message


def test_cut_short_on_the_way_back() -> None:
    end = RIDE.apex + 0.4 * (RIDE.back - RIDE.apex)
    finding = only(bench_of(record_of(RIDE, end=end)), "cut-short", "look")
    assert number(finding, "end_s") == pytest.approx(end, abs=0.021)
    assert number(finding, "back_s") == pytest.approx(RIDE.back, abs=0.03)
    assert "rolling" in finding.message


def near_apex(motion: Ride, record: Record, least: float) -> np.ndarray:
    return np.asarray(ZERO - motion.position(record.time) < least)


def test_too_close_at_the_apex() -> None:
    """The apex is at ZERO − rise = 0.639 m; a ranger with a least range of 0.70 m reads that instead."""
    record = record_of(RIDE)
    blind = near_apex(RIDE, record, 0.70)
    finding = only(bench_of(spoiled(record, blind, 0.70), min_range=0.70), "too-close", "stop", beside=("stuck-echo",))
    assert number(finding, "nearest_m") == pytest.approx(ZERO - RIDE.rise, abs=0.01)
    assert number(finding, "readings") == pytest.approx(blind.sum(), abs=2)
    assert f"{percent((0.70 - number(finding, 'nearest_m')) / RIDE.rise)} of the climb" in finding.message


def test_too_close_at_the_stop() -> None:
    """The ranger stands at the bottom, 1 m from the cart at rest: below 1.02 m it reads 1.02 m."""
    record = record_of(RIDE, placed="bottom")
    blind = ZERO + RIDE.position(record.time) < 1.02
    bench = bench_of(spoiled(record, blind, 1.02), placed="bottom", min_range=1.02, length=1.8)
    finding = only(bench, "too-close", "look", beside=("stuck-echo", "ghost-echo", "no-rest"))
    assert number(finding, "min_range_m") == 1.02
    assert "at the stop" in finding.message


def test_too_far_at_the_apex() -> None:
    """The apex is at ZERO + rise = 1.36 m, and from 1.30 m on the cells are blank."""
    record = record_of(RIDE, placed="bottom")
    lost = ZERO + RIDE.position(record.time) > 1.30
    bench = bench_of(spoiled(record, lost, np.nan), placed="bottom", max_range=1.30)
    finding = only(bench, "too-far", "stop", beside=("lost-echo",))
    assert number(finding, "farthest_m") == pytest.approx(ZERO + RIDE.rise, abs=0.01)
    assert number(finding, "seen_to_m") == 1.30
    assert "1.36 m from the ranger" in finding.message and "from 1.30 m on" in finding.message


def test_too_slow() -> None:
    finding = only(bench_of(record_of(RIDE, rate=2.5)), "too-slow", "stop")
    assert number(finding, "rate_Hz") == pytest.approx(2.5)
    assert "2.5 samples per second" in finding.message


def in_first_flight(record: Record, motion: Ride = RIDE) -> np.ndarray:
    return np.asarray((record.time > motion.release) & (record.time < motion.back))


def test_lost_echo() -> None:
    record = record_of(RIDE)
    hole = (record.time > RIDE.release + 0.1) & (record.time < RIDE.release + 0.5)
    finding = only(bench_of(spoiled(record, hole, np.nan)), "lost-echo", "look")
    assert number(finding, "missing") == hole.sum()
    assert number(finding, "of") == pytest.approx(in_first_flight(record).sum(), abs=2)
    assert number(finding, "longest_s") == pytest.approx(hole.sum() / 50.0)
    assert f"{hole.sum()} of {finding.evidence['of']} readings" in finding.message
    assert "the kinetic energy known to" in finding.message


def test_lost_echo_elsewhere() -> None:
    record = record_of(SETTLED)
    hole = record.time > SETTLED.end - 1.0
    finding = only(bench_of(spoiled(record, hole, np.nan)), "lost-echo", "look")
    assert number(finding, "missing") == hole.sum() and number(finding, "longest_s") == 0.0
    assert "none of them on the first flight" in finding.message


def test_lost_echo_of_nearly_all() -> None:
    record = record_of(RIDE, placed="bottom")
    lost = np.random.default_rng(5).random(record.samples) > 0.06
    assert lost.sum() > 0.9 * record.samples
    finding = only(bench_of(spoiled(record, lost, np.nan), placed="bottom"), "lost-echo", "stop")
    assert number(finding, "missing") == lost.sum() and f"{lost.sum()} of {record.samples}" in finding.message


def test_ghost_echoes() -> None:
    record = record_of(RIDE)
    places = np.flatnonzero(in_first_flight(record))[[10, 25, 40]]
    at = np.isin(np.arange(record.samples), places)
    finding = only(bench_of(spoiled(record, at, 2.9)), "ghost-echo", "look")
    off = 2.9 - (ZERO - RIDE.position(record.time[places]))
    assert number(finding, "samples") == 3
    assert number(finding, "first_s") == pytest.approx(record.time[places[0]])
    assert number(finding, "farthest_m") == pytest.approx(np.max(off), abs=0.01)
    assert f"3 readings are not the cart, the first at {record.time[places[0]]:.2f} s" in finding.message


def test_one_ghost_echo_is_a_note_in_the_singular() -> None:
    record = record_of(RIDE)
    at = np.arange(record.samples) == np.flatnonzero(in_first_flight(record))[20]
    finding = only(bench_of(spoiled(record, at, 2.9)), "ghost-echo", "note")
    assert f"1 reading is not the cart, at {record.time[at][0]:.2f} s, 2.2" in finding.message
    assert "It is left out" in finding.message


def test_stuck_echo() -> None:
    """From 0.3 s after the release on, the ranger sees a chair 0.93 m away for 0.4 s."""
    record = record_of(RIDE)
    at = (record.time > RIDE.release + 0.3) & (record.time < RIDE.release + 0.7)
    # Readings beside the stretch are flagged with it, and told of as false.
    finding = only(bench_of(spoiled(record, at, 0.93)), "stuck-echo", "look", beside=("ghost-echo",))
    assert number(finding, "at_m") == pytest.approx(0.93, abs=1e-3)
    assert number(finding, "samples") == pytest.approx(at.sum(), abs=2)
    assert "stand still at 0.930 m" in finding.message


def test_stuck_echo_over_most_of_the_flight() -> None:
    record = record_of(RIDE)
    at = (record.time > RIDE.release + 0.3) & (record.time < RIDE.release + 1.2)
    finding = only(bench_of(spoiled(record, at, 0.93)), "stuck-echo", "stop", beside=("ghost-echo",))
    assert "more than half" in finding.message


def test_a_clock_that_leaps() -> None:
    record = record_of(RIDE)
    place = int(np.searchsorted(record.time, RIDE.release + 0.3))
    time = record.time + np.where(np.arange(record.samples) > place, 1.013, 0.0)
    finding = only(bench_of(replace(record, time=time)), "clock", "look", beside=("cut-short", "caught", "misfit", "second-launch"))
    assert number(finding, "gap_s") == pytest.approx(1.033) and number(finding, "at_s") == pytest.approx(record.time[place])
    assert "leaps by 1.03 s" in finding.message


@pytest.mark.parametrize(("count", "severity", "words"), [(1, "look", "1 of"), (6, "look", "6 of"), (60, "stop", "60 of")])
def test_a_clock_that_repeats(count: int, severity: str, words: str) -> None:
    record = record_of(SETTLED)
    time = record.time.copy()
    first = record.samples - 2 * count - 5
    time[first + 1 : first + 2 * count : 2] = time[first : first + 2 * count - 1 : 2]
    finding = only(bench_of(replace(record, time=time)), "clock", severity)
    assert number(finding, "samples") == count
    assert number(finding, "first") in (first, first + 1)  # which of two equal stamps is the wrong one nobody can tell
    assert f"{words} {record.samples} time stamps repeat" in finding.message
    assert ("repeats or runs back" in finding.message) == (count == 1)


def test_a_clock_in_another_unit() -> None:
    record = record_of(RIDE)
    finding = only(bench_of(replace(record, time=record.time / 100.0)), "clock", "stop")
    assert number(finding, "rate_Hz") == pytest.approx(5000.0)
    doubted = replace(record, time_doubt="the times are evidently divided by 100")
    assert "evidently divided by 100. A clock" in only(bench_of(doubted), "clock", "look").message


def no_rest(bench: Bench) -> Bench:
    return replace(bench, rest=None)


def test_no_rest_record() -> None:
    finding = only(no_rest(bench_of(record_of(RIDE))), "no-rest", "look", beside=("ghost-echo",))
    # Without a standing cart the level is known to centimetres: far worse than a record of three seconds, far better than the travel.
    assert 0.001 < number(finding, "u_m") < 0.05
    assert number(finding, "share") == pytest.approx(number(finding, "u_m") / RIDE.rise, rel=0.1)
    assert f"± {length(number(finding, 'u_m'))}" in finding.message and percent(number(finding, "share")) in finding.message


def test_no_rest_record_but_a_cart_that_settles() -> None:
    finding = only(no_rest(bench_of(record_of(SETTLED))), "no-rest", "note")
    assert number(finding, "u_m") < 0.001
    assert "where the cart settles" in finding.message


def test_a_rest_record_in_which_nothing_stands() -> None:
    waving = rest_record()
    waving = replace(waving, distance=waving.distance + 0.1 * np.sin(20.0 * waving.time))
    smeared = replace(waving, distance=np.full(60, np.nan), velocity_only=True)
    for rest, said in ((waving, "In rest.csv the cart never stands still"), (smeared, "rest.csv has a velocity column")):
        assert said in only(bench_of(record_of(RIDE), rest=rest), "no-rest", "look", beside=("ghost-echo",)).message


@pytest.mark.parametrize("shift", [0.03, -0.02])
def test_rest_mismatch(shift: float) -> None:
    """The rest record reads `shift` farther from the ranger at the top, so the cart settles that much higher than it says."""
    finding = only(bench_of(record_of(SETTLED), rest=rest_record(at=ZERO + shift)), "rest-mismatch", "look")
    assert number(finding, "shift_m") == pytest.approx(shift, abs=0.001)
    assert f"{100.0 * abs(shift):.1f} cm {'above' if shift > 0 else 'below'}" in finding.message
    assert percent(shift / RIDE.rise) in finding.message and "the launch record is believed" in finding.message


def test_rest_mismatch_seen_in_a_bounce() -> None:
    """The rest record stands 6 cm down the slope: there the next hop would have to begin before the first has ended."""
    finding = only(bench_of(record_of(RIDE), rest=rest_record(at=ZERO + 0.06)), "rest-mismatch", "look", beside=("ghost-echo",))
    # Without a contact the hops would meet v·T/2 below the level at which the stop lets go, so this is a least value.
    speed = 0.5 * (0.96 + 0.77)
    assert number(finding, "shift_m") == pytest.approx(0.06 - 0.5 * CONTACT * speed, abs=0.005)
    assert "bounces at least 1." in finding.message and "all there is to count from" in finding.message


def test_a_soft_stop_is_no_rest_mismatch() -> None:
    """A stop that holds slow and fast carts for 0.7 s alike is soft, and the rest record is right."""
    slow = record_of(ride(contact=0.7, hops=4))
    assert told(audited(bench_of(slow))) == [("soft-stop", "note")]


def test_rest_cocked() -> None:
    finding = only(bench_of(record_of(SETTLED), rest=rest_record(at=ZERO + 0.04)), "rest-cocked", "look")
    assert number(finding, "shift_m") == pytest.approx(0.04, abs=0.001)
    assert "4.0 cm above" in finding.message
    assert f"{percent(0.04 / RIDE.rise)} too large" in finding.message


@pytest.mark.parametrize(("stands", "says"), [("top", "bottom"), ("bottom", "top")])
def test_wrong_side(stands: str, says: str) -> None:
    finding = only(bench_of(record_of(RIDE, placed=stands), placed=says), "wrong-side", "look")
    assert finding.evidence["seen"] == stands and finding.evidence["stated"] == says
    assert f"stands at the {says}" in finding.message and f"stands at the {stands}" in finding.message


def test_angle_mismatch() -> None:
    finding = only(bench_of(record_of(RIDE), angle=6.0), "angle-mismatch", "look")
    assert number(finding, "stated_deg") == 6.0
    assert number(finding, "seen_deg") == pytest.approx(ANGLE, abs=0.15)
    off = math.sin(math.radians(6.0)) / math.sin(math.radians(number(finding, "seen_deg"))) - 1.0
    assert f"{percent(off)} smaller" in finding.message  # sin 6°/sin 8° − 1 = −24.9 %
    assert off == pytest.approx(-0.249, abs=0.015)


@pytest.mark.parametrize(
    ("stated", "meant"),
    [(82.0, "an angle from the vertical"), (0.14, "radians"), (14.05, "per cent of slope"), (16.0, "twice the angle")],
)
def test_angle_suspect(stated: float, meant: str) -> None:
    finding = only(bench_of(record_of(RIDE), angle=stated), "angle-suspect", "look", beside=("angle-mismatch",))
    assert finding.evidence["meant"] == meant and f"Read as {meant} it would fit" in finding.message
    assert number(finding, "stated_deg") == stated


def test_angle_suspect_without_a_motion() -> None:
    standing = record_of(replace(RIDE, position=lambda t: 0.0 * t))
    finding = only(bench_of(standing, angle=85.0), "angle-suspect", "look", beside=("no-launch",))
    assert "seen_deg" not in finding.evidence and "the motion shows" not in finding.message


@pytest.mark.parametrize(("mass", "fits"), [(500.0, "500 g, that is 0.5 kg"), (0.0005, "500 g, that is 0.5 kg"), (40.0, "")])
def test_mass_suspect(mass: float, fits: str) -> None:
    finding = only(bench_of(record_of(RIDE), mass=mass), "mass-suspect", "look")
    assert number(finding, "mass_kg") == mass
    assert f"given as {mass:.4g} kg" in finding.message
    assert fits in finding.message and ("would fit" in finding.message) == bool(fits)


@pytest.mark.parametrize("factor", [100.0, 10.0, 0.1, 0.01])
def test_distances_in_another_unit(factor: float) -> None:
    record = record_of(RIDE)
    wrong = replace(record, distance=record.distance * factor, distance_step=1e-4 * factor)
    finding = only(bench_of(wrong), "units-suspect", "stop")
    low, high = np.quantile(wrong.distance, [0.1, 0.9])
    assert number(finding, "low_m") == pytest.approx(low, rel=0.1) and number(finding, "high_m") == pytest.approx(high, rel=0.1)


def test_a_unit_that_contradicts_its_heading() -> None:
    doubted = replace(record_of(RIDE), unit_doubt="the heading says cm, but the numbers are evidently metres")
    assert "the heading says cm" in only(bench_of(doubted), "units-suspect", "look").message


def test_a_travel_longer_than_the_track() -> None:
    finding = only(bench_of(record_of(RIDE), length=0.3, min_range=0.05), "units-suspect", "look")
    assert number(finding, "travel_m") == pytest.approx(RIDE.rise, abs=0.01)
    assert f"climbs {RIDE.rise:.2f} m on a track of 0.30 m" in finding.message


@pytest.mark.parametrize(("angle", "ratio"), [(0.9, math.sin(math.radians(ANGLE)) / math.sin(math.radians(0.9)))])
def test_a_deceleration_ten_times_too_large(angle: float, ratio: float) -> None:
    finding = only(bench_of(record_of(RIDE), angle=angle), "units-suspect", "look", beside=("angle-mismatch",))
    assert number(finding, "ratio") == pytest.approx(ratio, rel=0.05)
    assert "10 times off" in finding.message


def shoved(seconds: float, above: float) -> Ride:
    """The hand pushes for `seconds`, evenly, from 4 cm below the rest level to `above` it; 1 m/s there, then the usual flight."""
    free, path, start = ride(depth=1e-9, wait=0.0), 0.04 + above, 1.0

    def position(time: np.ndarray) -> np.ndarray:
        t = time - start
        v1 = 2.0 * path / seconds - 1.0  # the mean of first and last speed is path over time
        push = -0.04 + v1 * t + 0.5 * (1.0 - v1) / seconds * t * t
        after = above + free.position(np.maximum(t - seconds, 0.0))
        # Back at the stop the flight is the usual one, from `above` higher: it ends there, before a bounce.
        return np.where(t < 0.0, -0.04, np.where(t < seconds, push, after))

    down = math.sqrt(2.0 * (free.rise + above) / DESCENT)
    release, apex = start + seconds, start + seconds + 1.0 / CLIMB
    return Ride(position, release, apex, apex + down, free.rise, apex + 0.95 * math.sqrt(2.0 * free.rise / DESCENT))


def test_pushed_by_hand() -> None:
    """A push of 0.45 s that ends 18 cm above the stop."""
    motion = shoved(0.45, 0.18)
    finding = only(bench_of(record_of(motion)), "pushed-by-hand", "look")
    assert number(finding, "samples_above") >= 3
    assert number(finding, "push_s") == pytest.approx(0.45, abs=0.2)
    assert "above the stop" in finding.message and "% of the climb" in finding.message


def caught_at(when: float, place: float, motion: Ride = RIDE) -> Ride:
    """The ride until `when`, and from there on the cart held where it was, drawn `place` further in half a second."""
    held = float(motion.position(np.array([when]))[0])

    def position(time: np.ndarray) -> np.ndarray:
        drawn = held + place * np.clip((time - when) / 0.5, 0.0, 1.0)
        return np.where(time < when, motion.position(time), drawn)

    return replace(motion, position=position, end=when + 1.5)


def test_caught_on_the_way_down() -> None:
    when = RIDE.apex + 0.6 * (RIDE.back - RIDE.apex)
    finding = only(bench_of(record_of(caught_at(when, 0.05))), "caught", "look", beside=("ghost-echo",))
    assert number(finding, "after_s") == pytest.approx(when, abs=0.06)
    assert number(finding, "back_s") == pytest.approx(RIDE.back, abs=0.05)
    assert f"after {number(finding, 'after_s'):.2f} s" in finding.message


def test_caught_on_the_way_up() -> None:
    when = RIDE.release + 0.45 * (RIDE.apex - RIDE.release)
    motion = caught_at(when, 0.0)
    finding = only(bench_of(record_of(motion)), "caught", "stop")
    rise = float(motion.position(np.array([when]))[0]) + 0.04
    assert number(finding, "rise_m") == pytest.approx(rise, abs=0.01)
    assert when - 0.05 < number(finding, "highest_s") <= motion.end  # it stands there, and the noise says when it is highest
    assert f"{length(rise)[:3]}" in finding.message and "stops there" in finding.message


def test_caught_just_after_the_turn() -> None:
    """Too little of the way back to fit, and it is said that the cart came back by that much."""
    when = RIDE.apex + 0.45
    motion = caught_at(when, 0.0)
    finding = only(bench_of(record_of(motion)), "caught", "stop")
    drop = RIDE.rise - float(motion.position(np.array([when]))[0])
    assert number(finding, "drop_m") == pytest.approx(drop, abs=0.005)
    assert number(finding, "highest_s") == pytest.approx(RIDE.apex, abs=0.08)
    assert "comes back only" in finding.message


def test_second_launch() -> None:
    again = RIDE.end + 1.5

    def position(time: np.ndarray) -> np.ndarray:
        waiting = -0.04 * np.clip((time - RIDE.end - 0.3) / 0.5, 0.0, 1.0)
        first = np.where(time < RIDE.end, RIDE.position(time), waiting)
        return np.where(time < again, first, RIDE.position(np.maximum(time - again + 1.0, 0.0)))

    motion = replace(RIDE, position=position, end=again + 2.5)
    finding = only(bench_of(record_of(motion)), "second-launch", "look")
    assert number(finding, "apex_s") == pytest.approx(again - 1.0 + RIDE.apex, abs=0.05)
    assert number(finding, "height_m") == pytest.approx(RIDE.rise, abs=0.02)
    assert f"rises {100.0 * number(finding, 'height_m'):.0f} cm" in finding.message


def test_soft_stop() -> None:
    """A contact of 0.5 s on a spring: δ = a·(T/π)², with a the mean of a_u and a_d (DESIGN §4)."""
    finding = only(bench_of(record_of(ride(contact=0.5))), "soft-stop", "note")
    lift = 0.5 * (CLIMB + DESCENT) * (0.5 / math.pi) ** 2
    assert abs(number(finding, "offset_m") - lift) <= number(finding, "half_width_m")
    assert "holds the cart for 0.5" in finding.message
    assert 0.5 * (CLIMB + DESCENT) * (CONTACT / math.pi) ** 2 < ramp_findings._SOFT[0]  # why the usual bench has none


def on_a_sagging_track(per_metre: float) -> Ride:
    """One flight on a track whose slope grows by `per_metre` (rad/m) up the way: s̈ = −a ∓ r − g·b·(s − rise/2)/(1 + κ), RK4."""
    mean, grip, bend = 0.5 * (CLIMB + DESCENT), 0.5 * (CLIMB - DESCENT), 9.81 * per_metre / 1.02
    step, state = 1e-3, np.array([0.0, 1.0])

    def rate(y: np.ndarray) -> np.ndarray:
        return np.array([y[1], -mean - math.copysign(grip, y[1]) - bend * (y[0] - 0.5 * RIDE.rise)])

    path = [state]
    while state[0] >= 0.0:
        one = rate(state)
        two = rate(state + 0.5 * step * one)
        three = rate(state + 0.5 * step * two)
        four = rate(state + step * three)
        state = state + step / 6.0 * (one + 2.0 * two + 2.0 * three + four)
        path.append(state)
    s = np.array(path)[:, 0]
    times, launch = step * np.arange(s.size), RIDE.release

    def position(time: np.ndarray) -> np.ndarray:
        return np.where(time < launch, RIDE.position(np.minimum(time, launch)), np.interp(time - launch, times, s))

    return Ride(position, launch, launch + step * int(np.argmax(s)), launch + times[-1], float(s.max()), launch + times[-1])


def test_misfit_of_a_sagging_track() -> None:
    """A track that sags by 15 mm over 1.2 m has a slope that changes by 8·0.015/1.2² = 0.083 rad/m."""
    bench = bench_of(record_of(on_a_sagging_track(8.0 * 0.015 / 1.2**2), rate=100.0, noise=0.0002))
    finding = only(bench, "misfit", "look", beside=("angle-mismatch", "ghost-echo", "caught"))
    assert 1e-4 < number(finding, "size_m") < 0.004
    assert number(finding, "p") < 3e-5
    assert f"{1000.0 * number(finding, 'size_m'):.2f} mm of that is a pattern" in finding.message
    assert ramp_findings._LIKENESS[str(finding.evidence["kind"])] in finding.message


def test_misfit_of_a_flight_that_is_no_arc() -> None:
    """The first flight is bent by 4 cm in the middle of its way up and down: a bounce is all that can be followed."""
    position = RIDE.position

    def bent(time: np.ndarray) -> np.ndarray:
        s = position(time)
        return np.where(time < RIDE.back, s + 0.04 * np.sin(6.0 * math.pi * np.clip(s, 0.0, RIDE.rise) / RIDE.rise), s)

    finding = only(bench_of(record_of(replace(RIDE, position=bent))), "misfit", "look", beside=("pushed-by-hand", "ghost-echo"))
    assert number(finding, "rise_m") == pytest.approx(0.64 * DESCENT / CLIMB * RIDE.rise, abs=0.01)
    assert number(finding, "earlier_m") == pytest.approx(RIDE.rise, abs=0.05)
    assert number(finding, "release_s") == pytest.approx(RIDE.back + CONTACT, abs=0.03)
    assert "earlier flight" in finding.message


def test_every_kind_of_misfit_has_its_words() -> None:
    assert set(ramp_findings._LIKENESS) == set(KINDS)


def test_velocity_only() -> None:
    record = record_of(RIDE)
    finding = only(bench_of(replace(record, distance=np.full(record.samples, np.nan), velocity_only=True)), "velocity-only", "stop")
    assert "no positions" in finding.message


# ---- words -----------------------------------------------------------------------------------------------------------------


def test_words_for_counts_and_sizes() -> None:
    assert counted(1, "reading is", "readings are") == "1 reading is"
    assert counted(0, "reading is", "readings are") == "0 readings are"
    assert [percent(share) for share in (0.0, -0.0004, 0.0123, 0.0994, 0.0996, -0.5, math.nan)] == [
        "less than 0.1 %", "less than 0.1 %", "1.2 %", "9.9 %", "10 %", "50 %", "an unknown part",
    ]  # fmt: skip
    assert [known_to(doubt) for doubt in (0.0001, 0.003)] == ["to better than 0.1 %", "to ± 0.3 % (standard uncertainty)"]
    assert [length(metres) for metres in (0.0007, -0.0123, 0.456, 1.2345)] == ["0.7 mm", "1.2 cm", "45.6 cm", "1.23 m"]


# ---- simulated benches, one fault each -------------------------------------------------------------------------------------

Check = Callable[[SimulatedBench, Finding, int], bool]


def near(finding: Finding, name: str, value: float, tolerance: float) -> bool:
    return abs(number(finding, name) - value) <= tolerance


def sees_cut(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    truth, record = simulated.truths[launch], simulated.bench.launches[launch]
    if simulated.design.skip is not None and "over" in finding.evidence:
        assert truth is not None
        over = -truth.release_time / (truth.apex_time - truth.release_time)
        return near(finding, "over", over + record.time[0] / (truth.apex_time - truth.release_time), 0.08)
    return "start_s" in finding.evidence or near(finding, "end_s", record.time[np.isfinite(record.distance)][-1], 1e-9)


def sees_reach(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    reach = simulated.design.stated_max_range
    assert reach is not None
    return number(finding, "farthest_m") > reach - 0.15


def sees_lost(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    missing = int(np.isnan(simulated.bench.launches[launch].distance).sum())
    return 0 < number(finding, "missing") <= missing


def sees_ghosts(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    return number(finding, "samples") <= 1.3 * simulated.readings[launch].spoiled.sum() + 1


def sees_shift(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    return near(finding, "shift_m", -simulated.design.rest_shift, 0.008)


def sees_cocked(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    stroke = simulated.design.stroke(simulated.design.speed)
    return near(finding, "shift_m", stroke + simulated.design.setup.rest_level, 0.012)


def sees_meant(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    stated = simulated.bench.inputs["track.angle"].value
    return finding.evidence["meant"] == ("an angle from the vertical" if stated > 60.0 else "radians")


def sees_push(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    return 0.1 < number(finding, "push_s") < 0.8


def sees_catch(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    motion = simulated.motions[launch]
    hand = next(event.time for event in motion.events if event.kind == "hand")
    offset = simulated.bench.launches[launch].time[0] - simulated.readings[launch].taken[0]
    if "after_s" in finding.evidence:
        return -0.15 < number(finding, "after_s") - (hand + offset) < 0.5
    turn = next((event.time for event in motion.events if event.kind == "turn"), hand)
    return -0.15 < number(finding, "highest_s") - (min(turn, hand) + offset) < 1.1  # a hand may hold the cart for a second


def sees_again(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    motion = simulated.motions[launch]
    offset = simulated.bench.launches[launch].time[0] - simulated.readings[launch].taken[0]
    turns = [event.time + offset for event in motion.events if event.kind == "turn"]
    return min(abs(number(finding, "apex_s") - turn) for turn in turns[1:]) < 0.08


def sees_lift(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    # The plunger, which lets go at its own free length, launches the cart; the soft stop lets go at most its depth higher.
    lift, half = number(finding, "offset_m"), number(finding, "half_width_m")
    return lift - half < -simulated.design.setup.rest_level and lift + half > 0.0 and half > 0.003


def sees_misfit(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    return "earlier_m" in finding.evidence or (number(finding, "p") < 3e-5 and finding.evidence["kind"] in KINDS)


CHECKS: Mapping[str, Check] = {
    "no-launch": lambda s, f, i: near(f, "swing_m", float(np.ptp(s.bench.launches[i].distance)), 0.005),
    "cut-short": sees_cut,
    "too-close": lambda s, f, i: near(f, "min_range_m", s.design.ranger.min_range, 1e-9),
    "too-far": sees_reach,
    "too-slow": lambda s, f, i: near(f, "rate_Hz", s.design.ranger.rate, 0.02 * s.design.ranger.rate),
    "lost-echo": sees_lost,
    "ghost-echo": sees_ghosts,
    "stuck-echo": lambda s, f, i: near(f, "at_m", s.design.ranger.stuck_at, 0.002),
    "clock": lambda s, f, i: {"samples", "gap_s", "rate_Hz"} & set(f.evidence) != set(),
    "no-rest": lambda s, f, i: s.bench.rest is None and 0.0 < number(f, "u_m") < 0.06,
    "rest-mismatch": sees_shift,
    "rest-cocked": sees_cocked,
    "wrong-side": lambda s, f, i: f.evidence["seen"] == s.design.ranger.placed,
    "angle-mismatch": lambda s, f, i: near(f, "seen_deg", s.design.setup.angle, 0.5),
    "angle-suspect": sees_meant,
    "mass-suspect": lambda s, f, i: near(f, "mass_kg", 1000.0 * s.design.setup.mass, 2.0),
    "units-suspect": lambda s, f, i: "low_m" in f.evidence or "ratio" in f.evidence or "travel_m" in f.evidence,
    "pushed-by-hand": sees_push,
    "caught": sees_catch,
    "second-launch": sees_again,
    "soft-stop": sees_lift,
    "misfit": sees_misfit,
    "velocity-only": lambda s, f, i: s.bench.launches[i].velocity_only,
}  # fmt: skip


@cache
def simulated_audit(code: str, seed: int) -> tuple[SimulatedBench, Audit]:
    rng = np.random.default_rng([53, seed])
    design = random_design(rng, stop="spring", angle=7.0, rate=50.0, launches=1 + seed % 2, hands=False)
    simulated = faulty_bench(code, rng, design=design)
    return simulated, audited(simulated.bench)


@pytest.mark.parametrize("code", FAULTS)
def test_a_simulated_fault_is_found_with_its_numbers(code: str) -> None:
    for seed in SEEDS:
        simulated, audit = simulated_audit(code, seed)
        found = [finding for finding in audit.findings if finding.code == code]
        assert found, (seed, told(audit))
        for finding in found:
            sound(finding, simulated.bench)
            names = [record.file for record in simulated.bench.launches]
            launch = names.index(str(finding.evidence["record"])) if "record" in finding.evidence else 0
            assert CHECKS[code](simulated, finding, launch), (seed, finding)


def test_a_record_has_at_most_one_finding_of_each_code() -> None:
    for code in FAULTS:
        for seed in SEEDS:
            _, audit = simulated_audit(code, seed)
            named = [(finding.code, finding.evidence.get("record")) for finding in audit.findings]
            assert len(named) == len(set(named)), (code, seed)
            for finding in audit.findings:
                sound(finding, simulated_audit(code, seed)[0].bench)
