"""What a sweep costs: time against the number of benches and of samples, memory, and what a second worker gains.

    python -m benchmarks.cost [--largest 10000] [--samples 100000] [--workers-benches 3000] [--keep] [--quick]

Benches: folders with the records of the demo's six benches, again and again (linked, not copied), swept from files to finished
audits by a process of its own, with linear propagation and one worker; its processor time and its peak memory are taken. Samples:
one launch of four hops and its rest record, read at ever higher rates, so that the motion stays the same and every sample counts;
beside it numpy.loadtxt reads the same file. Script: what a physicist would otherwise run for the same launches, handed what
joulebook has to find. Workers: the same folders with one worker and with two, in turns, and beside them a computation without any
data, done by one process and by two, which shows what this machine's second core is worth. Nothing is extrapolated: --largest
says how far it is measured. The raw results, a line for each size, go to benchmarks/results/cost.jsonl; until all are there they
stand in cost.jsonl.part, from which a run goes on after one that was ended.
"""

from __future__ import annotations

import argparse
import json
import math
import multiprocessing
import os
import resource
import subprocess
import sys
import time
import warnings
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import numpy.typing as npt
from benchmarks.cells import measure_cells
from benchmarks.conformance import RESULTS

import joulebook

__all__ = [
    "SIZES",
    "demo_originals",
    "environment",
    "exponent",
    "linked_benches",
    "main",
    "measure_benches",
    "measure_samples",
    "measure_script",
    "measure_workers",
]

SIZES = (100, 300, 1000, 3000, 10_000, 30_000, 100_000)
"""Sizes, of benches and of samples: half decades."""

_SEED = 5_100_001
_TURNS = 2_000_000


def exponent(size: npt.ArrayLike, cost: npt.ArrayLike) -> tuple[float, float]:
    """Return the exponent p of cost = c·sizeᵖ by least squares on the logarithms, and its standard error from their scatter.

    size, cost: shape (n,), positive, n of 3 or more. Raises ValueError for fewer.
    """
    x, y = np.log(np.asarray(size, dtype=np.float64)), np.log(np.asarray(cost, dtype=np.float64))
    if x.size < 3:
        raise ValueError(f"an exponent with its standard error needs 3 sizes or more, got {x.size}")
    x = x - x.mean()
    slope = float(x @ y / (x @ x))
    left = y - y.mean() - slope * x
    return slope, math.sqrt(float(left @ left) / (x.size - 2) / float(x @ x))


def linked_benches(folder: Path, benches: int, originals: Sequence[Path]) -> int:
    """Fill `folder` with at least so many bench folders, whole rounds of the originals, and return how many there are.

    Files are linked where the file system can, so that 100,000 benches take little room.
    """
    rounds = max(1, round(benches / len(originals)))
    for turn in range(rounds):
        # A folder of folders for each thousand rounds: no directory becomes so long that looking into it is what is measured.
        for number, original in enumerate(originals, start=1):
            place = folder / f"{turn // 1000:03d}" / f"{turn:06d}-{number}"
            place.mkdir(parents=True)
            for file in original.iterdir():
                _link(file, place / file.name)
    return rounds * len(originals)


def measure_benches(benches: int, originals: Sequence[Path], *, repeats: int) -> dict[str, Any]:
    """Sweep so many linked benches in a process of its own and return its processor time, wall time (s) and peak memory (kB)."""
    with TemporaryDirectory(prefix="joulebook-cost-") as place:
        count = linked_benches(Path(place), benches, originals)
        runs = [_child(place) for _ in range(repeats)]
    return {
        "benches": count, "launches": runs[0]["launches"], "refused": runs[0]["refused"],
        "processor_s": [each["processor_s"] for each in runs], "wall_s": [each["wall_s"] for each in runs],
        "peak_kB": [each["peak_kB"] for each in runs], "ready_kB": [each["ready_kB"] for each in runs],
    }  # fmt: skip


