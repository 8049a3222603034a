"""The class picture in the room: named for the teacher, without names for the projector, and as PDF."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from pathlib import Path

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


def test_a_bench_that_does_not_count_is_told_with_its_true_cause(tmp_path: Path) -> None:
    with open_room(tmp_path, benches=7) as room:
        fill(room, 1, seed=5)
        fill(room, 2, "too-close")
        fill(room, 3, "caught")
        fill(room, 4, values=False)
        data = b"two springs, tape, chalk\n"
        body = {"name": "shopping list.txt", "sha256": hashlib.sha256(data).hexdigest(), "size": len(data), "role": "launch"}
        room.store.append(room.section, Draft("record-added", "bench", 5, body), content=data)
        fill(room, 6)
        room.store.append(room.section, Draft("values-set", "bench", 6, {"values": {"cart.mass": "heavy"}}))
        text = words(room.teacher.get(room.path("/class")).text)
        told = text[text.index("What does not count, and why") :]
        assert "been audited" not in text
        assert re.search(r"Bench 2: no (ledger to trust|launch could be used)\. launch-\d\.csv: at its highest point", told)
        assert re.search(r"Bench 3(: no \w+ [\w ]+\. launch-\d\.csv: |$)", told) or "Bench 3" not in told
        assert "Bench 4: Set-up readings are missing: mass of the cart, stated slope." in told
        assert "Bench 5: shopping list.txt cannot be read: " in told
        assert "Bench 6: Set-up readings are not understood: mass of the cart." in told
        assert "Bench 7: No launch record has come." in told
        shown = words(room.teacher.get(room.path("/projector")).text)
        assert "no result yet: records or readings are missing" in shown and "audited" not in shown


def test_a_bench_off_the_picture_is_told_with_its_unit_and_cause(tmp_path: Path) -> None:
    with open_room(tmp_path, benches=3) as room:
        for bench in (1, 2, 3):
            fill(room, bench, seed=4 + bench)
        room.store.append(room.section, Draft("values-set", "bench", 3, {"values": {"cart.mass": "412.6 kg ± 0.5 kg"}}))
        text = words(room.teacher.get(room.path("/class")).text)
        off = r"Bench 3 lies off the picture: [\d.]+ J at release and [\d.]+ J gained\. Look first: The mass is given as 412\.6 kg"
        assert re.search(off, text)
        # Words that only a statistician says stand in the table, where a note explains them.
        before = text[: text.index("The class by each way to pool")]
        assert not re.search(r"\bQ =|\bp [<=]|I²|D–L|P–M", before)
        assert "I²: the part of the differences" in text and "D–L, P–M: random-effects means" in text
