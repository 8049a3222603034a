"""The house's decimal sign on the teacher's pages: what joulebook reckons gets it, names and what people typed stay as they are."""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

from joulebook.classroom.section import Section
from joulebook.render.decimal_sign import signed
from joulebook.render.plain import clean_text
from joulebook.web.board_contexts import RecordRow, WorkLine

__all__ = ["names_in", "of_house", "signed_records", "signed_work"]

_T = TypeVar("_T")


def names_in(whole: Section) -> tuple[str, ...]:
    """Return the names in a section whose points are no decimal signs: its title, its groups, its files."""
    groups = (name for bench in whole.benches.values() for name in (bench.title, bench.name))
    files = (record.name for bench in whole.benches.values() for record in bench.records)
    return tuple(dict.fromkeys(clean_text(name) for name in (whole.title, *groups, *files) if "." in name))


def of_house(value: _T, whole: Section) -> _T:
    """Return texts, or records of texts, with the decimal sign of a section's house."""
    return value if whole.house.decimal == "." else signed(value, whole.house.decimal, keep=names_in(whole))


def signed_records(rows: tuple[RecordRow, ...], whole: Section) -> tuple[RecordRow, ...]:
    """Return the rows of records with the house's sign in what is said about them; what is kept stays."""
    return tuple(
        replace(
            row, read_as=of_house(row.read_as, whole), notices=of_house(row.notices, whole), problem=of_house(row.problem, whole)
        )
        for row in rows
    )  # fmt: skip


def signed_work(lines: tuple[WorkLine, ...], whole: Section) -> tuple[WorkLine, ...]:
    """Return the lines of numbers with the house's sign in joulebook's; the students' stay as they typed them."""
    return tuple(replace(of_house(line, whole), theirs=line.theirs) for line in lines)
