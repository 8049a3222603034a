"""A real `joulebook sweep` is killed at random moments, again and again, and its result is that of one that nobody killed."""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from joulebook.api.sweeping.files import write_sweep

ROOT = Path(__file__).parents[3]
COMMAND = [sys.executable, "-c", "from joulebook.cli.main import main; main()"]
BENCHES = 12
KILLS = 4

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL"),
]


def killed_in_time(arguments: list[str], journal: Path, pause: float, lines: int) -> bool:
    """Start a sweep and kill it once its journal has grown by so many lines and some more time; False where it was done before."""
    before = journal.read_bytes().count(b"\n") if journal.exists() else 0
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
    with subprocess.Popen(arguments, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) as process:
        while process.poll() is None:
            if journal.exists() and journal.read_bytes().count(b"\n") >= max(1, before) + lines:
                time.sleep(pause)
                process.send_signal(signal.SIGKILL)
                break
            time.sleep(0.005)
        process.wait()
        assert process.returncode in (0, -signal.SIGKILL), process.stderr and process.stderr.read()
        return process.returncode != 0


@pytest.mark.parametrize("workers", [1, 2])
def test_the_result_is_the_same_after_any_kill(sound_bench: Path, tmp_path: Path, workers: int) -> None:
    root = tmp_path / "root"
    for number in range(BENCHES):
        folder = Path(shutil.copytree(sound_bench, root / f"bench-{number}"))
        # No two lines are alike, and one has no audit.
        mass = f"{0.25 + 0.01 * number:.2f} kg" if number != 5 else "heavy"
        text = (folder / "bench.toml").read_text()
        head, _, tail = text.partition("mass = ")
        (folder / "bench.toml").write_text(f'{head}mass = "{mass}"\n{tail.partition(chr(10))[2]}')
    write_sweep(root, jsonl=tmp_path / "whole.jsonl", parquet=tmp_path / "whole.parquet", method="linear")

    lines, rows = tmp_path / "killed.jsonl", tmp_path / "killed.parquet"
    command = [*COMMAND, "sweep", str(root), "--linear", "--jsonl", str(lines), "--parquet", str(rows), "--workers", str(workers)]
    chance = random.Random(workers)
    journal = Path(f"{lines}.journal")
    kills = 0
    for number in range(KILLS):
        kills += killed_in_time([*command, *["--resume"] * (number > 0)], journal, chance.uniform(0.0, 0.1), chance.randint(0, 3))
    assert kills >= 2
    while killed_in_time([*command, "--resume"], journal, 3600.0, BENCHES + 2):
        pass

    assert lines.read_bytes() == (tmp_path / "whole.jsonl").read_bytes()
    assert rows.read_bytes() == (tmp_path / "whole.parquet").read_bytes()
    assert sorted(path.name for path in tmp_path.glob("killed*")) == ["killed.jsonl", "killed.parquet"]
    assert len({line for line in lines.read_text().splitlines()}) == BENCHES
