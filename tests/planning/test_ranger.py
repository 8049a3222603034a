"""The ranger's readings: each effect seen by itself, statistical tolerances at five standard errors."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from joulebook.planning.motion import Motion, hold, through
from joulebook.planning.ranger import ECHO_STEP, Ranger, Reading, read_motion

STILL = hold(0.0, 0.0, 400.0)
QUIET = Ranger(rate=50.0, placed="bottom", zero=0.5, noise=0.0, decimals=6)


def read(ranger: Ranger, *, motion: Motion = STILL, seconds: float = 40.0, seed: int = 1) -> Reading:
    return read_motion(ranger, motion, start=0.0, end=seconds, rng=np.random.default_rng(seed))


@pytest.mark.parametrize("rate", [5.0, 20.0, 200.0])
def test_samples_come_at_the_rate(rate: float) -> None:
    reading = read(replace(QUIET, rate=rate), seconds=3.0)
    assert reading.time.size == 3 * rate + 1
    assert np.diff(reading.time) == pytest.approx(1.0 / rate, abs=1e-4)


def test_the_two_ends_see_opposite_motions_with_the_scale_and_the_geometry() -> None:
    path = through([0.0, 1.0, 2.0], [0.0, 0.3, 0.0])
    bottom, top = read(QUIET, motion=path, seconds=2.0), read(replace(QUIET, placed="top"), motion=path, seconds=2.0)
    assert bottom.distance - 0.5 == pytest.approx(0.5 - top.distance, abs=2e-6)
    scaled = read(replace(QUIET, scale=1.01), motion=path, seconds=2.0)
    assert scaled.distance == pytest.approx(bottom.distance / 1.01, abs=2e-6)
    assert read(replace(QUIET, tilt=10.0)).distance[0] == pytest.approx(0.5 * math.cos(math.radians(10.0)), abs=1e-6)
    assert read(replace(QUIET, off_axis=0.05)).distance[0] == pytest.approx(math.hypot(0.5, 0.05), abs=1e-6)


def test_white_noise_has_the_size_asked_for() -> None:
    distance = read(replace(QUIET, noise=0.0007)).distance
    count = distance.size
    assert np.std(distance, ddof=1) == pytest.approx(0.0007, rel=5.0 / math.sqrt(2.0 * (count - 1)))
    assert abs(np.corrcoef(distance[1:], distance[:-1])[0, 1]) < 5.0 / math.sqrt(count)


def test_correlated_noise_remembers() -> None:
    distance = read(replace(QUIET, drift_noise=0.001, memory=0.6), seconds=200.0).distance
    r1 = np.corrcoef(distance[1:], distance[:-1])[0, 1]
    # Standard error of r1 of an AR(1) series: √((1 − ρ²)/n) (Bartlett 1946).
    assert r1 == pytest.approx(0.6, abs=5.0 * math.sqrt((1.0 - 0.36) / distance.size))
    # n_eff = n(1 − ρ²)/(1 + ρ²) for a variance.
    effective = distance.size * (1.0 - 0.36) / (1.0 + 0.36)
    assert np.std(distance) == pytest.approx(0.001, rel=5.0 / math.sqrt(2.0 * effective))


def test_a_moving_target_is_noisier() -> None:
    path = through([0.0, 20.0], [0.0, 20.0], v_start=1.0, v_end=1.0)
    reading = read(replace(QUIET, moving_noise=0.002, max_range=100.0), motion=path, seconds=19.9)
    error = reading.distance - 0.5 - path.place(reading.taken)
    assert np.std(error) == pytest.approx(0.002, rel=5.0 / math.sqrt(2.0 * error.size))
    assert np.std(read(replace(QUIET, moving_noise=0.002)).distance) == 0.0


@pytest.mark.parametrize(
    ("ranger", "step"),
    [
        (replace(QUIET, noise=0.001, decimals=3), 0.001),
        (replace(QUIET, noise=0.001, decimals=4), 0.0001),
        (replace(QUIET, noise=0.001, decimals=4, printed_step=0.0005), 0.0005),
        (replace(QUIET, noise=0.001, decimals=5, echo_step=ECHO_STEP), ECHO_STEP),
    ],
)
def test_readings_come_in_steps(ranger: Ranger, step: float) -> None:
    steps = read(ranger).distance / step
    assert np.max(np.abs(steps - np.round(steps))) < 1e-6
    assert np.unique(np.round(steps)).size > 3


@pytest.mark.parametrize(("blind", "seen"), [("floor", 0.15), ("background", 2.9)])
def test_nearer_than_the_minimum_range_it_reads_something_else(blind: str, seen: float) -> None:
    path = through([0.0, 1.0, 2.0], [0.0, 0.45, 0.0])
    reading = read(replace(QUIET, placed="top", blind=blind), motion=path, seconds=2.0)  # type: ignore[arg-type]
    near = 0.5 - path.place(reading.taken) < 0.15
    assert near.sum() > 10
    assert reading.distance[near] == pytest.approx(seen, abs=0.002)
    assert np.array_equal(reading.spoiled, near)


def test_farther_than_the_maximum_range_it_reads_nothing_or_wanders() -> None:
    path = through([0.0, 1.0, 2.0], [0.0, 0.45, 0.0])
    reading = read(replace(QUIET, max_range=0.8), motion=path, seconds=2.0)
    far = 0.5 + path.place(reading.taken) > 0.8
    assert np.array_equal(np.isnan(reading.distance), far)
    wandering = read(replace(QUIET, max_range=0.8, beyond="wander"), motion=path, seconds=2.0)
    assert np.std(wandering.distance[far] - 0.5 - path.place(reading.taken)[far]) > 0.02


def test_far_echoes_and_slips_come_in_short_runs() -> None:
    far = read(replace(QUIET, far_rate=0.02))
    assert far.spoiled.sum() > 10
    assert far.distance[far.spoiled] == pytest.approx(3.0, abs=0.15)
    assert far.distance[~far.spoiled] == pytest.approx(0.5, abs=1e-6)
    slips = read(replace(QUIET, slip_rate=0.01))
    assert slips.distance[~slips.spoiled] == pytest.approx(0.5, abs=1e-6)
    assert np.min(slips.distance[slips.spoiled]) == pytest.approx(0.503, abs=1e-6)


def test_blank_lost_and_stuck_samples() -> None:
    blank = read(replace(QUIET, blank_rate=0.2)).distance
    assert np.isnan(blank).mean() == pytest.approx(0.2, abs=5.0 * math.sqrt(0.16 / blank.size))
    lost = read(replace(QUIET, lost=(2.0, 3.0)))
    assert np.array_equal(np.isnan(lost.distance), (lost.taken >= 2.0) & (lost.taken <= 3.0))
    stuck = read(replace(QUIET, stuck=(2.0, 3.0), stuck_at=0.62))
    assert stuck.distance[stuck.spoiled] == pytest.approx(0.62, abs=0.002)
    assert stuck.spoiled.sum() == 51


def test_the_first_and_the_last_sample_can_be_wrong() -> None:
    reading = read(replace(QUIET, wrong_first=True, wrong_last=True))
    assert reading.distance[0] == pytest.approx(3.0)
    assert reading.distance[-1] == pytest.approx(0.85)
    assert np.flatnonzero(reading.spoiled).tolist() == [0, reading.time.size - 1]


def test_clock_faults() -> None:
    jump = np.diff(read(replace(QUIET, clock_fault="jump")).time)
    assert np.sum(np.abs(jump - 0.02) > 0.1) == 1
    hundredth = read(replace(QUIET, clock_fault="hundredth", time_decimals=6)).time
    assert np.diff(hundredth) == pytest.approx(0.0002, abs=1e-6)
    repeated = np.diff(read(replace(QUIET, clock_fault="duplicates")).time)
    assert np.sum(repeated == 0.0) >= 3
    offset = read(replace(QUIET, stamp_offset=0.25))
    assert offset.time[0] == 0.25
    jitter = read(replace(QUIET, jitter=0.001))
    assert np.std(jitter.taken - jitter.time) == pytest.approx(0.001, rel=5.0 / math.sqrt(2.0 * jitter.time.size))
