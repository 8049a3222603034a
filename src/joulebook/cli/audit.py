"""`joulebook audit`: one bench, from its files to verdict, findings and reports."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from typing import Any, Literal

import click

from joulebook.cli.options import analysis_choice, analysis_options, collect_overrides, column_choice, named_values
from joulebook.cli.output import STDOUT, refuse_to_overwrite
from joulebook.cli.paths import ExistingPath
from joulebook.cli.reports import REPORT_KINDS, write_report

__all__ = ["audit"]

_SHORT = {"angle": "track.angle", "mass": "cart.mass"}


@click.command()
@click.argument("bench", required=False, type=ExistingPath())
@click.option(
    "--launch", "launches", multiple=True, metavar="FILE", type=click.Path(), help="A launch record; repeat it for more."
)
@click.option("--rest", metavar="FILE", type=click.Path(), help="The rest record: the cart at the stop, plunger out.")
@click.option("--angle", metavar="TEXT", help="The track's angle, such as '9.8 deg ± 0.25 deg'.")
@click.option("--mass", metavar="TEXT", help="The cart's mass, such as '0.2513 kg ± 0.0005 kg'.")
@click.option(
    "--set", "pairs", multiple=True, metavar="NAME=VALUE", help="Any other input or setting, such as sensor.placed=top."
)
@click.option("--title", metavar="TEXT", help="What the reports call this bench.")
@click.option("--time-column", metavar="NAME", help="The records' time column: its heading, or its number from 1.")
@click.option("--position-column", metavar="NAME", help="The records' distance column: its heading, or its number from 1.")
@click.option("--unit", metavar="UNIT", help="The unit of the records' distances, such as cm.")
@click.option("--run", metavar="NAME", help="Which run of a launch file that holds several: its name, or its number from 1.")
@click.option("--release", multiple=True, metavar="[FILE=]SECONDS", help="Your own release time, which wins over what is found.")
@click.option("--apex", multiple=True, metavar="[FILE=]SECONDS", help="Your own time of the highest point.")
@click.option(
    "--phase", multiple=True, metavar="[FILE=]KIND:START:END", help="Your own edges of a phase, such as climb:1.13:1.68."
)
@click.option("--house", metavar="FILE", type=ExistingPath(), help="House rules; else the nearest house.toml counts.")
@analysis_options
@click.option("--all", "all_", is_flag=True, help="Print also motion, inputs, the whole budget, phases and each launch.")
@click.option(
    "--json", "json_", is_flag=False, flag_value=STDOUT, metavar="[FILE]", help="Write the audit as JSON; no name: print it."
)
@click.option("--html", metavar="FILE", help="Write the page: one file that needs nothing else.")
@click.option("--pdf", metavar="FILE", help="Write the printable report.")
@click.option("--paper", type=click.Choice(["a4", "us-letter"]), help="The paper of --pdf; a4 unless the house says otherwise.")
@click.option("--csv", metavar="FILE", help="Write the trace with flags and phases, a row for each sample.")
@click.option("--xlsx", metavar="FILE", help="Write a workbook whose ledger is made of live formulas.")
@click.option(
    "--working", is_flag=False, flag_value=STDOUT, metavar="[FILE]", help="Write the calculation line by line; no name: print it."
)
def audit(
    bench: str | None,
    launches: tuple[str, ...],
    rest: str | None,
    paper: Literal["a4", "us-letter"] | None,
    house: str | None,
    all_: bool,
    **options: Any,
) -> None:
    """Audit one bench: its energy ledger, verdict and findings.

    BENCH is a bench file, or the folder that holds bench.toml. Without one, give the records and what was measured: --launch,
    --angle and --mass at least. A value may carry its uncertainty: '9.8 deg ± 0.25 deg' is a pair of limits, '9.80(12) deg' a
    standard uncertainty, '9.8 deg ± 0.5 deg (k=2)' an expanded one.

    Results are printed, and written where the options say; a file is written whole or not at all, and never over a record or
    a bench file. Whatever the verdict and the findings, the exit code is 0.
    """
    outputs = {kind: options.pop("json_" if kind == "json" else kind) for kind in REPORT_KINDS}
    values = named_values(options.pop("pairs"))
    for name, full in _SHORT.items():
        text = options.pop(name)
        if text is not None and {name, full} & set(values):
            raise click.UsageError(f"--{name} and --set give {full} twice. Keep one.")
        if text is not None:
            values[full] = text
    overrides = collect_overrides(options.pop("release"), options.pop("apex"), options.pop("phase"))
    reading = {name: options.pop(name) for name in ("time_column", "position_column", "unit", "run")}
    title = options.pop("title")
    choice = analysis_choice(**options)
    _check_source(bench, launches, rest, outputs)
    read = [bench, os.path.join(bench, "bench.toml")] if bench is not None else [*launches, *([rest] if rest else [])]
    _check_outputs(outputs, read)

    from joulebook.api import audit as audit_bench
    from joulebook.api import bench_of, house_of

    rules = house_of(house, bench)
    if rules.source:
        _check_outputs(outputs, [rules.source])
    subject = bench_of(
        bench,
        launch=launches,
        rest=rest,
        title=title,
        values=values,
        overrides=overrides,
        reading=column_choice(**reading),
        house=rules,
    )
    _check_outputs(outputs, [], [record.content for record in (*subject.launches, subject.rest) if record and record.content])
    result = audit_bench(subject, **choice)
    if STDOUT not in outputs.values():
        from joulebook.render.terminal import show

        show(result, verbose=all_, decimal=rules.decimal)
    for kind, path in outputs.items():
        if path is not None:
            write_report(kind, result, path, paper=paper or rules.paper, decimal=rules.decimal)
            if path != STDOUT:
                click.echo(f"{kind}: {path}", err=True)


def _check_source(bench: str | None, launches: tuple[str, ...], rest: str | None, outputs: Mapping[str, str | None]) -> None:
    if bench is not None and (launches or rest):
        raise click.UsageError("A bench file names its own records. Leave out BENCH, or --launch and --rest.")
    if bench is None and not launches:
        for kind in ("json", "working"):
            path = outputs[kind]
            if path is not None and path != STDOUT and os.path.exists(path):
                raise click.UsageError(f"--{kind} took {path} as its file. Put the bench first: joulebook audit {path} --{kind}")
        raise click.UsageError("Nothing to audit. Name a bench file or folder, or give --launch, --angle and --mass.")


def _check_outputs(outputs: Mapping[str, str | None], read: Sequence[str], contents: Sequence[bytes] = ()) -> None:
    refuse_to_overwrite({f"--{kind}": path for kind, path in outputs.items()}, read, contents)
