"""Documents in parts: every block on the page and in the paper, nothing read as markup, tagged for screen readers."""

from __future__ import annotations

import io
import re

import pikepdf
import pytest

from joulebook.errors import OutputError
from joulebook.render.contents import Table
from joulebook.render.document import (
    Block,
    Document,
    Drawing,
    Grid,
    Items,
    Labelled,
    Lines,
    Part,
    Text,
    write_document_page,
    write_document_paper,
)
from joulebook.render.picture import Picture

HOSTILE = "<script>alert(1)</script> #pagebreak() *bold* $x$ [a]"
SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10" width="10" height="10"><path d="M0,0L9,9"/></svg>'
PICTURE = Picture("p", "A line", "It rises from left to right.", SVG, SVG, ("x", "y"), (("0", "0"), ("9", "9")))
BLOCKS: tuple[Block, ...] = (
    Text(HOSTILE),
    Labelled((("What to do", "Wait."),)),
    Items(("one thing", "another thing")),
    Grid(Table("Some numbers", ("Bench", "Value"), (("Bench 1", "2.5 mm"),), (1,)), (1, 2)),
    Drawing(PICTURE),
    Lines("What do you see?", 3),
)
DOCUMENT = Document(
    "A title",
    "A kind of document",
    "It says it all.",
    (Part("First", BLOCKS, mark="Service"), Part("Second", (Text("End."),), True)),
)


@pytest.fixture(scope="module")
def page() -> str:
    return write_document_page(DOCUMENT)


@pytest.fixture(scope="module")
def paper() -> bytes:
    return write_document_paper(DOCUMENT)


def test_every_block_is_on_the_page(page: str) -> None:
    for text in (
        "It says it all.",
        "<strong>What to do:</strong> Wait.",
        "<li>another thing</li>",
        "2.5\u00a0mm",
        "It rises from left",
        "What do you see?",
    ):
        assert text in page
    assert page.count('class="ruled"') == 3
    assert SVG in page
    assert '<span class="mark">Service</span>' in page


def test_nothing_is_read_as_markup(page: str) -> None:
    assert "<script>" not in page
    assert "&lt;script&gt;" in page
    assert not re.search(r'(src|href)="(?!#)', page)
    assert "default-src 'none'" in page


def test_headings_and_names(page: str) -> None:
    assert re.findall(r"<h(\d)", page) == ["1", "2", "2"]
    identities = re.findall(r'id="([^"]+)"', page)
    assert len(identities) == len(set(identities))


def test_the_paper_is_tagged_and_the_same_each_time(paper: bytes) -> None:
    assert write_document_paper(DOCUMENT) == paper
    with pikepdf.open(io.BytesIO(paper)) as pdf:
        assert pdf.Root.MarkInfo.Marked
        assert str(pdf.Root.Lang).startswith("en")
        assert len(pdf.pages) == 2, "the second part begins a sheet of its own"
        with pdf.open_metadata() as metadata:
            assert str(metadata["pdfuaid:part"]) == "1"
        assert "It rises from left to right." in alternatives(pdf)


def alternatives(pdf: pikepdf.Pdf) -> list[str]:
    found = []
    queue = [pdf.Root.StructTreeRoot]
    while queue:
        element = queue.pop()
        if isinstance(element, pikepdf.Array):
            queue += list(element)
        elif isinstance(element, pikepdf.Dictionary):
            if "/Alt" in element:
                found.append(str(element.Alt))
            if "/K" in element:
                queue.append(element.K)
    return found


@pytest.mark.parametrize(("paper", "width"), [("a4", 595), ("us-letter", 612)])
def test_both_papers(paper: str, width: int) -> None:
    with pikepdf.open(io.BytesIO(write_document_paper(DOCUMENT, paper=paper))) as pdf:
        assert float(pdf.pages[0].mediabox[2]) == pytest.approx(width, abs=1)


def test_an_unknown_paper() -> None:
    with pytest.raises(OutputError, match="no paper size 'a5'"):
        write_document_paper(DOCUMENT, paper="a5")
