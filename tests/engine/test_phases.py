"""Phases: the launch's arcs are found at any rate and from either end, and what is no launch is not taken for one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.engine.closed_form import ClosedForm

from joulebook.engine.clean import Trace, clean
from joulebook.engine.phases import Outline, find_phases, foot_of_climb
from joulebook.engine.record import Record
from joulebook.planning.design import random_design
from joulebook.planning.simulate import simulate_bench


def outlined(record: Record, **hints: object) -> tuple[Trace, Outline]:
    trace = clean(record)
    return trace, find_phases(trace, **hints)[0]  # type: ignore[arg-type]


@pytest.mark.parametrize("rate", [5.0, 8.0, 10.0, 20.0, 40.0, 100.0, 200.0])
@pytest.mark.parametrize("up", [1, -1])
@pytest.mark.parametrize("contact", [0.0, 0.12])
def test_arcs_at_any_rate_from_either_end(rate: float, up: int, contact: float) -> None:
    """First guesses: apex to half a sample and a few millimetres, fall to a few per cent; and the ranger's end."""
    launch = ClosedForm(up=up, rest=1.1 if up < 0 else 0.3, contact=contact, restitution=0.8 if contact else 0.6)
    trace, outline = outlined(launch.record(rate, noise=0.0005, step=0.0001))
    flights = launch.flights()
    assert outline.up == up
    assert len(outline.arcs) >= (1 if rate < 10 else 2 if rate < 20 else len(flights))
    for arc, hop in zip(outline.arcs, flights, strict=False):
        assert arc.apex_time == pytest.approx(hop.apex_time, abs=0.5 / rate + 0.004)
        assert arc.apex == pytest.approx(up * launch.rest + hop.apex, abs=0.004)
        assert arc.fall == pytest.approx(1.66, rel=0.12)
        assert abs(arc.fall - 1.66) < 6.0 * arc.u_fall + 0.03
        assert arc.start <= arc.first <= arc.last <= arc.stop
        assert hop.release - 1.0 / rate < trace.time[arc.first] < hop.apex_time < trace.time[arc.last] < hop.landing + 1.0 / rate


@pytest.mark.parametrize("stop", ["spring", "hard", "magnetic"])
@pytest.mark.parametrize("hands", [False, True])
def test_simulated_benches_of_every_kind(stop: str, hands: bool) -> None:
    """The integrated truth of planning.simulate: nine of ten apexes to within a sample, the end of the ranger always."""
    within = []
    for seed in range(12):
        rng = np.random.default_rng(1000 + seed)
        design = replace(random_design(rng, stop=stop, launches=1), hand_first=hands, hand_last=hands)  # type: ignore[arg-type]
        bench = simulate_bench(design, rng)
        truth = bench.truths[0]
        assert truth is not None
        _, outline = outlined(bench.bench.launches[0])
        assert outline.up == (1 if design.ranger.placed == "bottom" else -1), seed
        within.append(abs(outline.arcs[0].apex_time - truth.apex_time) < 1.0 / design.ranger.rate)
    assert np.mean(within) >= 0.9


@pytest.mark.parametrize("rate", [20.0, 40.0])
@pytest.mark.parametrize("size", [0.008, 0.02, 0.05, 0.12])
def test_one_odd_reading_does_not_hide_the_launch(rate: float, size: float) -> None:
    """Wherever in the first flight one reading is off, either way, the launch is that flight and not its rebound."""
    launch = ClosedForm(hops=4)
    record = launch.record(rate, noise=0.0004)
    first = launch.flights()[0]
    missed = []
    for at in np.flatnonzero((record.time > first.release) & (record.time < first.landing)).tolist():
        for sign in (1.0, -1.0):
            distance = record.distance.copy()
            distance[at] += sign * size
            _, outline = outlined(replace(record, distance=distance))
            if not outline.arcs or abs(outline.arcs[0].apex_time - first.apex_time) > 0.06:
                missed.append((at, sign))
    assert missed == []


def test_the_cart_before_and_after() -> None:
    launch = ClosedForm(hops=6, settle=1.2)
    trace, outline = outlined(launch.record(40.0, noise=0.0003))
    assert outline.still is not None and outline.tail is not None and outline.departure is not None
    assert trace.time[outline.still[0]] < 0.1
    assert trace.time[outline.still[1]] == pytest.approx(launch.wait, abs=0.06)
    assert outline.still_level == pytest.approx(-launch.rest - launch.cocked, abs=0.0005)
    assert trace.time[outline.departure] == pytest.approx(launch.wait, abs=0.06)
    assert outline.tail_level == pytest.approx(-launch.rest, abs=0.0005)
    assert outline.tail[1] == trace.time.size - 1
    assert trace.time[outline.tail[0]] > launch.flights()[-1].landing
    assert foot_of_climb(trace, -1, outline.arcs[0]) == outline.departure


def test_a_record_that_starts_in_mid_climb() -> None:
    launch = ClosedForm()
    record = launch.record(40.0)
    begin = np.searchsorted(record.time, launch.flights()[0].release + 0.1)
    trace, outline = outlined(replace(record, time=record.time[begin:], distance=record.distance[begin:]))
    assert outline.departure is None and outline.still is None
    assert foot_of_climb(trace, -1, outline.arcs[0]) == 0
    assert outline.arcs[0].apex_time == pytest.approx(launch.flights()[0].apex_time, abs=0.005)


