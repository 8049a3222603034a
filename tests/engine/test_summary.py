"""The summary: records, inputs and facts of an audit, and the series that keeps every sample in sight."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.engine.closed_form import ClosedForm
from tests.test_analysis import LAUNCH, MASS, bench_of

from joulebook.analysis import audit_bench
from joulebook.engine.clean import clean
from joulebook.engine.phases import find_phases
from joulebook.engine.report import Audit
from joulebook.engine.run import Run
from joulebook.engine.summary import tallest_velocity


def audited(rate: float = 40.0, noise: float = 0.0005, **inputs: float) -> Audit:
    return audit_bench(bench_of(LAUNCH.record(rate, noise=noise), rest=LAUNCH.standing(noise=0.0003), **inputs))


def test_records_are_summed_up() -> None:
    record = LAUNCH.record(40.0, noise=0.0003)
    distance = record.distance.copy()
    flight = LAUNCH.flights()[0]
    inside = np.flatnonzero((record.time > flight.release + 0.1) & (record.time < flight.landing - 0.1))
    distance[inside[[2, 3]]] = np.nan
    distance[inside[10]] = 2.95
    distance[inside[15]] += 0.003
    rest = LAUNCH.standing(noise=0.0003)
    audit = audit_bench(bench_of(replace(record, distance=distance), rest=rest))
    first, second = audit.records
    assert (first.file, first.samples, first.rejected, first.missing) == ("rest.csv", rest.samples, 0, 0)
    assert first.used == rest.samples
    assert first.noise_m == pytest.approx(0.0003, rel=0.3)
    assert (second.file, second.samples, second.missing, second.rejected) == ("launch.csv", record.samples, 2, 2)
    assert second.sha256 == record.sha256 and second.read_as == "written by a test"
    assert second.rate_Hz == pytest.approx(40.0)
    assert second.noise_m == pytest.approx(0.0003, rel=0.25)


def test_the_series_keeps_every_sample() -> None:
    """Positions are true metres up-slope of the datum; residuals are position less fit where a sample was judged."""
    record = LAUNCH.record(40.0, noise=0.0005)
    distance = record.distance.copy()
    at = int(np.searchsorted(record.time, LAUNCH.flights()[0].apex_time)) + 6
    distance[at] += 0.003
    record = replace(record, distance=distance)
    audit = audit_bench(bench_of(record, rest=LAUNCH.standing(), **{"sensor.scale": 1.01}))
    series = audit.launches[0].series
    assert series is not None
    assert series.time is record.time and series.distance is record.distance
    assert series.position == pytest.approx(1.01 * (LAUNCH.rest - record.distance), abs=0.0005)
    assert series.flags[at] == "slip" and not series.used[at]
    assert series.residual[at] == pytest.approx(-1.01 * 0.003, abs=0.0015)
    used = series.used
    assert used.sum() > 80
    assert series.residual[used] == pytest.approx(series.position[used] - series.fitted[used], abs=1e-12)
    assert np.isnan(series.residual[~used & (series.flags == "")]).all()
    assert series.release_level == pytest.approx(1.01 * LAUNCH.offset, abs=0.001)


def test_inputs_are_told_with_their_origin() -> None:
    audit = audited()
    names = [item.name for item in audit.inputs]
    assert names[-2:] == ["datum.level", "datum.offset"]
    origins = {item.name: item.origin for item in audit.inputs}
    assert origins["datum.level"] == origins["datum.offset"] == "inferred"
    assert {origins[name] for name in names[:-2]} == {"given"}
    assert "rest record" in {item.name: item.note for item in audit.inputs}["datum.level"]


def test_the_tallest_velocity_sample_is_told_and_not_used() -> None:
    """BENCH_FACTS [C]: a three-point slope at 10/s reads 9 % low, at 50/s 1 %: on a parabola of 0.1 s it is a·dt/v."""
    for rate in (10.0, 20.0, 50.0):
        audit = audited(rate, 0.0)
        tallest = audit.facts["tallest_velocity_sample"]
        # The slope over two intervals is the speed in their middle, which lies up to an interval and the push after release.
        assert 1.0 - 2.2 * LAUNCH.climb / rate < tallest < 1.0 + 0.02
        assert audit.facts["tallest_velocity_energy"] == pytest.approx(0.5 * MASS * tallest**2, rel=1e-12)
        assert audit.quantity("release_speed").value == pytest.approx(1.0, abs=0.015)
    assert audited(10.0, 0.0).facts["tallest_velocity_sample"] < audited(50.0, 0.0).facts["tallest_velocity_sample"]


def test_the_tallest_velocity_of_a_line() -> None:
    launch = ClosedForm()
    record = launch.record(40.0)
    trace = clean(record)
    run = Run(trace, find_phases(trace)[0], None, None)
    slopes = -(record.distance[2:] - record.distance[:-2]) / (record.time[2:] - record.time[:-2])
    assert tallest_velocity(run) == pytest.approx(slopes.max(), rel=1e-12)
    blank = clean(replace(record, distance=np.full(record.distance.size, np.nan)))
    assert math.isnan(tallest_velocity(replace(run, trace=blank)))


def test_facts_rework_the_ledger() -> None:
    """a_u, a_d, travel and k give the release speed and the energies again by the closed forms of DESIGN §4."""
    audit = audited(**{"cart.drag_area": 0.003})
    facts = audit.facts
    k, h, a_u = facts["k"], facts["travel"], facts["a_u"]
    assert k == pytest.approx(0.5 * 1.2 * 0.003 / 0.25, rel=1e-12)
    speed = math.sqrt(a_u / k * math.expm1(2.0 * k * h))
    assert speed == pytest.approx(audit.quantity("release_speed").value, rel=1e-10)
    assert facts["a_d"] == audit.quantity("descent_acceleration").value
    assert facts["u_a_u"] > 0.0 and abs(facts["r_au_ad"]) < 1.0 and abs(facts["r_au_travel"]) < 1.0
    assert facts["between"] == 1.0
    assert all(math.isfinite(value) for value in facts.values())
    assert all(math.isfinite(value) for value in audit.launches[0].facts.values())


def test_nothing_found_leaves_the_record_in_sight() -> None:
    record = LAUNCH.standing(seconds=3.0, noise=0.0003)
    audit = audit_bench(bench_of(record))
    (launch,) = audit.launches
    assert launch.quantities == {} and launch.budgets == {} and launch.facts == {}
    assert launch.series is not None
    assert not launch.series.used.any() and np.isnan(launch.series.fitted).all()
    assert launch.series.distance is record.distance
    assert audit.records[0].used == 0 and audit.records[0].noise_m is None
