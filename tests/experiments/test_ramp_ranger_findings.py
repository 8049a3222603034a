"""What the ranger did wrong, on records written by hand."""

from __future__ import annotations

import numpy as np
import pytest
from tests.experiments.finding_checks import RIDE, SETTLED, number, only, spoiled
from tests.experiments.hand_made import ZERO, Ride, bench_of, record_of

from joulebook.engine.record import Record
from joulebook.experiments.ramp_effects import percent


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


def test_a_travel_longer_than_the_track() -> None:
    finding = only(bench_of(record_of(RIDE), length=0.3, min_range=0.05), "units-suspect", "look")
    assert number(finding, "travel_m") == pytest.approx(RIDE.rise, abs=0.01)
    assert f"climbs {RIDE.rise:.2f} m on a track of 0.30 m" in finding.message


def test_too_far_at_the_stop() -> None:
    """The stop is 1 m from the ranger at the top, and from 0.95 m on the cells are blank."""
    record = record_of(RIDE)
    lost = RIDE.position(record.time) < ZERO - 0.95
    bench = bench_of(spoiled(record, lost, np.nan), max_range=0.95)
    finding = only(bench, "too-far", "look", beside=("lost-echo", "cut-short"))
    assert number(finding, "farthest_m") == pytest.approx(ZERO, abs=0.02) and number(finding, "seen_to_m") == 0.95
    assert "That is at the stop" in finding.message
