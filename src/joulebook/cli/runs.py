"""`joulebook runs`: what is inside a record file, and how it was understood."""

from __future__ import annotations

import click

from joulebook.cli.paths import ExistingPath

__all__ = ["runs"]


@click.command()
@click.argument("file", type=ExistingPath(dir_okay=False))
@click.option("--time-column", metavar="NAME", help="The time column: its heading, or its number from 1.")
@click.option("--position-column", metavar="NAME", help="The distance column: its heading, or its number from 1.")
@click.option("--unit", metavar="UNIT", help="The unit of the distances, such as cm.")
def runs(file: str, time_column: str | None, position_column: str | None, unit: str | None) -> None:
    """List the runs and columns inside a record file.

    Each run has its number, its name and what was understood of it; `joulebook audit --run` takes the number or the name.
    """
    from joulebook.cli.options import column_choice
    from joulebook.errors import RecordError
    from joulebook.readers.records import list_runs, read_record

    found = list_runs(file)
    chosen = column_choice(time_column=time_column, position_column=position_column, unit=unit)
    for run in found:
        click.echo(f"{run.number}  {run.name or '(no name)'}: {run.samples} samples, columns {', '.join(run.columns)}")
        try:
            record = read_record(file, run=run.number, **chosen)
        except RecordError as error:
            click.echo(f"   cannot be read: {error.message} {error.remedy}".rstrip())
            continue
        click.echo(f"   {record.read_as}")
        for notice in record.notices:
            click.echo(f"   {notice}")
