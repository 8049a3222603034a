"""The cost of a sweep: the exponent is the right one, benches are linked whole, children measure themselves, the page tells it."""

from __future__ import annotations

import math
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from benchmarks.cells import read_cells
from benchmarks.cost import demo_originals, exponent, linked_benches, main, measure_samples, measure_script
from benchmarks.cost_page import cost_goals, cost_section
from scipy.stats import linregress

import joulebook
from joulebook.planning.design import random_design
from joulebook.planning.folder import write_bench_folder
from joulebook.planning.simulate import simulate_bench


def test_the_exponent_of_a_power_is_its_power() -> None:
    size = np.array([100.0, 300.0, 1000.0, 3000.0])
    assert exponent(size, 7.0 * size**1.25) == pytest.approx((1.25, 0.0), abs=1e-9)


def test_the_exponent_has_the_standard_error_of_a_straight_line() -> None:
    """SciPy's linregress on the logarithms."""
    size, cost = [100.0, 320.0, 1000.0, 3100.0, 9900.0], [1.1, 3.0, 11.0, 29.0, 104.0]
    beside = linregress(np.log(size), np.log(cost))
    assert exponent(size, cost) == pytest.approx((beside.slope, beside.stderr), rel=1e-12)


def test_an_exponent_needs_three_sizes() -> None:
    with pytest.raises(ValueError, match="needs 3 sizes or more, got 2"):
        exponent([1.0, 2.0], [1.0, 2.0])


