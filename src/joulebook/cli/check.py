"""`joulebook check`: the kit check of a preparation run."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from joulebook.cli.documents import write_document
from joulebook.cli.output import STDOUT, json_text, refuse_to_overwrite, write_output
from joulebook.cli.paths import ExistingPath

if TYPE_CHECKING:
    from joulebook.render.document import Document

__all__ = ["check"]


@click.command()
@click.argument("folder", type=ExistingPath(file_okay=False))
@click.option(
    "--history",
    metavar="FOLDER",
    type=click.Path(file_okay=False),
    help="Compare with the last check stored there, and store this one.",
)
@click.option("--against", metavar="FILE", type=ExistingPath(dir_okay=False), help="Compare with this stored check instead.")
@click.option("--date", "day", metavar="YYYY-MM-DD", help="The day of the run; today unless given.")
@click.option(
    "--json", "json_", is_flag=False, flag_value=STDOUT, metavar="[FILE]", help="Write the check as JSON; no name: print it."
)
@click.option("--html", metavar="FILE", help="Write the page: one file that needs nothing else.")
@click.option("--pdf", metavar="FILE", help="Write the printable report.")
@click.option("--paper", type=click.Choice(["a4", "us-letter"]), help="The paper of --pdf; that of the house, else a4.")
@click.option("--house", metavar="FILE", type=ExistingPath(), help="House rules; else the nearest house.toml counts.")
def check(
    folder: str,
    history: str | None,
    against: str | None,
    day: str | None,
    json_: str | None,
    html: str | None,
    pdf: str | None,
    paper: str | None,
    house: str | None,
) -> None:
    """Check the kit from a preparation run: which bench needs service, and why.

    FOLDER holds the bench folders, each with its bench.toml, a rest record and launches; five launches say much more than one. A
    stored check is never written over: there is one for each day, and the last of an earlier day is compared with.
    """
    date = _day(day)
    bench_files = [str(path) for path in Path(folder).rglob("*") if path.is_file()]
    from joulebook.api import house_of

    rules = house_of(house, folder)
    read = [*bench_files, *([against] if against else []), *([rules.source] if rules.source else [])]
    refuse_to_overwrite({"--json": json_, "--html": html, "--pdf": pdf}, read)

    from joulebook.api.kit_checks import check_kit
    from joulebook.planning.kit_history import check_path, store_check

    if history is not None:
        check_path(history, date)  # refused before the work, not after it
    result = check_kit(folder, date=date, history=history, against=against, house=rules)
    told = result.to_dict()
    text = json_text(told, indent=2) + "\n"
    if json_ is not None:
        write_output(json_, text)
    if STDOUT not in (json_, html, pdf):
        from joulebook.render.kit_check_terminal import show_kit_check

        show_kit_check(told, decimal=rules.decimal)

    def document() -> Document:
        from joulebook.render.kit_check_document import kit_check_document

        return kit_check_document(told)

    if html is not None or pdf is not None:
        from joulebook.render.kit_check_document import kit_names

        write_document(document, html=html, pdf=pdf, paper=paper or rules.paper, decimal=rules.decimal, keep=kit_names(told))
    if history is not None:
        click.echo(f"stored: {store_check(history, date, text)}", err=True)


def _day(text: str | None) -> datetime.date:
    if text is None:
        return datetime.date.today()
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise click.UsageError(f"--date {text!r} is no day. Write it like 2031-09-01.") from None
