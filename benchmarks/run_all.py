"""Measure accuracy and speed, and write docs/accuracy.md and docs/performance.md: what `make bench` runs.

    python -m benchmarks.run_all [--quick] [--pages]

--quick measures a twentieth as much and writes pages and results to a folder of its own, so that the published ones stay whole.
--pages only writes the pages anew from the results that are stored.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Sequence
from pathlib import Path

from benchmarks import conformance, plan, speed
from benchmarks.pages import DOCS, write_pages

__all__ = ["main"]


def main(arguments: Sequence[str] | None = None) -> None:
    """Run everything, the speed first, while the machine is quiet."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="a short version, written to a folder of its own")
    parser.add_argument("--pages", action="store_true", help="write the pages from the stored results, measure nothing")
    chosen = parser.parse_args(arguments)
    results = Path(tempfile.mkdtemp(prefix="joulebook-bench-")) if chosen.quick else conformance.RESULTS
    docs = results if chosen.quick else DOCS
    if not chosen.pages:
        options = ["--quick"] if chosen.quick else []
        speed.main([*options, "--out", str(results / "speed.json")])
        plan.main([*options, "--out", str(results / "plan.json")])
        conformance.main([*options, "--out", str(results / "conformance.json")])
    write_pages(results, docs=docs)
    print(docs / "accuracy.md", docs / "performance.md", sep="\n")


if __name__ == "__main__":
    main()
