"""Printed sheets laid out: one HTML page that loads nothing, and a tagged PDF (PDF/UA-1, ISO 14289-1) set by Typst.

The face is Fira Sans: an l with a tail, a 1 with a flag, Greek letters of its own, and a plain zero (one with a stroke reads as
crossed out, or as an empty set in a sum). It comes with the package `fontpkg-fira-sans` (SIL Open Font License 1.1), other signs
with Typst.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from functools import cache
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from joulebook.errors import OutputError
from joulebook.render.contents import bind_units
from joulebook.render.decimal_sign import with_decimal, with_decimal_svg
from joulebook.render.page import style_hash
from joulebook.render.paper import PAPERS, typeset
from joulebook.render.sheet_blocks import Part

if TYPE_CHECKING:
    from jinja2 import Template
    from typst import Fonts

__all__ = ["SHEET_FONT", "PrintedSheet", "write_sheet_page", "write_sheet_paper"]

SHEET_FONT = "Fira Sans"

_FONT_PACKAGE = "fontpkg_fira_sans"
# What a page size is called in a style sheet (CSS Paged Media Level 3, 7.1).
_CSS_PAPERS = {"a4": "A4", "us-letter": "letter"}


@dataclass(frozen=True, slots=True)
class PrintedSheet:
    """Something to print: handouts of one kind, with the paper that they are set on.

    kind: "card", "worksheet", "run", "answers" or "hints". title: of the whole document. house_title: at the head of each part.
    decimal: the decimal sign. paper: "a4" or "us-letter". large_print: 18 point letters instead of 12.
    """

    kind: str
    title: str
    parts: tuple[Part, ...]
    house_title: str = ""
    decimal: str = "."
    paper: Literal["a4", "us-letter"] = "a4"
    large_print: bool = False

    def to_html(self) -> str:
        """Return it as one HTML file that loads nothing and can be printed."""
        return write_sheet_page(self)

    def to_pdf(self) -> bytes:
        """Return it as a tagged PDF (PDF/UA-1). Raises OutputError when it cannot be set."""
        return write_sheet_paper(self)


def write_sheet_page(sheet: PrintedSheet) -> str:
    """Return a sheet as one HTML file without script that loads nothing; it prints on the sheet's paper.

    Raises OutputError for a paper that there is not.
    """
    _check(sheet)
    it = _settable(sheet, font="sans-serif")
    style = (files("joulebook.render") / "templates" / "sheet.css").read_text(encoding="utf-8")
    style = style.replace("var(--paper)", _CSS_PAPERS[sheet.paper]) + "".join(sorted(set(_sizes(it["parts"]))))
    return _template().render(it=it, style=style, style_hash=style_hash(style))


def write_sheet_paper(sheet: PrintedSheet) -> bytes:
    """Return a sheet as a tagged PDF; the same sheet gives the same bytes.

    Raises OutputError for a paper that there is not, and when the PDF cannot be set.
    """
    _check(sheet)
    return typeset("sheet_paper.typ", _settable(sheet, font=SHEET_FONT), paper=sheet.paper, fonts=_fonts())


def _sizes(value: Any) -> Iterator[str]:
    """Yield a rule for each height of a box, width of a drawing and of a column to write in.

    A page may hold no style of its own beside the block.
    """
    if isinstance(value, dict):
        if value.get("kind") == "box":
            yield f".r{value['height']}{{min-height:{1.5 * value['height']:g}em}}\n"
        if value.get("kind") == "drawing":
            yield f".s{value['share'] * 100:.0f}{{max-width:{value['share'] * 100:.0f}%}}\n"
        if value.get("kind") == "tabled" and value["tall"]:
            yield from (f".w{share}{{width:{share}%}}\n" for share in _shares(value["widths"]))
        value = list(value.values())
    if isinstance(value, list):
        for item in value:
            yield from _sizes(item)


def _shares(widths: list[float]) -> list[int]:
    """Return the widths of a table's columns in percent."""
    return [round(100.0 * width / sum(widths)) for width in widths]


def _check(sheet: PrintedSheet) -> None:
    if sheet.paper not in PAPERS:
        raise OutputError(f"There is no paper size {sheet.paper!r}.", remedy=f"Choose one of {', '.join(PAPERS)}.")


@cache
def _fonts() -> Fonts:
    import typst

    found = find_spec(_FONT_PACKAGE)
    if found is None or found.origin is None:
        raise ModuleNotFoundError(f"No module named {_FONT_PACKAGE!r}", name=_FONT_PACKAGE.replace("_", "-"))
    return typst.Fonts(include_system_fonts=False, font_paths=[str(Path(found.origin).parent / "files")])


@cache
def _template() -> Template:
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    # Everything is escaped; only the drawings, made from numbers and escaped text, go in as they are.
    environment = Environment(loader=PackageLoader("joulebook.render"), autoescape=True, undefined=StrictUndefined)
    environment.filters["svg"] = Markup
    environment.filters["shares"] = _shares
    return environment.get_template("sheet_page.html.j2")


def _settable(sheet: PrintedSheet, *, font: str) -> dict[str, Any]:
    """Return a sheet as plain data: the house's decimal sign, units bound to their numbers, ids that occur once."""
    numbers = itertools.count(1)
    return {
        "title": sheet.title,
        "house_title": sheet.house_title,
        "paper": sheet.paper,
        "large_print": sheet.large_print,
        "parts": [_part(part, sheet.decimal, font, numbers) for part in sheet.parts],
    }


def _part(part: Part, decimal: str, font: str, numbers: Iterator[int]) -> dict[str, Any]:
    keep = (part.title, part.kicker, *part.keep)

    def settable(value: Any) -> Any:
        if isinstance(value, Mapping):
            return {key: drawn(item) if key == "svg" else settable(item) for key, item in value.items() if key != "keep"}
        if isinstance(value, (list, tuple)):
            return [settable(item) for item in value]
        return bind_units(with_decimal(value, decimal, keep=keep)) if isinstance(value, str) else value

    def drawn(svg: str) -> str:
        named = svg.replace("-sheet-", f"-sheet{next(numbers)}-").replace('font-family="sans-serif"', f'font-family="{font}"')
        return with_decimal_svg(named, decimal, keep=keep)

    return {**settable(asdict(part)), "title": part.title, "kicker": part.kicker}
