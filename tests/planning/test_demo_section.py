"""The demo's invented section."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from joulebook.planning.demo_section import demo_benches, write_demo
from joulebook.planning.simulate import simulate_bench
from joulebook.readers.bench_file import read_bench


def test_six_benches_are_written_and_read(tmp_path: Path) -> None:
    paths = write_demo(tmp_path)
    assert [path.parent.name for path in paths] == [f"bench-{number}" for number in range(1, 7)]
    benches = [read_bench(path) for path in paths]
    assert len({bench.title for bench in benches}) == 6
    assert [len(bench.launches) for bench in benches] == [3, 1, 1, 1, 2, 5]
    assert all(bench.rest is not None for bench in benches)
    assert benches[4].inputs["cart.mass"].value == 412.6
    assert next(paths[5].parent.glob("launch-1.*")).suffix == ".xlsx"
    assert ";" in (paths[1].parent / "launch.csv").read_text(encoding="utf-8-sig").splitlines()[1]


def test_the_same_seed_writes_the_same_files(tmp_path: Path) -> None:
    for name, seed in (("one", 4), ("two", 4), ("three", 5)):
        write_demo(tmp_path / name, seed=seed)
    files = sorted(path.relative_to(tmp_path / "one") for path in (tmp_path / "one").rglob("*") if path.is_file())
    assert all((tmp_path / "one" / path).read_bytes() == (tmp_path / "two" / path).read_bytes() for path in files)
    launch = Path("bench-1") / "launch-1.csv"
    assert (tmp_path / "one" / launch).read_bytes() != (tmp_path / "three" / launch).read_bytes()


def test_each_bench_shows_its_story() -> None:
    sound, commas, angle, blind, grams, shelf = (
        simulate_bench(bench.design, np.random.default_rng(3)) for bench in demo_benches()
    )
    for simulated in (sound, commas, blind, grams, shelf):
        setup, stated = simulated.design.setup, simulated.bench.inputs
        if "track.angle" in stated:
            assert abs(stated["track.angle"].value - setup.angle) <= 0.25
    assert angle.bench.inputs["track.angle"].value - angle.design.setup.angle > 2.0
    assert grams.bench.inputs["cart.mass"].value == 1000.0 * grams.design.setup.mass
    for simulated in (sound, commas, angle, grams, shelf):
        assert all(reading.distance.min() > 0.2 for reading in simulated.readings)
    assert blind.readings[0].spoiled.sum() >= 5
