"""joulebook: from the distance-time files of a ramp-launch lab to joules with uncertainties and a plain verdict.

    import joulebook
    audit = joulebook.audit("bench-3")
    print(audit.verdict.sentence)

Importing this package loads nothing heavy: each name below is fetched when it is first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from joulebook.api import audit, sweep
    from joulebook.engine.bench import Bench, Override
    from joulebook.engine.record import Record
    from joulebook.engine.report import Audit, Finding, Verdict
    from joulebook.errors import AnalysisError, BenchFileError, FitError, InputError, JoulebookError, OutputError, RecordError
    from joulebook.readers.bench_file import make_bench, read_bench
    from joulebook.readers.records import read_record
    from joulebook.uncertainty import Input, Quantity

__all__ = [
    "AnalysisError",
    "Audit",
    "Bench",
    "BenchFileError",
    "Finding",
    "FitError",
    "Input",
    "InputError",
    "JoulebookError",
    "OutputError",
    "Override",
    "Quantity",
    "Record",
    "RecordError",
    "Verdict",
    "__version__",
    "audit",
    "make_bench",
    "read_bench",
    "read_record",
    "sweep",
]

__version__ = "0.1.0"

_HOME = {
    "joulebook.api": ("audit", "sweep"),
    "joulebook.engine.bench": ("Bench", "Override"),
    "joulebook.engine.record": ("Record",),
    "joulebook.engine.report": ("Audit", "Finding", "Verdict"),
    "joulebook.errors": (
        "AnalysisError",
        "BenchFileError",
        "FitError",
        "InputError",
        "JoulebookError",
        "OutputError",
        "RecordError",
    ),
    "joulebook.readers.bench_file": ("make_bench", "read_bench"),
    "joulebook.readers.records": ("read_record",),
    "joulebook.uncertainty": ("Input", "Quantity"),
}
_MODULE_OF = {name: module for module, names in _HOME.items() for name in names}


def __getattr__(name: str) -> object:
    module = _MODULE_OF.get(name)
    if module is None:
        raise AttributeError(f"joulebook has no {name!r}")
    value: object = getattr(import_module(module), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
