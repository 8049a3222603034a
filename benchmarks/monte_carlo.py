"""Time to interval ends of one numerical tolerance: our Monte Carlo beside metrolopy's, on one ledger-like model.

The tolerance is that of JCGM 101, 7.9.2, for two digits of each output's standard uncertainty; an end has reached it when twice
its standard deviation from run to run is within it, for all outputs. Plain draws, the peer's and ours, need a number that
follows from the density at the ends. For our Sobol points the deviation is measured in repeated runs, at every power of two.
Our adaptive procedure finds its number itself, which its time includes. All are timed in turns, in one process.

    python benchmarks/monte_carlo.py
"""

from __future__ import annotations

import math
import time
import warnings
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from joulebook.uncertainty import Block, Input, adaptive_monte_carlo, monte_carlo, numerical_tolerance, propagate

__all__ = ["run"]

REPEATS = 60
TIMED = 7

RECTANGULAR = {
    "mass": (0.2513, 0.0005, "kg"),
    "rotating_fraction": (0.015, 0.015, "1"),
    "angle": (9.8, 0.25, "deg"),
    "scale": (1.0, 0.007, "1"),
    "gravity": (9.807, 0.01, "m/s^2"),
    "drag_area": (0.003, 0.003, "m^2"),
    "air_density": (1.2, 0.06, "kg/m^3"),
}
FIT_NAMES = ("speed", "travel", "climb", "descent")
FIT_VALUES = np.array([1.0312, 0.2954, 1.752, 1.503])
FIT_U = np.array([2.3e-3, 0.9e-3, 6e-3, 5e-3])
FIT_CORRELATION = np.array([[1.0, 0.6, 0.5, 0.1], [0.6, 1.0, -0.2, 0.0], [0.5, -0.2, 1.0, 0.3], [0.1, 0.0, 0.3, 1.0]])
FIT = FIT_CORRELATION * np.outer(FIT_U, FIT_U)
# What is prepared outside the clock, and what is timed.
Call = tuple[Callable[[], Any], Callable[[Any], object]]
OUTPUTS = (
    "height", "kinetic", "rotational", "potential", "rolling", "rolling_loss", "drag_loss", "difference", "relative",
    "unaccounted",
)


def ledger(x: Any, sin: Any = np.sin, cos: Any = np.cos) -> dict[str, Any]:
    """The energies of a launch from release to apex, their difference and what friction and drag explain of it."""
    angle = x["angle"] * (math.pi / 180.0)
    inertia = 1.0 + x["rotating_fraction"]
    travel, speed = x["travel"] * x["scale"], x["speed"] * x["scale"]
    height = travel * sin(angle)
    kinetic = 0.5 * x["mass"] * speed**2
    rotational = x["rotating_fraction"] * kinetic
    weight = x["mass"] * x["gravity"]
    potential = weight * height
    rolling = inertia * (x["climb"] - x["descent"]) * x["scale"] / (2.0 * x["gravity"] * cos(angle))
    rolling_loss = rolling * weight * cos(angle) * travel
    drag_loss = 0.25 * x["air_density"] * x["drag_area"] * speed**2 * travel
    difference = kinetic + rotational - potential
    values = (
        height, kinetic, rotational, potential, rolling, rolling_loss, drag_loss, difference, difference / (kinetic + rotational),
        difference - rolling_loss - drag_loss,
    )
    return dict(zip(OUTPUTS, values, strict=True))


