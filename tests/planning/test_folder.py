"""Bench folders: written in every dialect and read back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from joulebook.errors import OutputError
from joulebook.planning.folder import DIALECTS, smeared_velocity, write_bench_folder
from joulebook.planning.simulate import SimulatedBench, random_design, simulate_bench
from joulebook.readers.bench_file import read_bench


def made(seed: int, **changes: object) -> SimulatedBench:
    rng = np.random.default_rng([2, seed])
    return simulate_bench(replace(random_design(rng), **changes), rng)  # type: ignore[arg-type]


@pytest.mark.parametrize("dialect", DIALECTS)
@pytest.mark.parametrize("seed", [1, 2])
def test_what_is_written_is_read_back(tmp_path: Path, dialect: str, seed: int) -> None:
    simulated = made(seed, title='The "third" bench \\ upstairs')
    bench = read_bench(write_bench_folder(simulated, tmp_path, dialect=dialect))
    assert bench.title == 'The "third" bench \\ upstairs'
    assert list(bench.inputs) == list(simulated.bench.inputs)
    for name, stated in simulated.bench.inputs.items():
        read = bench.inputs[name]
        assert (read.value, read.u) == (pytest.approx(stated.value), pytest.approx(stated.u))
        assert (read.unit, read.distribution, read.origin) == (stated.unit, stated.distribution, stated.origin)
    assert dict(bench.settings) == dict(simulated.bench.settings)
    assert bench.rest is not None
    assert simulated.bench.rest is not None
    for read_record, record in zip(
        (bench.rest, *bench.launches), (simulated.bench.rest, *simulated.bench.launches), strict=True
    ):
        assert read_record.distance == pytest.approx(record.distance, abs=1e-9, nan_ok=True)
        assert read_record.time == pytest.approx(record.time, abs=1e-9)


def test_the_same_bench_gives_the_same_bytes(tmp_path: Path) -> None:
    for dialect in DIALECTS:
        for name in ("one", "two"):
            write_bench_folder(made(3), tmp_path / dialect / name, dialect=dialect)
        for path in (tmp_path / dialect / "one").iterdir():
            assert path.read_bytes() == (tmp_path / dialect / "two" / path.name).read_bytes()


def test_blank_cells_stay_blank(tmp_path: Path) -> None:
    simulated = made(4)
    ranger = replace(simulated.design.ranger, blank_rate=0.3)
    blank = made(4, ranger=ranger)
    bench = read_bench(write_bench_folder(blank, tmp_path, dialect="decimal-comma"))
    assert np.array_equal(np.isnan(bench.launches[0].distance), np.isnan(blank.bench.launches[0].distance))
    assert np.isnan(bench.launches[0].distance).any()


def test_a_file_of_velocities_holds_no_distance(tmp_path: Path) -> None:
    path = write_bench_folder(made(5, velocity_only=True), tmp_path, dialect="plain")
    heading = next(path.parent.glob("launch*.csv")).read_text().splitlines()[0]
    assert heading == "Time (s),Velocity (m/s)"
    assert read_bench(path).launches[0].velocity_only


def test_the_velocity_column_smears_as_real_ones_do() -> None:
    """BENCH_FACTS: the 3:2:1 weighted mean of the ±1, ±2, ±3-sample central differences; exact for a straight line."""
    time = np.arange(20) * 0.1
    assert smeared_velocity(time, 0.4 * time)[1:-1] == pytest.approx(0.4)
    step = np.where(np.arange(20) >= 10, 1.0, 0.0)
    # A jump between samples 9 and 10: at 9 and 10 all three differences see it, (3/2 + 2/4 + 1/6)/6 per step of 0.1 s.
    assert smeared_velocity(time, step)[9:11] == pytest.approx((1.5 + 0.5 + 1.0 / 6.0) / 6.0 / 0.1)
    assert smeared_velocity(time, step)[12] == pytest.approx(1.0 / 6.0 / 6.0 / 0.1)
    assert smeared_velocity(time, step)[13] == 0.0
    assert np.isnan(smeared_velocity(time[:2], step[:2])).all()


def test_a_folder_that_cannot_be_written_says_so(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(OutputError, match="cannot be written") as caught:
        write_bench_folder(made(1), tmp_path / "taken")
    assert "Choose a folder" in caught.value.remedy


def test_an_unknown_dialect_is_refused(tmp_path: Path) -> None:
    with pytest.raises(KeyError):
        write_bench_folder(made(1), tmp_path, dialect="parchment")
