"""Where the data is: facts, export and import, backup and restore, deleting for good."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator

import pytest
from tests.web.rooms import TestRoom, fill, open_room, words


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestRoom]:
    with open_room(tmp_path_factory.mktemp("store")) as opened:
        fill(opened, 1)
        yield opened


def test_the_page_says_where_the_data_is_and_how_large(room: TestRoom) -> None:
    text = words(room.teacher.get("/store").text)
    assert f"Kept in {room.store.place}" in text
    assert "Open to this machine alone" in text
    assert "Sent elsewhere nothing, ever" in text
    assert "Second period" in text
    records = sum(held.size for held in room.state(1).records)
    assert f"{records / 1000:.1f} kB" in text


def test_a_section_goes_out_as_a_package_and_comes_in_again(room: TestRoom) -> None:
    answer = room.teacher.get(room.path("/package"))
    assert answer.headers["content-type"] == "application/zip"
    assert 'filename="second-period-' in answer.headers["content-disposition"]
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        assert "datapackage.json" in archive.namelist()
    made = room.teacher.post("/store/import", files={"file": ("package.zip", answer.content)})
    assert made.status_code == 303, words(made.text)
    copy = made.headers["location"].rpartition("/")[2]
    assert copy != room.section
    held = room.store.section(copy).benches[1].records
    assert [record.sha256 for record in held] == [record.sha256 for record in room.state(1).records]
    room.store.delete_section(copy)


def test_a_section_goes_out_as_a_workbook(room: TestRoom) -> None:
    answer = room.teacher.get(room.path("/workbook"))
    assert answer.status_code == 200
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        assert "xl/workbook.xml" in archive.namelist()


@pytest.mark.parametrize("path", ["/store/import", "/store/restore"])
def test_what_is_no_package_is_told_on_the_page(room: TestRoom, path: str) -> None:
    before = room.store.sections()
    answer = room.teacher.post(path, files={"file": ("x.zip", b"not a zip")})
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert "/tmp" not in words(answer.text).split("Kept in")[0], "the folder it lay in is nobody's concern"
    assert room.teacher.post(path).status_code == 422
    assert "No file was chosen." in room.teacher.post(path).text
    assert room.store.sections() == before


def test_a_backup_brings_back_what_was_deleted(room: TestRoom) -> None:
    lost = room.store.make_section("Lost and found", benches=2)
    backup = room.teacher.get("/store/backup").content
    refused = room.teacher.post("/store/restore", files={"file": ("backup.zip", backup)})
    assert refused.status_code == 422
    assert "tick “instead of the present state”" in refused.text
    room.store.delete_section(lost)
    answer = room.teacher.post("/store/restore", files={"file": ("backup.zip", backup)}, data={"replace": "1"})
    assert answer.status_code == 303
    assert "The backup was put back." in room.teacher.get(answer.headers["location"]).text
    assert room.store.section(lost).title == "Lost and found"
    room.store.delete_section(lost)


def test_deleting_needs_the_title(room: TestRoom) -> None:
    doomed = room.store.make_section("To be deleted", benches=2)
    page = words(room.teacher.get(f"/sections/{doomed}/delete").text)
    assert "This cannot be undone." in page
    assert "2 benches, 0 records" in page
    answer = room.teacher.post(f"/sections/{doomed}/delete", data={"title": "Something else"})
    assert answer.status_code == 422
    assert "nothing was deleted" in answer.text
    assert doomed in [line.id for line in room.store.sections()]
    answer = room.teacher.post(f"/sections/{doomed}/delete", data={"title": "  to be   deleted "})
    assert answer.status_code == 303
    assert "deleted for good" in room.teacher.get(answer.headers["location"]).text
    assert doomed not in [line.id for line in room.store.sections()]
    assert room.teacher.get(f"/sections/{doomed}").status_code == 404


def test_nothing_from_the_address_is_shown_as_it_stands(room: TestRoom) -> None:
    assert "evil" not in room.teacher.get("/store?told=evil").text


def test_passphrase_and_signing_out(room: TestRoom) -> None:
    assert "None is set." in room.teacher.get("/store").text
    words_of_it = "four carts on a slope"
    assert room.teacher.post("/passphrase", data={"passphrase": words_of_it}).status_code == 303
    assert "A passphrase is set" in room.teacher.get("/store").text
    assert words_of_it not in room.teacher.get("/store").text
    other = room.visitor()
    assert other.post("/sign-in", data={"passphrase": words_of_it}).status_code == 303
    assert other.get("/store").status_code == 200
    other.post("/sign-out")
    assert other.get("/store").status_code == 303
