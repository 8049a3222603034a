"""Writes docs/accuracy.md and docs/performance.md from the raw results."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from benchmarks.accuracy_page import accuracy_page
from benchmarks.cells import read_cells
from benchmarks.map_picture import map_picture
from benchmarks.performance_page import performance_page

__all__ = ["DOCS", "STORED", "write_pages"]

DOCS = Path(__file__).parents[1] / "docs"
STORED = Path(__file__).parent / "results"


def write_pages(results: Path, *, docs: Path = DOCS) -> None:
    """Write both pages and the maps' picture from the results in a folder.

    What it lacks is taken from the stored ones, and what no run has is left out. docs: where the pages go.
    """

    def read(name: str) -> Any:
        path = results / f"{name}.json"
        path = path if path.is_file() else STORED / f"{name}.json"
        return json.loads(path.read_text(encoding="utf-8")) if path.is_file() else None

    def lines(name: str) -> list[dict[str, Any]]:
        return read_cells(results / f"{name}.jsonl") or read_cells(STORED / f"{name}.jsonl")

    maps = lines("maps")
    accuracy = accuracy_page(read("conformance"), read("plan"), read("marking"), maps=maps, robustness=lines("robustness"))
    if maps:
        (docs / "maps.svg").write_text(map_picture(maps), encoding="utf-8")
    (docs / "accuracy.md").write_text(accuracy, encoding="utf-8")
    performance = performance_page(
        read("speed"), read("room_load"), read("faults"), cost=lines("cost"), profile=read("profile")
    )
    (docs / "performance.md").write_text(performance, encoding="utf-8")
