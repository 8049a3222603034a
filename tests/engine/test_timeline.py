"""The timeline: phases that cover the record once, in order, with edges where the truth has them."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from tests.engine.closed_form import ClosedForm
from tests.test_analysis import bench_of

from joulebook.engine.bench import Bench, Override
from joulebook.engine.clean import clean
from joulebook.engine.datum import rest_level
from joulebook.engine.follow import follow
from joulebook.engine.record import Record
from joulebook.engine.report import Phase
from joulebook.engine.run import Run
from joulebook.engine.timeline import name_phases
from joulebook.experiments.ramp_launch import RAMP_LAUNCH
from joulebook.planning.design import Design, random_design
from joulebook.planning.simulate import simulate_bench

KINDS = {"still", "handled", "push", "climb", "descent", "contact", "gap"}


def followed(bench: Bench, record: Record | None = None) -> Run:
    rest = None if bench.rest is None else rest_level(clean(bench.rest))
    return follow(record or bench.launches[0], bench, RAMP_LAUNCH, rest)


def check_cover(phases: tuple[Phase, ...], record: Record) -> None:
    """From the first sample to the last, no overlap, no hole, every sample inside exactly one phase."""
    clock = record.time[np.isfinite(record.time)]
    assert phases[0].start_s == clock[0] and phases[-1].end_s == clock[-1]
    for before, after in pairwise(phases):
        assert before.end_s == after.start_s
        assert after.first == before.last + 1, (before, after)
    assert (phases[0].first, phases[-1].last) == (0, record.time.size - 1)
    assert all(phase.end_s > phase.start_s and phase.last >= phase.first - 1 for phase in phases)
    assert {phase.kind for phase in phases} <= KINDS


def design_of(seed: int, rate: float, stop: str, placed: str, hands: bool) -> Design:
    design = random_design(
        np.random.default_rng(seed), rate=rate, stop=stop, placed=placed, launches=1, hands=False  # type: ignore[arg-type]
    )  # fmt: skip
    return replace(design, hand_first=hands, hand_last=hands, hops=3, last_hop=0.8)


@pytest.mark.parametrize("rate", [10.0, 20.0, 50.0, 100.0, 200.0])
@pytest.mark.parametrize("stop", ["spring", "hard", "magnetic"])
@pytest.mark.parametrize("placed", ["top", "bottom"])
def test_simulated_launches(rate: float, stop: str, placed: str) -> None:
    """Contacts, apexes and the release of the integrated truth, each within a sample (and for magnets within their doubt)."""
    hands = placed == "top"
    design = design_of(int(rate), rate, stop, placed, hands)
    bench = simulate_bench(design, np.random.default_rng(3))
    truth, record = bench.truths[0], bench.bench.launches[0]
    assert truth is not None
    run = followed(bench.bench)
    phases = name_phases(run)
    check_cover(phases, record)
    kinds = [phase.kind for phase in phases]
    seen = "cd" if stop == "hard" and rate < 20.0 else "cdcd"  # a second hop of 0.4 s holds too few samples at 10/s
    assert "".join(kind[0] for kind in kinds if kind in ("climb", "descent")).startswith(seen)
    found = [phase for phase in phases if phase.kind == "contact"]
    # Where a push that fades ends is a matter of words: the doubt about the release level, at the speed there.
    doubt = 2.0 * run.motion.contacts.half_width / truth.release_speed if run.motion else 0.0
    bounces = 0 if run.motion is None else run.motion.hops - 1
    for phase, (start, end) in zip(found[:bounces], truth.contacts, strict=False):
        assert phase.start_s == pytest.approx(start, abs=1.0 / rate + doubt)
        assert phase.end_s == pytest.approx(end, abs=1.0 / rate + doubt)
    climb = next(phase for phase in phases if phase.kind == "climb")
    assert climb.start_s == pytest.approx(truth.release_time, abs=1.0 / rate + doubt)
    assert climb.end_s == pytest.approx(truth.apex_time, abs=0.3 / rate + 0.01)
    push = next(phase for phase in phases if phase.kind == "push")
    assert phases[kinds.index("push") + 1] is climb and push.end_s == climb.start_s


@pytest.mark.parametrize("rate", [5.0, 10.0, 40.0, 200.0])
def test_a_closed_form_from_cocked_to_settled(rate: float) -> None:
    launch = ClosedForm(hops=4, settle=1.5, wait=1.0, speed=1.1)
    record = launch.record(rate, noise=0.0003)
    phases = name_phases(followed(bench_of(record, rest=launch.standing(noise=0.0003))))
    check_cover(phases, record)
    kinds = [phase.kind for phase in phases]
    assert kinds[:2] == ["still", "push"] or rate < 8.0
    assert kinds[-1] == "still"
    assert "handled" not in kinds
    flights = launch.flights()
    climbs = [phase for phase in phases if phase.kind == "climb"]
    for phase, hop in zip(climbs, flights, strict=False):
        assert (phase.start_s, phase.end_s) == pytest.approx((hop.release, hop.apex_time), abs=0.01)
    assert phases[0].end_s == pytest.approx(launch.wait, abs=2.0 / rate)


def test_a_second_launch_is_handled() -> None:
    """Only the first launch has phases of motion; what follows is told as handled, to the end of the record."""
    first, second = ClosedForm(hops=2, settle=0.8), ClosedForm(hops=2, speed=1.1)
    one, two = first.record(40.0), second.record(40.0)
    time = np.concatenate([one.time, two.time + one.time[-1] + 0.025])
    record = Record("two.csv", time, np.concatenate([one.distance, two.distance]))
    phases = name_phases(followed(bench_of(record, rest=first.standing())))
    check_cover(phases, record)
    assert [phase.kind for phase in phases].count("climb") == 2
    assert phases[-1].kind == "handled"
    assert phases[-1].end_s - phases[-1].start_s > 2.0


def test_no_launch_is_handled_throughout() -> None:
    record = ClosedForm().standing(seconds=3.0, noise=0.0003)
    phases = name_phases(followed(bench_of(record)))
    check_cover(phases, record)
    assert {phase.kind for phase in phases} <= {"still", "handled"}


def test_a_gap_is_cut_out() -> None:
    """Eight blank cells in the first climb: between the last reading before and the first after, nothing is claimed."""
    launch = ClosedForm()
    record = launch.record(40.0, noise=0.0003)
    first = int(np.searchsorted(record.time, launch.flights()[0].release + 0.1))
    distance = record.distance.copy()
    distance[first : first + 8] = np.nan
    record = replace(record, distance=distance)
    phases = name_phases(followed(bench_of(record, rest=launch.standing())))
    check_cover(phases, record)
    (gap,) = [phase for phase in phases if phase.kind == "gap"]
    assert (gap.start_s, gap.end_s) == (record.time[first - 1], record.time[first + 8])
    assert gap.first <= first and gap.last >= first + 7


def test_a_persons_edges_win() -> None:
    launch = ClosedForm()
    record = launch.record(40.0, noise=0.0003)
    override = {"launch.csv": Override(edges=(("handled", float(record.time[0]), 0.5), ("gap", 1.0, 1.2)))}
    phases = name_phases(followed(bench_of(record, rest=launch.standing(), overrides=override)))
    check_cover(phases, record)
    assert ("gap", 1.0, 1.2) in [(phase.kind, phase.start_s, phase.end_s) for phase in phases]
    assert (phases[0].kind, phases[0].end_s) == ("handled", 0.5)


def test_a_persons_edges_end_where_the_record_ends() -> None:
    """Who writes 0 and 100 s for "from the start" and "to the end" means the record's own."""
    launch = ClosedForm()
    record = launch.record(40.0, noise=0.0003)
    override = {"launch.csv": Override(edges=(("handled", 0.0, 0.5), ("handled", 3.0, 100.0)))}
    check_cover(name_phases(followed(bench_of(record, rest=launch.standing(), overrides=override))), record)


def test_a_record_without_a_clock_has_no_phases() -> None:
    record = Record("none.csv", np.full(4, np.nan), np.full(4, 1.0))
    assert name_phases(followed(bench_of(record))) == ()
