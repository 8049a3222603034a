"""What a launch record shows whatever was launched: unit, clock, beginning and end, rate; on records written by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.experiments.finding_checks import RIDE, SETTLED, number, only
from tests.experiments.hand_made import CLIMB, CONTACT, DESCENT, Ride, bench_of, record_of, ride

from joulebook.experiments.ramp_effects import length


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


def test_cut_short_on_the_way_back() -> None:
    end = RIDE.apex + 0.4 * (RIDE.back - RIDE.apex)
    finding = only(bench_of(record_of(RIDE, end=end)), "cut-short", "look")
    assert number(finding, "end_s") == pytest.approx(end, abs=0.021)
    assert number(finding, "back_s") == pytest.approx(RIDE.back, abs=0.03)
    assert "rolling" in finding.message


def test_too_slow() -> None:
    finding = only(bench_of(record_of(RIDE, rate=2.5)), "too-slow", "stop")
    assert number(finding, "rate_Hz") == pytest.approx(2.5)
    assert "2.5 samples per second" in finding.message


def test_a_clock_that_leaps() -> None:
    record = record_of(RIDE)
    place = int(np.searchsorted(record.time, RIDE.release + 0.3))
    time = record.time + np.where(np.arange(record.samples) > place, 1.013, 0.0)
    finding = only(bench_of(replace(record, time=time)), "clock", "look", beside=("misfit",))
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


def test_a_unit_that_no_heading_names() -> None:
    guessed = replace(record_of(RIDE), unit_doubt="no unit is given for column 2, but its numbers are evidently centimetres")
    assert "no unit is given" in only(bench_of(guessed), "units-suspect", "note").message


def test_hardly_enough_samples() -> None:
    """At 3 per second a flight of 1.5 s holds four or five samples."""
    finding = only(bench_of(record_of(RIDE, rate=3.0)), "too-slow", "look")
    inside = int(np.sum((np.arange(0.0, RIDE.end, 1.0 / 3.0) > RIDE.release) & (np.arange(0.0, RIDE.end, 1.0 / 3.0) < RIDE.back)))
    assert number(finding, "flight") == inside and f"the whole flight {inside}" in finding.message
