"""Worked examples of a textbook, run through the simulator.

Source: OpenStax, College Physics 2e and University Physics volume 1, section named at each test; REFERENCES ids M1 to M12.
g = 9.80 m/s² as there; the tolerance is half a unit of the last printed digit (3.675 prints as 3.68: half a unit and a hair).
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from joulebook.planning.cart import Setup, run
from joulebook.planning.motion import Motion
from joulebook.planning.stops import SpringStop
from joulebook.planning.truth import losses_between

BARE = Setup(mass=1.0, angle=0.0, stop=SpringStop(1e6), gravity=9.80)


def speed_at(motion: Motion, place: float) -> float:
    """The speed when the cart passes a place, from the motion's own nodes."""
    low, high = motion.start, motion.end
    rising = motion.place(high) > motion.place(low)
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if (motion.place(middle) < place) == rising else (low, middle)
    return abs(float(motion.velocity(low)))


def rolled(setup: Setup, length: float) -> tuple[float, float]:
    """Time and speed of a body that rolls this length down from rest: it starts there and meets the stop at s = 0."""
    motion = run(setup, s=length, until=600.0, hops=1)
    met = motion.events[-1]
    assert met.kind == "contact"
    return met.time, -met.v


def test_m1_a_spring_launches_a_toy_car() -> None:
    """M1, CP 7.4: 250.0 N/m pressed by 4.00 cm, 0.100 kg: 2.00 m/s; after a rise of 0.180 m 0.687 m/s."""
    setup = replace(BARE, mass=0.100, stop=SpringStop(250.0))
    release = run(setup, s=-0.0400, until=1.0, launched=True).events[0]
    assert release.kind == "release"
    assert release.v == pytest.approx(2.00, abs=0.005)
    slope = replace(setup, angle=30.0)
    climb = run(slope, s=0.0, v=release.v, until=0.3)
    assert speed_at(climb, 0.180 / math.sin(math.radians(30.0))) == pytest.approx(0.687, abs=0.0005)


@pytest.mark.parametrize(("angle", "printed"), [(0.0, 2.60), (5.00, 2.31)])
def test_m2_a_sliding_player_stops(angle: float, printed: float) -> None:
    """M2, CP 7.5: 65.0 kg at 6.00 m/s against a friction of 450 N: 2.60 m on the level, 2.31 m up 5.00°."""
    normal = 65.0 * 9.80 * math.cos(math.radians(angle))
    setup = replace(BARE, mass=65.0, angle=angle, rolling_resistance=450.0 / normal)
    motion = run(setup, s=1.0, v=6.00, until=10.0)
    assert motion.events[-1].kind == "stick"
    assert motion.events[-1].s - 1.0 == pytest.approx(printed, abs=0.005)
    assert losses_between(setup, motion, 0.0, motion.end)[0] == pytest.approx(450.0 * (motion.events[-1].s - 1.0), rel=1e-9)


def test_m3_two_carts_and_a_cocked_spring() -> None:
    """M3, CP 8.5: .350 kg at +2.00 and .500 kg at −.500 m/s; a spring lets go 5.46 J: −4.00 and +3.70 m/s, .763 → 6.22 J.

    Run as the relative motion, which has the reduced mass; the spring starts pressed by what stores 5.46 J.
    """
    one, two = 0.350, 0.500
    total, reduced = one + two, one * two / (one + two)
    drift = (one * 2.00 + two * -0.500) / total
    stiffness = 4000.0
    motion = run(replace(BARE, mass=reduced, stop=SpringStop(stiffness)), s=-math.sqrt(2.0 * 5.46 / stiffness), v=-2.5, until=1.0)
    apart = next(event for event in motion.events if event.kind == "release").v
    first, second = drift - two / total * apart, drift + one / total * apart
    assert first == pytest.approx(-4.00, abs=0.005)
    assert second == pytest.approx(3.70, abs=0.005)
    assert 0.5 * one * first**2 + 0.5 * two * second**2 == pytest.approx(6.22, abs=0.005)


@pytest.mark.parametrize(("first", "printed"), [(0.0, 19.8), (5.00, 20.4)])
def test_m6_a_drop_of_twenty_metres(first: float, printed: float) -> None:
    """M6, CP 7.3: 20.0 m down without friction from 0 and from 5.00 m/s: 19.8 and 20.4 m/s."""
    motion = run(replace(BARE, angle=90.0), s=20.0, v=-first, until=10.0, hops=1)
    assert -motion.events[-1].v == pytest.approx(printed, abs=0.05)


