"""How large a record file may be: documented limits, so that a hostile or mistaken file is refused before it is parsed.

An hour at 100 samples per second is 360,000 rows and about 6 MB, far above any launch of a few seconds.
"""

from __future__ import annotations

from typing import Final

__all__ = [
    "MAX_BYTES",
    "MAX_CELLS",
    "MAX_COLUMNS",
    "MAX_FAULTS",
    "MAX_PARTS",
    "MAX_RATIO",
    "MAX_ROWS",
    "MAX_RUNS",
    "MAX_SHEETS",
    "MAX_UNPACKED",
    "MIN_SAMPLES",
]

MAX_BYTES: Final = 8 * 1024 * 1024
"""Bytes of one record file."""

MAX_ROWS: Final = 400_000
"""Rows of one table."""

MAX_COLUMNS: Final = 256
"""Columns of one table."""

MAX_CELLS: Final = 2_000_000
"""Cells of one file (rows times columns, added up over its sheets)."""

MAX_RUNS: Final = 1_000
"""Blocks of numbers with headings of their own in one table, and runs in one file."""

MAX_SHEETS: Final = 64
"""Sheets of one workbook."""

MAX_PARTS: Final = 1_000
"""Entries in a workbook's zip directory."""

MAX_UNPACKED: Final = 64 * 1024 * 1024
"""Bytes of all parts of a workbook together, unpacked."""

MAX_RATIO: Final = 250
"""Unpacked over packed size of one workbook part larger than 1 MB; sheets of numbers pack about 5 to 20 times."""

MAX_FAULTS: Final = 20
"""Faults that are reported together; the rest are counted."""

MIN_SAMPLES: Final = 5
"""Samples with both time and distance below which a record is refused."""
