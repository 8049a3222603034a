"""`joulebook rehearse`: bench folders as a class will hand them in, and packs to practise diagnosis on."""

from __future__ import annotations

import os
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from joulebook.cli.documents import write_document
from joulebook.cli.output import json_text, write_output
from joulebook.cli.paths import ExistingPath
from joulebook.errors import OutputError

if TYPE_CHECKING:
    from joulebook.planning.rehearse import Rehearsal
    from joulebook.render.document import Document

__all__ = ["rehearse"]


@click.command()
@click.option(
    "--out", required=True, metavar="FOLDER", type=click.Path(file_okay=False), help="Where the bench folders go; new or empty."
)
@click.option(
    "--answers",
    metavar="FOLDER",
    type=click.Path(file_okay=False),
    help="Where the answers go; beside --out, as FOLDER-answers, unless given.",
)
@click.option("--benches", type=click.IntRange(1, 200), metavar="N", help="How many benches: 6, or as many as --from has.")
@click.option(
    "--from",
    "source",
    metavar="PATH",
    type=ExistingPath(),
    help="A plan (JSON), a bench file or a folder of bench files, whose stated set-ups are kept.",
)
@click.option("--fault", metavar="CODE[,CODE]", multiple=True, help="Hide these faults, one bench each.")
@click.option("--faults", type=click.IntRange(0, 200), metavar="N", help="Hide so many faults, drawn at random.")
@click.option("--diagnosis", type=click.IntRange(1, 60), metavar="N", help="Write a diagnosis pack of N records instead.")
@click.option("--launches", type=click.IntRange(1, 20), metavar="N", help="Launches of each bench.")
@click.option("--dialect", default="mixed", show_default=True, help="How the files are written, or mixed.")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="The same seed writes the same files.")
@click.option("--pdf/--no-pdf", default=True, show_default=True, help="Write the sheets of a pack as PDF too, or leave that out.")
@click.option("--paper", type=click.Choice(["a4", "us-letter"]), help="The paper of the PDF; that of the house, else a4.")
@click.option(
    "--house",
    metavar="FILE",
    type=ExistingPath(),
    help="House rules, copied beside the benches; else the nearest house.toml of --from counts, or the one around --out.",
)
def rehearse(
    out: str,
    answers: str | None,
    benches: int | None,
    source: str | None,
    fault: tuple[str, ...],
    faults: int | None,
    diagnosis: int | None,
    launches: int | None,
    dialect: str,
    seed: int,
    pdf: bool,
    paper: str | None,
    house: str | None,
) -> None:
    """Write bench folders to rehearse with, sound or with hidden faults.

    The records are simulated, written as different loggers write them, and read back: every hidden fault is one that the audit
    finds. What is hidden where stands in a folder of its own, which students do not see. With --diagnosis the records are
    numbered and come with a sheet of questions and one of answers, to train colleagues.
    """  # fmt: skip
    if diagnosis is not None:
        given = {"--benches": benches, "--from": source, "--faults": faults, "--launches": launches}
        clash = [name for name, value in given.items() if value is not None]
        if clash:
            raise click.UsageError(f"--diagnosis draws its own records: leave out {' and '.join(clash)}.")
        if dialect != "mixed":
            raise click.UsageError("--diagnosis writes mixed dialects: leave out --dialect.")
    codes = [code.strip() for text in fault for code in text.split(",") if code.strip()]
    root, apart = Path(out), Path(answers if answers is not None else f"{os.path.normpath(out)}-answers")
    _check_apart(root, apart)

    from joulebook.api.rehearsals import rehearsal_house
    from joulebook.api.rehearsals import rehearse as write_benches

    rules = rehearsal_house(house, source=source, folder=root)
    size = paper or rules.paper
    if diagnosis is not None:
        _write_pack(root, apart, diagnosis, codes, seed, pdf=pdf, paper=size, decimal=rules.decimal)
        return

    rehearsal = write_benches(
        root, benches=benches, source=source, fault=codes, faults=faults or 0, seed=seed, dialect=dialect, launches=launches,
        house=house,
    )  # fmt: skip
    told = _write_answers(rehearsal, apart)

    def sheet() -> Document:
        from joulebook.experiments.ramp_codes import CODES
        from joulebook.render.diagnosis_document import rehearsal_sheet

        return rehearsal_sheet(told, {code.code: code.title for code in CODES})

    write_document(
        sheet, html=str(apart / "answers.html"), pdf=str(apart / "answers.pdf") if pdf else None, paper=size,
        decimal=rules.decimal, keep=_names(rehearsal),
    )  # fmt: skip
    count = len(rehearsal.benches)
    click.echo(
        f"{count} {'bench' if count == 1 else 'benches'} written to {root}; what is hidden where: {apart / 'answers.html'}"
    )


def _write_pack(
    root: Path, apart: Path, records: int, codes: list[str], seed: int, *, pdf: bool, paper: str, decimal: str
) -> None:
    from joulebook.api.rehearsals import diagnosis_pack
    from joulebook.render.diagnosis_document import answer_sheet, question_sheet

    pack = diagnosis_pack(root / "records", records=records, fault=codes, seed=seed)
    _write_answers(pack.rehearsal, apart)
    questions, solutions = root / "questions", apart / "answers"
    for make, path in ((question_sheet, questions), (answer_sheet, solutions)):
        write_document(
            partial(make, pack.items), html=f"{path}.html", pdf=f"{path}.pdf" if pdf else None, paper=paper, decimal=decimal,
            keep=_names(pack.rehearsal),
        )  # fmt: skip
    click.echo(f"{len(pack.items)} records written to {root / 'records'}; questions: {questions}.html; answers: {solutions}.html")


def _names(rehearsal: Rehearsal) -> tuple[str, ...]:
    """Return the names in a rehearsal whose points are no decimal signs."""
    names = [rehearsal.folder.name]
    for bench in rehearsal.benches:
        names += [bench.folder.name, bench.bench.title, *(record.file for record in bench.bench.launches)]
    return tuple(dict.fromkeys(name for name in names if name))


def _check_apart(root: Path, apart: Path) -> None:
    """Refuse answers that students would find inside the folder that they are given."""
    inside, outer = Path(os.path.realpath(apart)), Path(os.path.realpath(root))
    if inside == outer or outer in inside.parents:
        raise click.UsageError(f"--answers {apart} lies inside {root}, where students would find it. Name a folder outside.")
    if inside in outer.parents:
        raise click.UsageError(f"--answers {apart} holds {root}, so that whoever gets it gets the answers. Name another folder.")
    for name in ("answers.json", "answers.html", "answers.pdf"):
        if (apart / name).exists():
            raise OutputError(
                "There are answers of another rehearsal already.",
                source=str(apart / name),
                remedy="Name another folder with --answers.",
            )


def _write_answers(rehearsal: Rehearsal, apart: Path) -> dict[str, object]:
    told = rehearsal.to_dict()
    try:
        apart.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"The folder cannot be made: {error.strerror}.", source=str(apart), remedy="Name another with --answers."
        ) from None
    write_output(str(apart / "answers.json"), json_text(told, indent=2) + "\n")
    return told
