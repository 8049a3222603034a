"""Benches for the kit check's tests: one kit, each bench changed as a test wants it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from joulebook.analysis import audit_bench
from joulebook.engine.bench import Bench
from joulebook.engine.report import Audit
from joulebook.planning.demo_section import demo_benches
from joulebook.planning.design import Design
from joulebook.planning.simulate import SimulatedBench, simulate_bench

BASE = demo_benches()[0].design
"""The demo's first bench: 6.1° stated as 6.0 ± 0.25, 20 readings per second, μ = 0.0045."""


def kit_design(
    number: int, *, setup: dict[str, Any] | None = None, ranger: dict[str, Any] | None = None, **changes: Any
) -> Design:
    """Return the kit's bench of this number with some of it changed."""
    design = replace(
        BASE,
        title=f"Bench {number}",
        launches=4,
        repeat=0.015,
        setup=replace(BASE.setup, **(setup or {})),
        ranger=replace(BASE.ranger, **(ranger or {})),
    )
    return replace(design, **changes)


def checked(design: Design, seed: int) -> tuple[str, Bench, Audit]:
    """Return a simulated bench as the kit check takes it; its folder is named after the bench."""
    bench = simulated(design, seed).bench
    return design.title.casefold().replace(" ", "-"), bench, audit_bench(bench, method="linear")


def simulated(design: Design, seed: int) -> SimulatedBench:
    """Return the bench with its truth; the same bench and seed give the same records."""
    return simulate_bench(design, np.random.default_rng([seed, int(design.title.rpartition(" ")[2])]))
