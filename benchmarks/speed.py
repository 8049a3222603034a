"""How fast an audit is, beside what a physicist would otherwise run, and how soon the program starts.

    python -m benchmarks.speed [--quick]

The peers are handed what joulebook has to find: the samples of each free flight, the release level and good starting values.
(a) scipy.optimize.curve_fit with the `uncertainties` package, (b) lmfit with the same: parabolas through all hops with shared
accelerations, then every quantity of the ledger with its uncertainty and its budget. (c) metrolopy's Monte Carlo of a ledger,
in benchmarks/monte_carlo.py. Everything is timed in turns in one process, so that a busy spell meets all alike: read the ratios.
The raw results go to benchmarks/results/speed.json.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from benchmarks import fit_core, monte_carlo
from benchmarks.conformance import RESULTS

import joulebook
from joulebook.analysis import audit_bench
from joulebook.planning.folder import write_bench_folder
from joulebook.planning.simulate import SimulatedBench, random_design, simulate_bench

__all__ = ["Handed", "by_curve_fit", "by_lmfit", "hand_over", "main", "run"]

Floats = npt.NDArray[np.float64]
SEED = 5_000_003
_QUANTITIES = (
    "release_time", "release_speed", "apex_time", "travel", "height", "climb_acceleration", "descent_acceleration",
    "slope_from_motion", "rolling_resistance", "kinetic_energy", "rotational_energy", "potential_energy", "rolling_loss",
    "drag_loss", "difference", "relative_difference", "unaccounted",
)
_START = "import sys, time; t = time.perf_counter(); import {module}; print(time.perf_counter() - t)"
# Where the system tells a process's own peak it is asked for: ru_maxrss also counts what the parent was before the start.
_MEMORY = """
import pathlib, resource, sys
import joulebook
joulebook.audit(sys.argv[1])
status = pathlib.Path("/proc/self/status")
lines = status.read_text().splitlines() if status.exists() else []
peak = [line.split()[1] for line in lines if line.startswith("VmHWM")]
print(peak[0] if peak else resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


@dataclass(frozen=True, slots=True, eq=False)
class Handed:
    """What the peers are given: free samples by hop, starting values, and the inputs as (value, standard uncertainty).

    time, place: s and m up the slope of the release level, shape (n,). hop: of each sample, shape (n,). start: a_u, a_d, then
    time and place of each apex.
    """

    time: Floats
    place: Floats
    hop: npt.NDArray[np.intp]
    start: Floats
    inputs: dict[str, tuple[float, float]]


def by_curve_fit(handed: Handed) -> dict[str, Any]:
    """Peer (a): fit, ledger and budgets with scipy and uncertainties."""
    from scipy.optimize import curve_fit
    from uncertainties import correlated_values

    def motion(_: Floats, *p: float) -> Floats:
        return _parabolas(np.array(p), handed)

    values, covariance = curve_fit(motion, handed.time, handed.place, p0=handed.start)
    return _ledger(correlated_values(values, covariance), handed)


def by_lmfit(handed: Handed) -> dict[str, Any]:
    """Peer (b): the same with lmfit's Model and the uncertainties that it gives with its parameters."""
    import lmfit

    names = [f"p{number}" for number in range(handed.start.size)]

    def residual(parameters: Any) -> Floats:
        return _parabolas(np.array([parameters[name].value for name in names]), handed) - handed.place

    start = lmfit.Parameters()
    for name, value in zip(names, handed.start, strict=True):
        start.add(name, value=float(value))
    result = lmfit.minimize(residual, start)
    return _ledger([result.uvars[name] for name in names], handed)


def run(*, rounds: int = 25, folders: int = 60, starts: int = 9, budget: float = 0.3) -> dict[str, Any]:
    """Return all times in seconds as {"median", "min", "max"}, and what follows from them.

    rounds: of the comparison with the peers. folders: benches of the sweep. starts: processes started. budget: s for each size of
    the least-squares comparison.
    """
    simulated = _bench()
    handed = hand_over(simulated)
    agreement = _check(simulated, handed)
    calls: dict[str, Callable[[], object]] = {
        "audit_linear": lambda: audit_bench(simulated.bench, method="linear"),
        "audit_auto": lambda: audit_bench(simulated.bench),
        "curve_fit": lambda: by_curve_fit(handed),
        "lmfit": lambda: by_lmfit(handed),
    }
    times = _in_turns(calls, rounds)
    result: dict[str, Any] = {
        "format": "joulebook/speed-1",
        "version": joulebook.__version__,
        "machine": machine(),
        "bench": {"seed": SEED, "rate_Hz": simulated.design.ranger.rate, "samples": simulated.bench.launches[0].samples,
                  "hops": int(handed.hop.max()) + 1, "handed_samples": handed.time.size},
        "times": times,
        "agreement": agreement,
        "monte_carlo": monte_carlo.run(),
        "fit_core": [fit_core.measure(*size, budget) for size in fit_core.SIZES],
    }  # fmt: skip
    with tempfile.TemporaryDirectory() as place:
        result["sweep"] = _sweeps(Path(place), folders)
        result["memory_kB"] = int(_child([sys.executable, "-c", _MEMORY, str(Path(place, "at-20", "bench-1"))]))
    imports = {name: [sys.executable, "-c", _START.format(module=name)] for name in ("joulebook", "joulebook.analysis")}
    result["start"] = {
        "import_joulebook": _spread([float(_child(imports["joulebook"])) for _ in range(starts)]),
        "import_analysis": _spread([float(_child(imports["joulebook.analysis"])) for _ in range(starts)]),
        "help": _spread([_seconds(["-c", "from joulebook.cli.main import main; main()", "--help"]) for _ in range(starts)]),
        "bare_python": _spread([_seconds(["-c", "pass"]) for _ in range(starts)]),
    }
    return result


def machine() -> dict[str, str]:
    """Return what the numbers depend on, and nothing that names the machine."""
    import platform

    import scipy

    return {
        "cores": str(os.cpu_count()), "system": platform.system(), "processor": platform.machine(),
        "python": platform.python_version(), "numpy": np.__version__, "scipy": scipy.__version__,
    }


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure and store the results."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer repetitions")
    parser.add_argument("--out", type=Path, default=RESULTS / "speed.json", help="where the results go")
    chosen = parser.parse_args(arguments)
    results = run(rounds=7, folders=12, starts=3, budget=0.05) if chosen.quick else run()
    chosen.out.parent.mkdir(parents=True, exist_ok=True)
    chosen.out.write_text(json.dumps(results, indent=1, sort_keys=True) + "\n", encoding="utf-8")
    print(chosen.out)