@pytest.mark.parametrize(("friction", "printed"), [(0.0, 4.14), (45.0, 3.39)])
def test_m7_a_skier_on_a_slope(friction: float, printed: float) -> None:
    """M7, CP 4.5: 60.0 kg on 25°: 4.14 m/s², with a friction of 45.0 N 3.39 m/s²."""
    normal = 60.0 * 9.80 * math.cos(math.radians(25.0))
    setup = replace(BARE, mass=60.0, angle=25.0, rolling_resistance=friction / normal)
    time, speed = rolled(setup, 8.0)
    assert speed / time == pytest.approx(printed, abs=0.005)


def test_m10_inertia_that_no_weight_pulls() -> None:
    """M10, UP 6.1: 3.00 kg hang and pull a 5.00 kg cart: 3.68 m/s² and 18.4 N; Atwood 2 and 4 kg: 3.27 m/s² and 26.1 N.

    To the hanging body the other mass is inertia without weight, as a wheel's rotation is to a cart.
    """
    time, speed = rolled(replace(BARE, mass=3.00, angle=90.0, rotating_fraction=5.00 / 3.00), 2.0)
    assert speed / time == pytest.approx(3.68, abs=0.005 + 1e-9)
    assert 5.00 * speed / time == pytest.approx(18.4, abs=0.05)
    time, speed = rolled(replace(BARE, mass=2.00, angle=90.0, rotating_fraction=2.0), 2.0)
    assert speed / time == pytest.approx(3.27, abs=0.005)
    assert 2.00 * (9.80 + speed / time) == pytest.approx(26.1, abs=0.05)


def test_m11_friction_on_a_slope() -> None:
    """M11, UP 6.2: μ .20: +.29 m/s² on 13°, −.23 m/s² on 10.0°; 45.0 N on 62 kg at 25°: μ .082."""
    time, speed = rolled(replace(BARE, angle=13.0, rolling_resistance=0.20), 3.0)
    assert speed / time == pytest.approx(0.29, abs=0.005)
    slowing = run(replace(BARE, angle=10.0, rolling_resistance=0.20), s=50.0, v=-1.0, until=60.0)
    assert slowing.events[-1].kind == "stick"
    assert -1.0 / slowing.end == pytest.approx(-0.23, abs=0.005)
    skier = replace(BARE, mass=62.0, angle=25.0, rolling_resistance=0.082)
    motion = run(skier, s=10.0, until=10.0, hops=1)
    friction = losses_between(skier, motion, 0.0, motion.end)[0] / 10.0
    assert friction == pytest.approx(45.0, abs=0.0005 / 0.082 * 45.0)


def test_m12_rolling_bodies() -> None:
    """M12, UP 11.1: a = g sin θ/(1 + I/mr²): solid cylinder 2/3; marble on 30° 3.5 m/s²; hoop 25 m on Mars 9.63 m/s."""
    time, speed = rolled(replace(BARE, angle=20.0, rotating_fraction=0.5), 2.0)
    assert speed / time / (9.80 * math.sin(math.radians(20.0))) == pytest.approx(2.0 / 3.0, rel=1e-9)
    time, speed = rolled(replace(BARE, angle=30.0, rotating_fraction=0.4), 2.0)
    assert speed / time == pytest.approx(3.5, abs=0.05)
    _, speed = rolled(replace(BARE, angle=30.0, rotating_fraction=1.0, gravity=3.71), 50.0)
    assert speed == pytest.approx(9.63, abs=0.005)


def test_m12_the_moment_of_inertia_from_a_time() -> None:
    """M12, UP 11.1: 10.0 m down 30° in 2.60 s: 2.96 m/s², I = .66 mr²; the simulator is asked which κ takes that long."""
    low, high = 0.0, 2.0
    for _ in range(40):
        kappa = 0.5 * (low + high)
        time, speed = rolled(replace(BARE, angle=30.0, rotating_fraction=kappa), 10.0)
        low, high = (kappa, high) if time < 2.60 else (low, kappa)
    assert kappa == pytest.approx(0.66, abs=0.005)
    assert speed / time == pytest.approx(2.96, abs=0.005)
