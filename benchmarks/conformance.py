"""How true the audits are: many simulated benches, each audited and compared with what really happened.

    python -m benchmarks.conformance [--clean 1000] [--faults 100] [--plain 400] [--workers 2] [--quick]

Three parts. Clean benches over the operating region: coverage of each stated interval, pulls, false alarms, and the release
energy beside its Cramér–Rao bound. Faults: whether the finding of each code is found. Plain benches: the same from a second
simulator that shares nothing with the first. Bench i of a part comes from numpy.random.default_rng(first seed of the part + i),
whatever the number of processes. Maps over the region and faults of the model are in benchmarks/maps.py and benchmarks/robustness.py.
The raw results go to benchmarks/results/conformance.json.
"""

from __future__ import annotations

import argparse
import json
import math
import multiprocessing
import os
import traceback
import warnings
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from benchmarks.bound import energy_errors
from benchmarks.plain_benches import plain_bench
from benchmarks.scores import Outcome, compare

import joulebook
from joulebook.analysis import audit_bench
from joulebook.engine.report import Audit
from joulebook.planning.faults import FAULTS, faulty_bench
from joulebook.planning.simulate import SimulatedBench, random_design, simulate_bench

__all__ = [
    "FIRST_SEEDS", "RESULTS", "clean_outcome", "fault_outcome", "main", "outcome_of", "plain_outcome", "run", "truth_of",
]

RESULTS = Path(__file__).parent / "results"
FIRST_SEEDS = {"clean": 1_000_000, "faults": 2_000_000, "plain": 4_000_000}
_LONG = 60.0
"""s: long enough for all hops, so that no motion ends in mid-flight before its record does."""

Method = Any


def clean_outcome(seed: int, *, method: Method = "auto", bound: bool = True) -> Outcome:
    """Audit one clean bench of the operating region. bound: also work out the Cramér–Rao bound of each launch."""
    rng = np.random.default_rng(seed)
    return outcome_of(simulate_bench(replace(random_design(rng), longest=_LONG), rng), seed, method=method, bound=bound)


def outcome_of(
    simulated: SimulatedBench, seed: int, *, method: Method = "linear", bound: bool = False, only: Sequence[str] | None = None
) -> Outcome:
    """Audit a simulated bench and compare it with its truth; an error of the audit is an outcome too.

    seed: of the generator that made the bench. bound: also work out the Cramér–Rao bound of each launch. only: the quantities to
    compare, None for all.
    """
    region = _region(simulated)

    def judge() -> Outcome:
        audit = audit_bench(simulated.bench, method=method)
        truth = truth_of(simulated, audit)
        extra = {"energy": [_rounded(each) for each in energy_errors(simulated)]} if bound else {}
        compared = truth if only is None else {name: truth[name] for name in only if name in truth}
        return Outcome(seed, region, **compare(audit, compared), extra=extra)

    return _guarded(judge, seed, region)


def fault_outcome(seed: int, *, code: str) -> Outcome:
    """Audit one bench with the fault of this finding code."""
    rng = np.random.default_rng(seed)
    simulated = faulty_bench(code, rng, design=replace(random_design(rng), longest=_LONG))
    region = _region(simulated)

    def judge() -> Outcome:
        return Outcome(seed, region, **compare(audit_bench(simulated.bench, method="linear"), {}))

    return _guarded(judge, seed, region)


def plain_outcome(seed: int, *, method: Method = "auto") -> Outcome:
    """Audit one bench of the second simulator."""
    made = plain_bench(np.random.default_rng(seed))

    def judge() -> Outcome:
        audit = audit_bench(made.bench, method=method)
        return Outcome(seed, made.region, **compare(audit, made.truth))

    return _guarded(judge, seed, made.region)


def truth_of(simulated: SimulatedBench, audit: Audit) -> dict[str, float]:
    """Return the bench's truth by the audit's names: the mean over the launches that the audit took for its own mean.

    Those are the launches that no finding stops, or all where every one is stopped. Restitutions as "restitution_1" and so on.
    """
    stopped = {finding.evidence.get("record") for finding in audit.findings if finding.severity == "stop"}
    pairs = [(record.file, truth) for record, truth in zip(simulated.bench.launches, simulated.truths, strict=True)]
    those = [truth for file, truth in pairs if truth is not None and file not in stopped]
    those = those or [truth for truth in simulated.truths if truth is not None]
    if not those:
        return {}
    every = [truth.quantities() for truth in those]
    means = {
        name: float(np.mean([each[name] for each in every])) for name, value in every[0].items() if isinstance(value, float)
    }
    bounces = zip(*(truth.restitution for truth in those), strict=False)
    return means | {f"restitution_{number}": float(np.mean(values)) for number, values in enumerate(bounces, start=1)}


