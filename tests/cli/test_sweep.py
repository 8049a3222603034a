"""`joulebook sweep`: a line for each bench, in order, the same for any number of workers."""

from __future__ import annotations

import json
from pathlib import Path

from tests.cli.conftest import Run

import joulebook

FOLDERS = ["class-a/bench-1", "class-a/bench-2", "class-a/bench-10", "class-b/broken", "class-b/spoilt"]


def test_every_bench_has_its_line(school: Path, run: Run) -> None:
    result = run("sweep", school, "--linear", "--workers", 1, "--jsonl")
    assert result.exit_code == 0
    lines = [json.loads(line) for line in result.stdout.splitlines()]
    assert [line["folder"] for line in lines] == FOLDERS
    assert [line["ok"] for line in lines] == [True, True, True, False, False]
    for line in lines[:3]:
        assert list(line) == ["folder", "ok", "audit"]
        assert line["audit"] == json.loads(json.dumps(joulebook.audit(school / line["folder"], method="linear").to_dict()))
    for line in lines[3:]:
        assert list(line) == ["folder", "ok", "error"]
        assert list(line["error"]) == ["code", "message", "remedy"]
        assert all(line["error"].values())
    assert result.stderr.startswith("5 benches: ")
    assert "2 not audited (class-b/broken, class-b/spoilt)" in result.stderr


def test_bytes_do_not_depend_on_the_workers(school: Path, tmp_path: Path, run: Run) -> None:
    contents = []
    for workers in (1, 2):
        target = tmp_path / f"{workers}.jsonl"
        assert run("sweep", school, "--jsonl", target, "--draws", 256, "--workers", workers).exit_code == 0
        contents.append(target.read_bytes())
    assert contents[0] == contents[1]
    assert contents[0].count(b"\n") == len(FOLDERS)


def test_the_api_gives_the_same_lines(school: Path, run: Run) -> None:
    printed = run("sweep", school, "--linear", "--workers", 1, "--jsonl").stdout
    lines = list(joulebook.sweep(school, method="linear"))
    assert [json.loads(line) for line in printed.splitlines()] == json.loads(json.dumps(lines))


def test_without_jsonl_the_section_is_shown(school: Path, run: Run) -> None:
    result = run("sweep", school, "--linear", "--workers", 1)
    assert result.exit_code == 0
    assert "class-b/broken" in result.stdout
    assert "5 benches" in result.stdout


def test_jsonl_that_swallows_the_folder_is_explained(school: Path, run: Run) -> None:
    result = run("sweep", "--jsonl", school)
    assert result.exit_code == 2
    words = " ".join(result.stderr.split())
    assert "Name the folder that holds the bench folders." in words
    assert f"--jsonl took {school} as its file: put the folder before it." in words


def test_a_folder_without_benches_is_told(tmp_path: Path, run: Run) -> None:
    result = run("sweep", tmp_path)
    assert result.exit_code == 3
    assert "No bench.toml in this folder or below it." in result.stderr


def test_a_terminal_sees_a_bar(school: Path, run: Run, monkeypatch: object) -> None:
    """The bar is for people: nothing of it reaches a pipe (the tests above), and its steps are counted."""
    from joulebook.cli.sweep import _progress

    with _progress(3) as advance:
        for _ in range(3):
            advance()
