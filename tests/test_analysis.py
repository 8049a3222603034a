"""The audit from record to report: launches that are known, and records that no launch could ever give."""

from __future__ import annotations

import json
import math
import warnings
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.engine.closed_form import ClosedForm

from joulebook.analysis import audit_bench
from joulebook.engine.bench import Bench, Override
from joulebook.engine.record import Record
from joulebook.engine.report import Audit
from joulebook.errors import JoulebookError
from joulebook.experiments.ramp_codes import CODES
from joulebook.experiments.ramp_inputs import INPUTS
from joulebook.uncertainty import Input

G, ANGLE, MASS = 9.80665, 9.75, 0.25
SINE, COSINE = math.sin(math.radians(ANGLE)), math.cos(math.radians(ANGLE))
MU = 0.006
LAUNCH = ClosedForm(climb=G * (SINE + MU * COSINE), descent=G * (SINE - MU * COSINE), speed=1.0, hops=4)
CODE_NAMES = {code.code for code in CODES}


def bench_of(
    *launches: Record, rest: Record | None = None, overrides: dict[str, Override] | None = None, **inputs: float
) -> Bench:
    """A bench without wheels and air, whose stated values are exact but for a small u."""
    stated = {
        "cart.mass": MASS, "cart.rotating_fraction": 0.0, "cart.drag_area": 0.0, "track.angle": ANGLE, "sensor.scale": 1.0,
        "place.gravity": G, "place.air_density": 1.2, **inputs,
    }  # fmt: skip
    units = {spec.name: spec.unit for spec in INPUTS}
    return Bench(
        title="Bench", experiment="ramp-launch", launches=launches, rest=rest, overrides=overrides or {},
        inputs={name: Input(name, value, units[name], 1e-4 * abs(value)) for name, value in stated.items()},
        settings={"sensor.placed": None, "sensor.min_range": 0.15, "sensor.max_range": None, "track.length": None},
    )  # fmt: skip


def look_or_stop(audit: Audit) -> list[tuple[str, str]]:
    return [(finding.code, finding.message) for finding in audit.findings if finding.severity != "note"]


@pytest.mark.parametrize("rate", [10.0, 20.0, 40.0, 100.0])
@pytest.mark.parametrize("up", [1, -1])
def test_the_audit_finds_the_energies_of_a_closed_form(rate: float, up: int) -> None:
    """½mv² at release, m·g·h·sinθ to the apex, μ·m·g·cosθ·h on the way: by hand, from the closed form's own numbers."""
    launch = replace(LAUNCH, up=up, rest=1.1 if up < 0 else 0.3)
    audit = audit_bench(bench_of(launch.record(rate, noise=0.0003), rest=launch.standing(noise=0.0003)))
    first = launch.flights()[0]
    travel = first.apex - launch.offset
    expected = {
        "release_time": first.release, "release_speed": 1.0, "apex_time": first.apex_time, "travel": travel,
        "height": travel * SINE, "climb_acceleration": launch.climb, "descent_acceleration": launch.descent,
        "slope_from_motion": ANGLE, "rolling_resistance": MU, "kinetic_energy": 0.5 * MASS, "rotational_energy": 0.0,
        "potential_energy": MASS * G * travel * SINE, "rolling_loss": MU * MASS * G * COSINE * travel, "drag_loss": 0.0,
        "difference": 0.5 * MASS - MASS * G * travel * SINE, "unaccounted": 0.0,
        "relative_difference": MU * COSINE / (SINE + MU * COSINE),
    }  # fmt: skip
    for name, value in expected.items():
        found = audit.quantity(name)
        assert abs(found.value - value) <= 3.5 * found.u + 1e-12, name
        assert found.low <= found.value <= found.high, name
    assert audit.quantity("kinetic_energy").u < 0.05 * 0.5 * MASS
    bounces = audit.quantities["restitution"]
    assert isinstance(bounces, tuple)
    assert [each.value for each in bounces] == pytest.approx([0.8] * len(bounces), abs=0.02)
    assert look_or_stop(audit) == []


