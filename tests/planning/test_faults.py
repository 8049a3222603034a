"""Each fault is there, of the size that its docstring says, and nothing else of the bench is changed by accident."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from joulebook.planning.faults import FAULTS, MODEL_FAULTS, faulty_bench
from joulebook.planning.simulate import SimulatedBench, random_design, simulate_bench

CODES = [
    "no-launch", "cut-short", "too-close", "too-far", "too-slow", "lost-echo", "ghost-echo", "stuck-echo", "clock", "no-rest",
    "rest-mismatch", "rest-cocked", "wrong-side", "angle-mismatch", "angle-suspect", "mass-suspect", "units-suspect",
    "pushed-by-hand", "caught", "second-launch", "soft-stop", "misfit", "velocity-only",
]
"""DESIGN §6."""


def made(code: str, seed: int) -> SimulatedBench:
    return faulty_bench(code, np.random.default_rng([6, seed]))


def test_there_is_one_for_each_finding_code() -> None:
    assert list(FAULTS) == CODES
    assert all(maker.__doc__ for maker in FAULTS.values())


def test_an_unknown_fault_is_refused() -> None:
    with pytest.raises(KeyError):
        faulty_bench("gremlins", np.random.default_rng(1))


def still(simulated: SimulatedBench) -> bool:
    motion = simulated.motions[0]
    standing = motion.place(np.linspace(motion.end - 3.0, motion.end, 50))
    return simulated.truths[0] is None and float(np.ptp(standing)) == 0.0


def cut(simulated: SimulatedBench) -> bool:
    truth, record = simulated.truths[0], simulated.bench.launches[0]
    assert truth is not None
    return bool(truth.release_time < 0.0) != bool(truth.apex_time > record.time[-1])


def near(simulated: SimulatedBench) -> bool:
    ranger = simulated.design.ranger
    blind = simulated.readings[0].spoiled
    true = ranger.distance(simulated.motions[0].place(simulated.readings[0].taken))
    return bool(blind.any()) and bool(np.array_equal(blind, true < ranger.min_range))


def far(simulated: SimulatedBench) -> bool:
    reading, reach = simulated.readings[0], simulated.design.stated_max_range
    true = simulated.design.ranger.distance(simulated.motions[0].place(reading.taken))
    return reach is not None and bool((true[reading.spoiled] > reach).all()) and 0.05 < reading.spoiled.mean() < 1.0


def samples_of_flight(simulated: SimulatedBench) -> np.ndarray:
    truth, record = simulated.truths[0], simulated.bench.launches[0]
    assert truth is not None
    hop = truth.hops[0]
    return np.asarray((record.time > hop.release) & (record.time < hop.contact))


def blank(simulated: SimulatedBench) -> bool:
    in_flight = np.isnan(simulated.bench.launches[0].distance[samples_of_flight(simulated)])
    overall = np.isnan(simulated.bench.launches[0].distance)
    return bool(in_flight.mean() > 0.2 or overall.mean() > 0.2)


def ghosts(simulated: SimulatedBench) -> bool:
    spoiled = np.concatenate([reading.spoiled for reading in simulated.readings])
    return bool(0.02 < spoiled.mean() < 0.45)


def stuck(simulated: SimulatedBench) -> bool:
    record, reading = simulated.bench.launches[0], simulated.readings[0]
    seen = record.distance[reading.spoiled]
    return seen.size >= 5 and float(np.ptp(seen)) < 0.003 and bool(reading.spoiled[samples_of_flight(simulated)].sum() >= 2)


def bad_clock(simulated: SimulatedBench) -> bool:
    steps = np.diff(simulated.bench.launches[0].time) * simulated.design.ranger.rate
    return bool(np.max(np.abs(steps - 1.0)) > 0.5)


def rest_offset(simulated: SimulatedBench) -> float:
    """How far the rest record lies up the slope from the true rest level, m."""
    ranger, setup = simulated.design.ranger, simulated.design.setup
    assert simulated.bench.rest is not None
    sense = 1.0 if ranger.placed == "bottom" else -1.0
    return sense * (float(np.mean(simulated.bench.rest.distance)) * ranger.scale - float(ranger.distance(setup.rest_level)))


def angle_error(simulated: SimulatedBench) -> float:
    return abs(simulated.bench.inputs["track.angle"].value - simulated.design.setup.angle)


def push_time(simulated: SimulatedBench) -> float:
    motion = simulated.motions[0]
    release = next(event.time for event in motion.events if event.kind == "release")
    moving = np.flatnonzero(np.abs(motion.v) > 0.0)
    times = motion.time[moving]
    # The last stretch without motion before the release is the cart standing cocked.
    standing = motion.time[(motion.v == 0.0) & (motion.time < release)]
    return release - float(standing.max() if standing.size else times.min())


def grabbed(simulated: SimulatedBench) -> bool:
    motion = simulated.motions[0]
    release = next(event.time for event in motion.events if event.kind == "release")
    hand = next(event.time for event in motion.events if event.kind == "hand")
    return hand - release < 2.1 * simulated.design.speed / 9.8 / math.sin(math.radians(simulated.design.setup.angle))


def launched_twice(simulated: SimulatedBench) -> bool:
    kinds = [event.kind for event in simulated.motions[0].events]
    return "hand" in kinds and "release" in kinds[kinds.index("hand") :]


def bent(simulated: SimulatedBench) -> bool:
    """Parabolas through climb and descent leave residuals that noise does not explain."""
    truth, record, ranger = simulated.truths[0], simulated.bench.launches[0], simulated.design.ranger
    assert truth is not None
    hop, squares, count = truth.hops[0], 0.0, 0
    for start, end in ((hop.release, hop.apex), (hop.apex, hop.contact)):
        inside = (record.time > start) & (record.time < end)
        time = record.time[inside] - hop.apex
        rest = record.distance[inside] - np.polyval(np.polyfit(time, record.distance[inside], 2), time)
        squares, count = squares + float(rest @ rest), count + int(inside.sum()) - 3
    return squares / count > 1.8 * (ranger.noise**2 + ranger.step**2 / 12.0)


SHOWS: dict[str, Callable[[SimulatedBench], bool]] = {
    "no-launch": still,
    "cut-short": cut,
    "too-close": near,
    "too-far": far,
    "too-slow": lambda s: samples_of_flight(s).sum() <= 5,
    "lost-echo": blank,
    "ghost-echo": ghosts,
    "stuck-echo": stuck,
    "clock": bad_clock,
    "no-rest": lambda s: s.bench.rest is None,
    "rest-mismatch": lambda s: 0.008 < abs(rest_offset(s)) < 0.045,
    "rest-cocked": lambda s: -0.2 < rest_offset(s) < -0.01,
    "wrong-side": lambda s: s.bench.settings["sensor.placed"] != s.design.ranger.placed,
    "angle-mismatch": lambda s: 1.9 < angle_error(s) < 4.1 and s.bench.inputs["track.angle"].value > 1.0,
    "angle-suspect": lambda s: s.bench.inputs["track.angle"].value > 60.0 or s.bench.inputs["track.angle"].value < 0.4,
    "mass-suspect": lambda s: 240.0 < s.bench.inputs["cart.mass"].value < 1001.0,
    "units-suspect": lambda s: not 0.2 < float(np.median(s.bench.launches[0].distance)) / s.design.ranger.zero < 5.0,
    "pushed-by-hand": lambda s: push_time(s) > 0.2,
    "caught": grabbed,
    "second-launch": launched_twice,
    "soft-stop": lambda s: -0.052 < s.design.setup.rest_level < -0.018,
    "misfit": bent,
    "velocity-only": lambda s: s.bench.launches[0].velocity_only and bool(np.isnan(s.bench.launches[0].distance).all()),
}


@pytest.mark.parametrize("code", CODES)
def test_the_fault_is_there(code: str) -> None:
    for seed in range(8):
        assert SHOWS[code](made(code, seed)), seed


@pytest.mark.parametrize("code", sorted(set(CODES) - {"angle-mismatch", "angle-suspect", "caught", "misfit"}))
def test_a_clean_bench_does_not_show_it(code: str) -> None:
    for seed in range(4):
        rng = np.random.default_rng([7, seed])
        design = replace(random_design(rng, hands=False), stated_placed="top" if code != "wrong-side" else None)
        if code == "wrong-side":
            design = replace(design, stated_placed=design.ranger.placed)
        if design.stop_kind == "magnetic" and code == "soft-stop":
            continue
        clean = simulate_bench(design, rng)
        assert not SHOWS[code](clean), seed


def test_a_fault_starts_from_the_design_given() -> None:
    design = random_design(np.random.default_rng(3), stop="hard", placed="bottom")
    simulated = faulty_bench("no-rest", np.random.default_rng(4), design=design)
    assert simulated.design == replace(design, rest_seconds=0.0)


@pytest.mark.parametrize("code", MODEL_FAULTS)
def test_faults_of_the_model_change_the_motion_or_the_reading(code: str) -> None:
    design = replace(random_design(np.random.default_rng(12), launches=1, hands=False), repeat=0.0)
    clean, faulty = simulate_bench(design, np.random.default_rng(1)), faulty_bench(code, np.random.default_rng(1), design=design)
    both = min(clean.bench.launches[0].samples, faulty.bench.launches[0].samples)
    change = faulty.bench.launches[0].distance[:both] - clean.bench.launches[0].distance[:both]
    assert 1e-4 < np.max(np.abs(change)) < 0.2
    assert faulty.bench.inputs == clean.bench.inputs
