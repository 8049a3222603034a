"""Simulated benches: records that belong to their truths."""

from __future__ import annotations

import ast
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from joulebook.planning.simulate import SimulatedBench, random_design, simulate_bench


def made(seed: int, **changes: object) -> SimulatedBench:
    rng = np.random.default_rng([9, seed])
    return simulate_bench(replace(random_design(rng), **changes), rng)  # type: ignore[arg-type]


BENCHES = [made(seed) for seed in range(25)]


def test_a_bench_is_complete() -> None:
    for simulated in BENCHES:
        bench = simulated.bench
        assert bench.experiment == "ramp-launch"
        assert bench.rest is not None
        assert len(bench.launches) == len(simulated.truths) == simulated.design.launches
        assert {"cart.mass", "cart.rotating_fraction", "cart.drag_area", "sensor.scale", "place.gravity"} <= set(bench.inputs)
        assert set(bench.settings) == {"sensor.placed", "sensor.min_range", "sensor.max_range", "track.length"}


def test_the_records_show_the_motion_on_the_truth_s_clock() -> None:
    for simulated in BENCHES:
        ranger = simulated.design.ranger
        for record, truth, motion in zip(simulated.bench.launches, simulated.truths, simulated.motions, strict=True):
            assert truth is not None
            release = next(event for event in motion.events if event.kind == "release")
            shift = release.time - truth.release_time
            error = record.distance * ranger.scale - ranger.distance(motion.place(record.time + shift))
            sigma = math.hypot(math.hypot(ranger.noise, ranger.drift_noise), ranger.moving_noise) + ranger.step
            assert np.sqrt(np.mean(error**2)) < 2.0 * sigma
            assert record.time[0] == 0.0
            assert 0.3 < truth.release_time < truth.apex_time < record.time[-1]


def test_the_truth_keeps_its_books() -> None:
    for simulated in BENCHES:
        for truth in simulated.truths:
            assert truth is not None
            energy = truth.kinetic_energy + truth.rotational_energy
            assert abs(truth.unaccounted) < 1e-9 * energy
            setup = simulated.design.setup
            assert truth.kinetic_energy == pytest.approx(0.5 * setup.mass * truth.release_speed**2)
            assert truth.potential_energy == pytest.approx(setup.mass * setup.gravity * truth.height)
            assert truth.height == pytest.approx(truth.travel * math.sin(math.radians(setup.angle)))
            # DESIGN §4: the motion's own slope and friction from the two accelerations.
            sums = (1.0 + setup.rotating_fraction) / (2.0 * setup.gravity)
            assert math.asin(sums * (truth.climb_acceleration + truth.descent_acceleration)) == pytest.approx(
                math.radians(setup.angle)
            )
            assert sums * (truth.climb_acceleration - truth.descent_acceleration) / math.cos(
                math.radians(setup.angle)
            ) == pytest.approx(setup.rolling_resistance)


def test_the_accelerations_are_those_of_the_motion() -> None:
    """Numerically, just before and after the apex, where the drag is none."""
    for simulated in BENCHES:
        motion, truth = simulated.motions[0], simulated.truths[0]
        assert truth is not None
        apex = next(event.time for event in motion.events if event.kind == "turn")
        assert -float(motion.acceleration(apex - 1e-9)) == pytest.approx(truth.climb_acceleration, rel=1e-6)
        assert -float(motion.acceleration(apex + 1e-9)) == pytest.approx(truth.descent_acceleration, rel=1e-6)


def test_hops_contacts_and_restitution_belong_together() -> None:
    for simulated in BENCHES:
        for truth in simulated.truths:
            assert truth is not None
            assert len(truth.hops) >= 1
            assert truth.hops[0].release == truth.release_time
            assert truth.hops[0].apex == truth.apex_time
            assert len(truth.restitution) == sum(not math.isnan(end) for _, end in truth.contacts)
            assert all(0.15 < e < 1.0 for e in truth.restitution)
            for hop, (start, _) in zip(truth.hops, truth.contacts, strict=False):
                assert hop.contact == start


