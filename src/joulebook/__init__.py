"""joulebook: from the distance-time files of a ramp-launch lab to joules with uncertainties and a plain verdict.

    import joulebook
    audit = joulebook.audit("bench-3")
    print(audit.verdict.sentence)

Importing this package loads nothing heavy: each name below is fetched when it is first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from joulebook.version import VERSION

if TYPE_CHECKING:
    from joulebook.api import audit, fit_stretch, plan, sheet, sweep
    from joulebook.api.kit_checks import check_kit
    from joulebook.api.rehearsals import diagnosis_pack, rehearse
    from joulebook.api.sweeping.files import write_sweep
    from joulebook.api.sweeping.records import write_records
    from joulebook.engine.bench import Bench, Override
    from joulebook.engine.house import House
    from joulebook.engine.record import Record
    from joulebook.engine.report import Audit, Finding, Verdict
    from joulebook.errors import AnalysisError, BenchFileError, FitError, InputError, JoulebookError, OutputError, RecordError
    from joulebook.readers.bench_file import make_bench, read_bench
    from joulebook.readers.house_file import read_house
    from joulebook.readers.records import read_record
    from joulebook.render.sheets import PrintedSheet
    from joulebook.uncertainty import Input, Quantity

__all__ = [
    "AnalysisError",
    "Audit",
    "Bench",
    "BenchFileError",
    "Finding",
    "FitError",
    "House",
    "Input",
    "InputError",
    "JoulebookError",
    "OutputError",
    "Override",
    "PrintedSheet",
    "Quantity",
    "Record",
    "RecordError",
    "Verdict",
    "__version__",
    "audit",
    "check_kit",
    "diagnosis_pack",
    "fit_stretch",
    "make_bench",
    "plan",
    "read_bench",
    "read_house",
    "read_record",
    "rehearse",
    "sheet",
    "sweep",
    "write_records",
    "write_sweep",
]

__version__ = VERSION

_HOME = {
    "joulebook.api": ("audit", "fit_stretch", "plan", "sheet", "sweep"),
    "joulebook.api.kit_checks": ("check_kit",),
    "joulebook.api.rehearsals": ("diagnosis_pack", "rehearse"),
    "joulebook.api.sweeping.files": ("write_sweep",),
    "joulebook.api.sweeping.records": ("write_records",),
    "joulebook.engine.bench": ("Bench", "Override"),
    "joulebook.engine.house": ("House",),
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
    "joulebook.readers.house_file": ("read_house",),
    "joulebook.readers.records": ("read_record",),
    "joulebook.render.sheets": ("PrintedSheet",),
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
