"""The odds of the verdicts against published intervals and against draws."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from joulebook.planning.odds import Errors, errors_of, guess_of, shares

Floats = npt.NDArray[np.float64]


def one(rectangular: list[float], normal: float) -> Errors:
    """The sum of rectangular parts and a normal one, given by their standard deviations."""
    return errors_of(np.array(rectangular).reshape(-1, 1), np.array([normal]))


@pytest.mark.parametrize(
    ("rectangular", "normal", "expected"),
    [
        ([0.0], 1.0, 1.95996),
        ([1.0], 0.0, 0.95 * np.sqrt(3.0)),
        ([0.0], 2.0, 3.9199),
        ([1.0] * 4, 0.0, 3.8794),
        ([10.0, 1.0, 1.0, 1.0], 0.0, 17.0158),
    ],
    ids=["normal", "rectangle", "four normal", "four rectangles", "one outweighs three"],
)
def test_published_intervals(rectangular: list[float], normal: float, expected: float) -> None:
    """JCGM 100 table G.2 (REFERENCES U6); 0.95 of a rectangle's half-width; JCGM 101 9.2.2, 9.2.3 in its closed form
    ±2√3(2 − (3/5)^¼), and 9.2.4 (REFERENCES U8, U9, U10). A cell of the table is 1/32 of u wide, and a straight line in it is
    good to 10⁻⁴ of the probability, at the rectangle's own edge to 2·10⁻³."""
    assert one(rectangular, normal).reach()[0] == pytest.approx(expected, rel=2e-3 if normal == 0.0 else 2e-4)


def test_the_probability_below() -> None:
    """Φ(1) = 0.841345, Φ(2) = 0.977250 (JCGM 100 table G.1 gives 68.27 % and 95.45 % between ±1 and ±2); a rectangle rises in
    a straight line."""
    normal = one([0.0], 1.0)
    for x, expected in ((0.0, 0.5), (1.0, 0.841345), (2.0, 0.977250), (-1.0, 1.0 - 0.841345), (50.0, 1.0), (-50.0, 0.0)):
        assert normal.below(np.array([x]))[0] == pytest.approx(expected, abs=1e-4)
    rectangle = one([1.0], 0.0)
    for part in (-0.8, -0.3, 0.0, 0.5, 0.9):
        assert rectangle.below(np.array([part * np.sqrt(3.0)]))[0] == pytest.approx(0.5 + 0.5 * part, abs=1e-3)
    many = normal.below(np.array([[-1.0, 0.0, 1.0]]))
    assert many.shape == (1, 3)
    assert many[0].sum() == pytest.approx(1.5)


def test_small_rectangles_are_taken_for_normal() -> None:
    """Nine rectangles with a hundredth of the variance each: both ways of counting them agree to a part in a thousand."""
    counted = one([0.1001] * 9, 1.0)
    lumped = one([0.0999] * 9, 1.0)
    assert counted.reach()[0] == pytest.approx(lumped.reach()[0], rel=1e-3)


@pytest.mark.parametrize(("distribution", "fourth"), [("rectangular", 1.8), ("triangular", 2.4), ("normal", 3.0)])
def test_guesses(distribution: str, fourth: float) -> None:
    """Mean 0, variance 1, and the fourth moment of each: 9/5 of a rectangle, 12/5 of a triangle, 3 of a normal."""
    guess = guess_of(distribution)
    assert guess.weights.sum() == pytest.approx(1.0)
    assert guess.weights @ guess.points == pytest.approx(0.0, abs=1e-12)
    assert guess.weights @ guess.points**2 == pytest.approx(1.0, rel=0.01)
    assert guess.weights @ guess.points**4 == pytest.approx(fourth, rel=0.01)


@pytest.mark.parametrize("distribution", ["rectangular", "normal"])
@pytest.mark.parametrize("account", [False, True])
def test_against_draws(distribution: str, account: bool) -> None:
    """The audit's rule applied to 200,000 benches, each with a friction, a noise and a U of its own: what a slope measured by a
    protractor, by a level and by a ruler make of it, and U on the edge of the tolerance."""
    rng = np.random.default_rng(2)
    n = 200_000
    for expanded, tolerance, loss, guess_u, part, spread in (
        (0.09, 0.05, 0.05, 0.02, 0.95, 0.01), (0.0503, 0.05, 0.07, 0.024, 0.9, 0.01), (0.025, 0.05, 0.04, 0.02, 0.5, 0.02),
        (0.049, 0.05, 0.03, 0.01, 0.0, 0.05),
    ):  # fmt: skip
        rectangle, normal = 0.53 * expanded, 0.18 * expanded
        errors = one([rectangle], normal)
        found = shares(
            errors, np.array([expanded]), tolerance, loss=np.array([loss]), guess=guess_of(distribution),
            guess_u=np.array([guess_u]), carried=np.array([part]), relative_spread=np.array([spread]), account=account,
        )  # fmt: skip
        x = rectangle * np.sqrt(3.0) * rng.uniform(-1.0, 1.0, n) + normal * rng.standard_normal(n)
        drawn = np.sqrt(3.0) * rng.uniform(-1.0, 1.0, n) if distribution == "rectangular" else rng.standard_normal(n)
        moved = np.maximum(guess_u * drawn, -loss)
        own = expanded * (1.0 + spread * rng.standard_normal(n)) * (1.0 - part * (moved + x) / (1.0 - loss))
        value = x if account else loss + moved + x
        none = np.abs(value) <= own
        # Four standard deviations of a share, and what the points leave: most where U owes nothing to the error.
        bound = 4.0 * 0.5 / np.sqrt(n) + (0.004 if part else 0.02)
        assert found.above[0] == pytest.approx(np.mean(value > own), abs=bound)
        assert found.below[0] == pytest.approx(np.mean(value < -own), abs=bound)
        assert found.within[0] == pytest.approx(np.mean(none & (own <= tolerance)), abs=bound)
        assert found.beyond[0] == pytest.approx(np.mean(none & (own > tolerance)), abs=bound)
        assert found.above[0] + found.below[0] + found.within[0] + found.beyond[0] == pytest.approx(1.0)


def test_u_beyond_the_tolerance_cannot_tell() -> None:
    """Sharp readings, and a U that no bench changes: on one side of the tolerance all are conserved, on the other none."""
    nothing = np.zeros(1)
    for expanded, within in ((0.0588, 0.0), (0.0412, 1.0)):
        found = shares(
            one([0.0], 0.001), np.array([expanded]), 0.05, loss=nothing, guess=guess_of("normal"), guess_u=nothing,
            carried=nothing, relative_spread=nothing,
        )  # fmt: skip
        assert found.within[0] == pytest.approx(within, abs=1e-9)
        assert found.beyond[0] == pytest.approx(1.0 - within, abs=1e-9)
