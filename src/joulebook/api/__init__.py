"""What the commands and the Python API share: one bench audited, many benches audited."""

from joulebook.api.benches import audit, bench_of, house_of
from joulebook.api.plans import kit_of, plan, write_benches
from joulebook.api.sheets import SHEET_KINDS, sheet
from joulebook.api.stretches import fit_stretch
from joulebook.api.sweeps import bench_folders, sweep

__all__ = [
    "SHEET_KINDS",
    "audit",
    "bench_folders",
    "bench_of",
    "fit_stretch",
    "house_of",
    "kit_of",
    "plan",
    "sheet",
    "sweep",
    "write_benches",
]
