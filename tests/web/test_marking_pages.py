"""Marking in the room: by criterion, by write-up, batches, undo, anonymous, a second marker, tables in and out."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator
from dataclasses import replace

import pytest
from tests.web.rooms import TestRoom, fill, open_room, words

from joulebook.classroom.changes import Draft

TABLE = (
    "code,bench,mass,angle,release_speed,kinetic_energy,potential_energy,kinetic_energy_u,potential_energy_u,claim\n"
    "red,1,0.2513,8.0,1.30,0.425,0.2,0.02,0.02,loss\nblue,1,0.2513,8.0,1.30,0.212,0.2,0.02,0.02,conserved\n"
)


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestRoom]:
    """One server for all tests."""
    with open_room(tmp_path_factory.mktemp("marking"), benches=3) as opened:
        yield opened


@pytest.fixture
def room(house: TestRoom) -> TestRoom:
    """A section of its own for each test: a bench with data, one that worked in the room, and two students of a table."""
    opened = replace(house, section=house.store.make_section("Second period", benches=3))
    fill(opened, 1)
    work = {"kinetic_energy": "0.42", "potential_energy": "0.2"}
    opened.store.append(opened.section, Draft("work-saved", "bench", 2, {"step": "calculation", "fields": work}))
    answer = opened.teacher.post(opened.path("/marking/records"), files={"table": ("t.csv", TABLE.encode())})
    assert answer.status_code == 303
    return opened


def _mark(room: TestRoom, code: str, criterion: str = "calculation", level: str = "adequate", **more: str) -> str:
    data = {"code": code, "criterion": criterion, "level": level, **more}
    answer = room.teacher.post(room.path("/marking/mark"), data=data)
    assert answer.status_code == 303
    return str(answer.headers["location"])


def test_write_ups_of_the_room_and_of_a_table_stand_side_by_side(room: TestRoom) -> None:
    text = words(room.teacher.get(room.path("/marking")).text)
    assert "0 of 24 marks are confirmed" in text
    assert all(code in text for code in ("bench-2", "red", "blue"))
    assert "energy of motion" in text, "the first line to look at of the write-up that forgot the half"


def test_one_mark_is_confirmed_shown_and_undone(room: TestRoom) -> None:
    place = _mark(room, "red", comment="Look at the formula.", form="m1", back=room.path("/marking/criterion/calculation"))
    assert place.endswith("&next=m2") and "/marking/criterion/calculation?did=" in place
    page = room.teacher.get(place).text
    assert "✓ confirmed" in page and "Look at the formula." in page
    seq = re.search(r'name="change" value="(\d+)"', page)
    assert seq is not None
    answer = room.teacher.post(room.path("/undo"), data={"change": seq[1], "back": room.path("/marking/criterion/calculation")})
    assert answer.status_code == 303 and "/marking/criterion/calculation" in answer.headers["location"]
    assert room.store.section(room.section).marks.mark("red", "calculation") is None


def test_a_mark_without_a_level_is_taken_back(room: TestRoom) -> None:
    _mark(room, "red")
    _mark(room, "red", level="")
    assert room.store.section(room.section).marks.mark("red", "calculation") is None


def test_a_comment_of_the_bank_is_added_once(room: TestRoom) -> None:
    _mark(room, "red", comment="One.", bank="Two.")
    _mark(room, "blue", comment="One. Two.", bank="Two.")
    book = room.store.section(room.section).marks
    assert [book.mark(code, "calculation").comment for code in ("red", "blue")] == ["One. Two.", "One. Two."]  # type: ignore[union-attr]


def test_a_batch_confirms_every_suggestion_and_leaves_what_must_be_read(room: TestRoom) -> None:
    answer = room.teacher.post(room.path("/marking/batch"), data={"criterion": "calculation"})
    assert answer.status_code == 303
    book = room.store.section(room.section).marks
    assert book.mark("red", "calculation").level == "needs improvement"  # type: ignore[union-attr]
    assert room.teacher.post(room.path("/marking/batch"), data={"criterion": "communication"}).status_code == 303
    assert book.mark("blue", "communication") is None


def test_one_write_up_is_shown_line_by_line_with_its_evidence(room: TestRoom) -> None:
    text = words(room.teacher.get(room.path("/marking/student/red")).text)
    assert "as if the half were left out" in text and "there is less energy at the top" in text
    assert "Next: blue" in text or "Before: bench-2" in text


def test_anonymous_pages_show_no_code(room: TestRoom) -> None:
    page = room.teacher.get(room.path("/marking?anonymous=true")).text
    shown = words(page)
    assert "Write-up 1" in shown and "red" not in shown.split()
    answer = room.teacher.get(room.path("/marking/student/Write-up 1?anonymous=true"))
    assert answer.status_code == 200 and "Write-up 1, bench" in words(answer.text)


def test_a_second_marker_sees_no_code_and_no_mark_and_agreement_is_counted(room: TestRoom) -> None:
    _mark(room, "red", level="inadequate", comment="first marker's words")
    page = room.teacher.get(room.path("/marking/criterion/calculation?marker=second")).text
    assert "first marker" not in words(page).replace("first marks are hidden", "") and "red" not in words(page).split()
    assert "checked" not in page, "no level is ticked for the second marker"
    _mark(room, "red", level="needs improvement", marker="second")
    text = words(room.teacher.get(room.path("/marking")).text)
    assert "How well the two of you agree" in text and "calculation 1 0 % 100 %" in text


def test_tables_go_out_with_confirmed_marks_alone(room: TestRoom) -> None:
    _mark(room, "red", comment="=1+1")
    text = room.teacher.get(room.path("/marking/gradebook.csv")).text
    line = next(line for line in text.splitlines() if line.startswith("red"))
    assert line == "red,1,,,,3,,,,,,'=1+1"
    assert room.teacher.get(room.path("/marking/gradebook.xlsx")).content.startswith(b"PK")
    assert b"code" in room.teacher.get(room.path("/marking/template.csv")).content
    assert room.teacher.get(room.path("/marking/template.xlsx")).content.startswith(b"PK")


def test_feedback_sheets_and_the_summary_go_out(room: TestRoom) -> None:
    _mark(room, "red", comment="Look at the formula.")
    with zipfile.ZipFile(io.BytesIO(room.teacher.get(room.path("/marking/feedback.zip")).content)) as archive:
        names = archive.namelist()
        page = archive.read(next(name for name in names if "red" in name and name.endswith(".html"))).decode()
    assert len(names) == 6 and "Look at the formula." in page
    answer = room.teacher.get(room.path("/marking/next-lesson"))
    assert "As if the half were left out" in answer.text and "red" not in words(answer.text).split()
    assert "unsafe" not in answer.headers["content-security-policy"]
    assert room.teacher.get(room.path("/marking/next-lesson.pdf")).content.startswith(b"%PDF")


def test_a_faulty_table_is_told_and_nothing_of_it_is_taken(room: TestRoom) -> None:
    for content, message in (
        (b"code,bench\nx,9\n", "There is no bench 9"),
        (b"", "No table was chosen"),
        (b"name\nx\n", "headings"),
    ):
        answer = room.teacher.post(room.path("/marking/records"), files={"table": ("t.csv", content)})
        assert answer.status_code == 422 and message in answer.text
    assert set(room.store.section(room.section).marks.write_ups) == {"red", "blue"}


def test_criteria_and_comments_are_edited(room: TestRoom) -> None:
    page = room.teacher.get(room.path("/marking/bank")).text
    assert "Comparison and claim" in page and "claim-follows:" in page
    answer = room.teacher.post(room.path("/marking/bank"), data={"comments": "good: Well done.\nlook: Look again: here."})
    assert answer.status_code == 303
    assert dict(room.store.section(room.section).marks.comments) == {"good": "Well done.", "look": "Look again: here."}
    form = {f"claim.{index}": text for index, text in enumerate("abcd")}
    form |= {f"claim.points{index}": str(2 * index) for index in range(4)}
    form |= {"claim.title": "Claim", "new.title": "Tidy hand", "new.0": "e", "new.1": "f", "new.2": "g", "new.3": "h"}
    assert room.teacher.post(room.path("/marking/bank"), data=form).status_code == 303
    criteria = room.store.section(room.section).marks.criteria
    assert list(criteria) == ["claim", "tidy-hand"] and criteria["claim"].points == (0, 2, 4, 6)
    for data, message in (({"comments": "no name"}, "has no name"), ({"claim.title": "Claim"}, "must be four texts")):
        answer = room.teacher.post(room.path("/marking/bank"), data=data)
        assert answer.status_code == 422 and message in answer.text


@pytest.mark.parametrize("path", ["/marking/criterion/beauty", "/marking/student/nobody"])
def test_what_is_not_there_is_not_found(room: TestRoom, path: str) -> None:
    assert room.teacher.get(room.path(path)).status_code == 404


def test_a_foreign_way_back_is_not_taken(room: TestRoom) -> None:
    assert _mark(room, "red", back="//evil.example/marking").startswith(room.path("/marking"))


def test_marking_is_closed_to_everybody_else(room: TestRoom) -> None:
    for client in (room.visitor(), room.bench(1)):
        for path in ("/marking", "/marking/criterion/claim", "/marking/bank", "/marking/gradebook.csv", "/marking/feedback.zip"):
            assert client.get(room.path(path)).status_code in (303, 403)
        assert client.post(room.path("/marking/mark"), data={"code": "x", "criterion": "claim"}).status_code == 403


def test_what_is_identical_is_looked_for_when_it_is_asked(room: TestRoom) -> None:
    fill(room, 3)
    plain = words(room.teacher.get(room.path("/marking")).text)
    assert "Look for identical records" in plain and "byte for byte" not in plain
    asked = words(room.teacher.get(room.path("/marking?alike=true")).text)
    assert "bench 1" in asked and "byte for byte" in asked and "saved to the wrong bench" in asked


def test_a_write_up_is_typed_in_and_a_faulty_one_is_kept_on_the_page(room: TestRoom) -> None:
    page = room.teacher.get(room.path("/marking/typed")).text
    assert 'name="kinetic_energy"' in page and 'name="mass"' in page
    typed = {"code": "paper-1", "bench": "1", "mass": "0.25", "release_speed": "1,30", "kinetic_energy": "0.42", "claim": "loss"}
    answer = room.teacher.post(room.path("/marking/typed"), data=typed)
    assert answer.status_code == 303
    kept = room.store.section(room.section).marks.write_ups["paper-1"]
    assert kept.values == {"cart.mass": "0.25 kg"} and kept.fields["release_speed"] == "1,30"
    assert "as if the half were left out" in words(room.teacher.get(room.path("/marking/student/paper-1")).text)
    wrong = room.teacher.post(room.path("/marking/typed"), data={**typed, "code": ""})
    assert wrong.status_code == 422 and "has no code" in wrong.text and 'value="1,30"' in wrong.text
