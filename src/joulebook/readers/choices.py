"""What the user has chosen against the reader's own judgement: columns, units, run, decimal mark."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from joulebook.errors import RecordError
from joulebook.readers.cells import show
from joulebook.readers.columns import Column
from joulebook.readers.groups import Group, group_columns
from joulebook.readers.headings import read_heading
from joulebook.readers.runs import Run
from joulebook.readers.tables import Table
from joulebook.readers.units import Unit, parse_unit
from joulebook.readers.words import fold

__all__ = ["Choices", "pick_run"]


@dataclass(slots=True)
class Choices:
    """The user's choices, checked.

    time_column, position_column: numbers from 1 or headings. time_unit, length_unit: from `unit`.
    run: a name or a number from 1. decimal: "." or ",". All None where the user has not chosen.
    """

    name: str
    time_column: int | str | None = None
    position_column: int | str | None = None
    time_unit: Unit | None = None
    length_unit: Unit | None = None
    run: int | str | None = None
    decimal: str | None = None
    _found: bool = False
    _seen: list[str] = field(default_factory=list)

    @classmethod
    def of(
        cls, time_column: int | str | None, position_column: int | str | None, unit: str | None, run: int | str | None,
        decimal: str | None, *, name: str,
    ) -> Choices:  # fmt: skip
        """Return the checked choices; RecordError for a unit or decimal mark that is none."""
        if decimal is not None and decimal not in (".", ","):
            raise RecordError(
                f"the decimal mark {show(decimal)} is neither “.” nor “,”.", remedy="Give one of the two.", source=name
            )
        choices = cls(name, time_column, position_column, run=run, decimal=decimal)
        if time_column is not None and time_column == position_column:
            raise RecordError(
                f"time and distance cannot both be column {show(str(time_column))}.",
                remedy="Give two different columns.",
                source=name,
            )
        for word in (unit or "").replace(",", " ").replace(";", " ").split():
            found = parse_unit(word)
            if found is None or found.dimension not in ("time", "length"):
                raise RecordError(
                    f"{show(word)} is no unit of distance or time.",
                    remedy="Give one such as m, cm, mm, in, ft, s, ms or min.",
                    source=name,
                )
            if found.dimension == "time":
                choices.time_unit = found
            else:
                choices.length_unit = found
        return choices

    @property
    def columns_given(self) -> bool:
        """Whether the user has chosen a column."""
        return self.time_column is not None or self.position_column is not None

    def groups(self, table: Table, rows: list[int], columns: list[Column], groups: list[Group]) -> list[Group]:
        """Return the groups of a block with the user's columns in place of those found."""
        self._seen += [column.label for column in columns if column.label not in self._seen]
        times = None if self.time_column is None else _matches(self.time_column, columns)
        places = None if self.position_column is None else _matches(self.position_column, columns)
        if times == set() or places == set():
            return groups
        self._found = True
        forced = []
        for column in columns:
            if times is not None and column.index in times:
                column = replace(column, kind="time")
            elif places is not None and column.index in places:
                column = replace(column, kind="position", base="chosen", word=True)
            elif (times is not None and column.kind == "time") or (
                places is not None and column.kind in ("position", "velocity")
            ):
                column = replace(column, kind="other")
            forced.append(column)
        regrouped = group_columns(table, rows, forced)
        return [g for g in regrouped if g.position is not None] or regrouped if places is not None else regrouped

    def check_used(self, tables: Sequence[Table]) -> None:
        """Raise RecordError when a chosen column is nowhere in the file."""
        if not self.columns_given or self._found:
            return
        asked = [
            f"{word} {_quoted(spec)}"
            for word, spec in (("time", self.time_column), ("distance", self.position_column))
            if spec is not None
        ]
        seen = ", ".join(self._seen[:12]) or "none"
        raise RecordError(
            f"no table has the column asked for ({', '.join(asked)}); columns of numbers are: {seen}.",
            remedy="Give a number from 1 or a heading as the file has it.",
            source=self.name,
        )


def pick_run(runs: Sequence[Run], wanted: int | str | None, *, name: str) -> Run:
    """Return the run asked for by name or number, the first by default; RecordError listing the runs when there is none such."""
    if wanted is None:
        return runs[0]
    if isinstance(wanted, str):
        key = fold(wanted.strip())
        for matches in (
            [run for run in runs if fold(run.name) == key],
            [run for run in runs if key and key in fold(run.name)],
        ):
            if len(matches) == 1:
                return matches[0]
    if isinstance(wanted, int) or (wanted.strip().isdecimal() and len(wanted) < 10):
        number = int(wanted)
        if 1 <= number <= len(runs):
            return runs[number - 1]
    listed = ", ".join(f"{run.number} “{run.name}”" if run.name else str(run.number) for run in runs[:12])
    raise RecordError(
        f"there is no run {_quoted(wanted)}; the runs are: {listed}{' …' if len(runs) > 12 else ''}.",
        remedy="Give one of these names or numbers.",
        source=name,
    )


def _matches(wanted: int | str, columns: Sequence[Column]) -> set[int]:
    if isinstance(wanted, str):
        key = fold(" ".join(wanted.split()))
        exact = {c.index for c in columns if fold(c.heading) == key}
        if exact:
            return exact
        plain = {c.index for c in columns if c.heading and key and (c.base == key or _bare(c.heading) == key)}
        if plain:
            return plain
        if not (wanted.strip().isdecimal() and len(wanted) < 6):
            return set()
    return {c.index for c in columns if c.index == int(wanted) - 1}


def _bare(text: str) -> str:
    """Return a heading without its unit, folded."""
    heading = read_heading(text)
    return " ".join(fold(part) for part in (heading.tag, heading.base) if part)


def _quoted(value: int | str) -> str:
    return str(value) if isinstance(value, int) else show(value)
