"""Measure accuracy and speed, and write docs/accuracy.md and docs/performance.md: what `make bench` runs.

    python -m benchmarks.run_all [--quick] [--pages] [--only PART] [--largest 10000]

Each part is a process of its own and writes raw results to benchmarks/results; the pages are written from those. A part that fails is
named at the end, and the pages keep its results of before.
--quick measures a twentieth as much and writes pages and results to a folder of its own, so that the published ones stay whole.
--pages only writes the pages anew from the results that are stored.
--only measures this part alone, and may be repeated; what the others found before is kept.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

from benchmarks.conformance import RESULTS
from benchmarks.cost import environment
from benchmarks.pages import DOCS, write_pages

__all__ = ["PARTS", "command", "main"]

PARTS: Mapping[str, str] = {
    "speed": "speed.json",
    "cost": "cost.jsonl",
    "profile_pages": "profile.json",
    "room_load": "room_load.json",
    "faults": "faults.json",
    "plan": "plan.json",
    "marking": "marking.json",
    "conformance": "conformance.json",
    "maps": "maps.jsonl",
    "robustness": "robustness.jsonl",
}
"""The parts and where their results go, in order: times first, while the machine is quiet. `faults` starts a PostgreSQL of its own."""


def command(part: str, results: Path, *, quick: bool = False, largest: int | None = None) -> list[str]:
    """Return the command that measures a part. results: a folder. largest: benches of the largest sweep, for `cost` alone."""
    options = ["--quick"] if quick else ["--largest", str(largest)] if part == "cost" and largest is not None else []
    return [sys.executable, "-m", f"benchmarks.{part}", *options, "--out", str(results / PARTS[part])]


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure the parts and write the pages."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="a short version, written to a folder of its own")
    parser.add_argument("--pages", action="store_true", help="write the pages from the stored results, measure nothing")
    parser.add_argument("--only", action="append", choices=list(PARTS), metavar="PART", help=f"one of {', '.join(PARTS)}")
    parser.add_argument("--largest", type=int, help="benches of the largest sweep, up to 100000; 10000")
    chosen = parser.parse_args(arguments)
    results = Path(tempfile.mkdtemp(prefix="joulebook-bench-")) if chosen.quick else RESULTS
    docs = results if chosen.quick else DOCS
    failed = []
    for part in () if chosen.pages else chosen.only or PARTS:
        begin = time.perf_counter()
        line = command(part, results, quick=chosen.quick, largest=chosen.largest)
        if subprocess.run(line, stdout=subprocess.DEVNULL, env=environment(), check=False).returncode != 0:
            failed.append(part)
        print(f"{part}: {(time.perf_counter() - begin) / 60.0:.1f} min", file=sys.stderr)
    write_pages(results, docs=docs)
    print(docs / "accuracy.md", docs / "performance.md", sep="\n")
    if failed:
        sys.exit(f"These parts failed, and their earlier results stand: {', '.join(failed)}.")


if __name__ == "__main__":
    main()
