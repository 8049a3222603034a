"""A sound bench, simulated and written as a folder."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from joulebook.planning.design import random_design
from joulebook.planning.folder import write_bench_folder
from joulebook.planning.simulate import simulate_bench


def write_sound_bench(folder: Path, *, seed: int, launches: int) -> Path:
    """Write a bench with a rest record and launches, a spring stop and the ranger at the top, and return its folder."""
    rng = np.random.default_rng(seed)
    design = random_design(rng, stop="spring", placed="top", rate=20.0, angle=8.0, launches=launches, hands=False)
    write_bench_folder(simulate_bench(design, rng), folder)
    return folder