def test_the_rest_record_stands_at_the_rest_level() -> None:
    for simulated in BENCHES:
        ranger, setup = simulated.design.ranger, simulated.design.setup
        assert simulated.bench.rest is not None
        mean = float(np.mean(simulated.bench.rest.distance)) * ranger.scale
        sigma = math.hypot(ranger.noise, 3.0 * ranger.drift_noise) / math.sqrt(simulated.bench.rest.samples)
        assert abs(mean - float(ranger.distance(setup.rest_level))) < setup.rest_band + 5.0 * sigma + 0.5 * ranger.step


def test_launches_repeat_to_a_few_per_cent() -> None:
    simulated = made(3, launches=40, repeat=0.02, hops=1)
    speeds = [truth.release_speed for truth in simulated.truths if truth is not None]
    assert len(speeds) == 40
    assert np.std(speeds, ddof=1) / np.mean(speeds) == pytest.approx(0.02, rel=5.0 / math.sqrt(2.0 * 39))
    assert simulated.pooled()["release_speed"] == pytest.approx(np.mean(speeds))


def test_the_same_seed_gives_the_same_records() -> None:
    first, second = made(7), made(7)
    for one, other in zip(first.bench.launches, second.bench.launches, strict=True):
        assert np.array_equal(one.distance, other.distance, equal_nan=True)
        assert np.array_equal(one.time, other.time)
    assert first.truths == second.truths
    assert not np.array_equal(made(8).bench.launches[0].distance[:20], first.bench.launches[0].distance[:20])


@pytest.mark.parametrize("settled", [True, False])
def test_a_record_ends_when_it_was_asked_to(settled: bool) -> None:
    for seed in range(4):
        simulated = made(seed, stop_kind="hard", hops=None if settled else 3, hand_last=False, longest=30.0)
        truth, record = simulated.truths[0], simulated.bench.launches[0]
        assert truth is not None
        if settled:
            assert truth.settled_time < record.time[-1]
            assert record.time[-1] == pytest.approx(truth.settled_time + 1.0, abs=1.1 / simulated.design.ranger.rate)
        elif math.isnan(truth.settled_time):
            assert truth.hops[2].release < record.time[-1] < truth.hops[2].contact + 1e-9


def test_a_bench_without_launches_has_no_pooled_truth() -> None:
    simulated = made(1, missing_launch=True)
    assert simulated.truths[0] is None
    with pytest.raises(ValueError, match="nothing was launched"):
        simulated.pooled()


def test_the_simulator_shares_no_code_with_the_fit() -> None:
    """Of the engine it knows the two nouns that it makes, a record and a bench; nothing that cleans, finds phases or fits."""
    import joulebook.planning as planning

    # The simulator is what simulate.py rests on; the planner and the kit check beside it use the engine on purpose.
    folder, found, waiting = Path(planning.__path__[0]), set(), ["simulate", "faults"]
    while waiting:
        name = waiting.pop()
        if name in found or not (folder / f"{name}.py").exists():
            continue
        found.add(name)
        for node in ast.walk(ast.parse((folder / f"{name}.py").read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("joulebook.planning."):
                waiting.append(node.module.rsplit(".", 1)[1])
    assert {"cart", "design", "hands", "motion", "ranger", "stops", "truth"} <= found
    modules = [folder / f"{name}.py" for name in sorted(found)]
    used = {
        node.module
        for module in modules
        for node in ast.walk(ast.parse(module.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("joulebook.")
    }
    outside = {name for name in used if not name.startswith("joulebook.planning")}
    assert outside <= {
        "joulebook.engine.bench", "joulebook.engine.record", "joulebook.errors", "joulebook.experiments.ramp_inputs",
        "joulebook.uncertainty",
    }
