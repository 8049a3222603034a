"""The class picture in the room: named for the teacher, without names for the projector, and as PDF."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from tests.web.rooms import TestRoom, fill, open_room, words

from joulebook.classroom.changes import Draft


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestRoom]:
    with open_room(tmp_path_factory.mktemp("class"), benches=4) as opened:
        for bench, seed in ((1, 5), (2, 6), (3, 7)):
            fill(opened, bench, seed=seed)
            opened.store.append(opened.section, Draft("bench-named", "bench", bench, {"name": f"Quarks{bench}"}))
        yield opened


def test_the_teacher_s_picture_names_every_bench_and_who_does_not_count(room: TestRoom) -> None:
    html = room.teacher.get(room.path("/class")).text
    text = words(html)
    assert "3 of 4 benches count" in text
    assert "No launch record has come." in text
    assert all(f"Quarks{bench}" in text for bench in (1, 2, 3))
    assert html.count("<svg") >= 6


def test_the_projector_names_nobody(room: TestRoom) -> None:
    html = room.teacher.get(room.path("/projector")).text
    assert "Quarks" not in html
    assert not re.search(r"Bench \d|launch-\d", html)
    assert "<svg" in html
    # Looked at again, a bench keeps its letter; another server gives it another.
    assert room.teacher.get(room.path("/projector")).text == html


@pytest.mark.parametrize("names", ["", "?names=0"])
def test_both_go_out_as_pdf(room: TestRoom, names: str) -> None:
    answer = room.teacher.get(room.path(f"/class.pdf{names}"))
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")


def test_a_section_without_data_has_a_page_too(room: TestRoom) -> None:
    empty = room.store.make_section("Empty", benches=2)
    for page in ("class", "projector", "class.pdf"):
        assert room.teacher.get(f"/sections/{empty}/{page}").status_code == 200
    assert room.teacher.get("/sections/0000000000/class").status_code == 404
