"""What the commands and the Python API share: one bench audited, many benches audited."""

from joulebook.api.benches import audit, bench_of
from joulebook.api.sweeps import bench_folders, sweep

__all__ = ["audit", "bench_folders", "bench_of", "sweep"]