def run(
    *, clean: int = 1000, faults: int = 100, plain: int = 400, workers: int | None = None
) -> dict[str, Any]:
    """Run all parts and return the raw results as plain JSON types.

    clean, plain: benches. faults: benches for each code. workers: processes, one per core when None.
    """
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    with ProcessPoolExecutor(workers or os.cpu_count() or 1, mp_context=multiprocessing.get_context("spawn")) as pool:

        def over(job: Callable[[int], Outcome], part: str, count: int) -> list[dict[str, Any]]:
            first = FIRST_SEEDS[part]
            outcomes = pool.map(job, range(first, first + count), chunksize=max(1, min(10, count // 8)))
            return [outcome.to_dict() for outcome in outcomes]

        return {
            "format": "joulebook/conformance-1",
            "version": joulebook.__version__,
            "first_seeds": FIRST_SEEDS,
            "clean": over(clean_outcome, "clean", clean),
            "faults": {code: _briefly(code, over(partial(fault_outcome, code=code), "faults", faults)) for code in FAULTS},
            "plain": over(plain_outcome, "plain", plain),
        }


def main(arguments: Sequence[str] | None = None) -> None:
    """Run and store the results."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--clean", type=int, default=1000, help="clean benches")
    parser.add_argument("--faults", type=int, default=100, help="benches for each finding code")
    parser.add_argument("--plain", type=int, default=400, help="benches of the second simulator")
    parser.add_argument("--workers", type=int, default=None, help="processes; one a core unless given")
    parser.add_argument("--quick", action="store_true", help="a twentieth of the benches")
    parser.add_argument("--out", type=Path, default=RESULTS / "conformance.json", help="where the results go")
    chosen = parser.parse_args(arguments)
    share = 20 if chosen.quick else 1
    counts = {name: math.ceil(getattr(chosen, name) / share) for name in ("clean", "faults", "plain")}
    results = run(**counts, workers=chosen.workers)
    store(results, chosen.out)
    print(f"{chosen.out}: {counts}")


def store(results: Mapping[str, Any], path: Path) -> None:
    """Write results as JSON, one bench a line, so that a change shows as the benches that it changed."""
    path.parent.mkdir(parents=True, exist_ok=True)
    text = json.dumps(results, indent=None, sort_keys=True, separators=(",", ":"), allow_nan=False)
    path.write_text(text.replace('{"findings"', '\n{"findings"').replace('{"extra"', '\n{"extra"') + "\n", encoding="utf-8")


def _guarded(judge: Callable[[], Outcome], seed: int, region: Mapping[str, float | str]) -> Outcome:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            return judge()
    except Exception:  # whatever ends an audit is a result here, and must not end the others
        return Outcome(seed, region, failure=traceback.format_exc(limit=-2))


def _region(simulated: SimulatedBench) -> dict[str, float | str]:
    design = simulated.design
    ranger, setup = design.ranger, design.setup
    return {
        "stop": design.stop_kind, "placed": ranger.placed, "rate": ranger.rate, "angle": round(setup.angle, 2),
        "speed": round(design.speed, 3), "noise_mm": round(1e3 * math.hypot(ranger.noise, ranger.drift_noise), 3),
        "noise_kind": "correlated" if ranger.drift_noise else "moving" if ranger.moving_noise else "white",
        "step_mm": round(1e3 * max(ranger.step, ranger.echo_step), 3), "launches": design.launches,
        "rebounds": "until settled" if design.hops is None else design.hops - 1,
        "hand": {(0, 0): "none", (1, 0): "first", (0, 1): "last"}.get((design.hand_first, design.hand_last), "both"),
    }  # fmt: skip


def _briefly(code: str, outcomes: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """What came of the benches with one fault: how many, in how many it was found, and the others in full."""
    missed = [each for each in outcomes if code not in {found for found, _ in each["findings"]}]
    return {"benches": len(outcomes), "caught": len(outcomes) - len(missed), "missed": missed}


def _rounded(values: Mapping[str, float]) -> dict[str, float]:
    return {name: float(f"{value:.4g}") for name, value in values.items()}


if __name__ == "__main__":
    main()
