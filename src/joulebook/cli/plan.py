"""`joulebook plan`: the week before, from the kit to a set-up that can show something."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import TYPE_CHECKING, Literal

import click

from joulebook.cli.options import named_values, share
from joulebook.cli.output import STDOUT, json_text, refuse_to_overwrite, write_output
from joulebook.cli.paths import ExistingPath
from joulebook.errors import OutputError

if TYPE_CHECKING:
    from joulebook.experiments.ramp_plan import Plan

__all__ = ["plan"]


@click.command()
@click.argument("kit", required=False, type=ExistingPath())
@click.option(
    "--set",
    "pairs",
    multiple=True,
    metavar="NAME=VALUE",
    help="An entry of the kit, such as track.length='1.80 m'; a list is written with ';': launch.speeds='0.7 m/s; 0.9 m/s'.",
)
@click.option("--title", metavar="TEXT", help="What the reports call this kit.")
@click.option("--house", metavar="FILE", type=ExistingPath(), help="House rules: g, tolerance, lesson, decimal comma.")
@click.option(
    "--tolerance",
    type=share,
    metavar="SHARE",
    help="Uncertainty up to which 'no difference seen' may be called conserved, such as 5%.",
)
@click.option("--check", type=click.IntRange(2), metavar="N", help="Simulate and audit N benches at the recommended set-up.")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="Seed of those benches.")
@click.option("--all", "all_", is_flag=True, help="Print also the predictions, the budget and the kit.")
@click.option(
    "--benches",
    metavar="FOLDER",
    type=click.Path(file_okay=False),
    help="Write a bench file for each bench, each in its own folder.",
)
@click.option(
    "--json", "json_", is_flag=False, flag_value=STDOUT, metavar="[FILE]", help="Write the plan as JSON; no name: print it."
)
@click.option("--html", metavar="FILE", help="Write the page: one file that needs nothing else.")
@click.option("--pdf", metavar="FILE", help="Write the printable plan.")
@click.option("--paper", type=click.Choice(["a4", "us-letter"]), help="The paper of --pdf; that of the house, else a4.")
def plan(
    kit: str | None, pairs: tuple[str, ...], title: str | None, house: str | None, tolerance: float | None, check: int | None,
    seed: int, all_: bool, benches: str | None, json_: str | None, html: str | None, pdf: str | None,
    paper: Literal["a4", "us-letter"] | None,
) -> None:  # fmt: skip
    """Choose slope, launch, rate and angle method before the class comes in.

    KIT is a kit file, or the folder that holds kit.toml; docs/planning.md lists its entries. What is left out has a documented
    default, and so has the whole kit. Every combination is predicted through the audit's own uncertainty code; the plan
    recommends
    one, says why and what to avoid, and gives each bench a set-up of its own.
    """
    outputs = {"json": json_, "html": html, "pdf": pdf}
    read = [os.path.join(kit, "kit.toml") if os.path.isdir(kit) else kit] if kit else []
    refuse_to_overwrite({f"--{kind}": path for kind, path in outputs.items()}, [*read, *([house] if house else [])])

    from joulebook.api.plans import plan as make
    from joulebook.api.plans import write_benches
    from joulebook.engine.house import DEFAULT_HOUSE
    from joulebook.readers.house_file import read_house

    rules = read_house(house) if house else DEFAULT_HOUSE
    values = {name: _several(text) for name, text in named_values(pairs).items()}
    found = make(
        kit, title=title, values=values, house=rules if house else None, tolerance=tolerance, check=check or 0, seed=seed
    )
    if benches is not None:
        written = write_benches(found, benches)
    _write(outputs, found, paper or rules.paper, rules.decimal)
    if STDOUT in outputs.values():
        return
    from joulebook.render.plan_terminal import show_plan

    show_plan(found, verbose=all_, decimal=rules.decimal)
    if benches is not None:
        told = "Bench files, fit for students; mass and slope in them are planned until they are measured:"
        click.echo("\n".join(["", told, *written]))


def _several(text: str) -> object:
    """Return a list where a text has semicolons; counts are numbers."""
    parts = [part.strip() for part in text.split(";") if part.strip()]
    return parts if len(parts) > 1 else text


def _write(outputs: dict[str, str | None], found: Plan, paper: str, decimal: str) -> None:
    for kind, path in outputs.items():
        if path is None:
            continue
        try:
            content = _KINDS[kind](found, paper, decimal)
        except ModuleNotFoundError as error:
            if (error.name or "joulebook").startswith("joulebook"):
                raise
            raise OutputError(
                f"--{kind} needs the library {error.name}, which is not installed.",
                remedy="Install joulebook with its reports: pip install 'joulebook[reports]'.",
            ) from error
        write_output(path, content)


def _json(found: Plan, paper: str, decimal: str) -> str | bytes:
    return json_text(found.to_dict(), indent=2) + "\n"


def _html(found: Plan, paper: str, decimal: str) -> str | bytes:
    from joulebook.render.plan_document import write_plan_page

    return write_plan_page(found, decimal=decimal)


def _pdf(found: Plan, paper: str, decimal: str) -> str | bytes:
    from joulebook.render.plan_document import write_plan_paper

    return write_plan_paper(found, paper=paper, decimal=decimal)


_KINDS: dict[str, Callable[[Plan, str, str], str | bytes]] = {"json": _json, "html": _html, "pdf": _pdf}
