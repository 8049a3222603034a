"""One bench from a folder or from records and measurements: the same bench, and clear refusals."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from joulebook import Override
from joulebook.api import bench_of
from joulebook.api.benches import full_names
from joulebook.errors import BenchFileError, InputError

TIMES = np.arange(60) * 0.05
RECORD = "time (s),distance (m)\n" + "".join(f"{t:.2f},{1.2 - 0.3 * abs(np.sin(t)):.4f}\n" for t in TIMES)
BENCH = """title = "Bench 3"
experiment = "ramp-launch"
[cart]
mass = "0.25 kg ± 0.01 kg"
[track]
angle = "9.8 deg ± 0.25 deg"
[files]
launch = ["launch-1.csv", "launch-2.csv"]
[launches."launch-1.csv"]
release = "0.4 s"
apex = "1.5 s"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "bench.toml").write_text(BENCH, encoding="utf-8")
    for name in ("launch-1.csv", "launch-2.csv"):
        (tmp_path / name).write_text(RECORD)
    return tmp_path


def test_a_folder_and_its_parts_give_the_same_bench(folder: Path) -> None:
    read = bench_of(folder)
    launches = [folder / "launch-1.csv", str(folder / "launch-2.csv")]
    made = bench_of(launch=launches, angle="9.8 deg ± 0.25 deg", mass="0.25 kg ± 0.01 kg", title="Bench 3")
    assert made.title == read.title == "Bench 3"
    assert dict(made.inputs) == dict(read.inputs)
    assert [record.sha256 for record in made.launches] == [record.sha256 for record in read.launches]


@pytest.mark.parametrize("launch", [("launch-1.csv", RECORD.encode()), [("launch-1.csv", RECORD.encode())]])
def test_a_launch_may_be_bytes(launch: object) -> None:
    bench = bench_of(launch=launch, angle="9.8 deg", mass="0.25 kg")  # type: ignore[arg-type]
    assert [record.file for record in bench.launches] == ["launch-1.csv"]
    assert bench.launches[0].samples == 60


def test_values_win_over_the_file(folder: Path) -> None:
    bench = bench_of(folder, angle="8 deg", values={"sensor.placed": "top"})
    assert bench.inputs["track.angle"].value == 8.0
    assert bench.inputs["cart.mass"].value == 0.25
    assert bench.settings["sensor.placed"] == "top"


def test_title_and_tolerance_win_over_the_file(folder: Path) -> None:
    bench = bench_of(folder, title="Ours", tolerance="10 %")
    assert (bench.title, bench.tolerance) == ("Ours", pytest.approx(0.1))


def test_a_persons_choices_win_part_by_part(folder: Path) -> None:
    bench = bench_of(folder, overrides={"": Override(release=0.5), "launch-2.csv": Override(edges=(("climb", 0.5, 1.0),))})
    assert bench.overrides == {
        "launch-1.csv": Override(release=0.5, apex=1.5),
        "launch-2.csv": Override(edges=(("climb", 0.5, 1.0),)),
    }


@pytest.mark.parametrize(
    ("overrides", "message"),
    [
        (
            {"launch-9.csv": Override(release=0.5)},
            r"launch-9.csv: is none of this bench's launches. They are launch-1.csv, launch-2",
        ),
        ({"launch-2.csv": Override(release=50.0)}, r"50 s is outside the record. Write a time between 0 s and 2.95 s."),
    ],
)
def test_choices_that_do_not_fit(folder: Path, overrides: dict[str, Override], message: str) -> None:
    with pytest.raises(BenchFileError, match=message):
        bench_of(folder, overrides=overrides)


def test_nothing_given() -> None:
    with pytest.raises(
        InputError, match=r"There is nothing to audit. Name a bench file or folder, or give launch, angle and mass."
    ):
        bench_of()


def test_a_bench_names_its_own_records(folder: Path) -> None:
    with pytest.raises(InputError, match=r"A bench names its own records. Leave out the bench, or the launch and rest records."):
        bench_of(folder, launch=folder / "launch-1.csv")


def test_a_bench_that_was_read_takes_no_values(folder: Path) -> None:
    bench = bench_of(folder)
    assert dict(bench_of(bench).inputs) == dict(bench.inputs)
    with pytest.raises(InputError, match=r"This bench was read already: track.angle can no longer be set."):
        bench_of(bench, angle="5 deg")


def test_another_experiment_is_refused(folder: Path) -> None:
    with pytest.raises(InputError, match=r"This bench's experiment is ramp-launch, not pendulum. Leave out the experiment."):
        bench_of(folder, experiment="pendulum")


@pytest.mark.parametrize("tolerance", [0.0, 1.5, "120 %"])
def test_a_tolerance_that_is_none(folder: Path, tolerance: str | float) -> None:
    with pytest.raises(InputError, match=r"is not between 0 and 1. Write it like 0.05"):
        bench_of(folder, tolerance=tolerance)


def test_short_names_are_spelt_out() -> None:
    values = {"angle": "9 deg", "cart.mass": "1 kg", "placed": "top", "no_such": "1"}
    assert full_names(values) == {"track.angle": "9 deg", "cart.mass": "1 kg", "sensor.placed": "top", "no_such": "1"}


def test_every_short_name_is_unambiguous() -> None:
    from joulebook.experiments import EXPERIMENTS

    for experiment in EXPERIMENTS.values():
        names = [spec.name for spec in experiment.inputs] + [spec.name for spec in experiment.settings]
        short = [name.rpartition(".")[2] for name in names]
        assert len(set(short)) == len(short)
        assert list(full_names(dict.fromkeys(short, "1"), experiment.name)) == names


def test_one_thing_under_two_names() -> None:
    with pytest.raises(InputError, match=r"track.angle is given twice: '9 deg' and '8 deg'. Keep one."):
        full_names({"angle": "9 deg", "track.angle": "8 deg"})
