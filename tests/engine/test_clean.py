"""Clean: every kind of fault gets its own flag, and no sample is altered, dropped or hidden."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.engine.closed_form import ClosedForm

from joulebook.engine.clean import FLAGS, Trace, clean, name_outliers
from joulebook.engine.record import Record

Floats = np.ndarray
LAUNCH = ClosedForm()


def changed(record: Record, at: int | slice | Floats, value: float | Floats) -> Record:
    distance = record.distance.copy()
    distance[at] = value
    return replace(record, distance=distance)


def flagged(trace: Trace) -> dict[int, str]:
    return {int(i): str(trace.flags[i]) for i in np.flatnonzero(~trace.good)}


def middle(record: Record) -> int:
    """A sample half-way down the first descent."""
    flight = LAUNCH.flights()[0]
    return int(np.searchsorted(record.time, 0.5 * (flight.apex_time + flight.landing)))


@pytest.mark.parametrize("rate", [5.0, 10.0, 20.0, 40.0, 100.0, 200.0])
@pytest.mark.parametrize("noise", [0.0, 0.0003, 0.0015])
def test_a_clean_record_has_no_flag(rate: float, noise: float) -> None:
    trace = clean(LAUNCH.record(rate, noise=noise, step=0.0001), min_range=0.15, max_range=3.0)
    assert flagged(trace) == {}
    assert trace.rate == pytest.approx(rate)
    assert trace.step == pytest.approx(0.0001)


@pytest.mark.parametrize("rate", [32.0, 34.0, 36.0, 40.0, 50.0])
@pytest.mark.parametrize("contact", [0.0, 0.03, 0.06])
def test_a_bounce_is_no_spike(rate: float, contact: float) -> None:
    """The sharpest samples of a clean bounce are the cart's own, wherever the samples fall on it."""
    wrong = []
    for speed, fall in [(0.6, 0.7), (0.6, 1.7), (0.9, 1.7), (0.9, 2.9), (1.3, 2.9)]:
        launch = ClosedForm(
            contact=contact, restitution=0.45 if contact == 0.0 else 0.8, speed=speed, climb=1.05 * fall, descent=0.95 * fall
        )
        for part in np.linspace(0.0, 0.9, 8):
            found = flagged(clean(launch.record(rate, start=part / rate, noise=0.0003, step=0.0001)))
            wrong += [(speed, fall, round(float(part), 2), found)] if found else []
    assert wrong == []


def test_nothing_is_altered_and_nothing_is_dropped() -> None:
    """The trace's arrays are the record's own, bad samples and all."""
    record = LAUNCH.record(40.0, noise=0.0003)
    record.distance[[10, 60]] = [np.nan, 2.9]
    record.time[30] = record.time[29]
    before = record.time.copy(), record.distance.copy()
    trace = clean(record, min_range=0.15)
    assert trace.time is record.time and trace.distance is record.distance and trace.record is record
    assert np.array_equal(record.time, before[0]) and np.array_equal(record.distance, before[1], equal_nan=True)
    assert trace.flags.shape == record.time.shape
    assert set(flagged(trace)) == {10, 30, 60}
    assert set(trace.flags) <= {"", *FLAGS}


def test_missing() -> None:
    record = changed(LAUNCH.record(40.0, noise=0.0003), np.array([3, 50, 51]), np.nan)
    time = record.time.copy()
    time[70] = np.nan
    trace = clean(replace(record, time=time))
    assert flagged(trace) == dict.fromkeys([3, 50, 51, 70], "missing")


def test_repeated_time_stamps() -> None:
    record = LAUNCH.record(40.0, noise=0.0003)
    time = record.time.copy()
    time[[20, 21]] = time[19]
    assert flagged(clean(replace(record, time=time))) == {20: "duplicate", 21: "duplicate"}