def measure_samples(samples: int, *, budget: float = 2.0) -> dict[str, Any]:
    """Return the processor time (s) of an audit from files, of one from memory, and of numpy.loadtxt on the launch's file.

    samples: of the launch's record. budget: s for each of the three, one call at least.
    """
    from joulebook.analysis import audit_bench
    from joulebook.planning.folder import write_bench_folder
    from joulebook.planning.simulate import random_design, simulate_bench

    rng = np.random.default_rng(_SEED)
    design = random_design(rng, stop="spring", placed="top", rate=20.0, angle=8.0, launches=1, hands=False)
    design = replace(design, hops=4, last_hop=0.6, speed=1.1)
    seconds = simulate_bench(design, np.random.default_rng(_SEED)).bench.launches[0].samples / 20.0
    ranger = replace(design.ranger, rate=samples / seconds, time_decimals=7, noise=0.0005, drift_noise=0.0, jitter=0.0)
    simulated = simulate_bench(replace(design, ranger=ranger), np.random.default_rng(_SEED))
    with TemporaryDirectory(prefix="joulebook-cost-") as place:
        file = write_bench_folder(simulated, Path(place) / "bench")
        launch = next(file.parent.glob("launch*"))
        return {
            "samples": simulated.bench.launches[0].samples,
            "from_files_s": _least(lambda: joulebook.audit(file.parent, method="linear"), budget),
            "from_memory_s": _least(lambda: audit_bench(simulated.bench, method="linear"), budget),
            "loadtxt_s": _least(lambda: np.loadtxt(launch, delimiter=",", skiprows=1), budget),
        }


def measure_script(originals: Sequence[Path], *, turns: int = 12) -> dict[str, Any]:
    """Return the processor time (s) of the peer for every launch of the demo's benches, and of a sweep of these from files, in turns.

    The peer is scipy.optimize.curve_fit with the package uncertainties (benchmarks/speed.py): it is handed the free samples, the release
    level and good starting values, reads no file and looks for no fault. processor_s, sweep_s: the least of the turns, since all else
    that the machine does only adds.
    """
    from benchmarks.speed import by_curve_fit, hand_over

    from joulebook.planning.demo_section import demo_benches
    from joulebook.planning.simulate import simulate_bench

    handed = []
    for number, bench in enumerate(demo_benches()):
        simulated = simulate_bench(bench.design, np.random.default_rng([20, number]))
        handed += [hand_over(simulated, launch) for launch in range(len(simulated.bench.launches))]
    with TemporaryDirectory(prefix="joulebook-cost-") as place:
        linked_benches(Path(place), len(originals), originals)
        script: list[float] = []
        swept: list[float] = []
        for _ in range(turns + 1):
            for took, work in ((script, lambda: [by_curve_fit(each) for each in handed]), (swept, lambda: _swept(place))):
                start = time.process_time()
                work()
                took.append(time.process_time() - start)
    # The first turn pays for imports.
    return {"launches": len(handed), "processor_s": min(script[1:]), "sweep_s": min(swept[1:])}


def _swept(folder: str) -> list[bool]:
    return [bool(line["ok"]) for line in joulebook.sweep(folder, method="linear")]


