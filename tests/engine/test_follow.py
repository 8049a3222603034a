"""Following a record to its motion: which rest level is believed, which outline is taken, and failures that are kept."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.engine.closed_form import ClosedForm
from tests.test_analysis import LAUNCH, bench_of

from joulebook.engine.bench import Bench, Override
from joulebook.engine.clean import clean
from joulebook.engine.datum import rest_level
from joulebook.engine.follow import agree_on_stop, follow
from joulebook.engine.record import Record
from joulebook.engine.run import Run
from joulebook.errors import FitError
from joulebook.experiments.ramp_launch import RAMP_LAUNCH

SETTLING = replace(LAUNCH, hops=6, settle=1.5)


def followed(bench: Bench, record: Record | None = None) -> Run:
    rest = None if bench.rest is None else rest_level(clean(bench.rest))
    return follow(record or bench.launches[0], bench, RAMP_LAUNCH, rest)


def test_the_run_holds_what_was_learnt() -> None:
    record = LAUNCH.record(40.0, noise=0.0005)
    run = followed(bench_of(record, rest=LAUNCH.standing(noise=0.0003)))
    assert run.file == "launch.csv"
    assert run.trace.record is record
    assert run.motion is not None and run.failure is None and run.override is None
    assert run.motion.hops == 4 and run.motion.datum.source == "rest"
    assert run.outline.up == run.motion.up == -1


def test_the_name_of_a_run_inside_a_file() -> None:
    record = replace(LAUNCH.record(40.0, noise=0.0005), run="2")
    assert followed(bench_of(record, rest=LAUNCH.standing())).file == "launch.csv#2"


@pytest.mark.parametrize("moved", [0.0, 0.003])
def test_the_rest_record_is_believed_within_a_stops_give(moved: float) -> None:
    rest = replace(SETTLING, rest=SETTLING.rest + moved).standing(noise=0.0003)
    run = followed(bench_of(SETTLING.record(40.0, noise=0.0003), rest=rest))
    assert run.motion is not None and run.tail is not None
    assert run.motion.datum.source == "rest"
    assert run.motion.datum.level == pytest.approx(-SETTLING.rest - moved, abs=0.0003)


@pytest.mark.parametrize("moved", [-0.025, 0.025])
def test_where_the_cart_settled_is_believed_when_the_rest_record_is_off(moved: float) -> None:
    """The stop was moved by 2.5 cm between rest record and launch: the launch record knows where it stood."""
    rest = replace(SETTLING, rest=SETTLING.rest + moved).standing(noise=0.0003)
    run = followed(bench_of(SETTLING.record(40.0, noise=0.0003), rest=rest))
    assert run.motion is not None
    assert run.motion.datum.source == "tail"
    assert run.motion.datum.level == pytest.approx(-SETTLING.rest, abs=0.0005)


def test_without_a_rest_record_the_settled_cart_is_the_datum() -> None:
    run = followed(bench_of(SETTLING.record(40.0, noise=0.0003)))
    assert run.motion is not None and run.motion.datum.source == "tail"
    assert run.motion.datum.level == pytest.approx(-SETTLING.rest, abs=0.0005)


def test_a_hand_that_holds_the_cart_is_no_stop() -> None:
    """Caught at the apex and held there to the end: that is not where the stop is."""
    launch = replace(LAUNCH, hops=1)
    record = launch.record(40.0, noise=0.0003)
    apex = launch.flights()[0].apex_time + 0.1
    time = np.concatenate([record.time[record.time < apex], apex + 0.025 * np.arange(1, 60)])
    held = np.interp(apex, record.time, record.distance) + 0.0003 * np.random.default_rng(0).standard_normal(59)
    caught = replace(record, time=time, distance=np.concatenate([record.distance[record.time < apex], held]))
    run = followed(bench_of(caught, rest=launch.standing(noise=0.0003)))
    assert run.tail is None
    assert run.motion is None or run.motion.datum.source == "rest"


def test_no_launch_is_no_failure() -> None:
    run = followed(bench_of(LAUNCH.standing(seconds=3.0, noise=0.0003)))
    assert run.motion is None and run.failure is None
    assert run.outline.arcs == ()


def test_a_fit_that_fails_is_kept() -> None:
    """A person leaves three or four samples of free motion: the reason stands in the run, and the code with it."""
    first = LAUNCH.flights()[0]
    edges = (("climb", first.apex_time - 0.04, first.apex_time), ("descent", first.apex_time, first.apex_time + 0.04))
    chosen = {"launch.csv": Override(edges=edges)}
    run = followed(bench_of(LAUNCH.record(40.0, noise=0.0003), rest=LAUNCH.standing(noise=0.0003), overrides=chosen))
    assert run.motion is None
    assert isinstance(run.failure, FitError)
    assert run.failure.message
    assert run.override is chosen["launch.csv"]


def test_an_override_belongs_to_its_own_launch() -> None:
    apex = LAUNCH.flights()[0].apex_time + 0.003
    records = [LAUNCH.record(40.0, noise=0.0003, file=name) for name in ("launch-1.csv", "launch-2.csv")]
    bench = bench_of(*records, rest=LAUNCH.standing(), overrides={"launch-2.csv": Override(apex=apex)})
    one, two = (followed(bench, record) for record in records)
    assert one.motion is not None and two.motion is not None
    assert one.override is None and one.motion.apex_times[0] != apex
    assert two.motion.apex_times[0] == apex


def test_launches_without_a_rebound_borrow_the_stop() -> None:
    """One launch is caught before it comes back; the other, with three rebounds, shows where the stop lets go."""
    whole, short = LAUNCH.record(40.0, noise=0.0003), replace(LAUNCH, hops=1).record(40.0, noise=0.0003, file="short.csv")
    bench = bench_of(whole, short, rest=LAUNCH.standing(noise=0.0003))
    before = [followed(bench, record) for record in bench.launches]
    after = agree_on_stop(before)
    kinds = [run.motion.contacts.kind for run in before if run.motion]
    assert kinds[1] == "unseen" and kinds[0] != "unseen"
    assert after[0] is before[0]
    lent, borrowed = before[0].motion, after[1].motion
    assert lent is not None and borrowed is not None and before[1].motion is not None
    assert (borrowed.contacts.offset, borrowed.contacts.half_width) == (lent.contacts.offset, lent.contacts.half_width)
    assert borrowed.contacts.half_width < before[1].motion.contacts.half_width
    assert borrowed.windows[0] == pytest.approx([LAUNCH.flights()[0].release, LAUNCH.flights()[0].landing], abs=0.006)
    alone = agree_on_stop([before[1]])
    assert alone == [before[1]]


@pytest.mark.parametrize("placed", ["top", "bottom", None])
def test_the_stated_end_does_not_turn_the_record_round(placed: str | None) -> None:
    for up, rest in ((1, 0.3), (-1, 1.1)):
        launch: ClosedForm = replace(LAUNCH, up=up, rest=rest)
        bench = bench_of(launch.record(40.0, noise=0.0003), rest=launch.standing(noise=0.0003))
        run = followed(replace(bench, settings={**bench.settings, "sensor.placed": placed}))
        assert run.motion is not None and run.motion.up == up


def test_a_small_quiet_move_of_a_hand_does_not_take_the_place_of_a_noisy_launch() -> None:
    """An uneven clock makes a fast cart scatter; a hand that lifts the cart by 2 cm afterwards moves slowly and scatters little."""
    launch = replace(LAUNCH, hops=1, settle=1.5)
    for seed in range(6):
        record = launch.record(50.0, noise=0.0002, seed=seed)
        rng = np.random.default_rng(seed)
        later = record.time[-1] + np.arange(1, 26) / 50.0
        tau = later - later[12]
        lifted = launch.rest - np.maximum(0.02 - 0.85 * tau * tau, 0.0) + 0.0002 * rng.standard_normal(tau.size)
        time = np.concatenate([record.time, later])
        stamps = time + 0.003 * np.clip(rng.standard_normal(time.size), -2.0, 2.0)
        uneven = replace(record, time=stamps, distance=np.concatenate([record.distance, lifted]))
        run = followed(bench_of(uneven, rest=launch.standing(noise=0.0002)))
        assert run.motion is not None
        assert run.motion.apex_times[0] == pytest.approx(launch.flights()[0].apex_time, abs=0.01), seed