def _bench() -> SimulatedBench:
    """One launch at 20 samples a second with a rest record, four hops, as a bench of the middle of the region."""
    rng = np.random.default_rng(SEED)
    design = random_design(rng, stop="spring", placed="top", rate=20.0, angle=8.0, launches=1, hands=False)
    return simulate_bench(replace(design, hops=4, last_hop=0.6, speed=1.1, longest=60.0), rng)


def hand_over(simulated: SimulatedBench, launch: int = 0) -> Handed:
    """Return what the peers are given of one launch that turned: the truth stands in for what joulebook has to find."""
    truth, record, ranger = simulated.truths[launch], simulated.bench.launches[launch], simulated.design.ranger
    assert truth is not None
    index: list[npt.NDArray[np.intp]] = []
    hop_of: list[npt.NDArray[np.intp]] = []
    start = [truth.climb_acceleration, truth.descent_acceleration]
    for hop in truth.hops:
        end = hop.contact if math.isfinite(hop.contact) else math.inf
        inside = np.flatnonzero((record.time > hop.release) & (record.time < end) & np.isfinite(record.distance))
        if not math.isfinite(hop.apex) or inside.size < 3:
            continue
        hop_of.append(np.full(inside.size, len(index)))
        index.append(inside)
        start += [hop.apex, hop.apex_s]
    samples = np.concatenate(index)
    up = 1.0 if ranger.placed == "bottom" else -1.0
    place = up * (record.distance[samples] - float(ranger.distance(truth.release_position)) / ranger.scale)
    rng = np.random.default_rng(1)
    guess = np.array(start) * (1.0 + 0.02 * rng.standard_normal(len(start)))
    inputs = {name: (item.value, item.u) for name, item in simulated.bench.inputs.items()}
    if "track.angle" not in inputs:
        angle = math.degrees(math.asin(inputs["track.rise"][0] / inputs["track.along"][0]))
        inputs["track.angle"] = (angle, math.degrees(inputs["track.rise"][1]))
    return Handed(record.time[samples], place, np.concatenate(hop_of), guess, inputs)


def _parabolas(p: Floats, handed: Handed) -> Floats:
    tau = handed.time - p[2::2][handed.hop]
    return np.asarray(p[3::2][handed.hop] - 0.5 * np.where(tau < 0.0, p[0], p[1]) * tau * tau)


