"""Misfit: a constant acceleration is able to fail, says of what it looks like, and doubts the energy by as much."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.engine.closed_form import ClosedForm

from joulebook.engine.clean import clean
from joulebook.engine.datum import Datum
from joulebook.engine.fit import Motion, fit_motion
from joulebook.engine.misfit import KINDS
from joulebook.engine.phases import find_phases
from joulebook.engine.record import Record
from joulebook.experiments.ramp_launch import arc

Floats = np.ndarray
LAUNCH = ClosedForm(speed=1.3, hops=3, rest=1.25)


def fitted(record: Record, **options: float) -> Motion:
    trace = clean(record)
    return fit_motion(trace, find_phases(trace)[0], arc, datum=Datum(-LAUNCH.rest, 0.0003, 50.0, "rest"), **options)


def bent(record: Record, size: float) -> Record:
    """A track whose slope changes along it by a gradient: ẍ = −a(1 + γ(s − s_m)), integrated by ten thousand small steps."""
    from scipy.integrate import solve_ivp

    distance = record.distance.copy()
    middle = 0.5 * LAUNCH.flights()[0].apex
    for hop in LAUNCH.flights():
        for sign, a in ((-1.0, LAUNCH.climb), (1.0, LAUNCH.descent)):
            span = (hop.release - hop.apex_time) if sign < 0 else (hop.landing - hop.apex_time)
            inside = (record.time >= min(hop.apex_time, hop.apex_time + span)) & (
                record.time <= max(hop.apex_time, hop.apex_time + span)
            )
            tau = record.time[inside] - hop.apex_time
            order = np.argsort(np.abs(tau))
            path = solve_ivp(
                lambda _, y, a=a: [y[1], -a * (1.0 + size * (y[0] - middle))], (0.0, span), [hop.apex, 0.0],
                t_eval=tau[order], rtol=1e-10, atol=1e-12,
            ).y[0]  # fmt: skip
            place = np.empty(tau.size)
            place[order] = path
            distance[inside] = LAUNCH.rest - place
    return replace(record, distance=distance)


def with_noise(record: Record, sd: float, seed: int) -> Record:
    return replace(record, distance=record.distance + sd * np.random.default_rng(seed).standard_normal(record.time.size))


def test_white_noise_is_no_misfit() -> None:
    """p is below 0.05 in about one record of twenty, and then the doubt that it adds is small; below 3·10⁻⁵ never."""
    p, widened = [], []
    for seed in range(60):
        motion = fitted(LAUNCH.record(50.0, noise=0.0005, seed=seed))
        p.append(motion.misfit.p)
        widened.append(motion.misfit.covariance[0, 0] / motion.covariance[0, 0])
        if motion.misfit.p >= 0.05:
            assert motion.misfit.kind == "" and not motion.misfit.covariance.any()
        else:
            assert motion.misfit.kind in KINDS
    # 60 records at 5 %: 3 expected; more than 11 have a chance below 10⁻⁴ (binomial).
    assert sum(value < 0.05 for value in p) <= 11
    assert min(p) > 3e-5
    assert np.mean(widened) < 0.1


@pytest.mark.parametrize("gradient", [-0.12, 0.12])
def test_a_bent_track_is_seen_and_named(gradient: float) -> None:
    record = bent(LAUNCH.record(50.0), gradient)
    motion = fitted(with_noise(record, 0.0003, 1))
    assert motion.misfit.p < 3e-5
    assert motion.misfit.kind == "bent track"
    assert motion.misfit.size > 0.0002
    # The doubt covers what the bend has done to the climb's acceleration, and the fit's own noise does not.
    error = motion.climb - LAUNCH.climb
    own = motion.covariance - motion.misfit.covariance
    assert motion.misfit.covariance[0, 0] > 4.0 * own[0, 0] or abs(error) < 3.0 * np.sqrt(own[0, 0])
    assert abs(error) < 3.0 * np.sqrt(motion.covariance[0, 0])


def test_a_slope_that_creeps_is_seen() -> None:
    """The deceleration grows by 6 % per second from hop to hop, as of a clamp that gives way."""
    grown = [replace(LAUNCH, climb=LAUNCH.climb * f, descent=LAUNCH.descent * f) for f in (1.0, 1.10, 1.18)]
    record = LAUNCH.record(50.0)
    distance = record.distance.copy()
    for hop, changed in zip(LAUNCH.flights(), grown, strict=True):
        inside = (record.time > hop.release) & (record.time < hop.landing)
        tau = record.time[inside] - hop.apex_time
        distance[inside] = LAUNCH.rest - (hop.apex - 0.5 * np.where(tau < 0, changed.climb, changed.descent) * tau**2)
    motion = fitted(with_noise(replace(record, distance=distance), 0.0003, 2))
    assert motion.misfit.p < 3e-5
    assert motion.misfit.kind == "slope creeps"


def test_an_unknown_drag_is_no_misfit() -> None:
    """Twice the stated drag, within its uncertainty: nothing to be alarmed at. Known exactly, it is one."""
    windy = replace(LAUNCH, drag=0.08)
    record = windy.record(50.0, noise=0.0003, seed=3)
    alarmed = fitted(record, drag=0.02)
    calm = fitted(record, drag=0.02, u_drag=0.04)
    assert alarmed.misfit.p < 3e-5
    assert alarmed.misfit.kind in KINDS
    assert calm.misfit.p > alarmed.misfit.p
    assert calm.misfit.p > 1e-3


def test_short_records_say_nothing() -> None:
    """Fewer than nine samples more than values: a misfit cannot be told from noise, and is not."""
    short = replace(LAUNCH, hops=1)
    motion = fitted(short.record(8.0, noise=0.0005))
    assert motion.used.sum() < motion.values.size + 9
    assert (motion.misfit.p, motion.misfit.kind, motion.misfit.size) == (1.0, "", 0.0)
    assert not motion.misfit.covariance.any()


def test_the_release_energy_is_what_the_shift_is_about() -> None:
    """Departures are laid so that they leave the energy at the first release to the other values: 2·a_u·h of the true motion."""
    record = bent(LAUNCH.record(100.0), 0.15)
    motion = fitted(with_noise(record, 0.0002, 4))
    first = LAUNCH.flights()[0]
    # Energy per mass that the bent climb really had, ∫a(1 + γ(s − s_m)) ds over the climb, by hand.
    true = LAUNCH.climb * (first.apex - LAUNCH.offset) * (1.0 + 0.15 * (0.5 * (first.apex + LAUNCH.offset) - 0.5 * first.apex))
    place = motion.names.index("apex_1")
    found = motion.climb * (motion.values[place] + LAUNCH.rest - LAUNCH.offset)
    values = motion.values + motion.misfit.shift
    shifted = values[0] * (values[place] + LAUNCH.rest - LAUNCH.offset)
    assert abs(shifted - true) < abs(found - true)
    assert shifted == pytest.approx(true, rel=0.01)
