"""Writes docs/accuracy.md and docs/performance.md from the raw results."""

from __future__ import annotations

import json
from pathlib import Path

from benchmarks.accuracy_page import accuracy_page
from benchmarks.performance_page import performance_page

__all__ = ["DOCS", "write_pages"]

DOCS = Path(__file__).parents[1] / "docs"


def write_pages(results: Path, *, docs: Path = DOCS) -> None:
    """Write both pages from conformance.json, plan.json and speed.json in `results`."""
    conformance = json.loads((results / "conformance.json").read_text(encoding="utf-8"))
    plans = json.loads((results / "plan.json").read_text(encoding="utf-8"))
    speed = json.loads((results / "speed.json").read_text(encoding="utf-8"))
    (docs / "accuracy.md").write_text(accuracy_page(conformance, plans), encoding="utf-8")
    (docs / "performance.md").write_text(performance_page(speed), encoding="utf-8")