def _ledger(fitted: Sequence[Any], handed: Handed) -> dict[str, Any]:
    """Every quantity of the ledger, restitutions included, as (value, u, budget), by the package `uncertainties`."""
    from uncertainties import ufloat, umath

    x = {name: ufloat(value, u, name) for name, (value, u) in handed.inputs.items()}
    a_up, a_down, apex_time, apex, *others = fitted
    datum = ufloat(0.0, 0.001, "datum")
    scale, angle = x["sensor.scale"], x["track.angle"] * (math.pi / 180.0)
    mass, wheels, g = x["cart.mass"], x["cart.rotating_fraction"], x["place.gravity"]
    sine, cosine = umath.sin(angle), umath.cos(angle)
    climb, descent, travel = a_up * scale, a_down * scale, (apex - datum) * scale
    speed = umath.sqrt(2.0 * climb * travel)
    height = travel * sine
    kinetic = 0.5 * mass * speed**2
    potential = mass * g * height
    resistance = (1.0 + wheels) * (climb - descent) / (2.0 * g * cosine)
    rolling = resistance * mass * g * cosine * travel
    drag = 0.25 * x["place.air_density"] * x["cart.drag_area"] * speed**2 * travel
    difference = kinetic + wheels * kinetic - potential
    slope = umath.asin((1.0 + wheels) * (climb + descent) / (2.0 * g)) * (180.0 / math.pi)
    quantities = dict(zip(_QUANTITIES, (
        apex_time - speed / climb, speed, apex_time, travel, height, climb, descent, slope, resistance, kinetic, wheels * kinetic,
        potential, rolling, drag, difference, difference / (kinetic + wheels * kinetic), difference - rolling - drag,
    ), strict=True))  # fmt: skip
    heights = [apex - datum, *(each - datum for each in others[1::2])]
    for number, (before, after) in enumerate(pairwise(heights), start=1):
        quantities[f"restitution_{number}"] = umath.sqrt(a_up * after / (a_down * before))
    return {name: (each.nominal_value, each.std_dev, each.error_components()) for name, each in quantities.items()}


def _check(simulated: SimulatedBench, handed: Handed) -> dict[str, float]:
    """The peers and the audit must have found the same accelerations, or the times mean nothing."""
    audit = audit_bench(simulated.bench, method="linear")
    apart = {}
    for name, peer in (("curve_fit", by_curve_fit(handed)), ("lmfit", by_lmfit(handed))):
        own = {each: audit.quantity(each) for each in ("climb_acceleration", "slope_from_motion")}
        found = [abs(peer[each][0] - quantity.value) / quantity.u for each, quantity in own.items()]
        apart[name] = max(found)
        if max(found) > 2.0:
            raise AssertionError(f"{name} and the audit are {max(found):.1f} standard uncertainties apart")
    return apart


def _in_turns(calls: dict[str, Callable[[], object]], rounds: int) -> dict[str, dict[str, float]]:
    seconds: dict[str, list[float]] = {name: [] for name in calls}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for turn in range(rounds + 1):
            for name, call in calls.items():
                begin = time.perf_counter()
                call()
                if turn:  # the first turn is for imports and caches
                    seconds[name].append(time.perf_counter() - begin)
    return {name: _spread(each) for name, each in seconds.items()}


def _sweeps(place: Path, folders: int) -> dict[str, Any]:
    """Benches per second of a sweep in one process, from files: at 20 samples a second, and over the whole region."""
    from joulebook import sweep

    found: dict[str, Any] = {"folders": folders}
    for name, rate in (("at-20", 20.0), ("region", None)):
        for number in range(1, folders + 1):
            rng = np.random.default_rng(SEED + number)
            simulated = simulate_bench(replace(random_design(rng, rate=rate), longest=60.0), rng)
            write_bench_folder(simulated, place / name / f"bench-{number}")
        for method in ("auto", "linear"):
            rates = []
            for _ in range(3):
                begin = time.perf_counter()
                lines = list(sweep(place / name, workers=1, method=method))
                rates.append(len(lines) / (time.perf_counter() - begin))
                failed = [line for line in lines if not line["ok"]]
                if failed:
                    raise AssertionError(f"{len(failed)} of {len(lines)} benches could not be audited: {failed[0]}")
            found[f"{name}-{method}"] = _spread(rates)
    return found


def _spread(values: Sequence[float]) -> dict[str, float]:
    return {"median": float(np.median(values)), "min": min(values), "max": max(values)}


def _child(command: list[str]) -> str:
    return subprocess.run(command, check=True, capture_output=True, text=True, env=_environment()).stdout.strip()


def _seconds(arguments: list[str]) -> float:
    begin = time.perf_counter()
    subprocess.run([sys.executable, *arguments], check=True, capture_output=True, env=_environment())
    return time.perf_counter() - begin


def _environment() -> dict[str, str]:
    source = str(Path(joulebook.__file__).parents[1])
    return {**os.environ, "PYTHONPATH": os.pathsep.join([source, os.environ.get("PYTHONPATH", "")]).rstrip(os.pathsep)}


if __name__ == "__main__":
    main()
