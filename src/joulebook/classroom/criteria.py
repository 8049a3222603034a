"""Criteria: what a write-up is marked by, each in four worded levels, with points where the teacher wants them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from joulebook.errors import BenchFileError, Fault

__all__ = ["CRITERIA", "LEVELS", "Criterion", "points_of", "read_criteria"]

LEVELS = ("missing", "inadequate", "needs improvement", "adequate")
"""The levels from the lowest, as open rubrics in physics teaching word them."""

_LONGEST, _MOST = 400, 12


@dataclass(frozen=True, slots=True)
class Criterion:
    """One criterion. name: short, for columns. title: what it asks. levels: what each of LEVELS means for it, in that order.

    points: of each level; all 0 where the teacher gives no points.
    """

    name: str
    title: str
    levels: tuple[str, str, str, str]
    points: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)


_POINTS = (0.0, 1.0, 2.0, 3.0)

CRITERIA: Mapping[str, Criterion] = MappingProxyType(
    {
        criterion.name: criterion
        for criterion in (
            Criterion("set-up", "Set-up and safety", (
                "No set-up reading is given.",
                "Readings are given, but some that the energies need are not.",
                "All readings are given; how they were measured or how sure they are is not.",
                "All readings are given with how they were measured and how sure they are.",
            ), _POINTS),
            Criterion("data", "Quality of the data", (
                "There is no record that can be used.",
                "There is a record, but no energy can be trusted from it.",
                "The records can be used, and something about them should have been looked at again.",
                "Rest record and launches can be used as they are.",
            ), _POINTS),
            Criterion("readings", "Readings with their uncertainty", (
                "No reading from the graph is given.",
                "Readings were taken at other places of the graph than those asked for.",
                "The readings are right; their uncertainty is missing.",
                "The readings are right and have an uncertainty that fits.",
            ), _POINTS),
            Criterion("calculation", "Calculation of the energies", (
                "Neither energy is worked out.",
                "More than one step does not follow from the numbers before it.",
                "One step does not follow; everything after it does.",
                "Every step follows from the numbers before it.",
            ), _POINTS),
            Criterion("claim", "Comparison and claim", (
                "No claim is made.",
                "A claim is made without uncertainty, or it does not follow from the numbers.",
                "The claim follows, but says more or less than the numbers do, or the comparison is not shown.",
                "The claim follows from the two energies and their uncertainties.",
            ), _POINTS),
            Criterion("losses", "Losses located and sized", (
                "Nothing is said about where energy may have gone.",
                "A place is named that cannot explain the difference.",
                "A place is named; its size is not, or does not match the difference.",
                "A place is named, its size is given, and it matches the difference.",
            ), _POINTS),
            Criterion("improvement", "Improvement tried", (
                "No improvement is named.",
                "An improvement is named that would hardly change the answer.",
                "A good improvement is named, but not by how much it would help.",
                "A good improvement is named, with how much it would help or a repeat that shows it.",
            ), _POINTS),
            Criterion("communication", "Communication", (
                "The reader cannot follow.",
                "Units, symbols or steps are missing in many places.",
                "Units or digits are wrong in a few places.",
                "Numbers have units and sensible digits, and the reasons are said in words.",
            ), _POINTS),
        )
    }
)  # fmt: skip
"""The criteria that stand until a teacher writes others. What they ask follows public curricula; the words are ours."""


def read_criteria(tables: Mapping[str, object]) -> dict[str, Criterion]:
    """Return criteria from tables: by name, title, levels (four texts) and, if points are wanted, points (four numbers).

    Raises BenchFileError with every fault.
    """
    faults: list[Fault] = []
    if not 1 <= len(tables) <= _MOST:
        faults.append(Fault("criteria", f"{len(tables)} criteria are not between 1 and {_MOST}.", "Join some of them."))
    found = {name: _criterion(name, table, faults) for name, table in list(tables.items())[:_MOST]}
    if faults:
        raise BenchFileError(
            "These criteria cannot be used.", remedy="Correct what is named here.", faults=faults, code="criteria"
        )
    return {name: criterion for name, criterion in found.items() if criterion is not None}


def points_of(criterion: Criterion, level: str) -> float:
    """Return the points of a level. KeyError for an unknown level."""
    return criterion.points[LEVELS.index(level)] if level in LEVELS else 0.0


def _criterion(name: str, table: object, faults: list[Fault]) -> Criterion | None:
    where = f"criteria.{name[:40]}"
    if not isinstance(table, Mapping):
        faults.append(Fault(where, "must be a table.", "Give it a title and four levels."))
        return None
    title, levels, points = table.get("title", name), table.get("levels"), table.get("points", list(_POINTS))
    if not isinstance(title, str) or not 0 < len(title) <= _LONGEST:
        faults.append(Fault(f"{where}.title", f"must be a text of 1 to {_LONGEST} characters."))
        return None
    if not (
        isinstance(levels, list | tuple)
        and len(levels) == 4
        and all(isinstance(t, str) and 0 < len(t) <= _LONGEST for t in levels)
    ):
        faults.append(Fault(f"{where}.levels", "must be four texts.", f"One for each of: {', '.join(LEVELS)}."))
        return None
    fine = isinstance(points, list | tuple) and len(points) == 4 and all(
        isinstance(p, int | float) and not isinstance(p, bool) and 0 <= p <= 1000 for p in points
    )  # fmt: skip
    if not fine:
        faults.append(
            Fault(f"{where}.points", "must be four numbers of 0 or more.", "Write [0, 1, 2, 3], or [0, 0, 0, 0] for none.")
        )
        return None
    one, two, three, four = levels
    return Criterion(name, title, (one, two, three, four), tuple(float(p) for p in points))  # type: ignore[arg-type]
