"""`joulebook sweep`: every bench of a folder, a package or a table, a line each."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from joulebook.cli.options import analysis_choice, analysis_options
from joulebook.cli.output import STDOUT, json_text, open_output, refuse_to_overwrite, write_output
from joulebook.cli.paths import ExistingPath
from joulebook.cli.sweep_progress import show_progress
from joulebook.errors import OutputError

if TYPE_CHECKING:
    from joulebook.api.sweeping.inputs import SweepInput
    from joulebook.api.sweeping.summary import SweepSummary

__all__ = ["sweep"]


@click.command()
@click.argument("folder", required=False, type=ExistingPath())
@click.option(
    "--jsonl",
    is_flag=False,
    flag_value=STDOUT,
    metavar="[FILE]",
    help="Write a line of JSON for each bench; no name: print them.",
)
@click.option("--parquet", metavar="FILE", help="Write a flat row for each bench as a Parquet table.")
@click.option("--summary", metavar="FILE", help="Write how many benches had which verdict and finding, as JSON.")
@click.option("--resume", is_flag=True, help="Go on with a sweep into the same files that was stopped.")
@click.option("--workers", type=click.IntRange(1), metavar="N", help="Processes to use; the default is one per core.")
@click.option("--scheduler", metavar="ADDRESS", help="Let the workers of a Dask scheduler do it, such as tcp://host:8786.")
@click.option("--records-to", metavar="FILE", help="Audit nothing: write the records of all benches as a Parquet table.")
@click.option("--house", metavar="FILE", type=ExistingPath(), help="House rules; else those nearest to each bench count.")
@analysis_options
def sweep(
    folder: str | None,
    jsonl: str | None,
    parquet: str | None,
    summary: str | None,
    resume: bool,
    workers: int | None,
    scheduler: str | None,
    records_to: str | None,
    house: str | None,
    **options: Any,
) -> None:
    """Audit every bench of a folder, a package or a table of records.

    FOLDER holds bench folders; a bench folder is one that holds a bench.toml. It may be a section package (.zip) or a table of
    records (.parquet) as well, or a folder of such files. Benches come in the order of their names, and one that cannot be audited
    never stops the rest: it has its line, with what is wrong and what to do. The lines depend neither on who audits nor on how often
    a sweep was stopped and resumed. docs/sweep.md describes all files.
    """
    from joulebook.api import house_of
    from joulebook.api.sweeping.inputs import open_input

    if folder is None:
        swallowed = f" --jsonl took {jsonl} as its file: put the folder before it." if jsonl and os.path.isdir(jsonl) else ""
        raise click.UsageError(f"Name the folder that holds the bench folders.{swallowed}")
    choice = analysis_choice(**options)
    outputs = {"--jsonl": jsonl, "--parquet": parquet, "--summary": summary, "--records-to": records_to}
    _check(outputs, resume=resume, workers=workers, scheduler=scheduler, choice=choice)
    rules = house_of(house, folder if os.path.isdir(folder) else None)
    if house is not None:
        choice["house"] = rules
    benches = open_input(folder)
    refuse_to_overwrite(outputs, benches.files)
    if summary not in (None, STDOUT) and not os.path.isdir(os.path.dirname(os.path.realpath(summary))):
        raise OutputError("Its folder is not there.", source=summary, remedy="Make the folder first, or name another place.")
    if benches.left_alone:
        click.echo(f"Beside the bench folders {_listed(benches.left_alone)} left alone: name them to sweep them.", err=True)
    if records_to is not None:
        _write_records(benches, records_to)
        return
    choice |= {"workers": workers, "scheduler": scheduler}
    if parquet is not None or (jsonl is not None and _is_kept(jsonl)):
        found = _into_files(benches, jsonl, parquet, resume, choice)
    elif jsonl is not None:
        found = _streamed(benches, jsonl, choice)
    else:
        found = _shown(benches, choice, rules.decimal)
    if summary is not None:
        write_output(summary, json_text(found.to_dict(), indent=2) + "\n")
    if jsonl is not None or parquet is not None:
        click.echo("\n".join(found.sentences()), err=True)


def _check(
    outputs: Mapping[str, str | None], *, resume: bool, workers: int | None, scheduler: str | None, choice: Mapping[str, Any]
) -> None:
    """Stop before options that contradict each other. Raises click.UsageError."""
    jsonl, parquet, records = outputs["--jsonl"], outputs["--parquet"], outputs["--records-to"]
    if scheduler is not None and workers is not None:
        raise click.UsageError(
            "--workers are processes of this machine; a scheduler has its own. Leave out --workers or --scheduler."
        )
    if parquet == STDOUT or records == STDOUT:
        raise click.UsageError("A Parquet table cannot be printed. Name a file.")
    if parquet is not None and jsonl is not None and not _is_kept(jsonl):
        raise click.UsageError("With --parquet the lines go into a file. Name one behind --jsonl.")
    if resume and parquet is None and (jsonl is None or not _is_kept(jsonl)):
        raise click.UsageError("--resume goes on with files. Name the same ones as before behind --jsonl or --parquet.")
    others = [name for name, path in outputs.items() if path is not None and name != "--records-to"]
    others += ["--resume"] * resume + ["--scheduler"] * (scheduler is not None) + ["--workers"] * (workers is not None)
    if records is not None and (others or choice):
        what = others[0] if others else "an option of the analysis"
        raise click.UsageError(f"--records-to audits nothing, so that {what} has nothing to act on. Leave one of them out.")


def _is_kept(path: str) -> bool:
    """Return whether a sweep into this path can be gone on with: an ordinary file, no terminal, pipe or device."""
    return path != STDOUT and (os.path.isfile(path) or os.path.isdir(path) or not os.path.exists(path))


def _into_files(
    benches: SweepInput, jsonl: str | None, parquet: str | None, resume: bool, choice: Mapping[str, Any]
) -> SweepSummary:
    from joulebook.api.sweeping.files import write_sweep

    done = total = 0
    with show_progress() as tell:

        def count(now: int, kept: int, of: int) -> None:
            nonlocal done, total
            done, total = now, of
            tell(now, kept, of)

        with _how_to_go_on(lambda: (done, total)):
            return write_sweep(benches, jsonl=jsonl, parquet=parquet, resume=resume, progress=count, **choice)


@contextmanager
def _how_to_go_on(state: Any) -> Iterator[None]:
    """Say how to go on with a sweep that is stopped half-way."""
    try:
        yield
    except BaseException:
        done, total = state()
        if done:
            click.echo(
                f"Stopped after {done:,} of {total:,} benches, which are kept. Go on with the same command and --resume.",
                err=True,
            )
        raise


def _streamed(benches: SweepInput, path: str, choice: Mapping[str, Any]) -> SweepSummary:
    from joulebook.api import sweep as audit_all
    from joulebook.api.sweeping.rows import row_of
    from joulebook.api.sweeping.summary import SweepSummary
    from joulebook.api.sweeping.work import json_line

    found, total = SweepSummary(), len(benches.names)
    with show_progress() as tell, open_output(path) as stream:
        for line in audit_all(benches, **choice):
            stream.write(json_line(line) + b"\n")
            found.add(row_of(line))
            tell(found.benches, 0, total)
    return found


def _shown(benches: SweepInput, choice: Mapping[str, Any], decimal: str) -> SweepSummary:
    from joulebook.api import sweep as audit_all
    from joulebook.api.sweeping.rows import row_of
    from joulebook.api.sweeping.summary import SweepSummary
    from joulebook.render.terminal import show_section

    found, total = SweepSummary(), len(benches.names)
    rows = []
    with show_progress() as tell:
        for line in audit_all(benches, **choice):
            found.add(row_of(line))
            rows.append(_light(line))
            tell(found.benches, 0, total)
    show_section(rows, decimal=decimal)
    return found


def _light(line: dict[str, Any]) -> dict[str, Any]:
    """Return what the table shows of a line: an audit has tens of kilobytes, and there may be many."""
    if not line["ok"]:
        return line
    audit = line["audit"]
    findings = [{"code": finding["code"], "severity": finding["severity"]} for finding in audit["findings"]]
    quantities = {name: item for name, item in audit["quantities"].items() if name == "relative_difference"}
    title = {"title": audit["bench"]["title"]}
    return {**line, "audit": {"bench": title, "findings": findings, "quantities": quantities, "verdict": audit["verdict"]}}


def _write_records(benches: SweepInput, path: str) -> None:
    from joulebook.api.sweeping.records import write_records

    with show_progress() as tell:
        count = write_records(benches, path, progress=lambda done, total: tell(done, 0, total))
    click.echo(f"The records of {count:,} bench{'' if count == 1 else 'es'} are in {path}.", err=True)


def _listed(names: Any) -> str:
    shown = ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
    return f"{shown} {'is' if len(names) == 1 else 'are'}"