def test_a_clock_that_runs_back() -> None:
    """Three stamps out of the middle belong to an earlier second: they are the fault, not the hundred others."""
    record = LAUNCH.record(40.0, noise=0.0003)
    time = record.time.copy()
    time[60:63] -= 1.0
    assert flagged(clean(replace(record, time=time))) == dict.fromkeys([60, 61, 62], "clock")


def test_a_clock_that_jumps_back_for_good() -> None:
    """Of the two stretches that cannot both be the clock, the longer is kept."""
    record = LAUNCH.record(40.0, noise=0.0003)
    time = record.time.copy()
    time[100:] -= 5.0
    found = flagged(clean(replace(record, time=time)))
    assert set(found.values()) == {"clock"}
    assert set(found) == set(range(100, time.size))
    assert time.size - 100 < 100


def test_the_whole_clock_runs_back() -> None:
    record = LAUNCH.record(40.0, noise=0.0003)
    trace = clean(replace(record, time=record.time[::-1].copy()))
    assert trace.good.sum() == 1
    assert set(flagged(trace).values()) == {"clock"}
    assert trace.interval == 0.0 and trace.rate == 0.0


def test_the_floor_of_the_blind_zone() -> None:
    """A cart that climbs to within 10 cm of a ranger that cannot see nearer than 15 cm: the reading stands at the floor."""
    launch = ClosedForm(rest=0.40, speed=0.95)
    record = launch.record(40.0, noise=0.0003)
    blind = record.distance < 0.15
    trace = clean(changed(record, blind, 0.15), min_range=0.15)
    assert blind.sum() >= 5
    assert set(np.flatnonzero(trace.flags == "floor").tolist()) >= set(np.flatnonzero(blind).tolist())
    assert not (trace.flags == "floor")[trace.distance > 0.16].any()


def test_farther_than_the_ranger_sees() -> None:
    record = LAUNCH.record(40.0, noise=0.0003)
    trace = clean(record, max_range=1.05)
    assert np.array_equal(trace.flags == "far-echo", record.distance > 1.05)
    assert not (~trace.good & (record.distance <= 1.05)).any()


@pytest.mark.parametrize("rate", [10.0, 20.0, 40.0, 100.0])
@pytest.mark.parametrize("length", [1, 2])
def test_far_echoes_of_one_or_two_samples(rate: float, length: int) -> None:
    """BENCH_FACTS [R]: far echoes, about 3 m, last one or two samples."""
    record = LAUNCH.record(rate, noise=0.0005, step=0.0001)
    at = middle(record)
    bad = changed(record, slice(at, at + length), [2.96, 3.01][:length])
    assert flagged(clean(bad)) == dict.fromkeys(range(at, at + length), "far-echo")


def test_a_wrong_first_and_last_sample() -> None:
    """BENCH_FACTS [R]: the first or last sample of a file may be another echo."""
    record = LAUNCH.record(20.0, noise=0.0005, step=0.0001)
    last = record.time.size - 1
    trace = clean(changed(changed(record, 0, 2.9), last, 0.2))
    assert flagged(trace) == {0: "far-echo", last: "outlier"}


def test_a_lone_spike_in_a_dense_record() -> None:
    """At 100/s two centimetres more than the smooth motion are no cart; at 20/s only a fitted motion can tell."""
    dense = LAUNCH.record(100.0, noise=0.0003, step=0.0001)
    at = middle(dense)
    assert flagged(clean(changed(dense, at, dense.distance[at] - 0.02))) == {at: "outlier"}
    slow = LAUNCH.record(20.0, noise=0.0003, step=0.0001)
    at = middle(slow)
    assert flagged(clean(changed(slow, at, slow.distance[at] - 0.02))) == {}


def test_a_fixed_object_is_seen() -> None:
    """BENCH_FACTS [R]: a lost target can look plausible: eight readings at 62 cm while the cart is 35 cm away from there."""
    record = LAUNCH.record(40.0, noise=0.0005, step=0.0001)
    at = middle(record) + 2
    rng = np.random.default_rng(1)
    stuck = np.round(0.62 + 0.0002 * rng.standard_normal(8), 4)
    trace = clean(changed(record, slice(at, at + 8), stuck))
    assert flagged(trace) == dict.fromkeys(range(at, at + 8), "stuck")


