"""Which columns go together: one time with one position is a run, and there may be several side by side."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from joulebook.readers.columns import Column, is_count, is_derivative, is_evenly_rising
from joulebook.readers.tables import Table
from joulebook.readers.words import fold

__all__ = ["Group", "group_columns"]

_NUMBERED = re.compile(r"\d")
# Among several kinds of position the one that a ranger measures comes first; symbols come after words.
_PREFERENCE = ("position", "dist", "abstand", "afstand", "avstand", "entfernung", "weg", "x", "s", "d", "r")


@dataclass(frozen=True, slots=True)
class Group:
    """The columns of one run.

    time, position, velocity: None where there is none. others: columns that could be the position as well.
    name: the run's name, "" when nothing names it. shared: the time column serves several runs.
    by_numbers: the words "time" and "distance" where the column was chosen by its numbers, not by its heading.
    """

    time: Column | None
    position: Column | None
    velocity: Column | None = None
    others: tuple[Column, ...] = ()
    name: str = ""
    shared: bool = False
    by_numbers: frozenset[str] = frozenset()


def group_columns(table: Table, rows: Sequence[int], columns: Sequence[Column]) -> list[Group]:
    """Return the runs that stand side by side in a block, at least one, with their time and position columns."""
    columns, guessed = _find_times(table, rows, columns)
    groups: list[Group] = []
    for part, shared in _partition(columns):
        groups += _runs_of_part(table, rows, part, shared)
    if guessed:
        groups = [replace(g, by_numbers=g.by_numbers | {"time"}) for g in groups]
    return groups


def _find_times(table: Table, rows: Sequence[int], columns: Sequence[Column]) -> tuple[list[Column], bool]:
    """Mark the time columns, by numbers where no heading names one."""
    if any(c.kind == "time" for c in columns):
        return list(columns), False
    index = np.asarray(rows)
    rising: list[tuple[Column, float, float]] = []
    for column in columns:
        if column.kind != "unknown":
            continue
        values = table.column(column.index)[index]
        finite = values[np.isfinite(values)]
        if finite.size < 5 or is_count(finite):
            continue
        # A drop back to the start is the next run below, so steps are judged without drops.
        first = finite[: int(np.argmax(np.diff(finite) < 0)) + 1] if np.any(np.diff(finite) < 0) else finite
        if first.size >= 5 and is_evenly_rising(first):
            rising.append((column, float(first[0]), float(np.median(np.diff(first)))))
    if not rising:
        return list(columns), False
    _, start, step = rising[0]
    # Further clocks must tick like the first: a cart at constant speed also rises evenly.
    times = {c.index for c, first, own in rising if abs(own - step) <= 0.01 * step and abs(first - start) <= 2 * step}
    return [replace(c, kind="time") if c.index in times else c for c in columns], True


def _partition(columns: list[Column]) -> list[tuple[list[Column], bool]]:
    """Split columns so that each part has one time; True when one time serves several runs."""
    times = [c for c in columns if c.kind == "time"]
    if len(times) < 2:
        return [(columns, False)]
    kinds = [(c.kind, c.base) for c in columns]
    for period in range(2, len(columns) // 2 + 1):
        if len(columns) % period == 0 and kinds == kinds[:period] * (len(columns) // period):
            if sum(1 for kind, _ in kinds[:period] if kind == "time") == 1:
                return [(columns[k : k + period], False) for k in range(0, len(columns), period)]
            break
    tags = [c.tag.casefold() or c.above.casefold() for c in times]
    if len(set(tags)) == len(tags):
        parts = [[c for c in columns if (c.tag.casefold() or c.above.casefold()) == tag] for tag in tags]
        if sum(1 for part in parts if any(c.kind in ("position", "velocity", "unknown") for c in part)) > 1:
            return [(part, False) for part in parts if len(part) > 1]
    parts = [[]]
    for column in columns:
        if (
            column.kind == "time"
            and any(c.kind == "time" for c in parts[-1])
            and any(c.kind in ("position", "velocity", "unknown") for c in parts[-1])
        ):
            parts.append([])
        parts[-1].append(column)
    return [(part, False) for part in parts]


def _runs_of_part(table: Table, rows: Sequence[int], part: list[Column], shared: bool) -> list[Group]:
    time = next((c for c in part if c.kind == "time"), None)
    velocity = next((c for c in part if c.kind == "velocity"), None)
    positions = [c for c in part if c.kind == "position"]
    by_numbers = False
    if not positions and time is not None:
        positions = _guess_positions(table, rows, part, time, velocity)
        by_numbers = True
    if not positions:
        return [Group(time, None, velocity, name=_name(part, time))]
    words = [c for c in positions if c.word] or positions
    best = min(words, key=lambda c: (_preference(c), c.index))
    alike = [c for c in positions if c.base == best.base and c.word == best.word]
    several = len(alike) > 1 and (
        not by_numbers or all(_NUMBERED.search(c.heading) for c in alike) or not any(c.heading for c in alike)
    )
    marks = frozenset({"distance"}) if by_numbers else frozenset()
    if several:
        return [
            Group(time, c, _beside(part, c), name=_name([c], c) or c.heading * by_numbers, shared=True, by_numbers=marks)
            for c in alike
        ]
    others = tuple(c for c in positions if c is not best)
    return [Group(time, best, velocity, others, _name([c for c in (time, best) if c is not None], best), shared, marks)]


def _guess_positions(
    table: Table, rows: Sequence[int], part: list[Column], time: Column, velocity: Column | None
) -> list[Column]:
    """Return the columns that may be the position although no heading says so."""
    index = np.asarray(rows)
    clock = table.column(time.index)[index]
    numbers = {c.index: table.column(c.index)[index] for c in part if c.kind in ("unknown", "velocity")}
    found = []
    for column in part:
        if column.kind != "unknown" or column.index == time.index:
            continue
        values = numbers[column.index]
        finite = values[np.isfinite(values)]
        if finite.size < 5 or is_count(finite):
            continue
        if velocity is not None and not is_derivative(numbers[velocity.index], values, clock):
            continue
        found.append(column)
    rates = {q.index for q in found for p in found if q is not p and is_derivative(numbers[q.index], numbers[p.index], clock)}
    found = [c for c in found if c.index not in rates]
    if len(found) > 1:
        plausible = [c for c in found if _plausible(numbers[c.index])]
        found = plausible or found
    return found


def _plausible(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> bool:
    """A ranger's distances: positive, 0.02 to 10 m, and not all the same."""
    finite = values[np.isfinite(values)]
    low, high = np.percentile(finite, (2, 98))
    return bool(low >= 0.02 and high <= 10.0 and np.ptp(finite) > 0)


def _preference(column: Column) -> int:
    for rank, word in enumerate(_PREFERENCE):
        if column.base == word or (len(word) > 2 and column.base.startswith(word)):
            return rank
    return len(_PREFERENCE)


def _beside(part: Sequence[Column], position: Column) -> Column | None:
    return next((c for c in part if c.kind == "velocity" and c.tag == position.tag), None)


def _name(columns: Sequence[Column], main: Column | None) -> str:
    """Return the run's name: what all its headings carry beside their kind, or what stands above them."""
    tags = [c.tag for c in columns if c.kind in ("time", "position", "velocity", "unknown") and c.tag]
    if tags and main is not None and main.tag and fold(main.tag) == fold(tags[0]):
        return main.tag if not main.tag.isdigit() else f"Run {main.tag}"
    return main.above if main is not None else ""
