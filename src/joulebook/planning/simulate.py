"""Simulated benches: a truth integrated from the forces, and the records that a ranger would write of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from joulebook.engine.bench import Bench
from joulebook.engine.record import Record
from joulebook.planning.cart import run
from joulebook.planning.design import Design, random_design
from joulebook.planning.hands import caught, lifted, placed, pushed
from joulebook.planning.motion import Motion, hold, join
from joulebook.planning.ranger import Ranger, Reading, read_motion
from joulebook.planning.statements import stated_inputs
from joulebook.planning.truth import Truth, true_quantities

__all__ = ["SimulatedBench", "random_design", "simulate_bench", "simulate_launch"]

@dataclass(frozen=True, slots=True, eq=False)
class SimulatedBench:
    """A bench with its truth.

    design: what it was made from. bench: what an audit gets. truths: one for each launch, None where nothing was launched.
    readings: of the launches, with what had gone wrong with each sample. A truth is also None where a hand caught the cart before
    it turned. motions: of the launches, in the simulation's time.
    rest_reading: of the rest record.
    """

    design: Design
    bench: Bench
    truths: tuple[Truth | None, ...]
    readings: tuple[Reading, ...]
    motions: tuple[Motion, ...]
    rest_reading: Reading | None = None

    def pooled(self) -> dict[str, float]:
        """Return the mean of each single-valued quantity over the launches, under the audit's names.

        Raises ValueError when nothing was launched.
        """
        each = [truth.quantities() for truth in self.truths if truth is not None]
        if not each:
            raise ValueError("nothing was launched on this bench")
        single = [name for name, value in each[0].items() if isinstance(value, float)]
        return {name: float(np.mean([quantities[name] for quantities in each])) for name in single}


def simulate_bench(design: Design, rng: np.random.Generator) -> SimulatedBench:
    """Return a bench simulated after a design: its rest record, its launch records, its inputs as stated, and the truth.

    rng: decides the noise, the launches' scatter and the hands; the design holds everything else.
    """
    rest_reading = _rest_reading(design, rng) if design.rest_seconds > 0.0 else None
    records, truths, readings, motions = [], [], [], []
    for number in range(1, design.launches + 1):
        name = "launch.csv" if design.launches == 1 else f"launch-{number}.csv"
        record, truth, reading, motion = simulate_launch(design, rng, file=name)
        records.append(record)
        truths.append(truth)
        readings.append(reading)
        motions.append(motion)
    bench = Bench(
        title=design.title,
        experiment="ramp-launch",
        inputs=stated_inputs(design.statements),
        settings={
            "sensor.placed": design.stated_placed,
            "sensor.min_range": 0.15 if design.stated_min_range is None else design.stated_min_range,
            "sensor.max_range": design.stated_max_range,
            "track.length": design.stated_length,
        },
        launches=tuple(records),
        rest=None if rest_reading is None else _record(design, rest_reading, "rest.csv"),
    )
    return SimulatedBench(design, bench, tuple(truths), tuple(readings), tuple(motions), rest_reading)


def simulate_launch(
    design: Design, rng: np.random.Generator, *, file: str = "launch.csv"
) -> tuple[Record, Truth | None, Reading, Motion]:
    """Return one launch of a design: its record, its truth (None when nothing was launched), its reading and its motion."""
    speed = design.speed * (1.0 + design.repeat * float(np.clip(rng.standard_normal(), -2.5, 2.5)))
    stroke = design.stroke(speed)
    before = placed(-stroke, rng=rng) if design.hand_first else None
    opening = before.end if before is not None else 0.0
    launch = opening + design.wait
    parts = [] if before is None else [before]
    parts.append(hold(-stroke, opening, launch))
    if design.missing_launch:
        end = launch + 3.0
        motion = join([*parts, hold(-stroke, launch, end)])
        reading = read_motion(design.ranger, motion, start=0.0, end=end, rng=rng)
        return _record(design, reading, file), None, reading, motion
    flight, end = _flight(design, launch, stroke, speed, rng)
    parts.append(flight)
    motion = join(parts)
    release = next(event.time for event in flight.events if event.kind == "release")
    if design.again_after is not None:
        motion, end = _again(design, motion, stroke, rng)
    if design.hand_last:
        motion = lifted(motion, at=end, rng=rng)
        end = motion.end
    start = 0.0 if design.skip is None else release + design.skip
    if design.stop_after is not None:
        end = release + design.stop_after
    start += float(rng.uniform(0.0, 1.0)) / design.ranger.rate
    reading = read_motion(_with_windows_at(design.ranger, release), motion, start=start, end=end, rng=rng)
    truth = None
    if any(event.kind == "turn" for event in flight.events):
        truth = true_quantities(design.setup, motion, clock_offset=design.ranger.stamp_offset - start)
    return _record(design, reading, file), truth, reading, motion


def _flight(design: Design, launch: float, stroke: float, speed: float, rng: np.random.Generator) -> tuple[Motion, float]:
    """Return the motion from the launch on, and when the record ends."""
    setup = design.setup
    if design.push == "hand":
        shove = pushed(-stroke, start=launch, speed=speed, rng=rng)
        free = run(
            setup, s=float(shove.s[-1]), v=float(shove.v[-1]), start=shove.end, until=launch + design.longest, hops=design.hops
        )
        flight = join([shove, free])
    else:
        flight = run(setup, s=-stroke, start=launch, until=launch + design.longest, launched=True, hops=design.hops)
    release = next(event.time for event in flight.events if event.kind == "release")
    if design.caught_at is not None:
        flight = caught(flight, at=release + design.caught_at, rng=rng)
        return flight, flight.end + 1.0
    if design.hops is None:
        return flight, flight.end + 1.0
    releases = [event.time for event in flight.events if event.kind == "release"]
    if not any(event.kind == "contact" for event in flight.events) or len(releases) < design.hops:
        return flight, flight.end + 0.5
    end = releases[-1] + design.last_hop * (flight.end - releases[-1])
    apex = next(event.time for event in flight.events if event.kind == "turn" and event.time > release)
    return flight, max(end, apex + 0.02) if design.hops == 1 else end


def _again(design: Design, motion: Motion, stroke: float, rng: np.random.Generator) -> tuple[Motion, float]:
    """Return the motion with a second launch after it: the cart is caught, put back on the cocked plunger and launched."""
    assert design.again_after is not None
    release = next(event.time for event in motion.events if event.kind == "release")
    first = caught(motion, at=release + design.again_after, rng=rng)
    back = placed(-stroke, rng=rng, origin=float(first.s[-1])).shifted(first.end + 0.3)
    launch = back.end + float(rng.uniform(0.4, 1.0))
    second = run(design.setup, s=-stroke, start=launch, until=launch + design.longest, launched=True, hops=2)
    waiting = hold(float(first.s[-1]), first.end, back.start)
    return join([first, waiting, back, hold(-stroke, back.end, launch), second]), second.end


def _rest_reading(design: Design, rng: np.random.Generator) -> Reading:
    setup = design.setup
    level = setup.rest_level + design.rest_at * setup.rest_band
    if design.rest_cocked:
        level = -design.stroke(design.speed)
    motion = hold(level + design.rest_shift, 0.0, design.rest_seconds)
    return read_motion(_calm(design.ranger), motion, start=0.0, end=design.rest_seconds, rng=rng)


def _with_windows_at(ranger: Ranger, release: float) -> Ranger:
    """The ranger with its windows of false or lost echoes, which a design counts from the release, on the motion's clock."""
    if ranger.stuck is None and ranger.lost is None:
        return ranger
    stuck = None if ranger.stuck is None else (ranger.stuck[0] + release, ranger.stuck[1] + release)
    lost = None if ranger.lost is None else (ranger.lost[0] + release, ranger.lost[1] + release)
    return replace(ranger, stuck=stuck, lost=lost)


def _calm(ranger: Ranger) -> Ranger:
    """The ranger of the rest record: the same, without the faults that belong to a moment of the launch."""
    return replace(ranger, stuck=None, lost=None, clock_fault="", wrong_first=False, wrong_last=False)


def _record(design: Design, reading: Reading, file: str) -> Record:
    distance = reading.distance * design.distance_factor
    if design.velocity_only:
        distance = np.full_like(distance, math.nan)
    return Record(
        file=file, time=reading.time, distance=distance,
        read_as=f"simulated: time in s and distance in m, {reading.time.size} rows",
        velocity_only=design.velocity_only, distance_step=10.0**-design.ranger.decimals * design.distance_factor,
    )


