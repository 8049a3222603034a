"""Simulated benches as a section holds them: records as bytes, set-up readings as texts."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from tests.classroom.ledger_of_changes import Ledger

from joulebook.planning.design import random_design
from joulebook.planning.faults import faulty_bench
from joulebook.planning.folder import write_bench_folder
from joulebook.planning.simulate import simulate_bench


@cache
def files(fault: str = "", seed: int = 5) -> tuple[dict[str, bytes], dict[str, str]]:
    """Return the records of a simulated bench by name, and its set-up readings."""
    rng = np.random.default_rng(seed)
    design = random_design(rng, stop="spring", placed="top", rate=20.0, angle=8.0, launches=2, hands=False)
    simulated = faulty_bench(fault, rng, design=design) if fault else simulate_bench(design, rng)
    with TemporaryDirectory() as folder:
        file = write_bench_folder(simulated, Path(folder) / "bench")
        document = tomllib.loads(file.read_text(encoding="utf-8"))
        content = {path.name: path.read_bytes() for path in sorted(file.parent.glob("*.csv"))}
    values = {
        f"{table}.{key}": str(text)
        for table in ("cart", "track", "sensor", "place")
        for key, text in document.get(table, {}).items()
    }
    return content, values


def filled(fault: str = "", seed: int = 5, *, values: bool = True) -> tuple[Ledger, dict[str, bytes]]:
    """Return a section whose bench 1 holds a simulated bench, and the bytes by SHA-256."""
    content, readings = files(fault, seed)
    ledger = Ledger()
    for name, data in content.items():
        ledger.add(1, name, "rest" if "rest" in name else "launch", data)
    if values:
        ledger.do("values-set", 1, "bench", values=readings)
    held = {record.sha256: content[record.name] for record in ledger.section.benches[1].records}
    return ledger, held
