"""One suite: every part is a module that takes these options, a short run leaves the published pages alone, a failure is told."""

from __future__ import annotations

import subprocess
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from benchmarks import run_all
from benchmarks.run_all import PARTS, command, main

PAGES = ("accuracy.md", "performance.md")


@pytest.mark.parametrize("part", PARTS)
def test_a_part_takes_its_options(part: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        import_module(f"benchmarks.{part}").main(["--help"])
    assert ended.value.code == 0
    told = capsys.readouterr().out
    assert "--quick" in told
    assert "--out" in told


def test_a_command_says_where_its_results_go() -> None:
    assert command("maps", Path("results"), quick=True)[1:] == ["-m", "benchmarks.maps", "--quick", "--out", "results/maps.jsonl"]
    assert command("cost", Path("r"), largest=100_000)[3:] == ["--largest", "100000", "--out", "r/cost.jsonl"]
    assert command("maps", Path("r"), largest=100_000)[3:] == ["--out", "r/maps.jsonl"]


def test_every_part_is_documented() -> None:
    text = (Path(__file__).parents[2] / "docs" / "measuring.md").read_text(encoding="utf-8")
    rows = [line.split("|") for line in text.splitlines() if line.startswith("| `")]
    assert {row[1].strip(" `"): row[3].strip(" `") for row in rows} == dict(PARTS)


@pytest.fixture
def runs(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[Sequence[str]]:
    """The commands that were started; none of them does anything, and `plan` fails."""
    started: list[Sequence[str]] = []

    def run(line: Sequence[str], **_: Any) -> SimpleNamespace:
        started.append(line)
        return SimpleNamespace(returncode=int("benchmarks.plan" in line))

    monkeypatch.setattr(subprocess, "run", run)
    monkeypatch.setattr(run_all, "DOCS", tmp_path)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    return started


def test_a_short_run_writes_to_a_folder_of_its_own(runs: list[Sequence[str]], tmp_path: Path) -> None:
    main(["--quick", "--only", "maps", "--only", "speed"])
    assert [line[2] for line in runs] == ["benchmarks.maps", "benchmarks.speed"]
    assert all("--quick" in line for line in runs)
    (folder,) = tmp_path.glob("joulebook-bench-*")
    assert all((folder / page).is_file() for page in PAGES)
    assert not any((tmp_path / page).exists() for page in PAGES)


def test_pages_alone_measure_nothing(runs: list[Sequence[str]], tmp_path: Path) -> None:
    main(["--pages"])
    assert runs == []
    assert all((tmp_path / page).is_file() for page in PAGES)


def test_a_part_that_fails_is_told(runs: list[Sequence[str]], tmp_path: Path) -> None:
    with pytest.raises(SystemExit, match="These parts failed, and their earlier results stand: plan"):
        main([])
    assert [line[2].removeprefix("benchmarks.") for line in runs] == list(PARTS)
    assert all((tmp_path / page).is_file() for page in PAGES)
