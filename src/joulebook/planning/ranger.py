"""What an ultrasonic ranger writes down of a motion: noise, steps, blind zone, false echoes and clock faults."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import accumulate
from typing import Literal

import numpy as np
import numpy.typing as npt

from joulebook.planning.motion import Motion

__all__ = ["ECHO_STEP", "Ranger", "Reading", "read_motion"]

Floats = npt.NDArray[np.float64]

ECHO_STEP = 0.00017
"""Distance that sound goes there and back in 1 µs of echo time, m (BENCH_FACTS: steps of 0.17 mm)."""


@dataclass(frozen=True, slots=True)
class Ranger:
    """A ranger at one end of the track.

    rate: samples per second. placed: "top" or "bottom". zero: its distance from the cart's target at s = 0, m.
    noise: standard deviation of white noise, m. drift_noise: standard deviation of the correlated (AR(1)) part, m, with
    correlation `memory` from sample to sample. moving_noise: further white noise per speed, m per m/s.
    echo_step: counting step of the echo clock, m, 0 for none. decimals: printed digits of the distance in metres; printed_step:
    metres between printed values, 0 for 10^−decimals. time_decimals: printed digits of the time.
    scale: true distance over reading. tilt: of the ranger's axis to the track, degrees. off_axis: m beside the track's line.
    min_range, max_range: m. blind: what is read nearer than min_range: the "floor" or the "background" distance.
    background: distance of what stands behind, m. blank_rate, far_rate, slip_rate: chance of a blank cell, of the start of a
    far echo (1–2 samples), of the start of a neighbouring-cycle slip (runs of 1–4), each per sample. slip: its size, m.
    beyond: what is read farther than max_range: "blank" cells or an echo that wanders by 5 cm.
    stuck: (start, end), s, when another object is seen at `stuck_at` (m). lost: (start, end), s, of blank cells.
    wrong_first, wrong_last: the first or last sample is of another echo. jitter: standard deviation of the instants, s.
    stamp_offset: what the printed time is late, s. clock_fault: "" or "jump" (the time column jumps by seconds in the middle),
    "hundredth" (time divided by 100) or "duplicates" (stamps repeat).
    """

    rate: float = 20.0
    placed: Literal["top", "bottom"] = "top"
    zero: float = 1.0
    noise: float = 0.0005
    drift_noise: float = 0.0
    memory: float = 0.8
    moving_noise: float = 0.0
    echo_step: float = 0.0
    decimals: int = 4
    printed_step: float = 0.0
    time_decimals: int = 4
    scale: float = 1.0
    tilt: float = 0.0
    off_axis: float = 0.0
    min_range: float = 0.15
    max_range: float = 6.0
    beyond: Literal["blank", "wander"] = "blank"
    blind: Literal["floor", "background"] = "floor"
    background: float = 2.9
    blank_rate: float = 0.0
    far_rate: float = 0.0
    far_distance: float = 3.0
    slip_rate: float = 0.0
    slip: float = 0.003
    stuck: tuple[float, float] | None = None
    stuck_at: float = 0.62
    lost: tuple[float, float] | None = None
    wrong_first: bool = False
    wrong_last: bool = False
    jitter: float = 0.0
    stamp_offset: float = 0.0
    clock_fault: Literal["", "jump", "hundredth", "duplicates"] = ""

    @property
    def step(self) -> float:
        """Metres between two printed values."""
        return self.printed_step or 10.0 ** -self.decimals

    def distance(self, s: npt.ArrayLike) -> Floats:
        """Return the true straight distance (m) of the cart's target at s, before scale and noise."""
        sense = 1.0 if self.placed == "bottom" else -1.0
        along = self.zero + sense * np.asarray(s, dtype=np.float64)
        return np.asarray(np.hypot(along * math.cos(math.radians(self.tilt)), self.off_axis))


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """What was written down, and what had gone wrong with each sample.

    time, distance: shape (n,), as printed, NaN where blank. taken: the true instants, s. spoiled: the sample is not the cart's.
    """

    time: Floats
    distance: Floats
    taken: Floats
    spoiled: npt.NDArray[np.bool_]


