"""`joulebook class`: what the whole section's benches say together."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from joulebook.cli.documents import write_document
from joulebook.cli.options import analysis_choice, analysis_options
from joulebook.cli.output import STDOUT, json_text, refuse_to_overwrite, write_output
from joulebook.cli.paths import ExistingPath

if TYPE_CHECKING:
    from joulebook.render.document import Document

__all__ = ["class_"]


@click.command("class")
@click.argument("folder", type=ExistingPath(file_okay=False))
@click.option("--title", metavar="TEXT", help="What the section is called; the folder's name unless given.")
@click.option("--leave-out", metavar="BENCH", multiple=True, help="A bench that shall not count: its title or folder; repeatable.")
@click.option(
    "--json", "json_", is_flag=False, flag_value=STDOUT, metavar="[FILE]", help="Write the picture as JSON; no name: print it."
)
@click.option("--html", metavar="FILE", help="Write the teacher's page: one file that needs nothing else.")
@click.option("--pdf", metavar="FILE", help="Write the printable report for the next lesson.")
@click.option("--projector", metavar="FILE", help="Write large pages with letters for benches, to show the class.")
@click.option("--letters", metavar="N", type=click.IntRange(0), help="Seed of the letters' order; a new order each time unless given.")
@click.option("--paper", type=click.Choice(["a4", "us-letter"]), help="The paper of --pdf; that of the house, else a4.")
@click.option("--house", metavar="FILE", type=ExistingPath(), help="House rules; else the nearest house.toml counts.")
@analysis_options
def class_(
    folder: str,
    title: str | None,
    leave_out: tuple[str, ...],
    json_: str | None,
    html: str | None,
    pdf: str | None,
    projector: str | None,
    letters: int | None,
    paper: str | None,
    house: str | None,
    **options: Any,
) -> None:
    """Show what the whole section's benches say together.

    FOLDER holds the bench folders, each with its bench.toml, as for `joulebook sweep`. Printed is what they say together, which benches
    lie apart, and which do not count and why. The pages add the pictures and questions for the next lesson.
    """
    from joulebook.api import house_of

    rules = house_of(house, folder)
    read = [*(str(path) for path in Path(folder).rglob("*") if path.is_file()), *([rules.source] if rules.source else [])]
    outputs = {"--json": json_, "--html": html, "--pdf": pdf, "--projector": projector}
    # A second run may write over the pages of the first, which lie beside the benches.
    refuse_to_overwrite(outputs, [path for path in read if Path(path).suffix.casefold() not in (".html", ".pdf", ".json")])

    import numpy as np

    from joulebook.api.class_pictures import class_benches
    from joulebook.classroom.class_picture import class_picture

    benches = class_benches(folder, leave_out=leave_out, house=rules, **analysis_choice(**options))
    name = title or Path(folder).resolve().name
    told = class_picture(benches, title=name).to_dict()
    if json_ is not None:
        write_output(json_, json_text(told, indent=2) + "\n")
    if STDOUT not in outputs.values():
        from joulebook.render.class_terminal import show_class

        show_class(told, decimal=rules.decimal)
    if html is not None or pdf is not None:
        from joulebook.render.class_document import class_document, class_names

        def document() -> Document:
            return class_document(told)

        write_document(document, html=html, pdf=pdf, paper=paper or rules.paper, decimal=rules.decimal, keep=class_names(told))
    if projector is not None:
        from joulebook.render.class_document import projector_document

        nameless = class_picture(benches, title=name, anonymous=np.random.default_rng(letters)).to_dict()
        write_document(lambda: projector_document(nameless), html=projector, decimal=rules.decimal, projector=True)
