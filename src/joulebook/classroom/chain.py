"""A write-up as a chain: readings, way, height, the two energies; and what each line must be, going by the lines before it.

Every rule is written once, for arrays, so that a line is worked out at all corners of what its numbers were rounded from.
A slip puts another rule in the place of one: see `slip_catalogue`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from joulebook.classroom.written import Written

__all__ = ["CHAIN", "READINGS", "Link", "Numbers", "Rule", "interval_of", "needed"]

Array = npt.NDArray[np.float64]
Numbers = Mapping[str, Array]
Rule = Callable[[Numbers], Array]

READINGS = ("mass", "sine", "angle", "start_distance", "apex_distance", "release_speed", "gravity", "rise", "along")
"""What a write-up starts from: kg, 1, degrees, m, m, m/s, m/s², m, m."""


@dataclass(frozen=True, slots=True)
class Link:
    """One line of the chain. name: of the line. uses: the lines and readings that its rule needs. rule: as physics has it."""

    name: str
    uses: tuple[str, ...]
    rule: Rule


CHAIN: Mapping[str, Link] = MappingProxyType(
    {
        link.name: link
        for link in (
            Link("travel", ("start_distance", "apex_distance"), lambda n: np.abs(n["start_distance"] - n["apex_distance"])),
            Link("height", ("travel", "sine"), lambda n: n["travel"] * n["sine"]),
            Link("kinetic_energy", ("mass", "release_speed"), lambda n: 0.5 * n["mass"] * n["release_speed"] ** 2),
            Link("potential_energy", ("mass", "gravity", "height"), lambda n: n["mass"] * n["gravity"] * n["height"]),
        )
    }
)
"""The lines in their order."""


def needed(line: str, written: Mapping[str, Written], slips: Sequence[tuple[str, Sequence[str]]] = ()) -> tuple[str, ...] | None:
    """Return the numbers that a line is worked out from: written lines where there are any, else what these rest on.

    written: what the write-up holds, readings included. slips: (line, what its rule uses) of the rules that are put in place.
    None when something is missing.
    """
    found: dict[str, None] = {}
    replaced = dict(slips)

    def collect(name: str, *, first: bool) -> bool:
        if not first and name in written:
            found[name] = None
            return True
        if name not in CHAIN:
            return False
        return all(collect(used, first=False) for used in replaced.get(name, CHAIN[name].uses))

    return tuple(found) if collect(line, first=True) else None


def interval_of(
    line: str, written: Mapping[str, Written], rules: Mapping[str, tuple[tuple[str, ...], Rule]] | None = None
) -> tuple[float, float] | None:
    """Return the least and the most that a line can be, going by the write-up's own numbers; None when some are missing.

    rules: (what it uses, rule) by line, in the place of physics' own.
    Worked out at every corner of the rounding intervals and at their middle.
    """
    rules = rules or {}
    names = needed(line, written, [(name, uses) for name, (uses, _) in rules.items()])
    if names is None:
        return None
    ends = [(written[name].low, written[name].value, written[name].high) for name in names]
    corners = np.array(list(product(*ends)) if names else [()], dtype=float)
    numbers: dict[str, Array] = {name: corners[:, index] for index, name in enumerate(names)}

    def work_out(name: str, *, first: bool) -> Array:
        if not first and name in numbers:
            return numbers[name]
        uses, rule = rules.get(name, (CHAIN[name].uses, CHAIN[name].rule))
        return rule({used: work_out(used, first=False) for used in uses})

    values = work_out(line, first=True)
    return float(values.min()), float(values.max())
