"""`joulebook demo`: an invented section of six benches, audited, with all its reports."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from joulebook.cli.reports import write_report
from joulebook.errors import JoulebookError, OutputError

if TYPE_CHECKING:
    from joulebook.engine.report import Audit

__all__ = ["demo"]


@click.command()
@click.option(
    "--out",
    default="joulebook-demo",
    show_default=True,
    metavar="FOLDER",
    type=click.Path(file_okay=False),
    help="Where to write it.",
)
@click.option("--seed", type=click.IntRange(0), default=20, show_default=True, help="Seed of the invented records.")
@click.option(
    "--paper", type=click.Choice(["a4", "us-letter"]), default="a4", show_default=True, help="The paper of the PDF reports."
)
@click.option("--pdf/--no-pdf", default=True, show_default=True, help="Write a PDF report for each bench, or leave that out.")
def demo(out: str, seed: int, paper: Literal["a4", "us-letter"], pdf: bool) -> None:
    """Write an invented section of six benches and audit it.

    The records come from joulebook's own simulator, faults included. Each bench gets its page, its PDF and its JSON; the
    verdicts are printed. Files of an earlier demo in the same folder are written anew.
    """
    from joulebook.api import audit, bench_folders
    from joulebook.planning.demo_section import write_demo
    from joulebook.render.terminal import show_section

    root = Path(out)
    benches, reports = root / "benches", root / "reports"
    try:
        reports.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        what = f"The folder cannot be made: {error.strerror}."
        raise OutputError(what, source=out, remedy="Name another place with --out.") from None
    write_demo(benches, seed=seed)
    kinds = ("html", "pdf", "json") if pdf else ("html", "json")
    rows: list[Audit | tuple[str, JoulebookError]] = []
    written: list[str] = []
    for name in bench_folders(benches):
        try:
            result = audit(benches / name)
        except JoulebookError as error:
            rows.append((name, error))
            continue
        rows.append(result)
        paths = [str(reports / f"{name}.{kind}") for kind in kinds]
        for kind, path in zip(kinds, paths, strict=True):
            write_report(kind, result, path, paper=paper)
        written.append("  ".join(paths))
    show_section(rows)
    click.echo("\n".join(["", f"The benches, with their bench files and records: {benches}", "Their reports:", *written]))
