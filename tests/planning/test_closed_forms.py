"""The planner against printed numbers: textbook motions, variances of derivatives, and the project's table of angle errors."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from joulebook.experiments.ramp_kit import Kit
from joulebook.planning.expected import Expected, expected_motion
from joulebook.planning.information import polynomial_covariance
from joulebook.planning.predict import OUTPUTS, Grid, predict_at
from joulebook.readers.kit_file import make_kit
from joulebook.uncertainty import Input


def motion(*, angle: float, mass: float = 1.0, speed: float = 1.0, mu: float = 0.0, kappa: float = 0.0) -> Expected:
    """The expected motion without drag, at the textbooks' g = 9.80 m/s²."""
    kit = replace(
        make_kit(values={"drag_area": "0 m^2", "flights": 1}),
        rolling_resistance=Input("cart.rolling_resistance", mu, "1", 0.0),
        rotating_fraction=Input("cart.rotating_fraction", kappa, "1", 0.0),
        gravity=Input("place.gravity", 9.80, "m/s^2", 0.0),
    )  # fmt: skip
    return expected_motion(kit, mass=np.array([mass]), angle=np.array([angle]), speed=np.array([speed]))


def at(kit: Kit, *angles: float) -> Grid:
    """The predictions of a 0.5 kg cart at 1 m/s and 20 samples a second (the cart of the project's facts about benches)."""
    same = np.ones(len(angles))
    return predict_at(kit, mass=0.5 * same, angle=np.array(angles), speed=same, rate=20.0 * same)


@pytest.mark.parametrize(("angle", "printed"), [(0.0, 2.60), (5.0, 2.31)])
def test_friction_work_stops_the_runner(angle: float, printed: float) -> None:
    """REFERENCES M2 (OpenStax College Physics m42150): 65.0 kg at 6.00 m/s against 450 N: 2.60 m on the level, 2.31 m up 5.00°."""
    mu = 450.0 / (65.0 * 9.80 * math.cos(math.radians(angle)))
    found = motion(angle=angle, mass=65.0, speed=6.0, mu=mu)
    assert round(float(found.travel[0]), 2) == printed
    work = 450.0 * found.travel[0] + 65.0 * 9.80 * found.height[0]
    assert work == pytest.approx(0.5 * 65.0 * 6.0**2)


@pytest.mark.parametrize(("force", "printed"), [(0.0, 4.14), (45.0, 3.39)])
def test_down_an_incline(force: float, printed: float) -> None:
    """REFERENCES M7 (OpenStax College Physics m42075): 60.0 kg on 25°, without friction and with 45.0 N of it."""
    mu = force / (60.0 * 9.80 * math.cos(math.radians(25.0)))
    assert round(float(motion(angle=25.0, mass=60.0, mu=mu).descent[0]), 2) == printed


def test_just_steep_enough() -> None:
    """REFERENCES M11 (OpenStax University Physics m58304): μ = 0.20 on 13° leaves 0.29 m/s²."""
    assert round(float(motion(angle=13.0, mu=0.20).descent[0]), 2) == 0.29


@pytest.mark.parametrize(("kappa", "printed"), [(0.4, 3.5), (0.5, 9.80 * 0.5 * 2.0 / 3.0)])
def test_what_rolls_is_slower(kappa: float, printed: float) -> None:
    """REFERENCES M12 (OpenStax University Physics m58335): a marble on 30°, 3.5 m/s²; a solid cylinder, 2/3 of g·sinθ."""
    found = motion(angle=30.0, kappa=kappa)
    assert found.descent[0] == pytest.approx(printed, rel=1e-9)
    assert found.climb[0] == pytest.approx(printed, rel=1e-9)


@pytest.mark.parametrize("count", [5, 7, 11, 25])
def test_a_speed_read_at_the_end_of_a_parabola(count: int) -> None:
    """REFERENCES §7: var = 12(2N−1)(8N−11)σ²/(dt²N(N²−1)(N²−4)); printed 185.71429 for N 7, dt 0.05 s, and 12.4 and 14.9 times
    the value in the middle for N 5 and 25."""
    dt, n = 0.05, count
    covariance = polynomial_covariance(n, dt, 2)
    end = np.array([0.0, 1.0, (n - 1) * dt])
    variance = float(end @ covariance @ end)
    assert variance == pytest.approx(12 * (2 * n - 1) * (8 * n - 11) / (dt**2 * n * (n * n - 1) * (n * n - 4)), rel=1e-8)
    if n == 7:
        assert variance == pytest.approx(185.71429, abs=5e-6)
    printed = {5: 12.4, 25: 14.9}
    if n in printed:
        assert round(variance / float(covariance[1, 1]), 1) == printed[n]


@pytest.mark.parametrize(("angle", "percent"), [(3.0, 17), (5.0, 10), (10.0, 5)])
def test_a_protractor_in_the_potential_energy(angle: float, percent: int) -> None:
    """BENCH_FACTS, the bench: ±0.5° is 17 % of the height at 3°, 10 % at 5°, 5 % at 10° (d(sin)/sin = cotθ·dθ), here as limits
    of the slope's part of the planned potential energy, √3 u."""
    grid = at(make_kit(), angle)
    row = OUTPUTS.index("potential_energy")
    protractor, rest = grid.u[row, 0, 0, 0], with_a_known_slope(angle)
    part = math.sqrt(3.0 * (protractor**2 - rest**2)) / grid.values[row, 0]
    assert round(100.0 * part) == percent


def test_height_over_length_in_the_potential_energy() -> None:
    """BENCH_FACTS, the bench: two readings of 1 mm over 1 m make it 1.6 % at 5°."""
    grid = at(make_kit(), 5.0)
    row = OUTPUTS.index("potential_energy")
    part = math.sqrt(3.0 * (grid.u[row, 0, 2, 0] ** 2 - with_a_known_slope(5.0) ** 2)) / grid.values[row, 0]
    assert round(100.0 * part, 1) == 1.6


def with_a_known_slope(angle: float) -> float:
    """u of the potential energy where the slope is known without uncertainty."""
    kit = make_kit()
    grid = at(replace(kit, methods=(replace(kit.methods[0], u=0.0),)), angle)
    return float(grid.u[OUTPUTS.index("potential_energy"), 0, 0, 0])


@pytest.mark.parametrize(("angle", "percent"), [(5.0, 5.7), (3.0, 9.5)])
def test_the_expected_rolling_loss(angle: float, percent: float) -> None:
    """BENCH_FACTS, the bench: (KE − PE)/PE = μ/tanθ, 5.7 % at 5° and 9.5 % at 3° for μ = 0.005."""
    grid = at(make_kit(drag_area="0 m^2", rolling_resistance="0.005 ± 0.003"), angle)
    loss = float(grid.loss[0])
    assert round(100.0 * loss / (1.0 - loss), 1) == percent
    assert loss / (1.0 - loss) == pytest.approx(0.005 / math.tan(math.radians(angle)), rel=1e-9)