def test_a_cart_that_stands_is_not_stuck() -> None:
    """Cocked before the launch, and settled at the end: reached and left as carts do."""
    launch = ClosedForm(hops=6, settle=1.5)
    for rate in (20.0, 50.0, 100.0):
        trace = clean(launch.record(rate, noise=0.0002, step=0.0001))
        assert flagged(trace) == {}


def test_slips_of_a_cycle_are_left_to_the_fit() -> None:
    """A step of 3 mm is nothing that a cart could not do from one sample to the next: it takes a motion to see it."""
    record = LAUNCH.record(20.0, noise=0.0005, step=0.0001)
    at = middle(record)
    assert flagged(clean(changed(record, slice(at, at + 2), record.distance[at : at + 2] + 0.003))) == {}


@pytest.mark.parametrize("step", [0.00017, 0.001, 0.01])
def test_quantised_readings(step: float) -> None:
    """BENCH_FACTS [R]: steps of 0.17 mm (1 µs of echo), 1 mm or 10 mm; the noise is never below step/√12 (GUM F.2.2.1)."""
    trace = clean(LAUNCH.record(50.0, step=step))
    assert trace.step == pytest.approx(step, rel=1e-3)
    assert trace.noise >= 0.999 * step / math.sqrt(12.0)
    assert trace.noise < 2.5 * step
    assert flagged(trace) == {}


def test_the_printed_step_is_believed_where_the_numbers_do_not_show_it() -> None:
    record = replace(LAUNCH.record(40.0, noise=0.0002), distance_step=0.002)
    assert clean(record).step == 0.002
    assert clean(record).noise >= 0.002 / math.sqrt(12.0)


@pytest.mark.parametrize("noise", [0.0002, 0.0008])
def test_the_first_noise_is_that_of_the_samples(noise: float) -> None:
    """Over 20 records of about 230 samples, at 80/s; bounces and the push are in there too."""
    found = [clean(LAUNCH.record(80.0, noise=noise, seed=seed)).noise for seed in range(20)]
    assert np.mean(found) == pytest.approx(noise, rel=0.1)


@pytest.mark.parametrize("size", [0, 1, 2, 3, 5])
def test_a_handful_of_samples(size: int) -> None:
    record = LAUNCH.record(40.0)
    trace = clean(replace(record, time=record.time[:size], distance=record.distance[:size]))
    assert trace.flags.shape == (size,)
    assert trace.noise > 0.0
    assert trace.interval == pytest.approx(0.025 if size > 1 else 0.0)


def test_all_blank() -> None:
    trace = clean(Record("blank.csv", np.arange(5.0), np.full(5, np.nan)))
    assert flagged(trace) == dict.fromkeys(range(5), "missing")
    assert (trace.step, trace.interval) == (0.0, 0.0)


def test_outliers_get_their_names_from_what_they_look_like() -> None:
    """Rejected by a fit: 3 mm steps, a far echo, three equal neighbours, and one that is none of these."""
    record = LAUNCH.record(40.0, noise=0.0003)
    distance = record.distance.copy()
    distance[60:63] = 0.9
    trace = clean(replace(record, distance=distance))
    indices = np.array([20, 21, 40, 60, 61, 62, 80], dtype=np.intp)
    residuals = np.array([0.0031, -0.0027, 1.9, 0.05, 0.06, 0.07, -0.02])
    names = name_outliers(trace, indices, residuals)
    assert names.tolist() == ["slip", "slip", "far-echo", "stuck", "stuck", "stuck", "outlier"]
    assert set(names.tolist()) <= set(FLAGS)
    assert name_outliers(trace, np.empty(0, dtype=np.intp), np.empty(0)).tolist() == []
