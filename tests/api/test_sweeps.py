"""Many benches: found, kept in order, and no bad one stops the rest, whatever ends it."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from joulebook.api import bench_folders, sweep
from joulebook.api.sweeping.benches import BenchFiles, clear_up
from joulebook.api.sweeping.packing import FolderTree, pack
from joulebook.api.sweeping.work import Task, json_line, made_with
from joulebook.errors import BenchFileError, InputError, OutputError
from joulebook.version import VERSION


def make_folders(root: Path, names: list[str]) -> None:
    for name in names:
        (root / name).mkdir(parents=True)
        (root / name / "bench.toml").write_text("")


def test_folders_come_in_the_order_that_a_person_counts(tmp_path: Path) -> None:
    make_folders(tmp_path, ["bench-10", "bench-2", "Bench-1", "2026/b", "2026/a"])
    (tmp_path / "no-bench").mkdir()
    assert bench_folders(tmp_path) == ["2026/a", "2026/b", "Bench-1", "bench-2", "bench-10"]


def test_the_folder_itself_may_be_the_bench(tmp_path: Path) -> None:
    (tmp_path / "bench.toml").write_text("")
    assert bench_folders(tmp_path) == ["."]


def test_no_bench_at_all_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"No bench.toml in this folder or below it. Name the folder that holds"):
        sweep(tmp_path)


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match=r"This is not a folder. Name the folder that holds"):
        bench_folders(tmp_path / "file")


def test_a_folder_that_cannot_be_looked_into_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    make_folders(tmp_path, ["open", "closed"])
    scan = os.scandir

    def refuse(path: str) -> object:
        if str(path).endswith("closed"):
            raise PermissionError(13, "Permission denied", str(path))
        return scan(path)

    monkeypatch.setattr(os, "scandir", refuse)
    with pytest.raises(InputError, match=r"closed cannot be looked into: Permission denied. Make it readable"):
        bench_folders(tmp_path)


def test_no_workers_cannot_work(tmp_path: Path) -> None:
    make_folders(tmp_path, ["a"])
    with pytest.raises(InputError, match=r"0 workers cannot audit anything. Give a number from 1 upwards."):
        sweep(tmp_path, workers=0)


def test_a_faulty_bench_has_its_line(tmp_path: Path) -> None:
    make_folders(tmp_path, ["a", "b"])
    lines = list(sweep(tmp_path))
    assert [(line["folder"], line["ok"]) for line in lines] == [("a", False), ("b", False)]
    for line in lines:
        error = line["error"]
        assert isinstance(error, dict)
        assert error["code"] == "bench-file"
        assert error["message"]


def test_a_fault_of_ours_has_its_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(path: Path, **options: object) -> None:
        raise ZeroDivisionError("float division by zero")

    monkeypatch.setattr("joulebook.api.benches.audit", broken)
    make_folders(tmp_path, ["a"])
    (line,) = sweep(tmp_path)
    assert line["error"] == {
        "code": "internal",
        "message": "joulebook itself failed here: ZeroDivisionError: float division by zero",
        "remedy": "Audit this bench alone and report the fault with its files.",
    }


def test_the_temporary_folder_is_no_fault_of_the_bench(
    sound_bench: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What keeps every bench from being audited stops the sweep instead of spoiling every line."""
    packed = pack(FolderTree(str(sound_bench), "."), "bench-1")
    assert packed is not None
    clear_up()
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "none"))
    with pytest.raises(
        OutputError, match=r"A bench cannot be laid out in the temporary folder: No such file.*Free some space in .*none"
    ):
        Task({"method": "linear"})([packed])


def test_a_temporary_folder_that_was_tidied_away(sound_bench: Path) -> None:
    """It is made anew, and nothing is left in it."""
    packed = pack(FolderTree(str(sound_bench), "."), "bench-1")
    assert packed is not None
    grounds = []
    for _ in range(2):
        with packed.placed() as place:
            assert sorted(os.listdir(place.folder)) == sorted(os.listdir(sound_bench))
            grounds.append(Path(place.folder).parents[1])
        assert list(grounds[-1].iterdir()) == []
        grounds[-1].rmdir()
    assert grounds[0] != grounds[1]
    clear_up()


@pytest.mark.parametrize("name", ["../launch.csv", "/launch.csv", "a\\b.csv", "c:launch.csv", "a//b.csv", ""])
def test_no_file_of_a_bench_is_laid_out_elsewhere(sound_bench: Path, name: str) -> None:
    files = {"bench.toml": (sound_bench / "bench.toml").read_bytes(), name: b"1,2\n"}
    (outcome,) = Task({})([BenchFiles("bench-1", "bench-1", files)])
    error = outcome.line["error"]
    assert error["message"] == f"{name!r} cannot be a file of a bench: it would lie outside its folder."
    assert error["remedy"] == "Write the names of records as relative paths, such as launch-1.csv."


def test_a_name_that_no_system_takes(sound_bench: Path) -> None:
    files = {"bench.toml": (sound_bench / "bench.toml").read_bytes(), "x" * 300 + ".csv": b"1,2\n"}
    (outcome,) = Task({})([BenchFiles("bench-1", "bench-1", files)])
    assert "cannot be laid out to be audited: File name too long." in outcome.line["error"]["message"]


def test_a_worker_of_another_version_refuses() -> None:
    versions = {**made_with(), "joulebook": "9.9"}
    with pytest.raises(InputError, match=rf"A worker has joulebook {VERSION}, not 9\.9\. Give every worker the same versions"):
        Task({}, made_with=versions)([])


def test_json_knows_what_numpy_and_infinity_are() -> None:
    import numpy as np

    assert json_line({"a": np.float64(1.5), "b": np.array([1, 2]), "c": True}) == b'{"a": 1.5, "b": [1, 2], "c": true}'
    assert json_line({"a": [np.inf, np.float64("nan")], "b": np.array([np.inf])}) == b'{"a": [null, null], "b": [null]}'
    # The name of a file that is no Unicode comes back as it was.
    name = os.fsdecode(b"b\xff")
    assert json.loads(json_line({"folder": name})) == {"folder": name}
    with pytest.raises(TypeError, match="no JSON form for object"):
        json_line(object())


def test_a_house_file_is_read_once_for_all(sound_bench: Path, tmp_path: Path) -> None:
    (tmp_path / "house.toml").write_text("[numbers]\ngravity = 3\n")
    with pytest.raises(BenchFileError, match="there is a fault in these house rules"):
        sweep(sound_bench, house=tmp_path / "house.toml")
