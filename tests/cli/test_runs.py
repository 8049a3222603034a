"""`joulebook runs`: what is inside a file."""

from __future__ import annotations

from pathlib import Path

from tests.cli.conftest import Run

TWO = "Run 1,,Run 2,\ntime (s),distance (m),time (s),distance (m)\n" + "".join(
    f"{i * 0.05:.2f},{0.9 - 0.004 * i:.3f},{i * 0.05:.2f},{0.8 - 0.003 * i:.3f}\n" for i in range(40)
)


def test_runs_side_by_side_are_listed(tmp_path: Path, run: Run) -> None:
    (tmp_path / "two.csv").write_text(TWO)
    result = run("runs", tmp_path / "two.csv")
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert [line[:3] for line in lines if line[:1].isdigit()] == ["1  ", "2  "]
    assert sum("40 samples" in line for line in lines if line[:1].isdigit()) == 2
    assert sum("time (s), distance (m)" in line for line in lines if line[:1].isdigit()) == 2


def test_one_run_says_what_was_understood(bench: Path, run: Run) -> None:
    from joulebook import read_record

    result = run("runs", bench / "launch-1.csv")
    assert result.exit_code == 0
    assert read_record(bench / "launch-1.csv").read_as in result.stdout


def test_a_file_that_is_no_record_is_told(tmp_path: Path, run: Run) -> None:
    (tmp_path / "letter.txt").write_text("Dear class,\nnothing to see here.\n")
    result = run("runs", tmp_path / "letter.txt")
    assert result.exit_code == 3
    assert "letter.txt" in result.stderr
    assert result.stdout == ""
