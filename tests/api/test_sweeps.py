"""Many benches: found, kept in order, and no bad one stops the rest, whatever ends it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from joulebook.api import bench_folders, sweep
from joulebook.api.sweeps import _in_processes
from joulebook.errors import InputError


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


def dies_on_c(folder: str) -> dict[str, object]:
    if folder == "c":
        os._exit(9)
    return {"folder": folder, "ok": True}


def test_a_worker_that_dies_costs_one_bench_only() -> None:
    folders = [*"abcdefghijk"]
    lines = list(_in_processes(dies_on_c, folders, 2))
    assert [line["folder"] for line in lines] == folders
    assert [line["folder"] for line in lines if not line["ok"]] == ["c"]
    error = lines[2]["error"]
    assert isinstance(error, dict)
    assert error["code"] == "crashed"


def test_stopping_half_way_ends_the_workers() -> None:
    lines = _in_processes(dies_on_c, ["a", "b", "d", "e"], 2)
    assert next(lines) == {"folder": "a", "ok": True}
    lines.close()  # type: ignore[attr-defined]
