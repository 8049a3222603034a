"""The record that a set-up should give, with the band that holds 95 % of the benches."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from joulebook.experiments.ramp_kit import Kit
from joulebook.experiments.ramp_launch import arc
from joulebook.experiments.ramp_plan import SetUp, Trace
from joulebook.planning.expected import Expected, expected_motion

__all__ = ["expected_trace", "position_at"]

Floats = npt.NDArray[np.float64]

_BEFORE = 0.4
"""s of the cocked cart that are drawn."""


def expected_trace(kit: Kit, set_up: SetUp) -> Trace:
    """Return the expected distance from the ranger at the sample times, from just before the launch to the last flight.

    The band is 1.96 times the standard deviation from bench to bench: launch strength, rolling resistance, slope as far as it is
    known, and one reading's noise.
    """
    base = _motion(kit, set_up)
    first, last = float(base.releases[0, -1]), float(base.landings[0, -1])
    end = first + kit.LAST_FLIGHT * (last - first)
    time = np.arange(-round(_BEFORE * set_up.rate), int(end * set_up.rate) + 1) / set_up.rate
    centre = position_at(base, kit, time)
    u_angle = set_up.method.standard_uncertainty(set_up.angle)
    others = (
        (_motion(kit, replace(set_up, speed=set_up.speed * (1.0 + kit.repeat)))),
        (_motion(kit, replace(set_up, angle=set_up.angle + u_angle))),
        (_motion(kit, set_up, slack=1.0 + kit.rolling_resistance.u / max(kit.rolling_resistance.value, 1e-9))),
    )
    variance = np.full(time.size, kit.reading_noise**2)
    for other in others:
        variance += (position_at(other, kit, time) - centre) ** 2
    zero, sense = (kit.track_length - kit.start, -1.0) if kit.placed == "top" else (kit.behind, 1.0)
    return Trace(
        tuple(time.tolist()), tuple((zero + sense * centre).tolist()), tuple((1.96 * np.sqrt(variance)).tolist()), kit.min_range,
        float(base.apexes[0, 0]),
    )  # fmt: skip


def position_at(expected: Expected, kit: Kit, time: Floats) -> Floats:
    """Return the up-slope position (m above the rest level) of a single motion at these times (s from the release).

    Before the release the push of the spring, in each contact its half oscillation; in between the closed form of the flights.
    """
    mass = float(expected.mass[0])
    spring = kit.spring(mass)
    omega = float(np.sqrt(spring / (mass * (1.0 + kit.rotating_fraction.value))))
    offset, cocked = float(expected.offset[0]), float(expected.stroke[0] - expected.offset[0])
    # About the loaded spring's rest, which is the rest level: from −cocked up to the offset.
    push = float(np.arccos(np.clip(-offset / cocked, -1.0, 1.0))) / omega
    position = np.where(time < -push, -cocked, -cocked * np.cos(omega * np.maximum(time + push, 0.0)))
    flights = expected.apexes.shape[1]
    for j in range(flights):
        release, apex, landing = (float(each[0, j]) for each in (expected.releases, expected.apexes, expected.landings))
        inside = (time >= release) & (time <= landing)
        flight = arc(time[inside] - apex, float(expected.climb[0]), float(expected.descent[0]), float(expected.drag[0]))[0]
        position[inside] = expected.apex_levels[0, j] + flight
        after = float(expected.releases[0, j + 1]) if j + 1 < flights else np.inf
        contact = (time > landing) & (time < after)
        if contact.any() and np.isfinite(after):
            middle = 0.5 * (landing + after)
            depth = offset / max(abs(float(np.cos(omega * (landing - middle)))), 1e-9)
            position[contact] = -depth * np.cos(omega * (time[contact] - middle))
    return np.asarray(position)


def _motion(kit: Kit, set_up: SetUp, *, slack: float = 1.0) -> Expected:
    one = [np.array([each]) for each in (set_up.mass, set_up.angle, set_up.speed)]
    return expected_motion(kit, mass=one[0], angle=one[1], speed=one[2], slack=slack)
