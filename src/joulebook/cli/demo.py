"""`joulebook demo`: an invented section of six benches, audited, with all its reports."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from joulebook.cli.output import json_text, write_output
from joulebook.cli.paths import ExistingPath
from joulebook.cli.reports import write_report
from joulebook.errors import JoulebookError, OutputError

if TYPE_CHECKING:
    from joulebook.engine.house import House
    from joulebook.engine.report import Audit
    from joulebook.render.sheets import PrintedSheet

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
    "--paper", type=click.Choice(["a4", "us-letter"]), help="The paper of reports and sheets; the house's unless given."
)
@click.option("--pdf/--no-pdf", default=True, show_default=True, help="Write reports, plan and sheets as PDF too.")
@click.option(
    "--house", metavar="FILE", type=ExistingPath(), help="House rules; else invented ones are written and used."
)
def demo(out: str, seed: int, paper: Literal["a4", "us-letter"] | None, pdf: bool, house: str | None) -> None:
    """Write an invented section of six benches and audit it.

    The records come from joulebook's own simulator, faults included, and the verdicts are printed. What a class may see stands
    in for-students: bench cards, worksheets and hint cards. What gives results away stands in for-the-teacher: run sheet, answer
    sheet, the teacher's hints, the plan of the week before, invented write-ups to mark, and each bench's page, PDF and JSON. Files
    of an earlier demo in the same folder are written anew.
    """
    from joulebook.api import SHEET_KINDS, audit, bench_folders, house_of
    from joulebook.api import sheet as compose
    from joulebook.planning.demo_section import write_demo
    from joulebook.render.terminal import show_section

    root = Path(out)
    benches = root / "benches"
    places = {"students": root / "for-students", "teacher": root / "for-the-teacher"}
    reports = places["teacher"] / "reports"
    try:
        for folder in (places["students"], reports):
            folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        what = f"The folder cannot be made: {error.strerror}."
        raise OutputError(what, source=out, remedy="Name another place with --out.") from None
    write_demo(benches, seed=seed)
    if house is None:
        house = str(benches / "house.toml")
        write_output(house, _HOUSE)
    rules = house_of(house)
    size = paper or rules.paper
    kinds = ("html", "pdf", "json") if pdf else ("html", "json")
    rows: list[Audit | tuple[str, JoulebookError]] = []
    written: list[str] = []
    for name in bench_folders(benches):
        try:
            result = audit(benches / name, house=rules)
        except JoulebookError as error:
            rows.append((name, error))
            continue
        rows.append(result)
        paths = [str(reports / f"{name}.{kind}") for kind in kinds]
        for kind, path in zip(kinds, paths, strict=True):
            write_report(kind, result, path, paper=size, decimal=rules.decimal)
        written.append("  ".join(paths))
    week_before = _write_plan(places["teacher"], rules, size, pdf=pdf)
    printed: dict[str, list[str]] = {reader: [] for reader in places}
    for kind in SHEET_KINDS:
        document = compose(kind, benches, house=rules, paper=size, audits=rows)
        for reader, folder in places.items():
            # Hint cards have parts for both; what the teacher alone may see never lies in the students' folder.
            parts = tuple(part for part in document.parts if part.reader == reader)
            if parts:
                printed[reader].append(_write_sheet(replace(document, parts=parts), folder / kind, pdf=pdf))
    show_section(rows, decimal=rules.decimal)
    lines = ["", f"The benches, with their bench files and records: {benches}", "Sheets for the class:", *printed["students"]]
    lines += ["Sheets for the teacher only:", *printed["teacher"], "Reports of the benches, for the teacher only:", *written]
    lines += [f"The plan of the week before, for the kit in {places['teacher'] / 'kit.toml'}:", week_before]
    lines += ["Write-ups of the class, to be marked:", _write_write_ups(places["teacher"], rows)]
    click.echo("\n".join(lines))


def _write_sheet(document: PrintedSheet, path: Path, *, pdf: bool) -> str:
    """Write a sheet as a page, and as a PDF where one is wanted, and return the paths."""
    page = path.with_suffix(".html")
    write_output(str(page), document.to_html())
    if not pdf:
        return str(page)
    write_output(str(path.with_suffix(".pdf")), document.to_pdf())
    return f"{page}  {path.with_suffix('.pdf')}"


def _write_write_ups(folder: Path, rows: Sequence[Audit | tuple[str, JoulebookError]]) -> str:
    """Write the invented write-ups of the benches and return the path."""
    from joulebook.api.demo_write_ups import demo_write_up_rows
    from joulebook.classroom.mark_table import to_csv

    audits = {number: row for number, row in enumerate(rows, 1) if not isinstance(row, tuple)}
    path = str(folder / "write-ups.csv")
    write_output(path, "\ufeff" + to_csv(demo_write_up_rows(audits)))
    return path


def _write_plan(folder: Path, rules: House, paper: str, *, pdf: bool) -> str:
    """Plan the section's lab from its kit, write kit and plan, and return the paths of the plan."""
    from joulebook.api import plan
    from joulebook.render.plan_document import write_plan_page, write_plan_paper

    kit = folder / "kit.toml"
    write_output(str(kit), _KIT)
    found = plan(kit, house=rules)
    contents: dict[str, str | bytes] = {"html": write_plan_page(found, decimal=rules.decimal)}
    if pdf:
        contents["pdf"] = write_plan_paper(found, paper=paper, decimal=rules.decimal)
    contents["json"] = json_text(found.to_dict(), indent=2) + "\n"
    paths = {kind: str(folder / f"plan.{kind}") for kind in contents}
    for kind, content in contents.items():
        write_output(paths[kind], content)
    return "  ".join(paths.values())


# What the demo's cupboard holds; planning/demo_section.py simulates benches of such a kit.
_KIT = """\
title = "Physics room, second period"

[track]
length = "1.60 m"
start = "0.10 m"

[cart]
mass = "0.500 kg ± 0.0005 kg"

[launch]
stiffness = "200 N/m"
strokes = ["3 cm", "4 cm", "5 cm", "6 cm"]

[sensor]
rates = ["20 Hz", "40 Hz"]
noise = "0.4 mm"
"""

# The invented house of the demo.
_HOUSE = """\
title = "Physics, second period"

[numbers]
uncertainty_digits = 1

[comparison]
method = "percent difference"
percent_of = "average"
tolerance = "5 %"

[lesson]
minutes = 45

[sheets]
local_rules = ["Long hair tied back, bags under the tables.", "Stop at once when the teacher raises a hand."]
"""
