"""`joulebook mark`: write-ups checked line by line against their own benches."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from joulebook.cli.documents import write_document
from joulebook.cli.output import STDOUT, json_text, write_output
from joulebook.cli.paths import ExistingPath
from joulebook.errors import InputError, OutputError

if TYPE_CHECKING:
    from joulebook.api.marking import CheckedWriteUp
    from joulebook.classroom.mark_book import MarkBook

__all__ = ["mark"]


@click.command()
@click.argument("folder", type=ExistingPath(file_okay=False), required=False)
@click.option(
    "--write-ups", "table", metavar="FILE", type=ExistingPath(dir_okay=False), help="The write-ups: CSV, .xlsx or .ods."
)
@click.option("--template", metavar="FILE", help="Write an empty table of write-ups (.csv or .xlsx) and stop.")
@click.option(
    "--marks",
    metavar="FILE",
    type=ExistingPath(dir_okay=False),
    help="Marks that you have confirmed: code, and a column to each criterion.",
)
@click.option("--out", metavar="FOLDER", help="Write checks, gradebook, feedback sheets and the class summary here.")
@click.option(
    "--json", "json_", is_flag=False, flag_value=STDOUT, metavar="[FILE]", help="Write everything as JSON; no name: print it."
)
@click.option("--points/--no-points", default=True, show_default=True, help="Give points besides levels.")
@click.option("--pdf/--no-pdf", default=True, show_default=True, help="Write feedback sheets as PDF too.")
@click.option("--paper", type=click.Choice(["a4", "us-letter"]), help="The paper of the PDFs; that of the house, else a4.")
@click.option("--house", metavar="FILE", type=ExistingPath(), help="House rules; else the nearest house.toml counts.")
def mark(
    folder: str | None,
    table: str | None,
    template: str | None,
    marks: str | None,
    out: str | None,
    json_: str | None,
    points: bool,
    pdf: bool,
    paper: str | None,
    house: str | None,
) -> None:
    """Check write-ups line by line, each against its own bench.

    FOLDER holds the bench folders. Every line is worked out again from the write-up's own numbers, the first wrong one is named,
    and a slip is named where one explains it. Levels are suggested with their evidence; a mark is only what you confirm with
    --marks or in the room.
    """
    if template is not None:
        _write_template(template)
        return
    if folder is None or table is None:
        raise click.UsageError("Name the folder of benches and the table of write-ups (--write-ups), or ask for a --template.")
    from joulebook.api import house_of
    from joulebook.api.marking import check_write_ups, marking_dict, marks_from_table, read_write_up_file

    rules = house_of(house, folder)
    found = check_write_ups(read_write_up_file(table), folder, house=rules)
    book = marks_from_table(marks) if marks is not None else None
    if json_ is not None:
        write_output(json_, json_text(marking_dict(found), indent=2) + "\n")
    if out is not None:
        _write_all(Path(out), found, book, points=points, pdf=pdf, paper=paper or rules.paper)
    if json_ != STDOUT:
        _show(found)
        if out is not None:
            click.echo(f"\nWritten to {out}")


def _write_template(path: str) -> None:
    from joulebook.classroom.mark_table import template_rows, to_csv

    rows = template_rows()
    if path.casefold().endswith(".xlsx"):
        from joulebook.render.text_workbook import write_text_workbook

        write_output(path, write_text_workbook({"write-ups": rows}))
    else:
        write_output(path, "\ufeff" + to_csv(rows))
    if path != STDOUT:
        click.echo(f"An empty table of write-ups: {path}")


def _write_all(
    root: Path, found: Sequence[CheckedWriteUp], book: MarkBook | None, *, points: bool, pdf: bool, paper: str
) -> None:
    from joulebook.classroom.feedback import feedback_sheet, slip_summary
    from joulebook.classroom.mark_book import MarkBook
    from joulebook.classroom.mark_table import gradebook_rows, to_csv
    from joulebook.render.text_workbook import write_text_workbook

    marked = book or MarkBook()
    sheets = root / "feedback"
    try:
        sheets.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"The folder cannot be made: {error.strerror}.", source=str(root), remedy="Name another place."
        ) from None
    rows = gradebook_rows([each.checked.write_up for each in found], marked, points=points)
    checks = _check_rows(found)
    write_output(str(root / "gradebook.csv"), "\ufeff" + to_csv(rows))
    write_output(str(root / "checks.csv"), "\ufeff" + to_csv(checks))
    write_output(str(root / "gradebook.xlsx"), write_text_workbook({"gradebook": rows, "checks": checks}))
    for each in found:
        name = _file_name(each.checked.write_up.code)
        write_document(
            lambda each=each: feedback_sheet(each.checked, marked, points=points),  # type: ignore[misc]
            html=str(sheets / f"{name}.html"),
            pdf=str(sheets / f"{name}.pdf") if pdf else None,
            paper=paper,
        )
    write_document(
        lambda: slip_summary([each.checked for each in found]),
        html=str(root / "next-lesson.html"),
        pdf=str(root / "next-lesson.pdf") if pdf else None,
        paper=paper,
    )


def _check_rows(found: Sequence[CheckedWriteUp]) -> list[tuple[str, ...]]:
    """Return what was found as rows: code, bench, first wrong line, what was found, and the suggested level of each criterion."""
    from joulebook.classroom.line_sentences import LINE_WORDS, line_sentence, reading_sentence

    criteria = list(found[0].suggestions) if found else []
    rows: list[tuple[str, ...]] = [("code", "bench", "first wrong line", "found", *(f"suggested: {name}" for name in criteria))]
    for each in found:
        checked = each.checked
        sentences = [reading_sentence(r) for r in checked.readings.values() if r.kind in ("off", "other feature")]
        sentences += [line_sentence(line) for line in checked.lines.values() if line.kind in ("slip", "cannot tell")]
        first = LINE_WORDS.get(checked.first_wrong, checked.first_wrong)
        levels = (each.suggestions[name].level for name in criteria)
        rows.append((checked.write_up.code, str(checked.write_up.bench), first, " ".join(sentences), *levels))
    return rows


def _show(found: Sequence[CheckedWriteUp]) -> None:
    from rich.console import Console
    from rich.table import Table

    table = Table(box=None, pad_edge=False)
    for heading in ("Code", "Bench", "First wrong line", "What was found"):
        table.add_column(heading, overflow="fold")
    for code, bench, first, sentence, *_ in _check_rows(found)[1:]:
        table.add_row(code, bench, first or "none", sentence or "Every line follows from the one before.")
    Console(highlight=False, markup=False).print(table)


def _file_name(code: str) -> str:
    kept = "".join(sign if sign.isalnum() or sign in "-_." else "-" for sign in code).strip(".-")
    if not kept:
        raise InputError(f"The code {code!r} makes no file name.", remedy="Use letters or digits in it.")
    return kept