def run() -> dict[str, float]:
    """Return draws needed, seconds and their ratios (peer over ours: above 1 we are faster)."""
    inputs = [Input(name, value, unit, half / math.sqrt(3.0), "rectangular") for name, (value, half, unit) in RECTANGULAR.items()]
    block = Block(FIT_NAMES, FIT_VALUES, FIT)
    rng = np.random.default_rng(1)
    reference = monte_carlo(ledger, inputs, [block], rng=rng, draws=2**18, keep_samples=True)
    tolerance = np.array([numerical_tolerance(float(u)) for u in reference.u])

    def ours(draws: int, sampler: Any = "sobol") -> np.ndarray:
        result = monte_carlo(ledger, inputs, [block], rng=rng, draws=draws, sampler=sampler)
        return np.array([result.low, result.high])

    build, simulate = _peer()
    plain_draws = _plain_draws(reference.samples, tolerance)
    our_draws = next(n for n in (2**power for power in range(10, 23)) if _excess(partial(ours, n), tolerance) <= 1.0)

    def adaptive() -> None:
        assert adaptive_monte_carlo(ledger, inputs, [block], rng=rng).converged

    calls: dict[str, Call] = {
        "ours_s": (_nothing, lambda _: ours(our_draws)),
        "ours_plain_s": (_nothing, lambda _: ours(plain_draws, "plain")),
        "ours_adaptive_s": (_nothing, lambda _: adaptive()),
        "peer_s": (build, lambda gummies: simulate(gummies, plain_draws)),
        "peer_build_s": (_nothing, lambda _: build()),
        "ours_linear_s": (_nothing, lambda _: propagate(ledger, inputs, [block])),
    }
    seconds = _timed(calls)
    # Both must have computed the same thing.
    check = np.abs(simulate(build(), plain_draws) - np.array([reference.low, reference.high])) / tolerance
    return {
        "ours_draws": our_draws,
        "plain_draws": plain_draws,
        **seconds,
        "largest_difference_over_tolerance": float(check.max()),
        "ratio": seconds["peer_s"] / seconds["ours_s"],
        "ratio_plain": seconds["peer_s"] / seconds["ours_plain_s"],
        "ratio_adaptive": seconds["peer_s"] / seconds["ours_adaptive_s"],
    }


def _plain_draws(samples: np.ndarray, tolerance: np.ndarray) -> int:
    """The plain draws for which 2·√(α(1 − α)/n)/f, f being the density at an end, is within the tolerance everywhere."""
    outside, reach = 0.025, 0.005
    need = 0.0
    for row, delta in zip(samples, tolerance, strict=True):
        for probability in (outside, 1.0 - outside):
            below, above = np.quantile(row, [probability - reach, probability + reach])
            deviation = math.sqrt(outside * (1.0 - outside)) * (above - below) / (2.0 * reach)
            need = max(need, (2.0 * deviation / delta) ** 2)
    return math.ceil(need)


def _excess(ends: Callable[[], np.ndarray], tolerance: np.ndarray) -> float:
    """Twice the standard deviation of the ends over the tolerance, for the worst output."""
    runs = np.array([ends() for _ in range(REPEATS)])
    return float((2.0 * runs.std(axis=0, ddof=1) / tolerance).max())


def _timed(calls: dict[str, Call]) -> dict[str, float]:
    """The best of several rounds, the calls taking turns so that a busy spell of the machine meets them all."""
    best = dict.fromkeys(calls, math.inf)
    for _ in range(TIMED):
        for name, (prepare, call) in calls.items():
            prepared = prepare()
            start = time.perf_counter()
            call(prepared)
            best[name] = min(best[name], time.perf_counter() - start)
    return best


def _nothing() -> None:
    """What our own calls need prepared."""


def _peer() -> tuple[Callable[[], list[Any]], Callable[[list[Any], int], np.ndarray]]:
    """The peer's model, to be built anew for each run since it keeps the draws of a joint distribution, and its run.

    The building is timed apart and left out of the ratio.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import metrolopy

    metrolopy.Distribution.set_seed(2)

    def build() -> list[Any]:
        x = {
            name: metrolopy.gummy(metrolopy.UniformDist(center=value, half_width=half))
            for name, (value, half, _) in RECTANGULAR.items()
        }
        x.update(zip(FIT_NAMES, metrolopy.gummy.create(metrolopy.MultiNormalDist(FIT_VALUES, FIT)), strict=True))
        outputs = list(ledger(x, metrolopy.sin, metrolopy.cos).values())
        for each in outputs:
            each.p = 0.95
            each.cimethod = "symmetric"
        return outputs

    def simulate(gummies: list[Any], draws: int) -> np.ndarray:
        metrolopy.gummy.simulate(gummies, n=draws)
        return np.array([each.cisim for each in gummies], dtype=float).T

    return build, simulate


if __name__ == "__main__":
    for key, number in run().items():
        print(f"{key:36s} {number:.6g}")
