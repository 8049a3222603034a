"""`joulebook store`: keeping the room's data from the command line."""

from __future__ import annotations

import hashlib
import importlib.util
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner
from tests.cli.conftest import Run

from joulebook.classroom.changes import Draft
from joulebook.cli.main import joulebook
from joulebook.store.database import open_store


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A data folder with two sections; the first holds a record."""
    folder = tmp_path / "data"
    with open_store(folder=folder) as store:
        section = store.make_section("Second period", benches=3)
        body = {"name": "launch.csv", "sha256": hashlib.sha256(b"1,2").hexdigest(), "size": 3, "role": "launch"}
        store.append(section, Draft("record-added", "bench", 1, body), content=b"1,2")
        store.make_section("Third period", benches=1)
    return folder


def ids(data: Path) -> dict[str, str]:
    with open_store(folder=data) as store:
        return {line.title: line.id for line in store.sections()}


def test_where(run: Run, data: Path) -> None:
    output = run("store", "where", "--data", data).output
    assert f"The store is {data / 'joulebook.db'}" in output and "It holds 2 sections." in output and " MB large" in output


def test_sections(run: Run, data: Path, tmp_path: Path) -> None:
    output = run("store", "sections", "--data", data).output
    assert f"{ids(data)['Second period']}  " in output and "3 benches, 2 changes  Second period" in output
    assert "1 bench, 1 change  Third period" in output
    assert "no sections yet" in run("store", "sections", "--store", f"sqlite:///{tmp_path / 'other.db'}").output


def test_export_and_import(run: Run, data: Path, tmp_path: Path) -> None:
    result = run("store", "export", "Second period", tmp_path / "a.zip", "--data", data)
    assert result.exit_code == 0 and "“Second period” is written to" in result.output
    result = run("store", "import", tmp_path / "a.zip", "--data", data)
    assert "“Second period” is taken in as section" in result.output and "new codes" in result.output
    result = run("store", "export", "Second period", tmp_path / "a.xlsx", "--data", data)
    assert result.exit_code == 3 and "2 sections are called 'Second period'. Name one by its id: " in result.stderr
    assert run("store", "export", ids(data)["Third period"], tmp_path / "a.xlsx", "--data", data).exit_code == 0
    assert zipfile.is_zipfile(tmp_path / "a.xlsx")


def test_names_go_along_only_when_asked(run: Run, data: Path, tmp_path: Path) -> None:
    with open_store(folder=data) as store:
        store.append(ids(data)["Second period"], Draft("bench-named", "bench", 1, {"name": "Comets"}))
    for options, named in (((), False), (("--names",), True)):
        run("store", "export", "Second period", tmp_path / "a.zip", "--data", data, *options)
        assert (b"Comets" in zipfile.ZipFile(tmp_path / "a.zip").read("benches.csv")) is named


def test_an_export_of_another_kind_is_a_usage_error(run: Run, data: Path, tmp_path: Path) -> None:
    result = run("store", "export", "Second period", tmp_path / "a.pdf", "--data", data)
    assert result.exit_code == 2 and "ends in neither .zip" in result.stderr


def test_backup_and_restore(run: Run, data: Path, tmp_path: Path) -> None:
    result = run("store", "backup", tmp_path / "b.zip", "--data", data)
    assert "2 sections with 3 changes and 1 record written to" in result.output
    result = run("store", "restore", tmp_path / "b.zip", "--data", data)
    assert result.exit_code == 3 and "--replace" in result.stderr
    assert run("store", "restore", tmp_path / "b.zip", "--data", data, "--replace").exit_code == 0
    result = run("store", "restore", tmp_path / "b.zip", "--data", tmp_path / "new")
    assert "2 sections with 3 changes and 1 record restored from" in result.output
    assert ids(tmp_path / "new") == ids(data)


def test_delete_asks_for_the_title(data: Path) -> None:
    command = ["store", "delete", ids(data)["Second period"], "--data", str(data)]
    result = CliRunner().invoke(joulebook, command, input="second\n")
    assert result.exit_code == 3 and "That is not its title, and nothing was deleted." in result.stderr
    assert "Second period" in ids(data)
    result = CliRunner().invoke(joulebook, command, input="Second period\n")
    assert result.exit_code == 0 and "“Second period” is deleted." in result.output
    assert list(ids(data)) == ["Third period"]
    assert CliRunner().invoke(joulebook, ["store", "delete", "Third period", "--yes", "--data", str(data)]).exit_code == 0
    assert ids(data) == {}


def test_a_section_that_is_not_there(run: Run, data: Path, tmp_path: Path) -> None:
    result = run("store", "delete", "Fourth period", "--yes", "--data", data)
    assert result.exit_code == 3 and "There is no section 'Fourth period'. There is " in result.stderr
    assert "(Third period, " in result.stderr
    result = run("store", "delete", "any", "--yes", "--data", tmp_path / "new")
    assert "The store is empty: look at --store and --data." in result.stderr


def test_packages_that_are_missing(run: Run, data: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    result = run("store", "where", "--data", data)
    assert result.exit_code == 3 and "not installed: sqlalchemy, alembic. Install them with" in result.stderr


@pytest.mark.parametrize("name", ["where", "sections", "export", "import", "backup", "restore", "delete"])
def test_every_command_and_option_is_on_its_page(run: Run, name: str) -> None:
    page = (Path(__file__).parents[2] / "docs" / "keeping.md").read_text(encoding="utf-8")
    assert f"joulebook store {name}" in page
    options = [word.rstrip(",") for word in run("store", name, "--help").output.split() if word.startswith("--")]
    assert len(options) >= 3 and [option for option in options if option != "--help" and f"`{option}" not in page] == []
