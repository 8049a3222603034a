"""A document in parts: paragraphs, tables, pictures and lines to write on, as one HTML page or as a tagged PDF.

The kit check and the diagnosis pack are composed of these; the two templates lay them out.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, TypeAlias

from joulebook.render.contents import Table, bind_units
from joulebook.render.decimal_sign import with_decimal, with_decimal_svg, with_decimals
from joulebook.render.page import page_style, style_hash
from joulebook.render.paper import typeset
from joulebook.render.picture import Picture

if TYPE_CHECKING:
    from jinja2 import Template

__all__ = [
    "Block",
    "Document",
    "Drawing",
    "Grid",
    "Items",
    "Labelled",
    "Lines",
    "Notes",
    "Part",
    "Text",
    "write_document_page",
    "write_document_paper",
]


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph."""

    text: str
    kind: str = field(default="text", init=False)


@dataclass(frozen=True, slots=True)
class Labelled:
    """Paragraphs that each begin with a few words in bold. pairs: (label, text)."""

    pairs: tuple[tuple[str, str], ...]
    kind: str = field(default="labelled", init=False)


@dataclass(frozen=True, slots=True)
class Items:
    """A list of short texts."""

    texts: tuple[str, ...]
    kind: str = field(default="items", init=False)


@dataclass(frozen=True, slots=True)
class Notes:
    """Footnotes: small print, each with its mark."""

    texts: tuple[str, ...]
    kind: str = field(default="notes", init=False)


@dataclass(frozen=True, slots=True)
class Grid:
    """A table. widths: share of the paper's width that each column takes, 0 for as wide as it needs; empty for all 0."""

    table: Table
    widths: tuple[float, ...] = ()
    kind: str = field(default="grid", init=False)


@dataclass(frozen=True, slots=True)
class Drawing:
    """A picture with its sentence and its table. told: the sentence stands below it (else it is for screen readers only). width:
    of the text, on paper."""

    picture: Picture
    told: bool = True
    width: float = 0.84
    kind: str = field(default="drawing", init=False)


@dataclass(frozen=True, slots=True)
class Lines:
    """A question with room for an answer. count: lines to write on."""

    label: str
    count: int
    kind: str = field(default="lines", init=False)


Block: TypeAlias = Text | Labelled | Items | Notes | Grid | Drawing | Lines


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a document. new_page: it begins a sheet of its own on paper. mark: a word before the heading, "" for none.

    whole: it is kept on one sheet where it fits there.
    """

    heading: str
    blocks: tuple[Block, ...]
    new_page: bool = False
    mark: str = ""
    whole: bool = False


@dataclass(frozen=True, slots=True)
class Document:
    """A document. subtitle: what kind of document it is, above the title. lead: the sentence that says it all, "" for none."""

    title: str
    subtitle: str
    lead: str
    parts: tuple[Part, ...]


def write_document_page(
    document: Document, *, decimal: str = ".", keep: tuple[str, ...] = (), projector: bool = False
) -> str:
    """Return a document as one HTML file that loads nothing.

    decimal: the decimal sign, "." or ",". keep: names in it whose points are left (titles, files). projector: large letters,
    each part a screen of its own.
    """
    style = page_style() + _MORE_STYLE + (_PROJECTOR_STYLE if projector else "")
    return _template(decimal, keep).render(it=document, style=style, style_hash=style_hash(style))


def write_document_paper(document: Document, *, paper: str = "a4", decimal: str = ".", keep: tuple[str, ...] = ()) -> bytes:
    """Return a document as a tagged PDF; the same document gives the same bytes. decimal, keep: as for the page.

    Raises OutputError for another paper than PAPERS, and when the PDF cannot be set.
    """
    return typeset("document.typ", with_decimals(asdict(document), decimal, keep=keep), paper=paper)


# Lines to write on are for paper; on a screen they only say that there is room.
_MORE_STYLE = """
.lead{font-size:1.25rem;line-height:1.4;border-left:.4rem solid var(--ink);padding-left:1rem}
.ruled{border-bottom:1px solid var(--rule);height:1.9rem}
.lines p{margin:0}
.lines{margin:0 0 1rem;break-inside:avoid}
.notes{font-size:.85rem;color:var(--muted)}
.notes p{margin:0 0 .35rem}
.mark{border:1px solid currentColor;padding:0 .4rem;margin-right:.5rem;font-size:.85em}
@media print{.sheet{break-before:page}.ruled{height:8mm}}
"""

# A part a screen, at 1280 × 720 and up; the picture takes what its questions leave of the height.
_PROJECTOR_STYLE = """
@media screen and (min-width:60rem){
html{font-size:1.5vw}
body{max-width:none;padding:0 4vw}
main section{min-height:98vh;border-top:0}
h1{margin:.2rem 0}
h2{margin:.3rem 0}
.wide svg{width:auto;max-width:100%;max-height:62vh;margin:0 auto}
figure{margin:0}
figcaption{position:absolute;left:-999rem}
details{font-size:.7rem}
li{margin:.2rem 0}
}
"""


@lru_cache(maxsize=8)
def _template(decimal: str, keep: tuple[str, ...]) -> Template:
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    def bound(value: object) -> object:
        # Markup, which is a str too, goes through untouched.
        return bind_units(with_decimal(value, decimal, keep=keep)) if type(value) is str else value

    # Everything is escaped; only our own drawings go in as they are.
    environment = Environment(
        loader=PackageLoader("joulebook.render"), autoescape=True, undefined=StrictUndefined, finalize=bound
    )
    environment.filters["svg"] = lambda svg: Markup(with_decimal_svg(svg, decimal, keep=keep))
    return environment.get_template("document.html.j2")
