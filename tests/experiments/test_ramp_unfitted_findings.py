"""Why nothing could be fitted, on records written by hand."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from tests.experiments.finding_checks import RIDE, caught_at, number, only, spoiled
from tests.experiments.hand_made import bench_of, record_of, rest_record

from joulebook.experiments.ramp_effects import length


def test_no_launch() -> None:
    standing = record_of(replace(RIDE, position=lambda t: 0.01 * np.sin(t)))
    finding = only(bench_of(standing), "no-launch", "stop")
    swing = float(np.ptp(standing.distance))
    assert number(finding, "swing_m") == pytest.approx(swing, abs=2e-3)
    assert f"change by {100.0 * swing:.1f} cm" in finding.message


def test_cut_short_before_the_turn() -> None:
    """Nothing is fitted to half a climb, or its apex is extrapolated: either way the launch is stopped."""
    end = RIDE.release + 0.6 * (RIDE.apex - RIDE.release)
    finding = only(bench_of(record_of(RIDE, end=end)), "cut-short", "stop")
    assert number(finding, "end_s") == pytest.approx(end, abs=0.02)
    assert f"{number(finding, 'end_s'):.2f} s" in finding.message


def test_lost_echo_of_nearly_all() -> None:
    record = record_of(RIDE, placed="bottom")
    lost = np.random.default_rng(5).random(record.samples) > 0.06
    assert lost.sum() > 0.9 * record.samples
    finding = only(bench_of(spoiled(record, lost, np.nan), placed="bottom"), "lost-echo", "stop")
    assert number(finding, "missing") == lost.sum() and f"{lost.sum()} of {record.samples}" in finding.message


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


def test_the_way_up_alone() -> None:
    """The record starts at half the climb and ends before the turn."""
    half = 0.5 * (RIDE.apex - RIDE.release)
    record = record_of(RIDE, start=RIDE.release + 0.2 * half, end=RIDE.release + half)
    finding = only(bench_of(record), "cut-short", "stop")
    assert "already climbing at 0." in finding.message


def test_the_turn_in_the_blind_zone_and_no_more_than_that() -> None:
    """From 2 cm below the rest level on everything is nearer than the ranger measures, and reads as its least range."""
    record = record_of(RIDE)
    blind = RIDE.position(record.time) > -0.02
    finding = only(bench_of(spoiled(record, blind, 1.02), rest=rest_record(at=1.03), min_range=1.02), "too-close", "stop")
    assert number(finding, "readings") == pytest.approx(blind.sum(), abs=2) and "blind zone (1.02 m)" in finding.message


def test_a_chair_for_most_of_the_flight() -> None:
    record = record_of(RIDE)
    at = (record.time > RIDE.release + 0.1) & (record.time < RIDE.end)
    finding = only(bench_of(spoiled(record, at, 0.80)), "stuck-echo", "stop")
    assert number(finding, "at_m") == 0.8 and "what is left is no launch" in finding.message


@pytest.mark.parametrize("at", [0.62, 0.45, 0.20])
def test_a_rest_record_beyond_the_highest_point(at: float) -> None:
    """The rest level lies above the whole flight: it is the rest record that does not belong to it, not a rate too low."""
    finding = only(bench_of(record_of(RIDE), rest=rest_record(at=at)), "rest-mismatch", "stop")
    assert f"the rest record has the cart at {at:.3f} m from the ranger" in finding.message
    turn = re.search(r"it turns at ([\d.]+) m", finding.message)
    assert turn is not None and float(turn[1]) == pytest.approx(1.0 - RIDE.rise, abs=0.002)
    assert "none of the" in finding.message and "readings of its flight lie above the rest level" in finding.message
    assert "sampling rate" not in finding.message + finding.remedy + str(finding.evidence)