@pytest.fixture(scope="module")
def originals(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Two benches, of one launch and of two, instead of the demo's six."""
    place = tmp_path_factory.mktemp("originals")
    return [
        write_bench_folder(
            simulate_bench(random_design(rng := np.random.default_rng(7), rate=20.0, launches=count, hands=False), rng),
            place / f"bench-{count}",
        ).parent
        for count in (1, 2)
    ]  # fmt: skip


def test_linked_benches_are_whole(originals: list[Path], tmp_path: Path) -> None:
    assert linked_benches(tmp_path, 7, originals) == 8
    found = sorted(each.parent for each in tmp_path.rglob("bench.toml"))
    assert len(found) == 8
    for place in found:
        original = next(each for each in originals if len(list(each.iterdir())) == len(list(place.iterdir())))
        for file in original.iterdir():
            assert (place / file.name).read_bytes() == file.read_bytes()


def test_the_demo_has_six_benches(tmp_path: Path) -> None:
    folders = demo_originals(tmp_path)
    assert len(folders) == 6
    assert all((folder / "bench.toml").is_file() for folder in folders)


def test_samples_are_as_many_as_asked_for() -> None:
    few, many = measure_samples(150, budget=0.0), measure_samples(1500, budget=0.0)
    assert few["samples"] == pytest.approx(150, abs=5)
    assert many["samples"] == pytest.approx(1500, abs=20)
    for each in (few, many):
        assert min(each[name] for name in ("from_files_s", "from_memory_s", "loadtxt_s")) > 0.0


def test_the_script_is_timed_for_every_launch_of_the_demo(tmp_path: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = measure_script(demo_originals(tmp_path), turns=1)
    assert found["launches"] == 13
    # A sweep does all that the script does, and finds first what that is handed.
    assert found["sweep_s"] > found["processor_s"] > 0.0


@pytest.mark.slow
def test_a_small_suite(originals: list[Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Real children over linked benches: what they count is what a sweep of the same benches gives."""
    monkeypatch.setattr("benchmarks.cost.SIZES", ())
    monkeypatch.setattr("benchmarks.cost.demo_originals", lambda folder: originals)
    monkeypatch.setattr("benchmarks.cost._TURNS", 1000)
    out = tmp_path / "cost.jsonl"
    main(["--quick", "--out", str(out)])
    lines = {line["cell"]: line for line in read_cells(out)}
    assert list(lines) == ["benches 30", "script", "workers"]
    swept = lines["benches 30"]
    assert (swept["benches"], swept["launches"], swept["refused"]) == (30, 45, 0)
    assert len(swept["processor_s"]) == 1
    assert swept["processor_s"][0] > 0.0
    # A process with NumPy and SciPy in it, in kB; and its peak never falls.
    assert 20_000 < swept["ready_kB"][0] <= swept["peak_kB"][0] < 2_000_000
    assert len(lines["workers"]["one_s"]) == len(lines["workers"]["bare_two_s"]) == 1


def bench_line(benches: int, seconds: float, megabytes: float) -> dict[str, Any]:
    return {
        "cell": f"benches {benches}", "benches": benches, "launches": 2 * benches, "refused": 0, "processor_s": [seconds],
        "peak_kB": [1024.0 * megabytes],
    }  # fmt: skip


def script_line(swept: float) -> dict[str, Any]:
    return {"cell": "script", "launches": 10, "processor_s": 0.010, "sweep_s": 0.010 * swept}


def workers_line(two: float) -> dict[str, Any]:
    return {"cell": "workers", "benches": 600, "one_s": [10.0, 10.0], "two_s": [two, two], "bare_one_s": [4.0], "bare_two_s": [2.0]}


def test_the_section_of_what_meets_its_goals_has_nothing_short() -> None:
    short: list[str] = []
    rows = [bench_line(size, size / 250.0, 80.0 + math.log10(size)) for size in (100, 1000, 10_000, 100_000)]
    results = [*rows, script_line(2.0), workers_line(5.2)]
    text = cost_section(results, short)
    assert short == []
    assert "A sweep from files takes 2.0 times as long for a launch as `curve_fit` with `uncertainties` (goal 3 at most)." in text
    assert "to the power 1.000 ± 0.000" in text
    assert "| 100,000 | 200,000 | 400.0 | 250 | 1.00 | 85 |" in text
    assert "From 1,000 to 100,000 benches the peak memory becomes 1.02 times as large" in text
    assert "sweep 600 benches 1.923 times as fast as one" in text
    assert "gains 2.00 in the same turns" in text
    assert [each[2:] for each in cost_goals(results)] == [
        ("250 at 100,000", True), ("2.0", True), ("1.000 ± 0.000 at 100,000", True), ("1.02 at 100,000", True), ("1.923", True),
    ]  # fmt: skip


def test_the_section_says_what_falls_short() -> None:
    short: list[str] = []
    rows = [bench_line(size, 0.05 * size**1.1, 0.01 * size + 70.0) for size in (100, 1000, 10_000)]
    results = [*rows, script_line(62.8), workers_line(8.0)]
    cost_section(results, short)
    for words in (
        "audits 8 benches a second", "to the power 1.100 ± 0.000", "grows 2.12-fold", "up to 10,000 benches", "1.250 times as fast",
        "takes 62.8 times as long for a launch as `curve_fit`",
    ):  # fmt: skip
        assert any(words in each for each in short), (words, short)
    assert [met for *_, met in cost_goals(results)] == [False] * 5
    # What is flat as far as it was measured has not been shown to be flat.
    flat = [bench_line(size, size / 250.0, 80.0) for size in (100, 1000, 10_000)]
    assert [met for *_, met in cost_goals(flat)] == [True, True, False]
    assert cost_section([], []) == ""
    assert cost_goals([]) == []


def test_the_section_fits_long_records_alone() -> None:
    sizes = (100, 300, 1000, 3000, 10_000, 30_000)
    rows = [
        {"cell": f"samples {n}", "samples": n, "from_files_s": 0.01 + 1e-6 * n if n < 3000 else 1e-6 * n**1.2, "from_memory_s": 1e-6 * n,
         "loadtxt_s": 1e-7 * n}
        for n in sizes
    ]  # fmt: skip
    text = cost_section(rows, [])
    assert "From 3,000 samples on, the time grows as their number to the power 1.20 ± 0.00 from files and 1.00 ± 0.00 in memory." in text
    assert "| 100 | 10.1 | 0.1 | 1010 |" in text


def test_the_children_use_this_package() -> None:
    from benchmarks.cost import environment

    found = environment()
    assert found["PYTHONPATH"].split(":")[0] == str(Path(joulebook.__file__).parents[1])
    assert found["OPENBLAS_NUM_THREADS"] == "1"