def test_a_second_launch_is_another_run_of_hops() -> None:
    """After two hops the cart is put back and fired again: three hops that are higher, and not of the first run."""
    first, second = ClosedForm(hops=2, settle=0.8), ClosedForm(hops=2, speed=1.1)
    one, two = first.record(40.0), second.record(40.0)
    time = np.concatenate([one.time, two.time + one.time[-1] + 0.025])
    _, outline = outlined(Record("two.csv", time, np.concatenate([one.distance, two.distance])))
    assert [round(arc.apex_time, 1) for arc in outline.arcs] == [round(hop.apex_time, 1) for hop in first.flights()]
    later = [hop.apex_time + one.time[-1] + 0.025 for hop in second.flights()]
    assert [arc.apex_time for arc in outline.later] == pytest.approx(later, abs=0.03)


@pytest.mark.parametrize("placed", [None, "top", "bottom"])
def test_the_stated_end_is_only_a_hint(placed: str | None) -> None:
    """A bench file that says the other end does not turn the record round."""
    for up in (1, -1):
        launch = ClosedForm(up=up, rest=1.1 if up < 0 else 0.3)
        _, outline = outlined(launch.record(20.0, noise=0.0005), placed=placed, expected_fall=1.66)
        assert outline.up == up


@pytest.mark.parametrize("expected", [0.4, 1.66, 6.0])
def test_the_expected_fall_is_only_a_hint(expected: float) -> None:
    launch = ClosedForm()
    _, outline = outlined(launch.record(20.0, noise=0.0005), expected_fall=expected)
    assert outline.up == -1
    assert outline.arcs[0].fall == pytest.approx(1.66, rel=0.05)


def _no_launch(kind: str) -> np.ndarray:
    time = np.arange(120) / 20.0
    rng = np.random.default_rng(9)
    noise = 0.0004 * rng.standard_normal(time.size)
    return {
        "standing": 1.1 + noise,
        "pushed along": 0.4 + 0.1 * time + noise,
        "empty": np.full(time.size, np.nan),
        "one sample": np.where(np.arange(time.size) == 5, 1.0, np.nan),
    }[kind]


@pytest.mark.parametrize("kind", ["standing", "pushed along", "empty", "one sample"])
def test_what_is_no_launch_has_no_arcs(kind: str) -> None:
    outlines = find_phases(clean(Record("none.csv", np.arange(120) / 20.0, _no_launch(kind))))
    assert len(outlines) == 1
    assert outlines[0].arcs == () and outlines[0].tail is None and outlines[0].still is None


def test_a_swing_of_a_hand_is_not_the_likeliest_outline() -> None:
    """A cart carried in and set down before the launch makes a bump; the launch is among the first outlines, and first here."""
    launch = ClosedForm(wait=3.0)
    record = launch.record(40.0)
    place = launch.position(record.time)
    hand = (record.time > 0.4) & (record.time < 1.8)
    bump = np.sin(np.pi * (record.time[hand] - 0.4) / 1.4) ** 4
    place[hand] += 0.25 * bump
    outlines = find_phases(clean(replace(record, distance=launch.rest - place)))
    assert any(abs(outline.arcs[0].apex_time - launch.flights()[0].apex_time) < 0.02 for outline in outlines)
    assert 1 <= len(outlines) <= 3


@pytest.mark.parametrize("up", [1, -1])
@pytest.mark.parametrize("rate", [20.0, 50.0])
def test_a_hand_that_lowers_the_cart_in_two_steps_is_no_launch(up: int, rate: float) -> None:
    """The pause on the way down bends as free motion does, and falls as far as the launch rises: but nothing was seen to climb to it."""
    launch = ClosedForm(up=up, rest=1.1 if up < 0 else 0.3)
    record = launch.record(rate, noise=0.0005, step=0.0001)
    low = up * float(record.distance[0])
    time = np.arange(0.0, 1.6, 1.0 / rate)
    # Down by a fifth, a little up, then down all the way as a cart rolls, and still.
    hand = low + np.interp(time, [0.0, 0.2, 0.3], [0.42, 0.32, 0.32])
    bump = (time >= 0.3) & (time < 1.1)
    hand[bump] = low + np.maximum(0.345 - 0.83 * (time[bump] - 0.48) ** 2, 0.0)
    hand[time >= 1.1] = low
    joined = Record(
        "launch.csv", np.concatenate([time, record.time - record.time[0] + 1.6]), np.concatenate([up * hand, record.distance]),
        distance_step=1e-4,
    )  # fmt: skip
    outlines = find_phases(clean(joined))
    apex = launch.flights()[0].apex_time - float(record.time[0]) + 1.6
    assert outlines[0].arcs[0].apex_time == pytest.approx(apex, abs=1.0 / rate)
    assert outlines[0].arcs[0].launched
    assert outlines[0].arcs[0].climbed > 0.8
    lowered = [arc for outline in outlines[1:] for arc in outline.arcs if arc.apex_time < 1.0]
    assert lowered and not any(arc.launched for arc in lowered)


def test_a_record_that_begins_in_its_climb_may_hold_a_launch() -> None:
    launch = ClosedForm(up=1, rest=0.3)
    record = launch.record(50.0, noise=0.0005, step=0.0001)
    flight = launch.flights()[0]
    late = record.time > 0.6 * flight.release + 0.4 * flight.apex_time
    _, outline = outlined(Record("launch.csv", record.time[late], record.distance[late], distance_step=1e-4))
    assert outline.arcs[0].apex_time == pytest.approx(flight.apex_time, abs=0.02)
    assert outline.arcs[0].climbed == 1.0
