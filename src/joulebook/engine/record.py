"""A record: one distance-time file as it was read, its bytes kept."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

__all__ = ["Record"]


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """One run of distance against time, exactly as the file holds it.

    file: the file's name as the user knows it (no directories).
    time: seconds, shape (n,), in file order; NaN where the cell was blank or unreadable.
    distance: metres from the ranger, shape (n,), in file order; NaN where blank.
    read_as: one sentence that says back what was understood.
    content: the file's bytes (empty for a record made in memory).
    run: the name of the run inside the file, "" when the file holds one.
    notices: what was noticed while reading and a person should know ("the heading says cm, the numbers are metres").
    velocity_only: the file has a velocity column and no position column; `distance` is then all NaN.
    unit_doubt, time_doubt: one sentence when the unit of distance or time was taken against its heading, else "".
    distance_step: metres in one step of the last printed digit, 0 when not known.
    """

    file: str
    time: npt.NDArray[np.float64]
    distance: npt.NDArray[np.float64]
    read_as: str = ""
    content: bytes = field(default=b"", repr=False)
    run: str = ""
    notices: tuple[str, ...] = ()
    velocity_only: bool = False
    distance_step: float = 0.0
    unit_doubt: str = ""
    time_doubt: str = ""

    @property
    def samples(self) -> int:
        """The number of rows, blank ones included."""
        return int(self.time.size)

    @property
    def sha256(self) -> str:
        """The SHA-256 of the file's bytes, in hexadecimal."""
        return hashlib.sha256(self.content).hexdigest()
