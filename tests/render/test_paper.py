"""The PDF: tagged for screen readers (PDF/UA-1), the same bytes each time, and no words read as Typst."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import replace

import pikepdf
import pytest
from tests.render.sample_audit import sample_audit, sample_stopped

from joulebook.engine.report import Audit
from joulebook.errors import OutputError
from joulebook.render.contents import bind_units, compose
from joulebook.render.paper import write_paper
from joulebook.render.pictures import draw_pictures


@pytest.fixture(scope="module")
def audit() -> Audit:
    return sample_audit()


@pytest.fixture(scope="module")
def content(audit: Audit) -> bytes:
    return write_paper(audit)


@pytest.fixture
def pdf(content: bytes) -> Iterator[pikepdf.Pdf]:
    with pikepdf.open(io.BytesIO(content)) as opened:
        yield opened


def tags(pdf: pikepdf.Pdf) -> list[tuple[str, str]]:
    """Return (structure type, alternative text) of every element of the structure tree, in reading order."""
    found: list[tuple[str, str]] = []

    def walk(node: pikepdf.Object) -> None:
        if isinstance(node, pikepdf.Array):
            for child in node:
                walk(child)
        elif isinstance(node, pikepdf.Dictionary):
            if "/S" in node:
                found.append((str(node.S)[1:], str(node.get("/Alt", ""))))
            if "/K" in node and "/MCID" not in node:
                walk(node.K)

    walk(pdf.Root.StructTreeRoot.K)
    return found


def test_it_is_tagged_and_says_so(pdf: pikepdf.Pdf) -> None:
    # ISO 14289-1 (PDF/UA-1): 5 (identification), 7.1 (tagged, title shown), 7.2 (language).
    assert bool(pdf.Root.MarkInfo.Marked) is True
    assert str(pdf.Root.Lang) == "en"
    assert bool(pdf.Root.ViewerPreferences.DisplayDocTitle) is True
    with pdf.open_metadata() as metadata:
        assert metadata["pdfuaid:part"] == "1"
        assert metadata["dc:title"] == "Bench 3, the blue trolley – energy audit"


def test_every_picture_has_its_sentence_as_alternative_text(pdf: pikepdf.Pdf, audit: Audit) -> None:
    drawn = draw_pictures(audit)
    pictures = [drawn.trace, drawn.residuals, drawn.joules, drawn.budget, *(picture for _, picture in drawn.launches)]
    told = [alternative for kind, alternative in tags(pdf) if kind == "Figure" and alternative]
    assert told == [bind_units(picture.sentence) for picture in pictures if picture is not None]


def test_headings_and_table_heads_are_marked(pdf: pikepdf.Pdf, audit: Audit) -> None:
    kinds = [kind for kind, _ in tags(pdf)]
    assert kinds.count("H1") == 1 and kinds.index("H1") < kinds.index("H2")
    assert kinds.count("H2") == 13
    assert kinds.count("H3") == len(audit.findings)
    it = compose(audit)
    tables = [table for table in (it.ledger, it.motion, it.influences, it.launches, it.inputs, it.records) if table is not None]
    assert kinds.count("Table") == len(tables) == 6
    assert kinds.count("TH") == sum(len(table.headings) for table in tables)
    assert kinds.count("TD") == sum(len(table.headings) * len(table.rows) for table in tables)


def test_all_fonts_travel_with_it(pdf: pikepdf.Pdf) -> None:
    names = set()
    for item in pdf.objects:
        if isinstance(item, pikepdf.Dictionary) and item.get("/Type") == "/FontDescriptor":
            assert "/FontFile3" in item or "/FontFile2" in item
            names.add(re.sub(r"^/[A-Z]{6}\+", "", str(item.FontName)))
    assert {name.split("-")[0] for name in names} == {"LibertinusSerif", "DejaVuSansMono"}


def test_nothing_in_it_runs_or_leads_outside(pdf: pikepdf.Pdf) -> None:
    assert "/OpenAction" not in pdf.Root and "/AA" not in pdf.Root
    for item in pdf.objects:
        if isinstance(item, pikepdf.Dictionary):
            assert "/URI" not in item and "/JS" not in item and item.get("/S") != "/JavaScript"


@pytest.mark.parametrize(("paper", "size"), [("a4", (595.28, 841.89)), ("us-letter", (612.0, 792.0))])
def test_two_to_four_pages_of_the_right_size(audit: Audit, paper: str, size: tuple[float, float]) -> None:
    # ISO 216 A4: 210 mm × 297 mm; ANSI Letter: 8.5 in × 11 in; 72 points to the inch.
    with pikepdf.open(io.BytesIO(write_paper(audit, paper=paper))) as pdf:  # type: ignore[arg-type]
        assert 2 <= len(pdf.pages) <= 4
        for page in pdf.pages:
            assert (float(page.mediabox[2]), float(page.mediabox[3])) == pytest.approx(size, abs=0.01)


def test_the_same_audit_gives_the_same_bytes(audit: Audit, content: bytes) -> None:
    assert write_paper(sample_audit(), pictures=draw_pictures(audit)) == content


def test_an_audit_without_a_ledger_can_be_printed() -> None:
    with pikepdf.open(io.BytesIO(write_paper(sample_stopped()))) as pdf:
        kinds = [kind for kind, _ in tags(pdf)]
        assert "Figure" not in kinds and kinds.count("H3") == 1


def test_words_are_never_read_as_typst(audit: Audit) -> None:
    hostile = '#panic("read") *bold* $x$ [ \\ = <label> @ref `raw` // gone'
    finding = replace(audit.findings[0], message=hostile, remedy=hostile)
    record = replace(audit.records[0], file=hostile, read_as=hostile)
    launch = replace(audit.launches[0], file=hostile)
    content = write_paper(replace(audit, title=hostile, findings=(finding,), records=(record,), launches=(launch,)))
    with pikepdf.open(io.BytesIO(content)) as pdf, pdf.open_metadata() as metadata:
        assert metadata["dc:title"] == f"{hostile} – energy audit"
        assert f"Trace of {hostile}" not in [alternative for _, alternative in tags(pdf)]
        assert [kind for kind, _ in tags(pdf)].count("H2") == 13


def test_another_paper_size_is_refused(audit: Audit) -> None:
    with pytest.raises(OutputError, match="There is no paper size 'a5'") as caught:
        write_paper(audit, paper="a5")  # type: ignore[arg-type]
    assert "a4, us-letter" in caught.value.remedy


def test_a_picture_that_cannot_be_set_is_an_output_error(audit: Audit) -> None:
    pictures = draw_pictures(audit)
    assert pictures.trace is not None
    broken = replace(pictures, trace=replace(pictures.trace, svg="<svg"))
    with pytest.raises(OutputError, match="The PDF could not be set"):
        write_paper(audit, pictures=broken)