def test_the_verdicts_of_a_bench_that_is_known_well() -> None:
    """3.4 % of the energy goes into rolling: a loss, and accounted for; with the slope stated 12 % too steep, a gain."""
    records = [LAUNCH.record(50.0, noise=0.0003, seed=seed, file=f"launch-{seed}.csv") for seed in range(3)]
    audit = audit_bench(bench_of(*records, rest=LAUNCH.standing(noise=0.0003)))
    assert (audit.verdict.mechanical, audit.verdict.account) == ("loss", "closed")
    steep = audit_bench(bench_of(*records, rest=LAUNCH.standing(noise=0.0003), **{"track.angle": ANGLE * 1.12}))
    assert (steep.verdict.mechanical, steep.verdict.account) == ("gain", "open")
    assert "angle-mismatch" in {finding.code for finding in steep.findings}


def test_several_launches_are_pooled() -> None:
    speeds = (0.9, 1.0, 1.1)
    launches = [replace(LAUNCH, speed=speed) for speed in speeds]
    records = [each.record(40.0, noise=0.0005, seed=n, file=f"launch-{n}.csv") for n, each in enumerate(launches)]
    audit = audit_bench(bench_of(*records, rest=LAUNCH.standing(noise=0.0003)))
    assert [each.file for each in audit.launches] == ["launch-0.csv", "launch-1.csv", "launch-2.csv"]
    single = [each.quantities["travel"].value for each in audit.launches]
    assert audit.quantity("travel").value == pytest.approx(np.mean(single), rel=1e-6)
    climbs = [each.quantities["climb_acceleration"] for each in audit.launches]
    pooled = audit.quantity("climb_acceleration")
    assert pooled.value == pytest.approx(np.mean([each.value for each in climbs]), rel=1e-9)
    assert pooled.u < 0.8 * min(each.u for each in climbs)


def test_one_launch_is_its_own_pool() -> None:
    audit = audit_bench(bench_of(LAUNCH.record(40.0, noise=0.0005), rest=LAUNCH.standing(noise=0.0003)))
    assert audit.quantities == audit.launches[0].quantities
    assert audit.budgets == audit.launches[0].budgets


def test_a_stopped_launch_does_not_enter_the_pool() -> None:
    """A second record that holds nothing but the standing cart changes no number, and the finding says which it is."""
    good = LAUNCH.record(40.0, noise=0.0005)
    nothing = replace(LAUNCH.standing(noise=0.0003, seconds=4.0), file="launch-2.csv")
    rest = LAUNCH.standing(noise=0.0003)
    audit, alone = audit_bench(bench_of(good, nothing, rest=rest)), audit_bench(bench_of(good, rest=rest))
    assert {name: audit.quantities[name] for name in alone.quantities} == dict(alone.quantities)
    (stop,) = [finding for finding in audit.findings if finding.severity == "stop"]
    assert (stop.code, stop.evidence["record"]) == ("no-launch", "launch-2.csv")
    assert audit.launches[1].quantities == {}
    assert audit.verdict.mechanical == alone.verdict.mechanical


def test_a_bench_with_no_launch_at_all() -> None:
    nothing = replace(LAUNCH.standing(noise=0.0003, seconds=4.0), file="launch-1.csv")
    audit = audit_bench(bench_of(nothing, rest=LAUNCH.standing(noise=0.0003)))
    assert audit.quantities == {} and audit.budgets == {}
    assert (audit.verdict.mechanical, audit.verdict.account) == ("undecided", "undecided")
    assert audit.verdict.resolution == math.inf
    assert audit.verdict.sentence.startswith("Nothing can be said about the energy: launch-1.csv")
    assert [finding.code for finding in audit.findings] == ["no-launch"]


def test_a_persons_choices_win_and_are_recorded() -> None:
    """Release and apex that a person has set are the ledger's, and stand among the inputs as constants that were given."""
    first = LAUNCH.flights()[0]
    release, apex = first.release + 0.08, first.apex_time + 0.003
    edges = (("climb", release, apex), ("descent", apex, apex + 0.4), ("handled", apex + 0.4, first.landing))
    chosen = {"launch.csv": Override(release=release, apex=apex, edges=edges)}
    audit = audit_bench(bench_of(LAUNCH.record(40.0, noise=0.0003), rest=LAUNCH.standing(noise=0.0003), overrides=chosen))
    assert audit.quantity("release_time").value == pytest.approx(release, abs=1e-6)
    assert audit.quantity("apex_time").value == apex
    given = {item.name: item for item in audit.inputs if item.distribution == "constant"}
    assert {name: (item.value, item.unit, item.u, item.origin) for name, item in given.items()} == {
        "release of launch.csv": (release, "s", 0.0, "given"),
        "apex of launch.csv": (apex, "s", 0.0, "given"),
    }
    phases = [(phase.kind, phase.start_s, phase.end_s) for phase in audit.phases]
    assert set(edges) <= set(phases)
    series = audit.launches[0].series
    assert series is not None
    assert not series.used[(series.time > apex + 0.41) & (series.time < first.landing)].any()
    assert not series.used[series.time < release].any()


