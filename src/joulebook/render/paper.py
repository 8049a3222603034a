"""An audit on paper: a tagged PDF (PDF/UA-1, ISO 14289-1) set by Typst with the fonts that it brings."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal

from joulebook.engine.report import Audit
from joulebook.errors import OutputError
from joulebook.render.contents import bind_units, compose
from joulebook.render.decimal_sign import kept_names, with_decimals
from joulebook.render.pictures import Pictures

if TYPE_CHECKING:
    from typst import Fonts

__all__ = ["FONT", "PAPERS", "typeset", "write_paper"]

PAPERS = ("a4", "us-letter")
# One face for text and pictures, of those that come with Typst: a paper must look the same on every machine.
FONT = "Libertinus Serif"


def write_paper(
    audit: Audit, *, paper: Literal["a4", "us-letter"] = "a4", pictures: Pictures | None = None, decimal: str = "."
) -> bytes:
    """Return an audit as a tagged PDF; the same audit gives the same bytes.

    paper: the size of the sheet. pictures: drawn already (by `draw_pictures`), or None to draw them.
    decimal: the decimal sign, "." or ",".
    Raises OutputError for another size, and when the PDF cannot be set.
    """
    contents = with_decimals(asdict(compose(audit, pictures=pictures)), decimal, keep=kept_names(audit))
    return typeset("paper.typ", contents, paper=paper)


def typeset(template: str, contents: Mapping[str, Any], *, paper: str = "a4", fonts: Fonts | None = None, **inputs: str) -> bytes:
    """Return contents set by one of our Typst templates as a tagged PDF; the same contents give the same bytes.

    template: its file name. contents: plain data, which the template reads as JSON. fonts: those to set it
        with; None for those of Typst alone. inputs: further texts for the template.
    Raises OutputError for another paper than PAPERS, and when the PDF cannot be set.
    """
    if paper not in PAPERS:
        raise OutputError(f"There is no paper size {paper!r}.", remedy=f"Choose one of {', '.join(PAPERS)}.")
    import typst

    source = (files("joulebook.render") / "templates" / template).read_bytes()
    told = json.dumps(_settable(dict(contents)), ensure_ascii=False)
    try:
        # A fixed time stamp, so that equal audits give equal files.
        pdf = typst.compile(
            source,
            font_paths=fonts or _fonts(),
            sys_inputs={"contents": told, "paper": paper, **inputs},
            pdf_standards=["ua-1"],
            timestamp=0,
        )
    except typst.TypstError as error:
        raise OutputError(f"The PDF could not be set: {error}", remedy="Write the HTML page instead, and report this.") from error
    assert isinstance(pdf, bytes)
    return pdf


@cache
def _fonts() -> Fonts:
    import typst

    return typst.Fonts(include_system_fonts=False)


def _settable(value: Any) -> Any:
    """Return the contents as plain data for Typst: units bound to their numbers, the pictures in the paper's own face."""
    if isinstance(value, dict):
        return {key: _drawn(item) if key == "svg" else _settable(item) for key, item in value.items() if key != "narrow"}
    if isinstance(value, (list, tuple)):
        return [_settable(item) for item in value]
    return bind_units(value) if isinstance(value, str) else value


def _drawn(svg: str) -> str:
    return svg.replace('font-family="sans-serif"', f'font-family="{FONT}"')
