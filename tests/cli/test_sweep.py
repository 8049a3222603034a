"""`joulebook sweep`: a line for each bench, in order, the same for any number of workers."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest
from pyarrow import parquet
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


def test_files_and_summary(school: Path, tmp_path: Path, run: Run) -> None:
    lines, rows, summary = tmp_path / "a.jsonl", tmp_path / "a.parquet", tmp_path / "summary.json"
    result = run("sweep", school, "--linear", "--workers", 1, "--jsonl", lines, "--parquet", rows, "--summary", summary)
    assert result.exit_code == 0
    assert result.stdout == ""
    assert lines.read_text() == run("sweep", school, "--linear", "--workers", 1, "--jsonl").stdout
    assert [row["bench"] for row in parquet.read_table(rows).to_pylist()] == FOLDERS
    found = json.loads(summary.read_text())
    audits = [line["audit"] for line in map(json.loads, lines.read_text().splitlines()) if line["ok"]]
    assert found["format"] == "joulebook/sweep-summary-1"
    assert (found["benches"], found["audited"], found["not_audited"]) == (5, 3, 2)
    assert found["errors"] == {"bench-file": 2}
    assert found["verdicts"] == {
        word: sum(audit["verdict"]["mechanical"] == word for audit in audits)
        for word in ("conserved", "loss", "gain", "undecided")
    }
    assert found["findings"] == {code: 3 for code in sorted({each["code"] for each in audits[0]["findings"]})}
    assert "Not audited: bench-file 2." in result.stderr


def test_a_table_of_records_is_swept_like_its_folder(school: Path, tmp_path: Path, run: Run) -> None:
    records = tmp_path / "records.parquet"
    result = run("sweep", school, "--records-to", records)
    assert result.exit_code == 0
    assert result.stderr == f"The records of 5 benches are in {records}.\n"
    folder = run("sweep", school, "--linear", "--workers", 1, "--jsonl").stdout
    assert run("sweep", records, "--linear", "--workers", 1, "--jsonl").stdout == folder


def test_a_stopped_sweep_says_how_to_go_on(school: Path, tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    from joulebook.api import benches

    real, lines = benches.audit, tmp_path / "a.jsonl"

    def stop_at_ten(bench: str, **options: object) -> object:
        if bench.endswith("bench-10"):
            raise KeyboardInterrupt
        return real(bench, **options)  # type: ignore[arg-type]

    with monkeypatch.context() as patch:
        patch.setattr(benches, "audit", stop_at_ten)
        result = run("sweep", school, "--linear", "--workers", 1, "--jsonl", lines)
    assert result.exit_code != 0
    assert "Stopped after 2 of 5 benches, which are kept. Go on with the same command and --resume." in result.stderr
    assert not lines.exists()
    result = run("sweep", school, "--linear", "--workers", 1, "--jsonl", lines)
    assert result.exit_code == 3
    assert "Go on with it by --resume" in " ".join(result.stderr.split())
    assert run("sweep", school, "--linear", "--workers", 1, "--jsonl", lines, "--resume").exit_code == 0
    assert lines.read_text() == run("sweep", school, "--linear", "--workers", 1, "--jsonl").stdout


def test_packages_beside_benches_are_mentioned(school: Path, run: Run) -> None:
    for name in ("a.zip", "b.zip"):
        (school / name).write_bytes(b"PK")
    result = run("sweep", school, "--linear", "--workers", 1)
    assert "Beside the bench folders a.zip, b.zip are left alone: name them to sweep them." in result.stderr


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--workers", 2, "--scheduler", "tcp://a:1"], "Leave out --workers or --scheduler."),
        (["--parquet", "-"], "A Parquet table cannot be printed. Name a file."),
        (["--records-to", "-"], "A Parquet table cannot be printed. Name a file."),
        (["--parquet", "a.parquet", "--jsonl"], "With --parquet the lines go into a file."),
        (["--resume"], "--resume goes on with files."),
        (["--resume", "--jsonl"], "--resume goes on with files."),
        (["--resume", "--jsonl", "/dev/null"], "--resume goes on with files."),
        (["--records-to", "a.parquet", "--jsonl", "a"], "--records-to audits nothing, so that --jsonl has nothing to act on."),
        (["--records-to", "a.parquet", "--linear"], "--records-to audits nothing, so that an option of the analysis has nothing"),
        (["--parquet", "a", "--jsonl", "a"], "cannot both be written to a."),
    ],
)
def test_options_that_contradict_each_other(school: Path, run: Run, options: list[object], words: str) -> None:
    result = run("sweep", school, *options)
    assert result.exit_code == 2
    assert words in " ".join(result.stderr.split())


def test_a_source_is_not_written_over(school: Path, tmp_path: Path, run: Run) -> None:
    records = tmp_path / "records.parquet"
    run("sweep", school, "--records-to", records)
    before = records.read_bytes()
    result = run("sweep", records, "--parquet", records)
    assert result.exit_code == 2
    assert "which is one of the files to be read" in " ".join(result.stderr.split())
    assert records.read_bytes() == before


def test_a_summary_that_cannot_be_written_is_told_first(school: Path, tmp_path: Path, run: Run) -> None:
    result = run("sweep", school, "--jsonl", tmp_path / "a.jsonl", "--summary", tmp_path / "none/summary.json")
    assert result.exit_code == 3
    assert "Its folder is not there. Make the folder first" in " ".join(result.stderr.split())
    assert not list(tmp_path.glob("a.jsonl*"))


@pytest.mark.parametrize(
    ("library", "arguments"),
    [
        ("pyarrow", ["--parquet", "a.parquet"]),
        ("pyarrow", ["--records-to", "a.parquet"]),
        ("distributed", ["--scheduler", "tcp://a:1"]),
    ],
)
def test_a_missing_extra_is_named(
    school: Path, run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, library: str, arguments: list[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    for name in [name for name in sys.modules if name.partition(".")[0] == library]:
        monkeypatch.delitem(sys.modules, name)
    absent = type("Absent", (), {"find_spec": staticmethod(lambda name, *_: _refuse(name, library))})
    monkeypatch.setattr(sys, "meta_path", [absent, *sys.meta_path])
    result = run("sweep", school, *arguments)
    assert result.exit_code == 3
    words = " ".join(result.stderr.split())
    assert f"needs the library {library}, which is not installed. Install joulebook for large sweeps: pip install" in words
    assert "'joulebook[scale]'" in words
    assert list(tmp_path.glob("*.parquet*")) == []


def _refuse(name: str, library: str) -> None:
    if name.partition(".")[0] == library:
        raise ModuleNotFoundError(f"No module named {name!r}", name=name)
