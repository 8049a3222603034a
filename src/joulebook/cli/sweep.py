"""`joulebook sweep`: every bench folder below a folder, a line each."""

from __future__ import annotations

import os
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import click

from joulebook.cli.options import analysis_choice, analysis_options
from joulebook.cli.output import STDOUT, json_text, open_output
from joulebook.cli.paths import ExistingPath

__all__ = ["sweep"]


@click.command()
@click.argument("folder", required=False, type=ExistingPath(file_okay=False))
@click.option(
    "--jsonl",
    is_flag=False,
    flag_value=STDOUT,
    metavar="[FILE]",
    help="Write a line of JSON for each bench; no name: print them.",
)
@click.option("--workers", type=click.IntRange(1), metavar="N", help="Processes to use; the default is one per core.")
@click.option(
    "--house", metavar="FILE", type=ExistingPath(), help="House rules; else those nearest to each bench count."
)
@analysis_options
def sweep(folder: str | None, jsonl: str | None, workers: int | None, house: str | None, **options: Any) -> None:
    """Audit every bench folder below a folder.

    A bench folder is one that holds a bench.toml. Benches come in the order of their names, and one that cannot be audited never
    stops the rest: it has its line, with what is wrong and what to do. The lines do not depend on the number of workers.
    """
    from joulebook.api import bench_folders, house_of
    from joulebook.api import sweep as audit_all

    if folder is None:
        swallowed = f" --jsonl took {jsonl} as its file: put the folder before it." if jsonl and os.path.isdir(jsonl) else ""
        raise click.UsageError(f"Name the folder that holds the bench folders.{swallowed}")
    choice = analysis_choice(**options)
    rules = house_of(house, folder)
    if house is not None:
        choice["house"] = rules
    lines = audit_all(folder, workers=workers, **choice)
    tally: Counter[str] = Counter()
    refused: list[str] = []
    with _progress(len(bench_folders(folder))) as advance:
        lines = _counted(lines, tally, refused, advance)
        if jsonl is None:
            rows = list(lines)
        else:
            with open_output(jsonl) as stream:
                for line in lines:
                    stream.write(json_text(line).encode() + b"\n")
    if jsonl is None:
        from joulebook.render.terminal import show_section

        show_section(rows, decimal=rules.decimal)
    else:
        _say(tally, refused)


def _counted(
    lines: Iterable[dict[str, Any]], tally: Counter[str], refused: list[str], advance: Callable[[], None]
) -> Iterator[dict[str, Any]]:
    for line in lines:
        advance()
        if line["ok"]:
            tally[line["audit"]["verdict"]["mechanical"]] += 1
            tally["look"] += any(item["severity"] != "note" for item in line["audit"]["findings"])
        else:
            refused.append(line["folder"])
        yield line


def _say(tally: Counter[str], refused: list[str]) -> None:
    verdicts = ", ".join(f"{tally[word]} {word}" for word in ("conserved", "loss", "gain", "undecided") if tally[word])
    audited = sum(tally[word] for word in ("conserved", "loss", "gain", "undecided"))
    parts = [f"{audited + len(refused)} benches: {verdicts or 'none audited'}"]
    if tally["look"]:
        parts.append(f"{tally['look']} to look at first")
    if refused:
        parts.append(f"{len(refused)} not audited ({', '.join(refused[:5])}{', …' if len(refused) > 5 else ''})")
    click.echo("; ".join(parts) + ".", err=True)


@contextmanager
def _progress(total: int) -> Iterator[Callable[[], None]]:
    """Show a bar while something waits for us at a terminal; else yield a step that does nothing."""
    if not sys.stderr.isatty():
        yield lambda: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("auditing"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("auditing", total=total)
        yield lambda: bar.advance(task)
