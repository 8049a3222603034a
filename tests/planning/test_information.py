"""The Fisher information: closed forms for evenly spaced samples, and the simulator's own scatter."""

from __future__ import annotations

import numpy as np
import pytest

from joulebook.planning.expected import expected_motion
from joulebook.planning.information import gather, polynomial_covariance
from joulebook.readers.kit_file import make_kit


@pytest.mark.parametrize("count", [3, 5, 7, 11, 25])
def test_closed_forms_of_evenly_spaced_samples(count: int) -> None:
    """REFERENCES §7: var(slope) = 12σ²/(dt²N(N²−1)), var(acceleration) = 720σ²/(dt⁴N(N²−1)(N²−4))."""
    dt, n = 0.05, count
    square = n * (n * n - 1.0)
    assert polynomial_covariance(n, dt, 1)[1, 1] == pytest.approx(12.0 / (dt**2 * square), rel=1e-9)
    quadratic = polynomial_covariance(n, dt, 2)
    assert quadratic[1, 1] == pytest.approx(12.0 / (dt**2 * square), rel=1e-9)
    if n > 3:
        assert 4.0 * quadratic[2, 2] == pytest.approx(720.0 / (dt**4 * square * (n * n - 4.0)), rel=1e-8)


def test_the_printed_values() -> None:
    """REFERENCES §7, dt 0.05, σ 1, N 7: 14.285714 and 7619.0476."""
    assert polynomial_covariance(7, 0.05, 1)[1, 1] == pytest.approx(14.285714, abs=5e-7)
    assert 4.0 * polynomial_covariance(7, 0.05, 2)[2, 2] == pytest.approx(7619.0476, abs=5e-5)


def test_a_flight_without_friction_is_a_parabola() -> None:
    """With one acceleration known to be the other, the information about it is that of a quadratic fit (REFERENCES §7).

    climb and descent share one value where their rows are added; the end-point speed then has the closed form
    12(2N−1)(8N−11)σ²/(dt²N(N²−1)(N²−4)).
    """
    kit = make_kit(values={"rolling_resistance": 0, "drag_area": "0 m^2", "rotating_fraction": 0, "flights": 1})
    rate = 20.0
    motion = expected_motion(kit, mass=np.array([0.5]), angle=np.array([5.0]), speed=np.array([1.0]))
    told = gather(motion, rate=rate)
    information = np.linalg.inv(told.covariance[0])
    joined = np.array([[1.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    covariance = np.linalg.inv(joined.T @ information @ joined)
    n = told.samples[0]
    square = n * (n * n - 1.0) * (n * n - 4.0)
    # n is a mean over the phases, so that its fifth power is good to a few per cent only.
    assert covariance[0, 0] == pytest.approx(720.0 * rate**4 / square, rel=0.05)
    a, up = float(motion.climb[0]), float(motion.time_up[0])
    by = np.array([up, a, 0.0])  # speed at the first sample, a·(t_apex − t)
    end_speed = 12.0 * (2 * n - 1) * (8 * n - 11) * rate**2 / square
    assert by @ covariance @ by == pytest.approx(end_speed, rel=0.10)


def test_against_scatter() -> None:
    """Least squares on 400 noisy parabolas scatters as the information says; the tolerance is four standard deviations of a
    s.d."""
    kit = make_kit(values={"flights": 2, "drag_area": "0 m^2"})
    motion = expected_motion(kit, mass=np.array([0.5]), angle=np.array([5.0]), speed=np.array([0.9]))
    rng = np.random.default_rng(8)
    rate, runs = 25.0, 400
    found = np.empty((runs, 3))
    for i in range(runs):
        time = (np.arange(200) + rng.uniform()) / rate
        rows, values = [], []
        for j in range(2):
            inside = time[(time >= motion.releases[0, j]) & (time <= motion.landings[0, j])] - motion.apexes[0, j]
            up = inside < 0
            block = np.zeros((inside.size, 6))
            block[:, 0], block[:, 1] = np.where(up, -0.5 * inside**2, 0.0), np.where(up, 0.0, -0.5 * inside**2)
            a = np.where(up, motion.climb[0], motion.descent[0])
            block[:, 2 + 2 * j], block[:, 3 + 2 * j] = a * inside, 1.0
            rows.append(block)
            values.append(0.001 * rng.standard_normal(inside.size))
        found[i] = np.linalg.lstsq(np.vstack(rows), np.concatenate(values), rcond=None)[0][[0, 1, 3]]
    predicted = 0.001 * np.sqrt(np.diag(gather(motion, rate=rate).covariance[0])[[0, 1, 3]])
    assert found.std(axis=0) == pytest.approx(predicted, rel=4.0 / np.sqrt(2 * runs))


def test_a_flight_without_three_samples_is_forgotten() -> None:
    """As the audit does; what is left is what the record with one flight fewer would tell."""
    motions = [
        expected_motion(
            make_kit(flights=flights, restitution=0.2), mass=np.array([0.5]), angle=np.array([6.0]), speed=np.array([1.1])
        )
        for flights in (2, 1)
    ]
    two, single = (gather(motion, rate=4.0) for motion in motions)
    assert two.covariance[0, :4, :4] == pytest.approx(single.covariance[0])
    assert two.samples == pytest.approx(single.samples)
    assert two.covariance[0, 4, 4] > 1e3


def test_too_few_samples_tell_nothing() -> None:
    kit = make_kit(values={"flights": 3})
    motion = expected_motion(kit, mass=np.array([0.5]), angle=np.array([14.0]), speed=np.array([0.4]))
    told = gather(motion, rate=3.0)
    assert np.isinf(told.covariance).all()


def test_more_samples_tell_more() -> None:
    kit = make_kit()
    motion = expected_motion(kit, mass=np.array([0.5, 0.5]), angle=np.array([5.0, 5.0]), speed=np.array([0.9, 0.9]))
    slow, fast = gather(motion, rate=20.0), gather(motion, rate=80.0)
    ratio = np.diag(slow.covariance[0]) / np.diag(fast.covariance[0])
    assert ratio == pytest.approx(np.full(8, 4.0), rel=0.15)
    half = gather(motion, rate=20.0, last_flight=0.5)
    assert half.samples[0] < slow.samples[0]
