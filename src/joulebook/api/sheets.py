"""Sheets for a bench, for all benches of a folder, or for a plan: composed here, laid out by `to_pdf` and `to_html`."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from joulebook.api.benches import audit, house_of
from joulebook.api.sweeps import BENCH_FILE, bench_folders
from joulebook.errors import InputError, JoulebookError

if TYPE_CHECKING:
    from joulebook.engine.house import House
    from joulebook.engine.report import Audit
    from joulebook.render.sheet_blocks import Part
    from joulebook.render.sheet_facts import BenchFacts
    from joulebook.render.sheets import PrintedSheet

__all__ = ["SHEET_KINDS", "sheet"]

SHEET_KINDS: Mapping[str, str] = {
    "card": "Bench cards",
    "worksheet": "Worksheets",
    "run": "Run sheet for the teacher",
    "answers": "Answer sheet for the teacher",
    "hints": "Hint cards",
}
"""The kinds of sheet, each with the title of its document."""

_LARGEST_PLAN = 16 * 1024 * 1024


def sheet(
    kind: str,
    source: str | os.PathLike[str] | None = None,
    *,
    house: House | str | os.PathLike[str] | None = None,
    paper: Literal["a4", "us-letter"] | None = None,
    large_print: bool | None = None,
    audits: Sequence[Audit | tuple[str, JoulebookError]] | None = None,
    **options: Any,
) -> PrintedSheet:
    """Return a sheet to print; `to_pdf()` and `to_html()` lay it out.

    kind: "card", "worksheet", "run", "answers" or "hints".
    source: a bench folder or bench file, a folder of bench folders (a sheet for each bench, in one document), or a plan (JSON of
        format joulebook/plan-1). None gives blank cards and worksheets, and all hint cards. Answers need benches with
        records; hint cards for a source are those whose findings its records show. Cards and worksheets look at no record.
    house: house rules or their file; None looks for a house.toml from `source` upwards.
    paper, large_print: those of the house unless given.
    audits: the benches' audits, (folder, error) where there is none, made already; None audits the source.
    options: for the audits behind answers and hints, as for `audit`.
    Raises InputError for a kind that there is not and a source that does not suit it, BenchFileError for faulty bench files.
    """
    from joulebook.render.plain import clean_text
    from joulebook.render.sheets import PrintedSheet

    if kind not in SHEET_KINDS:
        raise InputError(f"There is no sheet {kind!r}.", remedy=f"Choose one of {', '.join(SHEET_KINDS)}.")
    rules = house_of(house, source)
    large = rules.large_print if large_print is None else large_print
    return PrintedSheet(
        kind=kind,
        title=SHEET_KINDS[kind],
        parts=_parts(kind, source, rules, large, audits, options),
        house_title=clean_text(rules.title),
        decimal=rules.decimal,
        paper=rules.paper if paper is None else paper,
        large_print=large,
    )


def _parts(
    kind: str,
    source: str | os.PathLike[str] | None,
    house: House,
    large: bool,
    audits: Sequence[Audit | tuple[str, JoulebookError]] | None,
    options: Mapping[str, Any],
) -> tuple[Part, ...]:
    from joulebook.render.sheet_answers import compose_answers
    from joulebook.render.sheet_card import compose_card
    from joulebook.render.sheet_hints import compose_hints
    from joulebook.render.sheet_run import compose_run_sheet
    from joulebook.render.sheet_worksheet import compose_worksheet

    if kind == "answers":
        return (compose_answers(audits or _audits(kind, source, house, options), house, large=large),)
    if kind == "hints":
        if source is None and audits is None:
            return compose_hints()
        rows = audits or _audits(kind, source, house, options)
        return compose_hints({finding.code for row in rows if not isinstance(row, tuple) for finding in row.findings})
    benches = _facts(source, house)
    if kind == "run":
        titles = tuple(bench.title for bench in benches) if source is not None else ()
        return (compose_run_sheet(house, benches=titles, large=large),)
    compose = compose_card if kind == "card" else compose_worksheet
    return tuple(compose(bench, house, large=large) for bench in benches)


def _facts(source: str | os.PathLike[str] | None, house: House) -> tuple[BenchFacts, ...]:
    """Return what is known of each bench's set-up."""
    from joulebook.readers.bench_file import read_bench
    from joulebook.render.sheet_facts import BLANK_BENCH, facts_of, facts_of_plan

    if source is None:
        return (BLANK_BENCH,)
    path = Path(source)
    if path.suffix.casefold() == ".json":
        plan = _plan(path)
        try:
            return facts_of_plan(plan)
        except (KeyError, TypeError, ValueError) as error:
            raise InputError(
                f"The plan lacks something or holds a wrong value: {error}.", source=os.fspath(source),
                remedy="Write it again with `joulebook plan`.",
            ) from None  # fmt: skip
    return tuple(facts_of(read_bench(folder, house=house, with_records=False)) for folder in _folders(path))


def _plan(path: Path) -> Mapping[str, Any]:
    """Return a plan that was written as JSON."""
    remedy = "Name a plan that `joulebook plan` wrote, a bench folder, or a folder of benches."
    try:
        with path.open("rb") as stream:
            plan = json.loads(stream.read(_LARGEST_PLAN))
    except OSError as error:
        raise InputError(f"The plan cannot be read: {error.strerror}.", source=os.fspath(path), remedy=remedy) from None
    except (ValueError, RecursionError):
        raise InputError("This is not JSON.", source=os.fspath(path), remedy=remedy) from None
    if not isinstance(plan, Mapping) or plan.get("format") != "joulebook/plan-1":
        raise InputError("This is not a plan of the format joulebook/plan-1.", source=os.fspath(path), remedy=remedy)
    return plan


def _folders(path: Path) -> list[Path]:
    """Return the bench folders, or the bench file, that a path stands for."""
    if not path.is_dir() or (path / BENCH_FILE).is_file():
        return [path]
    found = [path / folder for folder in bench_folders(path)]
    if not found:
        raise InputError(
            f"No {BENCH_FILE} in this folder or below it.", source=os.fspath(path),
            remedy="Name a bench folder or the folder that holds them; without a source you get a blank sheet.",
        )  # fmt: skip
    return found


def _audits(
    kind: str, source: str | os.PathLike[str] | None, house: House, options: Mapping[str, Any]
) -> list[Audit | tuple[str, JoulebookError]]:
    """Return an audit for each bench, or its folder with what is wrong."""
    if source is None or Path(source).suffix.casefold() == ".json":
        raise InputError(
            f"A sheet of {kind} comes from the benches' own records.", source="" if source is None else os.fspath(source),
            remedy="Name a bench folder, or the folder that holds the bench folders.",
        )  # fmt: skip
    rows: list[Audit | tuple[str, JoulebookError]] = []
    for folder in _folders(Path(source)):
        try:
            rows.append(audit(folder, house=house, **options))
        except JoulebookError as error:
            rows.append((folder.name, error))
    return rows