def measure_workers(benches: int, originals: Sequence[Path], *, rounds: int) -> dict[str, Any]:
    """Return the wall times (s) of a sweep with one and with two workers, and those of a bare computation shared the same way."""
    with TemporaryDirectory(prefix="joulebook-cost-") as place:
        count = linked_benches(Path(place), benches, originals)
        found: dict[str, Any] = {"benches": count, "one_s": [], "two_s": [], "bare_one_s": [], "bare_two_s": []}
        for _ in range(rounds):
            found["one_s"].append(_child(place, 1)["wall_s"])
            found["two_s"].append(_child(place, 2)["wall_s"])
            found["bare_one_s"].append(_bare(1))
            found["bare_two_s"].append(_bare(2))
    return found


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure the sizes that are missing."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--largest", type=int, default=10_000, help="benches of the largest sweep; 10000")
    parser.add_argument("--samples", type=int, default=100_000, help="samples of the largest record; 100000")
    parser.add_argument("--workers-benches", type=int, default=3000, help="benches for one worker against two; 3000")
    parser.add_argument("--keep", action="store_true", help="take over what the finished results hold already")
    parser.add_argument("--quick", action="store_true", help="sweeps of up to 300 benches, records of up to 10000 samples")
    parser.add_argument("--out", type=Path, default=RESULTS / "cost.jsonl", help="where the results go")
    parser.add_argument("--child", nargs=2, metavar=("FOLDER", "WORKERS"), help="sweep one folder and print what it cost")
    chosen = parser.parse_args(arguments)
    if chosen.child:
        print(json.dumps(_sweep(chosen.child[0], int(chosen.child[1]))))
        return
    largest, samples = (300, 10_000) if chosen.quick else (chosen.largest, chosen.samples)
    sizes = [size for size in (30, *SIZES) if size <= largest] if chosen.quick else [size for size in SIZES if size <= largest]
    records = [size for size in SIZES if size <= samples]
    bench_count = 24 if chosen.quick else chosen.workers_benches
    names = [*(f"benches {size}" for size in sizes), *(f"samples {size}" for size in records), "script", "workers"]
    with TemporaryDirectory(prefix="joulebook-cost-") as place, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        originals = demo_originals(Path(place))

        def measure(name: str) -> dict[str, Any]:
            kind, _, size = name.partition(" ")
            if kind == "benches":
                return measure_benches(int(size), originals, repeats=1 if chosen.quick else max(1, min(5, 2000 // int(size))))
            if kind == "samples":
                return measure_samples(int(size), budget=0.2 if chosen.quick else 2.0)
            if kind == "script":
                return measure_script(originals, turns=3 if chosen.quick else 12)
            return measure_workers(bench_count, originals, rounds=1 if chosen.quick else 2)

        settings = {"quick": chosen.quick, "workers_benches": bench_count}
        measure_cells(chosen.out, names, measure, settings=settings, keep=chosen.keep)
    print(chosen.out)


def demo_originals(folder: Path) -> list[Path]:
    """Write the demo's six benches below `folder` and return their folders."""
    from joulebook.planning.demo_section import write_demo

    return [file.parent for file in write_demo(folder, seed=20)]


def _sweep(folder: str, workers: int) -> dict[str, Any]:
    """Sweep a folder in this process, after one bench that pays for imports, and keep nothing of it."""
    first = next(Path(folder).rglob("bench.toml")).parent
    joulebook.audit(first, method="linear")
    ready, wall, processor = _peak_kb(), time.perf_counter(), time.process_time()
    count = refused = launches = 0
    for line in joulebook.sweep(folder, workers=workers, method="linear"):
        count += 1
        audit = line.get("audit")
        launches += len(audit["launches"]) if isinstance(audit, dict) else 0
        refused += not line["ok"]
    return {
        "benches": count, "launches": launches, "refused": refused, "processor_s": time.process_time() - processor,
        "wall_s": time.perf_counter() - wall, "ready_kB": ready, "peak_kB": _peak_kb(),
    }  # fmt: skip


def _peak_kb() -> int:
    """This process's own peak of memory. ru_maxrss also counts what the parent was before the start, so it is asked for last."""
    status = Path("/proc/self/status")
    peaks = [line.split()[1] for line in status.read_text().splitlines() if line.startswith("VmHWM")] if status.exists() else []
    return int(peaks[0]) if peaks else resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def _child(folder: str, workers: int = 1) -> dict[str, Any]:
    command = [sys.executable, "-m", "benchmarks.cost", "--child", folder, str(workers)]
    ended = subprocess.run(command, check=True, capture_output=True, text=True, env=environment())
    found = json.loads(ended.stdout)
    assert isinstance(found, dict)
    return found


def environment() -> dict[str, str]:
    """Return the environment of a child: it finds the package and the benchmarks, and NumPy keeps to one thread."""
    places = [str(Path(joulebook.__file__).parents[1]), str(Path(__file__).parents[1]), os.environ.get("PYTHONPATH", "")]
    one = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    return {**os.environ, **one, "PYTHONPATH": os.pathsep.join(place for place in places if place)}


def _bare(processes: int) -> float:
    """Return the wall time of a fixed computation, shared between so many processes that are running already."""
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        pool.map(_count, [1] * processes)
        begin = time.perf_counter()
        pool.map(_count, [_TURNS] * 4, chunksize=4 // processes)
        return time.perf_counter() - begin


def _count(turns: int) -> int:
    total = 0
    for turn in range(turns):
        total += turn & 3
    return total


def _least(call: Any, budget: float) -> float:
    begin, least = time.perf_counter(), math.inf
    while least == math.inf or time.perf_counter() - begin < budget:
        start = time.process_time()
        call()
        least = min(least, time.process_time() - start)
    return least


def _link(source: Path, target: Path) -> None:
    try:
        os.link(source, target)
    except OSError:  # another file system, or one without links
        target.write_bytes(source.read_bytes())


if __name__ == "__main__":
    main()
