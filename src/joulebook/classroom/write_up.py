"""A write-up: what one student or group handed in, as texts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["WriteUp"]


@dataclass(frozen=True, slots=True)
class WriteUp:
    """What was handed in.

    code: theirs, no name. bench: its number. values: set-up readings as in a bench file, by input; those of the bench count where
    a write-up has none. fields: own work by field name (docs/marking.md).
    """

    code: str
    bench: int
    values: Mapping[str, str] = field(default_factory=dict)
    fields: Mapping[str, str] = field(default_factory=dict)