def read_motion(ranger: Ranger, motion: Motion, *, start: float, end: float, rng: np.random.Generator) -> Reading:
    """Return what the ranger writes down of a motion between two instants (s), the first sample at `start`.

    The printed time is counted from the first sample.
    """
    count = max(math.floor((end - start) * ranger.rate + 1e-9) + 1, 2)
    nominal = np.arange(count) / ranger.rate
    taken = start + nominal
    if ranger.jitter:
        taken = taken + ranger.jitter * rng.standard_normal(count)
    true = ranger.distance(motion.place(taken))
    spread = ranger.noise + (ranger.moving_noise * np.abs(motion.velocity(taken)) if ranger.moving_noise else 0.0)
    distance = true / ranger.scale + spread * rng.standard_normal(count)
    if ranger.drift_noise:
        distance += _correlated(count, ranger.drift_noise, ranger.memory, rng)
    spoiled = _spoil(ranger, distance, true, taken, rng)
    if ranger.echo_step:
        distance = np.round(distance / ranger.echo_step) * ranger.echo_step
    distance = np.round(np.round(distance / ranger.step) * ranger.step, 9)
    time = _stamps(ranger, nominal, rng)
    return Reading(time, distance, taken, spoiled)


def _correlated(count: int, sigma: float, memory: float, rng: np.random.Generator) -> Floats:
    kicks = rng.standard_normal(count) * sigma * math.sqrt(1.0 - memory * memory)
    kicks[0] = sigma * rng.standard_normal()
    # A loop of a few hundred turns: a filter of scipy.signal would take a second to import in every command that simulates.
    return np.array(list(accumulate(kicks.tolist(), lambda last, kick: memory * last + kick)))


def _spoil(ranger: Ranger, distance: Floats, true: Floats, taken: Floats, rng: np.random.Generator) -> npt.NDArray[np.bool_]:
    """Replace in `distance` what is not an echo of the cart; return where."""
    spoiled = np.zeros(distance.size, dtype=bool)
    blind = true < ranger.min_range
    if blind.any():
        elsewhere = ranger.min_range if ranger.blind == "floor" else ranger.background
        distance[blind] = elsewhere + 0.0003 * rng.standard_normal(int(blind.sum()))
        spoiled |= blind
    far = true > ranger.max_range
    distance[far] = np.nan if ranger.beyond == "blank" else distance[far] + 0.05 * rng.standard_normal(int(far.sum()))
    spoiled |= far
    if ranger.slip_rate:
        for first in np.flatnonzero(rng.random(distance.size) < ranger.slip_rate):
            run = slice(int(first), int(first) + int(rng.integers(1, 5)))
            distance[run] += ranger.slip
            spoiled[run] = True
    if ranger.far_rate:
        for first in np.flatnonzero(rng.random(distance.size) < ranger.far_rate):
            run = slice(int(first), int(first) + int(rng.integers(1, 3)))
            distance[run] = ranger.far_distance + 0.02 * rng.standard_normal(distance[run].size)
            spoiled[run] = True
    if ranger.stuck is not None:
        inside = (taken >= ranger.stuck[0]) & (taken <= ranger.stuck[1])
        distance[inside] = ranger.stuck_at + 0.0002 * rng.standard_normal(int(inside.sum()))
        spoiled |= inside
    if ranger.wrong_first:
        distance[0] = ranger.far_distance
        spoiled[0] = True
    if ranger.wrong_last:
        distance[-1] = distance[-1] + 0.35
        spoiled[-1] = True
    blank = np.zeros(distance.size, dtype=bool)
    if ranger.lost is not None:
        blank |= (taken >= ranger.lost[0]) & (taken <= ranger.lost[1])
    if ranger.blank_rate:
        blank |= rng.random(distance.size) < ranger.blank_rate
    distance[blank] = np.nan
    spoiled |= blank
    return spoiled


def _stamps(ranger: Ranger, nominal: Floats, rng: np.random.Generator) -> Floats:
    time = nominal + ranger.stamp_offset
    count = time.size
    if ranger.clock_fault == "jump":
        at = int(rng.integers(count // 4, max(3 * count // 4, count // 4 + 1)))
        time[at:] += float(rng.choice([-1.0, 1.0])) * rng.uniform(0.5, 2.0)
    elif ranger.clock_fault == "hundredth":
        time = time / 100.0
    elif ranger.clock_fault == "duplicates":
        for first in rng.integers(1, count - 1, size=max(count // 12, 3)):
            time[first] = time[first - 1]
    return np.asarray(np.round(time, ranger.time_decimals))
