"""Contacts: springs from their own arithmetic, fading pushes from an integrated Toda oscillator, hard stops."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from tests.engine.closed_form import ClosedForm

from joulebook.engine.contacts import LONGEST, Contacts, _time_below, _toda_table, find_contacts

Floats = np.ndarray
G = 9.80665


def hops_of(launch: ClosedForm) -> tuple[Floats, Floats]:
    """Return apex times and apexes above the rest level."""
    flights = launch.flights()
    return np.array([hop.apex_time for hop in flights]), np.array([hop.apex for hop in flights])


def contacts_of(launch: ClosedForm, *, cocked: bool = True) -> Contacts:
    """Return the contacts as found with the rest level at 0.3 m; cocked: where the cart stood before the launch is on record."""
    times, apexes = hops_of(launch)
    still = 0.3 - launch.cocked if cocked else math.nan
    return find_contacts(launch.climb, launch.descent, times, 0.3 + apexes, 0.3, still_level=still)


@pytest.mark.parametrize(
    ("mass", "stiffness", "angle", "kappa"), [(0.25, 200.0, 10.0, 0.0), (0.5, 200.0, 5.0, 0.02), (1.0, 500.0, 15.0, 0.04)]
)
def test_a_spring_stop(mass: float, stiffness: float, angle: float, kappa: float) -> None:
    """DESIGN §4: held for T = π√(m/k), let go δ = m·g·sinθ/k above the rest level, from carts of made-up benches."""
    expected_time = math.pi * math.sqrt(mass * (1.0 + kappa) / stiffness)
    expected_offset = mass * G * math.sin(math.radians(angle)) / stiffness
    fall, grip = G * math.sin(math.radians(angle)) / (1.0 + kappa), G * math.cos(math.radians(angle)) * 0.005 / (1.0 + kappa)
    launch = ClosedForm(climb=fall + grip, descent=fall - grip, contact=expected_time, restitution=0.8, speed=1.1, hops=4)
    found = contacts_of(launch)
    assert found.kind == "spring"
    # Seen from the parabolas the cart crosses the rest level a little early and late: relative size (δ/rise)², below 1 %.
    assert found.duration == pytest.approx(expected_time, rel=0.01)
    assert found.offset == pytest.approx(expected_offset, rel=0.02)
    assert abs(found.offset - expected_offset) < found.half_width < 0.004 + 0.2 * expected_offset
    unknown = contacts_of(launch, cocked=False)
    assert unknown.kind == "spring"
    assert abs(unknown.offset - expected_offset) < unknown.half_width
    assert unknown.half_width >= found.half_width, "a cocked cart on record tells more, never less"


def test_contacts_begin_and_end_at_the_release_level() -> None:
    launch = ClosedForm(hops=4)
    found, flights = contacts_of(launch), launch.flights()
    assert found.starts == pytest.approx([hop.landing for hop in flights[:-1]], abs=2e-4)
    assert found.ends == pytest.approx([hop.release for hop in flights[1:]], abs=2e-4)
    # Speed out over speed in at the rest level, where the spring takes as much as it gives: nearly that at its free length.
    assert found.restitution == pytest.approx(0.8, abs=0.01)


def test_a_hard_stop_lets_go_where_the_cart_stands() -> None:
    found = contacts_of(ClosedForm(contact=0.0, restitution=0.45, hops=3))
    assert found.kind == "hard"
    assert found.clear == 0.0
    assert found.duration == pytest.approx(0.0, abs=1e-9)
    assert found.offset <= 0.0 < found.offset + found.half_width == pytest.approx(0.001)
    assert found.half_width < 0.002
    assert found.restitution == pytest.approx(0.45, rel=1e-9)


@pytest.mark.parametrize("zeta", [0.0, 0.15, 0.3])
@pytest.mark.parametrize("duration", [0.003, 0.006])
def test_a_damped_buffer_lets_go_inside_the_limits(zeta: float, duration: float) -> None:
    """y″ = −ω²y − 2ζωy′ − a, integrated until the push ends: short of the free length, for want of push (damped oscillator)."""
    omega, fall, speed = math.pi / duration, 1.66, 1.2

    def push(_: float, y: Floats) -> float:
        return float(-(omega**2) * y[0] - 2.0 * zeta * omega * y[1])

    def ended(t: float, y: Floats) -> float:
        return push(t, y) if t > 1e-5 else 1.0

    ended.terminal, ended.direction = True, -1.0  # type: ignore[attr-defined]
    path = solve_ivp(
        lambda t, y: [y[1], push(t, y) - fall], (0.0, 0.1), [0.0, -speed], events=ended, rtol=1e-10, atol=1e-13, max_step=duration / 50.0
    )
    restitution = float(path.y_events[0][0][1]) / speed
    # The rest level lies a/ω² below the free length; what is measured from it is how much higher the cart is let go.
    true = float(path.y_events[0][0][0]) + fall / omega**2
    # The cart launched from there, and from there again after its first fall.
    found = contacts_of(ClosedForm(contact=0.0, restitution=restitution, speed=speed, hops=3))
    assert found.kind == "hard"
    assert found.offset - found.half_width < true < found.offset + found.half_width


@pytest.mark.parametrize("contact", [0.001, 0.005, 0.0075])
def test_a_buffer_of_a_few_milliseconds_is_hard(contact: float) -> None:
    """A contact of 7.5 ms gives way by g·sinθ(T/π)² = 10 µm: no ranger sees that."""
    found = contacts_of(ClosedForm(contact=contact, restitution=0.4))
    assert found.kind == "hard"
    assert found.half_width > ClosedForm(contact=contact).offset


def test_hops_that_overlap_in_time_widen_the_doubt() -> None:
    """A rest level taken 5 mm too low makes contacts end before they begin: the doubt is as large."""
    times, apexes = hops_of(ClosedForm(contact=0.0, restitution=0.5))
    found = find_contacts(1.72, 1.60, times, apexes, -0.005)
    assert found.kind == "hard"
    assert found.duration < -0.01
    assert found.half_width > 0.005
    assert np.all(found.ends < found.starts)


def integrated_toda(w: float) -> float:
    """Return how long y″ = e^(−y) − 1 stays below y = 0 when it comes in at y′ = −w."""

    def back(_: float, y: Floats) -> float:
        return float(y[0])

    back.terminal, back.direction = True, 1.0  # type: ignore[attr-defined]
    found = solve_ivp(
        lambda _, y: [y[1], math.expm1(-y[0])], (0.0, 60.0), [0.0, -w], events=back, rtol=1e-11, atol=1e-13, method="DOP853"
    )
    return float(found.t_events[0][-1])


@pytest.mark.parametrize("w", [0.05, 0.3, 1.0, 3.0, 10.0, 40.0, 120.0])
def test_the_toda_table_is_the_integrated_oscillator(w: float) -> None:
    logs, values = _toda_table()
    assert float(np.interp(math.log(w), logs, values)) == pytest.approx(integrated_toda(w), rel=5e-4)


def test_the_toda_table_at_its_ends() -> None:
    """π − 2w/3 for small swings, the harmonic half period and its first correction; 2·ln(2w²)/w for fast carts."""
    logs, values = _toda_table()
    assert values[0] == pytest.approx(math.pi - 2.0 * float(np.exp(logs[0])) / 3.0, abs=2e-5)
    assert np.all(np.diff(values) < 0.0), "faster carts are held for a shorter time"
    w = float(np.exp(logs[-1]))
    assert values[-1] == pytest.approx(2.0 * math.log(2.0 * w * w) / w, rel=5e-3)


def test_a_push_over_a_length_scales_with_it() -> None:
    """With x = λy and t = √(λ/a)·τ the equation x″ = a·(e^(−x/λ) − 1) has no constants left."""
    reach, mean, speed = 0.006, 1.6, 0.9
    w = speed / math.sqrt(mean * reach)
    expected = math.sqrt(reach / mean) * integrated_toda(w)
    assert float(_time_below(mean, np.array([reach]), np.array([speed]))[0]) == pytest.approx(expected, rel=5e-4)


@pytest.mark.parametrize("reach", [0.004, 0.007, 0.010])
def test_magnets_are_told_from_springs(reach: float) -> None:
    """Hops from Toda contacts: fast ones are held shorter, restitution 0.94; the release is told in λ, give or take."""
    climb, descent, speed = 1.72, 1.60, 1.2
    times, apexes, time = [], [], 0.0
    for _ in range(5):
        times.append(time + speed / climb)
        apexes.append(speed**2 / (2.0 * climb))
        fast = math.sqrt(2.0 * descent * apexes[-1])
        slow = 0.94 * fast
        w = 0.5 * (fast + slow) / math.sqrt(1.66 * reach)
        time = times[-1] + fast / descent + math.sqrt(reach / 1.66) * integrated_toda(w)
        speed = slow
    found = find_contacts(climb, descent, np.array(times), np.array(apexes), 0.0)
    assert found.kind == "distant"
    # Where such a push "ends" is a matter of words: from half of the weight along the slope to a sixtieth is inside the limits.
    assert found.offset - found.half_width < math.log(2.0) * reach + 0.001
    assert found.offset + found.half_width > math.log(60.0) * reach
    assert 2.0 * reach < found.offset < 4.5 * reach


def test_noisy_times_leave_the_kind_open() -> None:
    """Restitution 0.93 and times known to 10 ms only: a spring and magnets both fit, and both are inside the limits."""
    launch = ClosedForm(restitution=0.93, hops=3)
    times, apexes = hops_of(launch)
    covariance = np.diag([1e-6, 1e-6] + [1e-4, 1e-8] * 3)
    found = find_contacts(launch.climb, launch.descent, times, apexes, 0.0, covariance=covariance, u_level=0.0003)
    assert found.kind == "unclear"
    assert found.offset - found.half_width < launch.offset < found.offset + found.half_width
    sure = contacts_of(ClosedForm(restitution=0.75, hops=3))
    assert found.half_width > sure.half_width


@pytest.mark.parametrize("heights", [[0.29], [0.29, 0.003], [0.29, -0.02, 0.1]])
def test_without_a_rebound_the_stop_is_unseen(heights: list[float]) -> None:
    times = np.arange(len(heights)) * 1.3
    found = find_contacts(1.72, 1.60, times, np.array(heights), 0.0)
    assert found.kind == "unseen"
    assert math.isnan(found.duration) and math.isnan(found.restitution)
    assert found.starts.size == found.ends.size == 0
    # A push of up to 0.15 s, a quarter of a spring's period (common practice, no source): δ = a(2T/π)². A hard stop lets go at 0.
    high = 1.66 * (2.0 * 0.15 / math.pi) ** 2
    assert found.offset - found.half_width == pytest.approx(-0.002)
    assert found.offset + found.half_width == pytest.approx(high + 0.001)


def test_an_unseen_stop_is_judged_by_how_deep_the_cart_was_cocked() -> None:
    """A spring gives v² ≈ ω²d², so δ = a/ω² ≈ a·d²/v²; a push that fades over λ ≪ d may end as low as the rest level."""
    speed, mean = math.sqrt(2.0 * 1.72 * 0.29), 1.66
    for depth in (0.02, 0.04, 0.08):
        found = find_contacts(1.72, 1.60, np.array([1.0]), np.array([0.29]), 0.0, still_level=-depth)
        assert found.kind == "unseen"
        spring = mean * (depth / speed) ** 2
        assert found.offset - found.half_width < spring < found.offset + found.half_width
        assert found.offset + found.half_width < 0.05


def test_a_low_bounce_shows_that_no_magnets_threw_the_cart() -> None:
    """Magnets give back 0.9 to 0.98 of the speed (common practice, no source): after a bounce of 0.5 only a spring or a buffer is left."""
    place = (1.72, 1.60, np.array([1.0]), np.array([0.29]), 0.0)
    for depth in (0.02, 0.04, 0.08):
        blind, seen = (find_contacts(*place, still_level=-depth, bounce=bounce) for bounce in (math.nan, 0.5))
        assert seen.kind == "unseen"
        assert seen.half_width < 0.75 * blind.half_width
        assert seen.offset - seen.half_width < 0.0 < seen.offset + seen.half_width, "a buffer lets go where the cart rests"
        assert find_contacts(*place, still_level=-depth, bounce=0.93).half_width == blind.half_width


def test_a_contact_longer_than_a_stop_makes_is_not_believed() -> None:
    times, apexes = np.array([0.6, 3.4]), np.array([0.29, 0.20])
    found = find_contacts(1.72, 1.60, times, apexes, 0.0)
    assert found.duration > LONGEST
    assert found.kind == "unclear"
    assert found.offset == found.half_width / 2.0 <= 0.03


def test_a_person_may_put_the_release_elsewhere() -> None:
    found = contacts_of(ClosedForm())
    moved = found.released_at(0.021)
    assert (moved.offset, moved.half_width) == (0.021, found.half_width)
    assert found.released_at(0.021, 0.002).half_width == 0.002
    assert found.offset != 0.021, "the contacts themselves are unchanged"


@pytest.mark.parametrize(("u_still", "kinds"), [(0.0003, {"spring"}), (0.003, {"unclear"})])
def test_a_depth_printed_to_centimetres_does_not_tell_a_spring_from_magnets(u_still: float, kinds: set[str]) -> None:
    """One contact of 0.098 s, hardly any loss, cocked 24.5 mm deep: a spring's depth to 2 %, magnets' to 12 %, and known to 1 or 12 %."""
    climb, descent, rise, duration, restitution = 2.32, 2.26, 0.158, 0.0985, 0.97
    fall = math.sqrt(2.0 * rise / descent)
    back = (restitution * descent * fall) ** 2 / (2.0 * climb)
    times = np.array([1.0, 1.0 + fall + duration + math.sqrt(2.0 * back / climb)])
    found = find_contacts(climb, descent, times, np.array([rise, back]), 0.0, still_level=-0.0265, u_still=u_still)
    assert found.kind in kinds
    assert (found.half_width > 0.015) == (kinds == {"unclear"})
