"""From a document to the page and the paper that were asked for."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from joulebook.cli.output import write_output
from joulebook.errors import OutputError

if TYPE_CHECKING:
    from joulebook.render.document import Document

__all__ = ["write_document"]


def write_document(
    make: Callable[[], Document],
    *,
    html: str | None = None,
    pdf: str | None = None,
    paper: str = "a4",
    decimal: str = ".",
    keep: tuple[str, ...] = (),
    projector: bool = False,
) -> None:
    """Write a document as HTML and as PDF, each where a path is given ("-" is the terminal); it is made only when one is.

    decimal: the house's decimal sign. keep: names whose points are left as they are. projector: the page
    in large letters.
    Raises OutputError when it cannot be written or the libraries that it needs are not installed.
    """
    if html is None and pdf is None:
        return
    try:
        from joulebook.render.document import write_document_page, write_document_paper

        document = make()
        if html is not None:
            write_output(html, write_document_page(document, decimal=decimal, keep=keep, projector=projector))
        if pdf is not None:
            write_output(pdf, write_document_paper(document, paper=paper, decimal=decimal, keep=keep))
    except ModuleNotFoundError as error:
        if (error.name or "joulebook").startswith("joulebook"):
            raise
        raise OutputError(
            f"This needs the library {error.name}, which is not installed.",
            remedy="Install joulebook with its reports: pip install 'joulebook[reports]'.",
        ) from error
