"""What a bench states against what its motion shows, on records written by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.experiments.finding_checks import RIDE, SETTLED, number, only
from tests.experiments.hand_made import ANGLE, bench_of, record_of, rest_record

from joulebook.analysis import audit_bench
from joulebook.engine.bench import Bench
from joulebook.experiments.ramp_effects import length, percent


def no_rest(bench: Bench) -> Bench:
    return replace(bench, rest=None)


def test_no_rest_record() -> None:
    finding = only(no_rest(bench_of(record_of(RIDE))), "no-rest", "look", beside=("ghost-echo",))
    # Without a standing cart the level is known to centimetres: far worse than with a record, far better than the travel.
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


@pytest.mark.parametrize(("angle", "ratio"), [(0.9, math.sin(math.radians(ANGLE)) / math.sin(math.radians(0.9)))])
def test_a_deceleration_ten_times_too_large(angle: float, ratio: float) -> None:
    finding = only(bench_of(record_of(RIDE), angle=angle), "units-suspect", "look", beside=("angle-mismatch",))
    assert number(finding, "ratio") == pytest.approx(ratio, rel=0.05)
    assert f"{number(finding, 'ratio'):.3g} times as fast as the stated slope makes it" in finding.message
    assert "written 10 times too large" in finding.message
    assert "kinetic energy then comes out 100 times too large, the potential energy 10 times" in finding.message


def test_a_deceleration_ten_times_too_small_is_said_the_other_way_round() -> None:
    """Distances written a tenth of what they are: no factor of 0.1, and no number that has to be turned over in one's head."""
    record = record_of(RIDE)
    small = replace(record, distance=record.distance / 10.0)
    rest = rest_record()
    bench = bench_of(small, rest=replace(rest, distance=rest.distance / 10.0), min_range=0.0)
    found = [finding for finding in audit_bench(bench, method="linear").findings if finding.code == "units-suspect"]
    (finding,) = [each for each in found if "ratio" in each.evidence]
    assert "times more slowly than the stated slope makes it, as if every distance were written 10 times too small" in finding.message
    assert "100 times too small" in finding.message and "0.1" not in finding.message


def test_an_angle_of_no_track_is_not_blamed_on_the_units_as_well() -> None:
    """55° instead of 8°, which nothing explains: sines in the ratio 5.9, and with 0.5° of 16; only the angle is doubted."""
    for angle in (0.5, 0.7, 60.0):
        codes = [finding.code for finding in audit_bench(bench_of(record_of(RIDE), angle=angle), method="linear").findings]
        assert "angle-suspect" in codes
        assert "units-suspect" not in codes


def test_a_cart_that_slows_faster_than_it_would_fall() -> None:
    """With times a third of the true ones a_u is 9 times as large: 12.5 m/s²."""
    record = record_of(RIDE)
    finding = only(bench_of(replace(record, time=record.time / 3.0)), "units-suspect", "look", beside=("pushed-by-hand",))
    assert number(finding, "ratio") == pytest.approx(9.0 / 1.02, rel=0.05)
    assert "more than in free fall" in finding.message
