"""Real records under open licences (tests/data/motion/README.md): what a right analysis finds, and what it must refuse."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import joulebook
from joulebook.engine.clean import clean
from joulebook.engine.noise import quantum
from joulebook.engine.report import Audit
from joulebook.readers.records import read_records

DATA = Path(__file__).parent / "data" / "motion"
INCLINE, VIDEO, DROPS, BEAM = (
    DATA / name for name in ("incline-ultrasonic.csv", "projectile-video.txt", "ball-drops.xlsx", "beam-ball.csv")
)


def audited(path: Path, **named: str) -> Audit:
    return joulebook.audit(launch=path, angle="10 deg", mass="0.25 kg", method="linear", **named)


def stops(audit: Audit) -> list[str]:
    return [finding.code for finding in audit.findings if finding.severity == "stop"]


def assert_nothing_concluded(audit: Audit) -> None:
    assert (audit.verdict.mechanical, audit.verdict.account) == ("undecided", "undecided")
    assert audit.verdict.sentence.startswith("Nothing can be said about the energy: ")


# --------------------------------------------------------------------------- a block that slides down, away from the ranger


def test_a_sliding_block_is_no_launch() -> None:
    """28 samples at 5/s, seven of them moving, the first 1.9 s in the module's blind zone: no ledger, and a reason."""
    audit = audited(INCLINE)
    assert audit.quantities == {}
    assert set(stops(audit)) <= {"too-slow", "no-launch", "too-close", "cut-short"} and stops(audit)
    assert_nothing_concluded(audit)
    (record,) = audit.records
    assert (record.samples, record.used) == (28, 0)
    assert record.rate_Hz == pytest.approx(5.0, abs=0.02)


def test_the_blind_zone_is_called_out() -> None:
    """The first 1.9 s drift from 49 to 29 mm, below the 150 mm that a ranger can measure."""
    (launch,) = audited(INCLINE).launches
    assert launch.series is not None
    blind = launch.series.time < 1.9
    assert set(launch.series.flags[blind]) == {"floor"}
    # With the module's own least range, 2 cm, these samples are good, and there is still no launch.
    near = audited(INCLINE, min_range="0.02 m")
    assert near.quantities == {}
    assert stops(near)


def test_the_sliding_block_accelerates_as_published() -> None:
    """1.29 ± 0.03 m/s², 1.23 to 1.36 by window; the sample at 3.608 s is already the stop."""
    stretch = joulebook.fit_stretch(INCLINE, 2.1, 3.5)
    assert stretch.samples == 7
    assert stretch.acceleration.value == pytest.approx(1.29, abs=0.06)
    assert stretch.acceleration.unit == "m/s^2"
    assert stretch.acceleration.low < 1.29 < stretch.acceleration.high
    assert 0.003 < stretch.noise_m < 0.015
    assert (stretch.start_s, stretch.end_s) == pytest.approx((2.205, 3.407), abs=0.001)
    for start, end in ((2.1, 3.3), (2.3, 3.5)):
        assert 1.15 < joulebook.fit_stretch(INCLINE, start, end).acceleration.value < 1.45
    spoilt = joulebook.fit_stretch(INCLINE, 2.1, 3.65)
    assert spoilt.noise_m > 5.0 * stretch.noise_m
    assert spoilt.acceleration.u > 5.0 * stretch.acceleration.u


# ------------------------------------------------------------------------------------------------- a projectile by video


def test_a_video_whose_scale_is_off() -> None:
    """g = 9.10 ± 0.08 m/s²: the picture's scale is some 7 % off, which only the number itself can say."""
    record = joulebook.read_record(VIDEO, position_column="y")
    assert record.samples == 92
    stretch = joulebook.fit_stretch(record, float(record.time[0]), float(record.time[-1]))
    assert -stretch.acceleration.value == pytest.approx(9.10, abs=0.08)
    assert stretch.noise_m == pytest.approx(0.003, abs=0.0015)
    assert stretch.acceleration.high < -8.5


def test_a_projectile_is_no_launch_on_a_ramp() -> None:
    """Along x it does not turn; along y it falls with 9.1 m/s², which no slope of 10° explains: nothing is concluded."""
    audit = audited(VIDEO)
    assert_nothing_concluded(audit)
    assert stops(audit)


# ------------------------------------------------------------------------------------------------------ balls from 47 m


def test_dropped_balls() -> None:
    """Early acceleration 7 to 10 m/s², end speed 14 to 26 m/s (drag), noise 26 to 52 mm; two drops each of eleven balls."""
    falls, speeds, noises = [], [], []
    records = read_records(DROPS)
    assert len(records) == 22
    for record in records:
        assert 40 <= record.samples <= 60
        early = joulebook.fit_stretch(record, 0.0, 1.0)
        falls.append(-early.acceleration.value)
        late = np.flatnonzero(record.time > record.time[-1] - 0.5)
        speeds.append(-float(np.polyfit(record.time[late], record.distance[late], 1)[0]))
        noises.append(clean(record).noise)
    assert 7.0 <= np.median(falls) <= 10.0
    assert sum(7.0 <= fall <= 10.0 for fall in falls) >= 18
    assert all(5.0 < fall < 11.0 for fall in falls)
    assert min(speeds) > 13.0 and max(speeds) < 27.0
    assert 0.015 < np.median(noises) < 0.06


def test_the_columns_of_a_workbook_are_said_back() -> None:
    record = joulebook.read_record(DROPS, run=1)
    assert record.run == "Baseball: Drop 1"
    assert record.distance[0] == pytest.approx(47.699, abs=0.001)
    assert "Height" in record.read_as


# -------------------------------------------------------------------------------------------------- a ball on a driven beam


def test_a_ball_on_a_beam_is_no_launch() -> None:
    """A ball rolled to and fro by a controller for 31 s, nearer than a ranger can measure: no verdict."""
    audit = audited(BEAM)
    assert stops(audit)
    assert_nothing_concluded(audit)


def test_a_ball_on_a_beam_is_never_taken_in_silence() -> None:
    """With no least range stated a swing of the beam is an arc like any other; it is no launch up 10°, and a person is told."""
    audit = audited(BEAM, min_range="0 m")
    told = {finding.code for finding in audit.findings if finding.severity != "note"}
    assert stops(audit) or (len(told) >= 3 and "angle-mismatch" in told)


def test_a_filtered_record_has_little_noise_of_its_own() -> None:
    """Smoothed on board: neighbouring samples depart from a parabola by far less than a laser ranger's millimetre."""
    record = joulebook.read_record(BEAM)
    assert record.samples == 1554
    trace = clean(record)
    assert trace.rate == pytest.approx(50.0, rel=0.01)
    assert trace.noise < 0.002
    assert quantum(record.distance) < 1e-4
