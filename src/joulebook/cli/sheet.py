"""`joulebook sheet`: bench cards, worksheets, run sheet, answer sheet and hint cards, to print."""

from __future__ import annotations

from typing import Literal

import click

from joulebook.cli.output import STDOUT, refuse_to_overwrite, write_output
from joulebook.cli.paths import ExistingPath
from joulebook.errors import OutputError

__all__ = ["sheet"]


@click.command()
@click.argument("kind", type=click.Choice(["card", "worksheet", "run", "answers", "hints"]))
@click.argument("source", required=False, type=ExistingPath())
@click.option("--house", metavar="FILE", type=ExistingPath(), help="House rules; else the nearest house.toml counts.")
@click.option("--pdf", metavar="FILE", help="Write it as a tagged PDF.")
@click.option("--html", metavar="FILE", help="Write it as a page: one file that needs nothing else and can be printed.")
@click.option("--paper", type=click.Choice(["a4", "us-letter"]), help="The paper; the house's unless given.")
@click.option("--large-print/--usual-print", default=None, help="Letters of 18 points, or of 12; the house's unless given.")
def sheet(
    kind: str,
    source: str | None,
    house: str | None,
    pdf: str | None,
    html: str | None,
    paper: Literal["a4", "us-letter"] | None,
    large_print: bool | None,
) -> None:
    """Write a sheet to print: cards, worksheets, run sheet, answers, hints.

    KIND is card (the bench card), worksheet (for students), run (the teacher's run sheet for one period), answers (after the
    class, from the records) or hints (hint cards in four grades).

    SOURCE is a bench folder or bench file, a folder of bench folders, or a plan that was saved as JSON. Several benches come in
    one document. Without SOURCE, card and worksheet are blank, and hints are complete. Cards, worksheets and hints for students
    never show an energy that the class is to find.
    """
    if pdf is None and html is None:
        raise click.UsageError("Say what to write: --pdf FILE, --html FILE or both.")
    read = [path for path in (source, house) if path is not None]
    refuse_to_overwrite({"--pdf": pdf, "--html": html}, read)

    from joulebook.api.sheets import sheet as compose

    try:
        printed = compose(kind, source, house=house, paper=paper, large_print=large_print)
        contents = {path: write() for path, write in ((pdf, printed.to_pdf), (html, printed.to_html)) if path is not None}
    except ModuleNotFoundError as error:
        if (error.name or "joulebook").startswith("joulebook"):
            raise
        raise OutputError(
            f"A sheet needs the library {error.name}, which is not installed.",
            remedy="Install joulebook with its reports: pip install 'joulebook[reports]'.",
        ) from error
    for path, content in contents.items():
        assert isinstance(content, (str, bytes))
        write_output(path, content)
        if path != STDOUT:
            click.echo(f"{kind}: {path}", err=True)