@pytest.mark.parametrize("rate", [10.0, 20.0])
@pytest.mark.parametrize("size", [0.02, 0.06])
def test_a_rebound_is_never_taken_for_the_launch_in_silence(rate: float, size: float) -> None:
    """One odd reading in the first flight: either that flight is the ledger's, or a person is asked to look."""
    record, first = LAUNCH.record(rate, noise=0.0004), LAUNCH.flights()[0]
    rest, silent = LAUNCH.standing(noise=0.0003), []
    for at in np.flatnonzero((record.time > first.release) & (record.time < first.landing)).tolist():
        for sign in (1.0, -1.0):
            distance = record.distance.copy()
            distance[at] += sign * size
            audit = audit_bench(bench_of(replace(record, distance=distance), rest=rest), method="linear")
            found = audit.quantities and abs(audit.quantity("apex_time").value - first.apex_time) < 0.03
            if not found and not look_or_stop(audit):
                silent.append((at, sign))
    assert silent == []


def test_marking_the_descent_alone_leaves_the_climb() -> None:
    """A person who says where the free descent ended has said nothing about the climb."""
    first = LAUNCH.flights()[0]
    chosen = {"launch.csv": Override(edges=(("descent", first.apex_time, first.apex_time + 0.4),))}
    audit = audit_bench(bench_of(LAUNCH.record(40.0, noise=0.0003), rest=LAUNCH.standing(noise=0.0003), overrides=chosen))
    assert look_or_stop(audit) == []
    speed = audit.quantity("release_speed")
    assert speed.value == pytest.approx(1.0, abs=3.5 * speed.u) and speed.u < 0.04


def test_the_same_seed_gives_the_same_report() -> None:
    bench = bench_of(LAUNCH.record(40.0, noise=0.0005), rest=LAUNCH.standing(noise=0.0003), **{"cart.drag_area": 0.003})
    first, again = (audit_bench(bench, method="monte-carlo", draws=2**10, seed=7) for _ in range(2))
    assert json.dumps(first.to_dict()) == json.dumps(again.to_dict())
    other = audit_bench(bench, method="monte-carlo", draws=2**10, seed=8)
    assert other.quantity("kinetic_energy").low != first.quantity("kinetic_energy").low
    assert other.quantity("kinetic_energy").value == first.quantity("kinetic_energy").value


@pytest.mark.parametrize("method", ["linear", "monte-carlo", "adaptive", "auto"])
def test_every_way_of_finding_intervals(method: str) -> None:
    bench = bench_of(LAUNCH.record(40.0, noise=0.0005), rest=LAUNCH.standing(noise=0.0003))
    audit = audit_bench(bench, method=method, draws=2**10)  # type: ignore[arg-type]
    methods = {audit.quantity(name).method for name in ("kinetic_energy", "potential_energy", "travel")}
    assert methods <= {"gum", "monte-carlo"}
    if method != "auto":
        assert methods == {"gum" if method == "linear" else "monte-carlo"}
    energy = audit.quantity("kinetic_energy")
    assert energy.high - energy.low == pytest.approx(2.0 * 1.97 * energy.u, rel=0.1)


# --------------------------------------------------------------------------------------- no input crashes the audit


