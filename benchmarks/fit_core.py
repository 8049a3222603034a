"""How fast the least-squares core is beside SciPy's, on hops of a cart fitted as two-sided parabolas.

Run: python benchmarks/fit_core.py. All methods get the same samples, model, start and, where they take one, analytic
derivatives, in one process; times are the least of many runs, so that a busy machine disturbs little; read the ratios.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
import scipy.optimize

from joulebook.engine.least_squares import Solution, least_squares

__all__ = ["Hops", "main", "measure"]

Floats = npt.NDArray[np.float64]
NOISE = 5e-4
SIZES = ((1, 20), (2, 20), (5, 20), (5, 40), (6, 66), (5, 4000))


class Hops:
    """Samples of several hops that share a_u and a_d; each hop has its own apex."""

    def __init__(self, count: int, samples: int, seed: int = 1) -> None:
        rng = np.random.default_rng(seed)
        self.hop = np.repeat(np.arange(count), samples)
        self.t = self.hop + np.tile(np.linspace(0.04, 0.94, samples), count)
        self.own = (self.hop[:, None] == np.arange(count)).astype(float)
        apexes = [[k + 0.48, 0.12 * 0.8**k] for k in range(count)]
        self.truth = np.concatenate([[1.05, 0.93], *apexes])
        self.y = self.motion(self.truth) + rng.normal(0.0, NOISE, self.t.size)
        self.start = self.truth * (1.0 + rng.normal(0.0, 0.03, self.truth.size))

    def motion(self, p: Floats) -> Floats:
        """Return s(t)."""
        u = self.t - p[2::2][self.hop]
        return np.asarray(p[3::2][self.hop] - 0.5 * np.where(u < 0.0, p[0], p[1]) * u * u)

    def derivative(self, p: Floats) -> Floats:
        """Return ds/dp, shape (n, p)."""
        return self.model(p)[1]

    def model(self, p: Floats) -> tuple[Floats, Floats]:
        """Return residual and derivative together, as `least_squares` takes them."""
        u = self.t - p[2::2][self.hop]
        up = u < 0.0
        a = np.where(up, p[0], p[1])
        half = -0.5 * u * u
        jacobian = np.empty((self.t.size, p.size))
        jacobian[:, 0] = half * up
        jacobian[:, 1] = half - jacobian[:, 0]
        jacobian[:, 2::2] = self.own * (a * u)[:, None]
        jacobian[:, 3::2] = self.own
        return self.y - (p[3::2][self.hop] + a * half), jacobian


def least_time(call: Callable[[], Any], budget: float) -> float:
    """Return the least time of one call in seconds, from as many as the budget holds, at least five."""
    best, spent, runs = float("inf"), 0.0, 0
    while spent < budget or runs < 5:
        begin = time.perf_counter()
        call()
        took = time.perf_counter() - begin
        best, spent, runs = min(best, took), spent + took, runs + 1
    return best


def measure(count: int, samples: int, budget: float = 0.3) -> dict[str, Any]:
    """Time one size and check that all methods find the same parameters."""
    hops = Hops(count, samples)
    own: Solution = least_squares(hops.model, hops.start)

    def formula(_: Floats, *p: float) -> Floats:
        return hops.motion(np.array(p))

    def slope(_: Floats, *p: float) -> Floats:
        return hops.derivative(np.array(p))

    peers: dict[str, Callable[[], Floats]] = {
        "curve_fit": lambda: scipy.optimize.curve_fit(formula, hops.t, hops.y, p0=hops.start)[0],
        "curve_fit, derivatives": lambda: scipy.optimize.curve_fit(formula, hops.t, hops.y, p0=hops.start, jac=slope)[0],
        "least_squares lm, derivatives": lambda: (
            scipy.optimize.least_squares(lambda p: hops.motion(p) - hops.y, hops.start, jac=hops.derivative, method="lm").x
        ),
        "least_squares trf, derivatives": lambda: (
            scipy.optimize.least_squares(lambda p: hops.motion(p) - hops.y, hops.start, jac=hops.derivative).x
        ),
    }
    for name, call in peers.items():
        apart = float((np.abs(call() - own.parameters) / own.uncertainties).max())
        if apart > 0.01:
            raise AssertionError(f"{name} is {apart:.3f} standard uncertainties away")
    whole = least_time(lambda: least_squares(hops.model, hops.start), budget)
    model = least_time(lambda: hops.model(hops.start), budget / 4)
    return {
        "samples": hops.t.size,
        "parameters": hops.truth.size,
        "steps": own.steps,
        "joulebook_us": 1e6 * whole,
        "beyond_model_us": 1e6 * (whole - (own.steps + 1) * model),
        "times_as_long": {name: least_time(call, budget) / whole for name, call in peers.items()},
    }


def main() -> None:
    """Print the table, or JSON with --json."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true", help="print JSON")
    rows = [measure(*size) for size in SIZES]
    if parser.parse_args().json:
        print(json.dumps(rows, indent=2))
        return
    for row in rows:
        print(
            f"{row['samples']:6} samples, {row['parameters']:2} parameters: {row['joulebook_us']:6.0f} µs, {row['steps']} steps, "
            f"{row['beyond_model_us']:7.0f} µs beyond the model; SciPy takes, times as long: "
            + ", ".join(f"{name} {ratio:.1f}" for name, ratio in row["times_as_long"].items())
        )


if __name__ == "__main__":
    main()
