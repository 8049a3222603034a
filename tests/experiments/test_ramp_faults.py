"""Benches with one fault each (planning.faults): found, with numbers that follow from the design and the integrated truth."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache

import numpy as np
import pytest
from tests.experiments.finding_checks import audited, number, sound, told

from joulebook.engine.misfit import KINDS
from joulebook.engine.report import Audit, Finding
from joulebook.planning.design import random_design
from joulebook.planning.faults import FAULTS, faulty_bench
from joulebook.planning.simulate import SimulatedBench, simulate_bench

SEEDS = (1, 6)

Check = Callable[[SimulatedBench, Finding, int], bool]


def near(finding: Finding, name: str, value: float, tolerance: float) -> bool:
    return abs(number(finding, name) - value) <= tolerance


def sees_cut(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    truth, record = simulated.truths[launch], simulated.bench.launches[launch]
    if simulated.design.skip is not None and "over" in finding.evidence:
        assert truth is not None
        over = -truth.release_time / (truth.apex_time - truth.release_time)
        return near(finding, "over", over + record.time[0] / (truth.apex_time - truth.release_time), 0.08)
    return "start_s" in finding.evidence or near(finding, "end_s", record.time[np.isfinite(record.distance)][-1], 1e-9)


def sees_reach(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    reach = simulated.design.stated_max_range
    assert reach is not None
    return number(finding, "farthest_m") > reach - 0.15


def sees_lost(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    missing = int(np.isnan(simulated.bench.launches[launch].distance).sum())
    return 0 < number(finding, "missing") <= missing


def sees_ghosts(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    return number(finding, "samples") <= 1.3 * simulated.readings[launch].spoiled.sum() + 1


def sees_shift(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    return near(finding, "shift_m", -simulated.design.rest_shift, 0.008)


def sees_cocked(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    stroke = simulated.design.stroke(simulated.design.speed)
    return near(finding, "shift_m", stroke + simulated.design.setup.rest_level, 0.012)


def sees_meant(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    stated = simulated.bench.inputs["track.angle"].value
    return finding.evidence["meant"] == ("an angle from the vertical" if stated > 60.0 else "radians")


def sees_push(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    return 0.1 < number(finding, "push_s") < 0.8


def sees_catch(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    motion = simulated.motions[launch]
    hand = next(event.time for event in motion.events if event.kind == "hand")
    offset = simulated.bench.launches[launch].time[0] - simulated.readings[launch].taken[0]
    if "after_s" in finding.evidence:
        return -0.15 < number(finding, "after_s") - (hand + offset) < 0.5
    turn = next((event.time for event in motion.events if event.kind == "turn"), hand)
    return -0.15 < number(finding, "highest_s") - (min(turn, hand) + offset) < 1.1  # a hand may hold the cart for a second


def sees_again(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    motion = simulated.motions[launch]
    offset = simulated.bench.launches[launch].time[0] - simulated.readings[launch].taken[0]
    turns = [event.time + offset for event in motion.events if event.kind == "turn"]
    return min(abs(number(finding, "apex_s") - turn) for turn in turns[1:]) < 0.08


def sees_lift(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    # The plunger, which lets go at its own free length, launches the cart; the soft stop lets go at most its depth higher.
    lift, half = number(finding, "offset_m"), number(finding, "half_width_m")
    return lift - half < -simulated.design.setup.rest_level and lift + half > 0.0 and half > 0.003


def sees_misfit(simulated: SimulatedBench, finding: Finding, launch: int) -> bool:
    return "earlier_m" in finding.evidence or (number(finding, "p") < 3e-5 and finding.evidence["kind"] in KINDS)


CHECKS: Mapping[str, Check] = {
    "no-launch": lambda s, f, i: near(f, "swing_m", float(np.ptp(s.bench.launches[i].distance)), 0.005),
    "cut-short": sees_cut,
    "too-close": lambda s, f, i: near(f, "min_range_m", s.design.ranger.min_range, 1e-9),
    "too-far": sees_reach,
    "too-slow": lambda s, f, i: near(f, "rate_Hz", s.design.ranger.rate, 0.02 * s.design.ranger.rate),
    "lost-echo": sees_lost,
    "ghost-echo": sees_ghosts,
    "stuck-echo": lambda s, f, i: near(f, "at_m", s.design.ranger.stuck_at, 0.002),
    "clock": lambda s, f, i: {"samples", "gap_s", "rate_Hz"} & set(f.evidence) != set(),
    "no-rest": lambda s, f, i: s.bench.rest is None and 0.0 < number(f, "u_m") < 0.06,
    "rest-mismatch": sees_shift,
    "rest-cocked": sees_cocked,
    "wrong-side": lambda s, f, i: f.evidence["seen"] == s.design.ranger.placed,
    "angle-mismatch": lambda s, f, i: near(f, "seen_deg", s.design.setup.angle, 0.5),
    "angle-suspect": sees_meant,
    "mass-suspect": lambda s, f, i: near(f, "mass_kg", 1000.0 * s.design.setup.mass, 2.0),
    "units-suspect": lambda s, f, i: "low_m" in f.evidence or "ratio" in f.evidence or "travel_m" in f.evidence,
    "pushed-by-hand": sees_push,
    "caught": sees_catch,
    "second-launch": sees_again,
    "soft-stop": sees_lift,
    "misfit": sees_misfit,
    "velocity-only": lambda s, f, i: s.bench.launches[i].velocity_only,
}  # fmt: skip


@cache
def simulated_audit(code: str, seed: int) -> tuple[SimulatedBench, Audit]:
    rng = np.random.default_rng([53, seed])
    design = random_design(rng, stop="spring", angle=7.0, rate=50.0, launches=1 + seed % 2, hands=False)
    simulated = faulty_bench(code, rng, design=design)
    return simulated, audited(simulated.bench)


@pytest.mark.parametrize("code", FAULTS)
def test_a_simulated_fault_is_found_with_its_numbers(code: str) -> None:
    for seed in SEEDS:
        simulated, audit = simulated_audit(code, seed)
        found = [finding for finding in audit.findings if finding.code == code]
        assert found, (seed, told(audit))
        for finding in found:
            sound(finding, simulated.bench)
            names = [record.file for record in simulated.bench.launches]
            launch = names.index(str(finding.evidence["record"])) if "record" in finding.evidence else 0
            assert CHECKS[code](simulated, finding, launch), (seed, finding)


def test_a_record_has_at_most_one_finding_of_each_code() -> None:
    for code in FAULTS:
        for seed in SEEDS:
            _, audit = simulated_audit(code, seed)
            named = [(finding.code, finding.evidence.get("record")) for finding in audit.findings]
            assert len(named) == len(set(named)), (code, seed)
            for finding in audit.findings:
                sound(finding, simulated_audit(code, seed)[0].bench)


def test_clean_benches_have_nothing_to_look_at() -> None:
    """A short look; the conformance suite counts false alarms on many more."""
    for seed in range(4):
        rng = np.random.default_rng([91, seed])
        audit = audited(simulate_bench(random_design(rng, stop="spring", angle=8.0, launches=1, hands=False), rng).bench)
        assert [each for each in told(audit) if each[1] != "note"] == [], seed
