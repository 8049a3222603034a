"""The class picture on page, paper, projector and terminal, from its JSON form alone."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from typing import Any

import numpy as np
import pikepdf
import pytest
from rich.console import Console
from tests.classroom.class_benches import section

from joulebook.classroom.class_picture import ClassBench, class_picture
from joulebook.render.class_document import class_document, class_names, projector_document
from joulebook.render.class_pictures import draw_energies, draw_losses, draw_pooled, draw_slopes
from joulebook.render.class_terminal import show_class
from joulebook.render.document import write_document_page, write_document_paper


@pytest.fixture(scope="module")
def told() -> dict[str, Any]:
    benches = [*section(), ClassBench("13", "Bench <13>", None, why="run.csv holds no numbers.")]
    return class_picture(benches, title="Period 3 <b>").to_dict()


def test_each_picture_has_sentence_and_table(told: dict[str, Any]) -> None:
    pictures = [draw_energies(told), draw_losses(told), draw_slopes(told), draw_pooled(told, "unaccounted")]
    for picture in pictures:
        assert picture is not None
        assert picture.sentence
        assert picture.sentence in picture.svg.replace("&lt;", "<")
        assert len(picture.table_rows) >= 12
        assert {len(row) for row in picture.table_rows} == {len(picture.table_headings)}
        assert picture.svg != picture.narrow
        assert "script" not in picture.svg


def test_points_stand_where_they_belong(told: dict[str, Any]) -> None:
    """More energy lies farther right, and more potential energy higher up."""
    picture = draw_energies(told)
    assert picture is not None
    places = re.findall(r"M([\d.]+),([\d.]+)h\.01", picture.svg)[: len(told["benches"])]
    for axis, name, sign in ((0, "energy", 1), (1, "potential", -1)):
        drawn = [sign * float(place[axis]) for place in places]
        assert np.argsort(drawn).tolist() == np.argsort([each[name]["value"] for each in told["benches"]]).tolist()


def test_a_mass_in_grams_is_told_and_not_drawn(told: dict[str, Any]) -> None:
    first = told["benches"][0]
    heavy = {key: {name: 1000 * value for name, value in first[key].items()} for key in ("energy", "potential")}
    picture = draw_energies({**told, "benches": [{**told["benches"][0], **heavy}, *told["benches"][1:]]})
    assert picture is not None
    assert len(picture.listed) == 1
    assert picture.listed[0].startswith("Bench 1 lies off the picture: ") and " J at release and " in picture.listed[0]


def test_no_bench_no_picture() -> None:
    empty = class_picture([]).to_dict()
    assert draw_energies(empty) is None
    assert draw_pooled(empty, "unaccounted") is None
    assert "fewer than five benches" in write_document_page(class_document(empty))


def test_page_and_paper(told: dict[str, Any]) -> None:
    document = class_document(told)
    page = write_document_page(document, decimal=",", keep=class_names(told))
    assert "<13>" not in page
    assert "Bench &lt;13&gt;" in page
    assert "Listen for:" in page
    assert "(P–M)" in page
    assert not re.search(r">[^<]*\d\.\d[^<]*<", re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL).replace("run.csv", ""))
    for paper, width in (("a4", 595), ("us-letter", 612)):
        with pikepdf.open(io.BytesIO(write_document_paper(document, paper=paper))) as pdf:
            assert pdf.Root.MarkInfo.Marked
            assert int(float(pdf.pages[0].MediaBox[2])) == width


def test_the_projector(told: dict[str, Any]) -> None:
    benches = [replace(each, title=f"Secret {each.code}") for each in section()]
    nameless = class_picture(benches, title="Period 3", anonymous=np.random.default_rng(1)).to_dict()
    page = write_document_page(projector_document(nameless), projector=True)
    assert "ecret" not in page
    assert "Listen for" not in page
    assert "font-size:1.5vw" in page
    assert "font-size:1.5vw" not in write_document_page(class_document(told))
    with pytest.raises(ValueError, match="names its benches"):
        projector_document(told)


def test_the_terminal(told: dict[str, Any]) -> None:
    stream = io.StringIO()
    show_class(told, Console(file=stream, width=100, color_system=None))
    text = " ".join(stream.getvalue().split())
    assert text.startswith("12 of 13 benches count.")
    assert "Bench <13>: run.csv holds no numbers." in text
    assert "Bench 8: share of the energy unaccounted for" in text
