"""A path that is not there is met with what there is."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.conftest import Run

from joulebook.cli.paths import path_remedy


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a section, as the folder that one is in."""
    for name in ("bench-1", "bench-2"):
        (tmp_path / "class" / name).mkdir(parents=True)
        (tmp_path / "class" / name / "launch-1.csv").write_text("")
    (tmp_path / "kit.toml").write_text("")
    (tmp_path / ".hidden").write_text("")
    (tmp_path / "empty").mkdir()
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize(
    ("path", "remedy"),
    [
        ("clas/bench-1", "Did you mean class/bench-1?"),
        ("CLASS2", "Did you mean class?"),
        ("bench-2", "Did you mean class/bench-2?"),  # one folder further down
        ("class/bench", "Did you mean class/bench-1 or class/bench-2?"),
        ("class/bench-1/launch1.csv", "Did you mean class/bench-1/launch-1.csv?"),
        ("quite-another.toml", "In this folder there is kit.toml."),
        ("zzz", "In this folder there is class, empty, kit.toml."),
        ("empty/zzz", "There is nothing in empty: look at the folder that you are in."),
        ("kit.toml/zzz", "kit.toml is a file and holds nothing."),
    ],
)
def test_what_is_there_instead(place: Path, path: str, remedy: str) -> None:
    assert path_remedy(path) == remedy


def test_a_folder_is_wanted(place: Path) -> None:
    assert path_remedy("kit.toml", file_okay=False) == f"Name the folder that it lies in, {place.resolve()}."
    assert path_remedy("kit", file_okay=False) == "In this folder there is class, empty."


def test_a_file_is_wanted(place: Path) -> None:
    assert path_remedy("class", dir_okay=False) == "It is a folder: name a file in it. In class there is bench-1, bench-2."


def test_many_names_are_counted_and_none_can_steer_a_terminal(place: Path) -> None:
    for number in range(8):
        (place / "empty" / f"q{number}\x1b[31m").write_text("")
    remedy = path_remedy("empty/zzz")
    assert remedy.endswith("and 2 more.") and "\x1b" not in remedy and "q0?[31m" in remedy


def test_a_name_that_no_system_takes(place: Path) -> None:
    assert path_remedy("x" * 5000) == "Look at its name."


@pytest.mark.parametrize(
    "command",
    [
        ("audit", "bench-1"), ("sweep", "clas"), ("plan", "kit.tml"), ("check", "clas"), ("sheet", "card", "clas"),
        ("runs", "class/bench-1/launch-2.csv"), ("audit", "class/bench-1", "--house", "kit.tml"),
        ("rehearse", "--out", "new", "--from", "clas"), ("demo", "--house", "kit.tml"),
    ],
)  # fmt: skip
def test_every_command_says_what_to_do(place: Path, run: Run, command: tuple[str, ...]) -> None:
    result = run(*command)
    assert result.exit_code == 2
    told = " ".join(result.stderr.split())
    assert "does not exist. Did you mean " in told
