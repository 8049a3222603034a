"""The integrator's own behaviour: events, events' order, limits and refusals. Its physics is tested in tests/physics."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from joulebook.planning.cart import Setup, height_at, run, weight_along
from joulebook.planning.stops import SpringStop

SETUP = Setup(mass=0.5, angle=6.0, stop=SpringStop(200.0), rolling_resistance=0.005)


def test_a_launch_is_a_release_a_turn_and_a_contact_over_and_over() -> None:
    motion = run(SETUP, s=-0.05, until=10.0, launched=True, hops=3)
    assert [event.kind for event in motion.events[:7]] == ["release", "turn", "contact", "turn", "release", "turn", "contact"]
    assert sum(event.kind == "contact" for event in motion.events) == 3
    times = [event.time for event in motion.events]
    assert times == sorted(times)
    assert motion.end == times[-1]


def test_friction_holds_the_cart_that_the_slope_cannot_move() -> None:
    steady = replace(SETUP, rolling_resistance=0.2)
    motion = run(steady, s=0.3, until=5.0)
    assert [event.kind for event in motion.events] == ["stick"]
    assert float(motion.place(3.0)) == 0.3
    thrown = run(steady, s=0.1, v=0.5, until=5.0)
    assert [event.kind for event in thrown.events] == ["turn", "stick"]


def test_the_plunger_launches_and_the_stop_is_met() -> None:
    """With its own plunger the launch is the same whatever the stop, and the next contact is with the stop."""
    soft, hard = (run(replace(SETUP, stop=SpringStop(k), plunger=SpringStop(200.0)), s=-0.05, until=10.0, launched=True, hops=2)
                  for k in (200.0, 2e5))
    assert soft.events[0] == hard.events[0]
    lengths = [motion.events[4].time - motion.events[2].time for motion in (soft, hard)]
    assert lengths[0] / lengths[1] == pytest.approx(math.sqrt(1000.0), rel=0.2)


def test_a_run_ends_at_the_time_asked_for() -> None:
    motion = run(SETUP, s=-0.05, until=0.3, launched=True)
    assert motion.end == pytest.approx(0.3, abs=1e-12)


@pytest.mark.parametrize("bad", [{"s": math.nan}, {"s": 0.1, "v": math.inf}, {"s": 0.1, "refine": 0.0}])
def test_a_state_that_is_none_is_refused(bad: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="finite state"):
        run(SETUP, until=1.0, **bad)


def test_a_stop_too_stiff_to_integrate_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("joulebook.planning.cart._MOST_STEPS", 500)
    with pytest.raises(ValueError, match="more than 500 steps"):
        run(replace(SETUP, stop=SpringStop(2e6), rolling_resistance=0.0), s=-1e-7, until=100.0)


def test_height_is_the_integral_of_the_weight() -> None:
    setup = replace(SETUP, sag=0.003, track_length=1.4, low_end=-0.1)
    steps = 2000
    places = [0.8 * (i + 0.5) / steps for i in range(steps)]
    work = sum(weight_along(setup, 0.0, s) for s in places) * 0.8 / steps
    assert work == pytest.approx(setup.gravity * height_at(setup, 0.8), rel=1e-7)
    assert height_at(setup, 0.8) != pytest.approx(0.8 * math.sin(math.radians(6.0)), abs=1e-4)


def test_creep_turns_the_slope() -> None:
    setup = replace(SETUP, creep=0.5)
    assert weight_along(setup, 4.0, 0.0) == pytest.approx(setup.gravity * math.sin(math.radians(8.0)))
    straight, creeping = (run(each, s=0.0, v=1.0, until=3.0, hops=1) for each in (SETUP, setup))
    assert creeping.events[0].s < straight.events[0].s


def test_friction_that_grows_takes_more() -> None:
    plain = run(SETUP, s=0.0, v=1.0, until=3.0, hops=1).events[0].s
    for change in ({"resistance_per_speed": 0.01}, {"resistance_drift": 0.01}, {"resistance_along": 0.05}):
        assert run(replace(SETUP, **change), s=0.0, v=1.0, until=3.0, hops=1).events[0].s < plain
