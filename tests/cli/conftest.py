"""A simulated bench and a small school of them, written once as folders."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from tests.sound_benches import write_sound_bench

from joulebook.cli.main import joulebook

Run = Callable[..., Result]


@pytest.fixture(scope="session")
def simulated_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A clean bench with a rest record and two launches."""
    return write_sound_bench(tmp_path_factory.mktemp("simulated") / "bench-1", seed=2026, launches=2)


@pytest.fixture
def bench(simulated_folder: Path, tmp_path: Path) -> Path:
    """A copy of the clean bench, to be written into."""
    return Path(shutil.copytree(simulated_folder, tmp_path / "bench-1"))


@pytest.fixture
def school(simulated_folder: Path, tmp_path: Path) -> Path:
    """Three sound bench folders, one whose bench file is broken and one whose record is no record."""
    root = tmp_path / "school"
    for name in ("class-a/bench-1", "class-a/bench-2", "class-a/bench-10", "class-b/broken", "class-b/spoilt"):
        shutil.copytree(simulated_folder, root / name)
    (root / "class-b/broken/bench.toml").write_text('[track]\nangle = "steep"\n')
    (root / "class-b/spoilt/launch-1.csv").write_text("nothing to see here\n")
    return root


@pytest.fixture
def run() -> Run:
    """Run a command in this process, 100 columns wide."""

    def invoke(*arguments: object) -> Result:
        environment = {"COLUMNS": "100", "NO_COLOR": "1", "TERM": "dumb"}
        result = CliRunner(env=environment).invoke(joulebook, [str(each) for each in arguments])
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return result

    return invoke