def _walk(seed: int, size: int, kind: str) -> tuple[np.ndarray, np.ndarray]:
    """Return times and distances that no cart made: all of them numbers that a file might hold."""
    rng = np.random.default_rng(seed)
    rate = float(rng.choice([1.0, 5.0, 20.0, 50.0, 200.0, 1e5]))
    time = np.arange(size) / rate
    if kind == "constant":
        distance = np.full(size, float(rng.choice([0.0, 0.5, -1.0, 3.0])))
    elif kind == "ramp":
        distance = 0.3 + rng.normal() * time
    elif kind == "huge":
        distance = rng.normal(size=size) * 10.0 ** rng.uniform(0.0, 150.0)
    elif kind == "waves":
        distance = 0.7 + 0.3 * np.sin(time * rng.uniform(0.5, 20.0)) ** int(rng.integers(1, 4)) + 0.001 * rng.normal(size=size)
    elif kind == "launch":
        launch = ClosedForm(speed=float(rng.uniform(0.2, 2.0)), climb=float(rng.uniform(0.3, 3.0)), hops=int(rng.integers(1, 6)))
        record = replace(launch, descent=0.9 * launch.climb).record(min(rate, 200.0), noise=float(rng.choice([0.0, 0.001, 0.05])))
        time, distance = record.time[:size].copy(), record.distance[:size].copy()
    else:
        distance = 0.8 + np.cumsum(rng.normal(size=size)) * 10.0 ** rng.uniform(-5.0, 1.0)
    return time, distance


def _spoilt(time: np.ndarray, distance: np.ndarray, seed: int, how: str) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed + 1)
    some = rng.random(time.size) < rng.uniform(0.0, 1.0)
    if how == "blank":
        distance[some] = np.nan
    elif how == "no time":
        time[some] = np.nan
    elif how == "backwards":
        time = time[::-1].copy()
    elif how == "shuffled":
        rng.shuffle(time)
    elif how == "one instant":
        time[:] = 1.0
    elif how == "infinite":
        distance[some] = np.inf
    elif how == "steps":
        distance = np.round(distance, int(rng.integers(0, 3)))
    elif how == "spikes":
        distance[some] += rng.normal(size=int(some.sum()))
    return time, distance


@pytest.mark.parametrize(
    ("time", "distance"),
    [
        ([0.0], [0.5]),
        ([], []),
        ([0.0, math.nan], [0.5, 0.6]),
        ([0.0, 0.1, 0.2, 0.3], [0.5, math.nan, math.nan, math.nan]),
        ([0.3, 0.2, 0.1, 0.0], [0.5, 0.6, 0.7, 0.8]),
        ([math.nan] * 4, [0.5] * 4),
        ([1.0] * 9, [0.1 * i for i in range(9)]),
        ([0.0, 0.1, 0.2], [math.inf, 0.5, -math.inf]),
    ],
)
def test_a_handful_of_numbers_is_no_launch(time: list[float], distance: list[float]) -> None:
    audit = audit_bench(bench_of(Record("launch.csv", np.array(time), np.array(distance))))
    assert audit.quantities == {}
    assert any(finding.severity == "stop" for finding in audit.findings)
    assert audit.verdict.sentence.startswith("Nothing can be said about the energy: launch.csv")


KINDS = ["walk", "constant", "ramp", "huge", "waves", "launch"]
SPOILS = ["", "blank", "no time", "backwards", "shuffled", "one instant", "infinite", "steps", "spikes"]


@settings(max_examples=300)
@given(
    seed=st.integers(0, 10**6), size=st.integers(0, 400), kind=st.sampled_from(KINDS), how=st.sampled_from(SPOILS),
    rest=st.sampled_from(["none", "good", "bad"]),
)  # fmt: skip
def test_no_record_crashes_the_audit(seed: int, size: int, kind: str, how: str, rest: str) -> None:
    """Whatever the numbers, there is an audit whose findings are documented ones, or a JoulebookError; never a warning."""
    time, distance = _spoilt(*_walk(seed, size, kind), seed, how)
    record = Record("launch.csv", time, distance)
    rests = {"none": None, "good": LAUNCH.standing(noise=0.0003), "bad": Record("rest.csv", time.copy(), distance.copy())}
    before = time.copy(), distance.copy()
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            audit = audit_bench(bench_of(record, rest=rests[rest]), method="linear")
        except JoulebookError as error:
            assert str(error)
            return
    assert np.array_equal(time, before[0], equal_nan=True) and np.array_equal(distance, before[1], equal_nan=True)
    assert {finding.code for finding in audit.findings} <= CODE_NAMES
    assert all(finding.message and finding.remedy for finding in audit.findings)
    json.dumps(audit.to_dict(), allow_nan=False)
    if not audit.quantities:
        assert any(finding.severity == "stop" for finding in audit.findings), "nothing was found and nothing says why"
        assert audit.verdict.mechanical == "undecided"
