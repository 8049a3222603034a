"""A small school of bench folders of every kind that a sweep meets, written once."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from tests.sound_benches import write_sound_bench


@pytest.fixture(scope="session")
def sound_bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sound bench with a rest record and one launch."""
    return write_sound_bench(tmp_path_factory.mktemp("sound") / "bench-1", seed=2027, launches=1)


@pytest.fixture(scope="session")
def motley(sound_bench: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Bench folders that are sound, that leave their records to be found, and that are faulty in many ways."""
    root = tmp_path_factory.mktemp("motley") / "school"
    text = re.sub(r"\[place\]\n.*\n\n?", "", (sound_bench / "bench.toml").read_text())
    without_files = text.partition("[files]")[0]

    def bench(name: str, toml: str | bytes = text) -> Path:
        folder = Path(shutil.copytree(sound_bench, root / name))
        (folder / "bench.toml").write_bytes(toml if isinstance(toml, bytes) else toml.encode())
        return folder

    bench("class-a/bench-1")
    bench("class-a/bench-2", without_files)
    bench("class-a/bench-10", text.replace('title = "Bench"\n', ""))
    (bench("class-b/in-a-folder", text.replace('"launch.csv"', '"day 2/launch.csv"')) / "day 2").mkdir()
    (root / "class-b/in-a-folder/launch.csv").rename(root / "class-b/in-a-folder/day 2/launch.csv")
    bench("class-b/several-runs", text.replace('"launch.csv"', '"launch.csv#2"'))
    bench("class-c/broken", '[track]\nangle = "steep"\n')
    (bench("class-c/spoilt") / "launch.csv").write_text("nothing to see here\n")
    (bench("class-c/missing") / "launch.csv").unlink()
    bench("class-c/no-text", b'title = "B\xff"\n')
    bench("class-c/outside", text.replace('"launch.csv"', '"../bench-1/launch.csv"'))
    bench("class-c/a-folder", text.replace('"launch.csv"', '"day 2"'))
    (root / "class-c/a-folder/day 2").mkdir()
    (root / "class-c/a-folder/day 2/notes.md").write_text("nothing\n")
    (bench("class-c/two-rests", without_files) / "rest-2.csv").write_text("t,x\n")
    bench("class-d/bench-1", without_files)
    (root / "class-d/house.toml").write_text('[numbers]\ngravity = "9.83 m/s^2"\n')
    bench("class-e/bench-1")
    (root / "class-e/house.toml").write_text("[numbers]\ngravity = 3\n")
    return root
