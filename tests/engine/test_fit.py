"""The fit: records written from closed forms are found again, noise is told by its size, and what is wrong is thrown out."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from tests.engine.closed_form import ClosedForm

from joulebook.engine.clean import Trace, clean
from joulebook.engine.datum import Datum, rest_level, take_datum
from joulebook.engine.fit import Motion, fit_motion
from joulebook.engine.phases import Outline, find_phases
from joulebook.engine.record import Record
from joulebook.errors import FitError
from joulebook.experiments.ramp_launch import arc

Floats = np.ndarray


def traced(record: Record) -> tuple[Trace, Outline]:
    trace = clean(record)
    return trace, find_phases(trace)[0]


def datum_of(launch: ClosedForm, outline: Outline) -> Datum:
    standing = rest_level(clean(launch.standing()))
    assert standing is not None
    found = take_datum(outline, standing, None)
    assert found is not None
    return found


def fitted(launch: ClosedForm, record: Record, **options: Any) -> Motion:
    trace, outline = traced(record)
    return fit_motion(trace, outline, arc, **{"drag": launch.drag, "datum": datum_of(launch, outline), **options})


def errors(motion: Motion, launch: ClosedForm) -> Floats:
    truth = launch.values()
    return np.array([value - truth[name] for name, value in zip(motion.names, motion.values, strict=True)])


CASES = {
    "spring, 40/s, ranger at the top": (ClosedForm(), 40.0),
    "spring, 40/s, ranger at the bottom": (ClosedForm(up=1, rest=0.30), 40.0),
    "10/s": (ClosedForm(), 10.0),
    "200/s": (ClosedForm(), 200.0),
    "a cart's drag": (ClosedForm(drag=0.0072), 40.0),
    "a sail": (ClosedForm(drag=0.1, speed=1.2), 100.0),
    "hard stop": (ClosedForm(contact=0.0, restitution=0.5), 50.0),
    "steep and fast": (ClosedForm(climb=3.02, descent=2.86, speed=1.6), 20.0),
    "shallow and slow": (ClosedForm(climb=0.58, descent=0.46, speed=0.5), 20.0),
    "one flight": (ClosedForm(hops=1), 40.0),
    "settles": (ClosedForm(hops=5, settle=1.0), 40.0),
}


@pytest.mark.parametrize("name", CASES)
def test_a_record_without_noise_is_found_again(name: str) -> None:
    launch, rate = CASES[name]
    motion = fitted(launch, launch.record(rate))
    assert motion.hops == launch.hops
    assert motion.descent_seen
    assert np.max(np.abs(errors(motion, launch))) < 1e-8
    assert (motion.climb, motion.descent) == pytest.approx((launch.climb, launch.descent), abs=1e-8)
    assert motion.rejected.size == 0
    # Nothing is known better than a fiftieth of a millimetre, noise or not.
    assert motion.noise == 2e-5
    assert motion.up == launch.up


@pytest.mark.parametrize("name", ["spring, 40/s, ranger at the top", "a sail", "10/s"])
def test_fitted_motion_and_windows_are_the_launch(name: str) -> None:
    launch, rate = CASES[name]
    record = launch.record(rate)
    motion = fitted(launch, record)
    free = np.isfinite(motion.fitted)
    place = launch.position(record.time) + launch.up * launch.rest
    inside = free & motion.used
    assert motion.fitted[inside] == pytest.approx(place[inside], abs=1e-8)
    assert np.array_equal(motion.used, motion.used & free), "a used sample lies outside the windows"
    for window, hop in zip(motion.windows, launch.flights(), strict=True):
        # Windows are where the parabola passes the release level; drag and the level's doubt move that by milliseconds.
        assert window == pytest.approx([hop.release, hop.landing], abs=0.004 if launch.drag < 0.1 else 0.03)


def test_the_release_level_is_the_datum_and_the_offset() -> None:
    launch = ClosedForm()
    motion = fitted(launch, launch.record(40.0))
    assert motion.release_level == motion.datum.level + motion.contacts.offset
    assert motion.release_level == pytest.approx(-launch.rest + launch.offset, abs=1e-4)


def test_a_climb_alone_gives_no_descent() -> None:
    launch = ClosedForm(hops=1)
    whole = launch.record(40.0)
    end = np.searchsorted(whole.time, launch.flights()[0].apex_time + 0.03)
    motion = fitted(launch, replace(whole, time=whole.time[:end], distance=whole.distance[:end]))
    assert not motion.descent_seen
    assert motion.names == ("climb", "apex_time_1", "apex_1")
    assert motion.climb == motion.descent == pytest.approx(launch.climb, rel=0.01)


# ------------------------------------------------------------------------------------------------------- uncertainty


def fisher(launch: ClosedForm, motion: Motion, time: Floats, sd: float) -> Floats:
    """Return (JᵀJ)⁻¹σ² of the closed form by central differences: the Cramér–Rao bound for white noise."""
    truth = np.array([launch.values()[name] for name in motion.names])
    used = time[motion.used]
    hop = np.searchsorted(np.array([flight.landing for flight in launch.flights()[:-1]]), used)

    def place(values: Floats) -> Floats:
        tau = used - values[2::2][hop]
        return np.asarray(values[3::2][hop] - 0.5 * np.where(tau < 0.0, values[0], values[1]) * tau**2)

    jacobian = np.empty((used.size, truth.size))
    for column in range(truth.size):
        step = np.zeros(truth.size)
        step[column] = 1e-6
        jacobian[:, column] = (place(truth + step) - place(truth - step)) / 2e-6
    return np.asarray(np.linalg.inv(jacobian.T @ jacobian) * sd * sd)


def test_uncertainties_are_those_of_the_fisher_information() -> None:
    """White noise of 0.5 mm, 80 records: errors scatter as the bound says, and the fit knows it."""
    launch, sd, seeds = ClosedForm(), 0.0005, 80
    pulls, ratios, noises = [], [], []
    for seed in range(seeds):
        record = launch.record(40.0, noise=sd, seed=seed)
        motion = fitted(launch, record)
        bound = fisher(launch, motion, record.time, sd)
        pulls.append(errors(motion, launch) / np.sqrt(np.diag(bound)))
        ratios.append(np.diag(motion.covariance) / np.diag(bound))
        noises.append(motion.noise)
    # Mean square of a pull is 1 ± √(2/n); four such standard deviations for each of eight parameters.
    assert np.mean(np.square(pulls), axis=0) == pytest.approx(np.ones(8), abs=4.0 * math.sqrt(2.0 / seeds))
    assert np.abs(np.mean(pulls, axis=0)).max() < 4.0 / math.sqrt(seeds)
    # A variance from about 105 degrees of freedom; what autocorrelation noise alone shows may add a few per cent.
    assert np.median(ratios, axis=0) == pytest.approx(np.ones(8), abs=0.15)
    assert np.mean(noises) == pytest.approx(sd, rel=4.0 / math.sqrt(2.0 * 105 * seeds) + 0.01)


def test_degrees_of_freedom_are_samples_less_values_for_white_noise() -> None:
    launch = ClosedForm()
    dofs = []
    for seed in range(12):
        motion = fitted(launch, launch.record(40.0, noise=0.0005, seed=seed))
        dofs.append(motion.dof / (motion.used.sum() - motion.values.size))
    assert max(dofs) == pytest.approx(1.0, abs=1e-6)
    assert min(dofs) > 0.6


def test_correlated_noise_widens_the_uncertainty() -> None:
    """AR(1) noise of ρ = 0.7 has (1+ρ)/(1−ρ) ≈ 5.7 times fewer independent samples (REFERENCES A1)."""
    launch = ClosedForm()
    clear, wide = [], []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        record = launch.record(60.0)
        white = 0.0005 * rng.standard_normal(record.time.size)
        slow = np.empty_like(white)
        slow[0] = white[0]
        for i in range(1, white.size):
            slow[i] = 0.7 * slow[i - 1] + math.sqrt(1.0 - 0.49) * white[i]
        clear.append(fitted(launch, replace(record, distance=record.distance + white)))
        wide.append(fitted(launch, replace(record, distance=record.distance + slow)))
    assert np.median([motion.correlation for motion in wide]) == pytest.approx(0.7, abs=0.15)
    ratio = np.median([motion.covariance[0, 0] for motion in wide]) / np.median([motion.covariance[0, 0] for motion in clear])
    assert 2.5 < ratio < 9.0
    assert np.median([motion.dof for motion in wide]) < 0.6 * np.median([motion.dof for motion in clear])


@pytest.mark.parametrize("step", [0.0001, 0.001, 0.002, 0.01])
def test_a_quantised_record_is_never_known_better_than_its_step(step: float) -> None:
    """GUM F.2.2.1: readings in steps of q have a standard uncertainty of q/√12, however well they seem to fit."""
    launch = ClosedForm()
    motion = fitted(launch, launch.record(40.0, step=step))
    assert motion.noise >= step / math.sqrt(12.0)
    assert motion.noise < 1.3 * step / math.sqrt(12.0) + 2e-5
    assert np.all(np.abs(errors(motion, launch)) < 4.0 * np.sqrt(np.diag(motion.covariance)))


def test_noise_that_grows_with_the_speed_is_seen() -> None:
    """sd = 0.2 mm + 1.5 mm per m/s: errors still scatter as stated, and the apex, where the cart is slow, is known better."""
    launch = ClosedForm(hops=4)
    record = launch.record(100.0)
    speed = np.gradient(launch.position(record.time), record.time)
    square, sharper = [], []
    for seed in range(12):
        noise = np.random.default_rng(seed).standard_normal(record.time.size) * (0.0002 + 0.0015 * np.abs(speed))
        motion = fitted(launch, replace(record, distance=record.distance + noise))
        square.append(errors(motion, launch) ** 2 / np.diag(motion.covariance))
        even = fisher(launch, motion, record.time, motion.noise)
        sharper.append(motion.covariance[3, 3] / even[3, 3])
    # 12 × 10 squared pulls, correlated within a record: as uncertain as those of some 40 independent ones.
    assert np.mean(square) == pytest.approx(1.0, abs=4.0 * math.sqrt(2.0 / 40))
    assert np.median(sharper) < 0.9


def test_by_drag_is_how_the_values_follow_the_drag() -> None:
    launch = ClosedForm(drag=0.02)
    record = launch.record(40.0, noise=0.0003, seed=2)
    motion = fitted(launch, record)
    above, below = (fitted(launch, record, drag=0.02 + change) for change in (1e-4, -1e-4))
    assert np.array_equal(above.used, motion.used) and np.array_equal(below.used, motion.used)
    assert motion.by_drag == pytest.approx((above.values - below.values) / 2e-4, rel=0.02, abs=2e-4)
    assert motion.drag == 0.02


# -------------------------------------------------------------------------------------------- what is not the cart


def test_slips_and_spikes_are_thrown_out_and_named() -> None:
    """Ten 3 mm steps of a neighbouring cycle and three far readings among 115 samples move nothing beyond the noise."""
    launch, sd = ClosedForm(), 0.0003
    record = launch.record(40.0, noise=sd, seed=3)
    flight = launch.flights()[0]
    middle = np.flatnonzero((record.time > flight.release + 0.15) & (record.time < flight.landing - 0.15))
    slipped, far = middle[[1, 4, 5, 11, 12, 13, 22, 26, 30, 31]], middle[[8, 17, 28]]
    distance = record.distance.copy()
    distance[slipped] += 0.003
    distance[far] += [0.6, 1.4, 1.9]
    motion = fitted(launch, replace(record, distance=distance))
    trace = clean(replace(record, distance=distance))
    gone = set(motion.rejected.tolist()) | set(np.flatnonzero(~trace.good).tolist())
    assert set(slipped.tolist()) | set(far.tolist()) <= gone
    assert len(gone) <= 13 + 1
    assert not motion.used[np.concatenate([slipped, far])].any()
    named = dict(zip(motion.rejected.tolist(), motion.reasons.tolist(), strict=True))
    assert {named[i] for i in slipped.tolist()} == {"slip"}
    assert {trace.flags[i] for i in far} | {named.get(i, "far-echo") for i in far} <= {"far-echo", ""}
    assert np.all(np.abs(errors(motion, launch)) < 4.0 * np.sqrt(np.diag(motion.covariance)))
    clean_one = fitted(launch, record)
    assert np.sqrt(np.diag(motion.covariance))[:2] == pytest.approx(np.sqrt(np.diag(clean_one.covariance))[:2], rel=0.4)


def test_a_stuck_reading_is_named() -> None:
    """Five samples at one distance, 4 cm and less from where the cart is: too close for the record alone to tell."""
    launch = ClosedForm()
    record = launch.record(40.0, noise=0.0003, seed=3, step=0.0001)
    apex = int(np.searchsorted(record.time, launch.flights()[0].apex_time))
    distance = record.distance.copy()
    distance[apex + 10 : apex + 15] = distance[apex + 10]
    motion = fitted(launch, replace(record, distance=distance))
    flags = clean(replace(record, distance=distance)).flags
    flags[motion.rejected] = motion.reasons
    assert set(flags[apex + 11 : apex + 15]) == {"stuck"}
    assert abs(motion.climb - launch.climb) < 4.0 * math.sqrt(motion.covariance[0, 0])


def test_no_more_than_a_fifth_is_rejected() -> None:
    launch = ClosedForm()
    record = launch.record(40.0, noise=0.0003, seed=8)
    rng = np.random.default_rng(2)
    distance = record.distance + np.where(rng.random(record.time.size) < 0.4, rng.uniform(0.004, 0.02, record.time.size), 0.0)
    motion = fitted(launch, replace(record, distance=distance))
    assert motion.rejected.size <= (motion.used.sum() + motion.rejected.size) // 5 + 2
    assert motion.noise > 0.001, "what is not rejected counts as noise"


# ----------------------------------------------------------------------------------------------- a person's choices


def test_a_person_may_say_when_the_stop_lets_go() -> None:
    launch = ClosedForm()
    record = launch.record(40.0)
    chosen = launch.flights()[0].release + 0.1
    motion = fitted(launch, record, release=chosen)
    assert motion.windows[0, 0] == pytest.approx(chosen, abs=1e-6)
    assert not motion.used[record.time < chosen].any()
    expected = launch.position(np.array([chosen]))[0]
    assert motion.release_level == pytest.approx(-launch.rest + expected, abs=1e-7)


def test_a_person_may_say_when_the_cart_turns() -> None:
    launch = ClosedForm()
    chosen = launch.flights()[0].apex_time + 0.004
    motion = fitted(launch, launch.record(40.0, noise=0.0003), apex=chosen)
    place = motion.names.index("apex_time_1")
    assert motion.values[place] == chosen
    assert np.all(motion.covariance[place] == 0.0), "what a person has set carries no uncertainty of the fit"
    assert motion.covariance[0, 0] > 0.0


def test_barred_samples_are_left_alone() -> None:
    launch = ClosedForm()
    record = launch.record(40.0)
    barred = (record.time > 1.3) & (record.time < 1.5)
    motion = fitted(launch, record, barred=barred)
    assert barred.sum() == 8 and not motion.used[barred].any()
    assert np.max(np.abs(errors(motion, launch))) < 1e-8


# ------------------------------------------------------------------------------------------------------- refusals


def test_too_few_samples() -> None:
    launch = ClosedForm(hops=1)
    record = launch.record(40.0)
    trace, outline = traced(record)
    barred = np.ones(record.time.size, dtype=bool)
    barred[outline.arcs[0].first : outline.arcs[0].first + 3] = False
    with pytest.raises(FitError, match=r"only 3 samples lie on free motion, and 3 values") as caught:
        fit_motion(trace, outline, arc, datum=datum_of(launch, outline), barred=barred)
    assert caught.value.code == "too-slow"
    assert caught.value.remedy


def test_an_acceleration_that_does_not_slow_the_cart_is_named() -> None:
    """Read from the wrong end a flight bends up-slope: the fit ends with a negative acceleration and says whose."""
    launch = ClosedForm(hops=1)
    trace, outline = traced(launch.record(40.0))
    with pytest.raises(FitError, match=r"the fit gives the (climb|descent) an acceleration of -1\.\d+ m/s²"):
        fit_motion(trace, replace(outline, up=-outline.up), arc, datum=Datum(launch.rest - 0.5, 0.001, math.inf, "rest"))


def test_what_no_sample_depends_on_is_named() -> None:
    """All samples after the apex that a person has set: nothing is left to tell the climb by."""
    launch = ClosedForm(hops=1)
    record = launch.record(40.0)
    trace, outline = traced(record)
    apex = launch.flights()[0].apex_time
    with pytest.raises(FitError, match="climb"):
        fit_motion(
            trace, outline, arc, datum=datum_of(launch, outline), apex=apex, barred=record.time < apex + 1e-6
        )  # fmt: skip


def test_an_apex_no_higher_than_the_release_is_refused() -> None:
    """A person puts the release 40 ms before the apex: 1.4 mm of climb are left."""
    launch = ClosedForm()
    with pytest.raises(FitError, match=r"the apex at -0\.807 m lies no higher than the release at -0\.808 m") as caught:
        fitted(launch, launch.record(40.0), release=launch.flights()[0].apex_time - 0.04)
    assert "rest record" in caught.value.remedy


# ------------------------------------------------------------------------------------------- without a rest record


@pytest.mark.parametrize(("launch", "source"), [(ClosedForm(), "contacts"), (ClosedForm(hops=1), "push")])
def test_without_a_rest_record_the_level_is_bracketed(launch: ClosedForm, source: str) -> None:
    trace, outline = traced(launch.record(40.0, noise=0.0003))
    motion = fit_motion(trace, outline, arc)
    assert motion.datum.source == source
    half = motion.datum.u * math.sqrt(3.0)
    assert motion.datum.level - half - 0.001 <= -launch.rest <= motion.datum.level + half + 0.001
    assert 0.001 < motion.datum.u < 0.03
    assert errors(motion, launch)[:2] == pytest.approx([0.0, 0.0], abs=0.01)


def test_a_rebound_too_short_to_fit_still_says_that_no_magnets_threw_the_cart() -> None:
    """Restitution 0.45 at 10 samples a second: two or three readings of the rebound, enough to see how low it is."""
    launch = ClosedForm(climb=3.02, descent=2.86, speed=1.3, contact=0.0, restitution=0.45, hops=2, settle=1.0)
    record = launch.record(10.0, noise=0.0003)
    bounced = fitted(launch, record)
    # The same flight, caught where it came from and held there: nothing is known about the stop.
    landing = launch.flights()[0].landing
    held = np.where(record.time > landing, launch.rest, record.distance)
    caught = fitted(launch, replace(record, distance=held))
    assert (bounced.hops, bounced.contacts.kind) == (caught.hops, caught.contacts.kind) == (1, "unseen")
    assert bounced.contacts.half_width < 0.75 * caught.contacts.half_width
    for motion in (bounced, caught):
        stop = motion.contacts
        assert stop.offset - stop.half_width < launch.offset < stop.offset + stop.half_width
