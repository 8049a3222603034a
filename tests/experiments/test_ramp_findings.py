"""What the motion of one launch shows, on records written by hand; and a clean bench, which shows nothing."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.experiments.finding_checks import RIDE, SETTLED, audited, caught_at, number, only, told
from tests.experiments.hand_made import CLIMB, CONTACT, DESCENT, ZERO, Ride, bench_of, record_of, rest_record, ride

from joulebook.engine.misfit import KINDS
from joulebook.experiments import ramp_findings
from joulebook.experiments.ramp_effects import percent


@pytest.mark.parametrize("placed", ["top", "bottom"])
@pytest.mark.parametrize("motion", [RIDE, SETTLED], ids=["cut", "settles"])
def test_a_clean_bench_by_hand_has_no_findings(placed: str, motion: Ride) -> None:
    launches = [record_of(motion, file=f"launch-{seed}.csv", seed=seed, placed=placed) for seed in (1, 2)]
    assert told(audited(bench_of(*launches, placed=placed))) == []


@pytest.mark.parametrize("shift", [0.03, -0.02])
def test_rest_mismatch(shift: float) -> None:
    """The rest record reads `shift` farther from the ranger at the top, so the cart settles that much higher than it says."""
    finding = only(bench_of(record_of(SETTLED), rest=rest_record(at=ZERO + shift)), "rest-mismatch", "look")
    assert number(finding, "shift_m") == pytest.approx(shift, abs=0.001)
    assert f"{100.0 * abs(shift):.1f} cm {'above' if shift > 0 else 'below'}" in finding.message
    assert percent(shift / RIDE.rise) in finding.message and "the launch record is believed" in finding.message


def test_rest_mismatch_seen_in_a_bounce() -> None:
    """The rest record stands 6 cm down the slope: there the next hop would have to begin before the first has ended."""
    finding = only(bench_of(record_of(RIDE), rest=rest_record(at=ZERO + 0.06)), "rest-mismatch", "look", beside=("ghost-echo",))
    # Without a contact the hops would meet v·T/2 below the level at which the stop lets go, so this is a least value.
    speed = 0.5 * (0.96 + 0.77)
    assert number(finding, "shift_m") == pytest.approx(0.06 - 0.5 * CONTACT * speed, abs=0.005)
    assert "bounces at least 1." in finding.message and "all there is to count from" in finding.message


def test_a_soft_stop_is_no_rest_mismatch() -> None:
    """A stop that holds slow and fast carts for 0.7 s alike is soft, and the rest record is right."""
    slow = record_of(ride(contact=0.7, hops=4))
    assert told(audited(bench_of(slow))) == [("soft-stop", "note")]


def test_rest_cocked() -> None:
    finding = only(bench_of(record_of(SETTLED), rest=rest_record(at=ZERO + 0.04)), "rest-cocked", "look")
    assert number(finding, "shift_m") == pytest.approx(0.04, abs=0.001)
    assert "4.0 cm above" in finding.message
    assert f"{percent(0.04 / RIDE.rise)} too large" in finding.message


def test_rest_cocked_where_the_cart_only_bounces() -> None:
    """Nothing shows where the cart settles or bounces; but it sets off from the level of the rest record."""
    bench = bench_of(record_of(ride(hops=1)), rest=rest_record(at=ZERO + 0.04))
    finding = only(bench, "rest-cocked", "look", beside=("ghost-echo",))
    assert number(finding, "rest_m") == pytest.approx(ZERO + 0.04, abs=0.001)
    assert "no plunger pushes from its own rest level" in finding.message


@pytest.mark.parametrize("depth", [0.0005, 0.002])
def test_a_cart_flicked_off_from_where_it_settles_was_not_cocked(depth: float) -> None:
    """It sets off from the level of the rest record, and settles there: the rest record is right."""
    assert told(audited(bench_of(record_of(ride(depth=depth, settles=1.5))))) == []


@pytest.mark.parametrize(("stands", "says"), [("top", "bottom"), ("bottom", "top")])
def test_wrong_side(stands: str, says: str) -> None:
    finding = only(bench_of(record_of(RIDE, placed=stands), placed=says), "wrong-side", "look")
    assert finding.evidence["seen"] == stands and finding.evidence["stated"] == says
    assert f"stands at the {says}" in finding.message and f"stands at the {stands}" in finding.message


def shoved(seconds: float, above: float) -> Ride:
    """The hand pushes for `seconds`, evenly, from 4 cm below the rest level to `above` it; 1 m/s there, then the usual flight."""
    free, path, start = ride(depth=1e-9, wait=0.0), 0.04 + above, 1.0

    def position(time: np.ndarray) -> np.ndarray:
        t = time - start
        v1 = 2.0 * path / seconds - 1.0  # the mean of first and last speed is path over time
        push = -0.04 + v1 * t + 0.5 * (1.0 - v1) / seconds * t * t
        after = above + free.position(np.maximum(t - seconds, 0.0))
        # Back at the stop the flight is the usual one, from `above` higher: it ends there, before a bounce.
        return np.where(t < 0.0, -0.04, np.where(t < seconds, push, after))

    down = math.sqrt(2.0 * (free.rise + above) / DESCENT)
    release, apex = start + seconds, start + seconds + 1.0 / CLIMB
    return Ride(position, release, apex, apex + down, free.rise, apex + 0.95 * math.sqrt(2.0 * free.rise / DESCENT))


def test_pushed_by_hand() -> None:
    """A push of 0.45 s that ends 18 cm above the stop."""
    motion = shoved(0.45, 0.18)
    finding = only(bench_of(record_of(motion)), "pushed-by-hand", "look")
    assert number(finding, "samples_above") >= 3
    assert number(finding, "push_s") == pytest.approx(0.45, abs=0.2)
    assert "above the stop" in finding.message and "% of the climb" in finding.message


def test_caught_on_the_way_down() -> None:
    when = RIDE.apex + 0.6 * (RIDE.back - RIDE.apex)
    finding = only(bench_of(record_of(caught_at(when, 0.05))), "caught", "look", beside=("ghost-echo",))
    assert number(finding, "after_s") == pytest.approx(when, abs=0.06)
    assert number(finding, "back_s") == pytest.approx(RIDE.back, abs=0.05)
    assert f"after {number(finding, 'after_s'):.2f} s" in finding.message


def test_second_launch() -> None:
    again = RIDE.end + 1.5

    def position(time: np.ndarray) -> np.ndarray:
        waiting = -0.04 * np.clip((time - RIDE.end - 0.3) / 0.5, 0.0, 1.0)
        first = np.where(time < RIDE.end, RIDE.position(time), waiting)
        return np.where(time < again, first, RIDE.position(np.maximum(time - again + 1.0, 0.0)))

    motion = replace(RIDE, position=position, end=again + 2.5)
    finding = only(bench_of(record_of(motion)), "second-launch", "look")
    assert number(finding, "apex_s") == pytest.approx(again - 1.0 + RIDE.apex, abs=0.05)
    assert number(finding, "height_m") == pytest.approx(RIDE.rise, abs=0.02)
    assert f"rises {100.0 * number(finding, 'height_m'):.0f} cm" in finding.message


def test_soft_stop() -> None:
    """A contact of 0.5 s on a spring: δ = a·(T/π)², with a the mean of a_u and a_d (DESIGN §4)."""
    finding = only(bench_of(record_of(ride(contact=0.5))), "soft-stop", "note")
    lift = 0.5 * (CLIMB + DESCENT) * (0.5 / math.pi) ** 2
    assert abs(number(finding, "offset_m") - lift) <= number(finding, "half_width_m")
    assert "holds the cart for 0.5" in finding.message
    assert 0.5 * (CLIMB + DESCENT) * (CONTACT / math.pi) ** 2 < ramp_findings._SOFT[0]  # why the usual bench has none


def on_a_sagging_track(per_metre: float) -> Ride:
    """One flight on a track whose slope grows by `per_metre` (rad/m) up the way: s̈ = −a ∓ r − g·b·(s − rise/2)/(1 + κ), RK4."""
    mean, grip, bend = 0.5 * (CLIMB + DESCENT), 0.5 * (CLIMB - DESCENT), 9.81 * per_metre / 1.02
    step, state = 1e-3, np.array([0.0, 1.0])

    def rate(y: np.ndarray) -> np.ndarray:
        return np.array([y[1], -mean - math.copysign(grip, y[1]) - bend * (y[0] - 0.5 * RIDE.rise)])

    path = [state]
    while state[0] >= 0.0:
        one = rate(state)
        two = rate(state + 0.5 * step * one)
        three = rate(state + 0.5 * step * two)
        four = rate(state + step * three)
        state = state + step / 6.0 * (one + 2.0 * two + 2.0 * three + four)
        path.append(state)
    s = np.array(path)[:, 0]
    times, launch = step * np.arange(s.size), RIDE.release

    def position(time: np.ndarray) -> np.ndarray:
        return np.where(time < launch, RIDE.position(np.minimum(time, launch)), np.interp(time - launch, times, s))

    return Ride(position, launch, launch + step * int(np.argmax(s)), launch + times[-1], float(s.max()), launch + times[-1])


def test_misfit_of_a_sagging_track() -> None:
    """A track that sags by 15 mm over 1.2 m has a slope that changes by 8·0.015/1.2² = 0.083 rad/m."""
    bench = bench_of(record_of(on_a_sagging_track(8.0 * 0.015 / 1.2**2), rate=100.0, noise=0.0002))
    finding = only(bench, "misfit", "look", beside=("angle-mismatch", "ghost-echo", "caught"))
    assert 1e-4 < number(finding, "size_m") < 0.004
    assert number(finding, "p") < 3e-5
    assert f"{1000.0 * number(finding, 'size_m'):.2f} mm of that is a pattern" in finding.message
    assert ramp_findings._LIKENESS[str(finding.evidence["kind"])] in finding.message


def test_every_kind_of_misfit_has_its_words() -> None:
    assert set(ramp_findings._LIKENESS) == set(KINDS)


def test_velocity_only() -> None:
    record = record_of(RIDE)
    smeared = replace(record, distance=np.full(record.samples, np.nan), velocity_only=True)
    finding = only(bench_of(smeared), "velocity-only", "stop")
    assert "no positions" in finding.message
