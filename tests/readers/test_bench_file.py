"""A whole bench: from a file, without one, and all faults together."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.readers.bench_texts import DESIGN, SHORT, VALUES, csv, only, side_by_side

from joulebook.engine.bench import Bench, Override
from joulebook.engine.record import Record
from joulebook.errors import BenchFileError, Fault, JoulebookError
from joulebook.experiments.ramp_inputs import INPUTS, SETTINGS
from joulebook.readers.bench_file import make_bench, read_bench
from joulebook.readers.bench_text import write_bench

R3 = math.sqrt(3.0)


def test_the_example_of_the_design(bench_of: Callable[..., Bench], folder: Path) -> None:
    bench = bench_of(DESIGN)
    assert (bench.title, bench.experiment, bench.folder, bench.tolerance) == ("Bench 3", "ramp-launch", str(folder), 0.05)
    assert [record.file for record in bench.launches] == ["launch-1.csv", "launch-2.csv"]
    assert bench.rest is not None
    assert bench.rest.file == "rest.csv"
    assert bench.launches[0].content == (folder / "launch-1.csv").read_bytes()
    np.testing.assert_allclose(bench.launches[0].time, np.arange(40) / 20)
    assert list(bench.inputs) == [
        "cart.mass", "cart.rotating_fraction", "cart.drag_area", "track.angle", "sensor.scale", "place.gravity",
        "place.air_density",
    ]  # fmt: skip
    mass, angle = bench.inputs["cart.mass"], bench.inputs["track.angle"]
    assert (mass.value, mass.unit, mass.origin, mass.distribution) == (0.2513, "kg", "given", "rectangular")
    assert mass.u == pytest.approx(0.0005 / R3, rel=1e-15)
    assert angle.u == pytest.approx(0.144, abs=0.0005)  # as DESIGN prints it
    assert angle.note == "Written as 9.8 deg ± 0.25 deg."
    assert dict(bench.settings) == {
        "sensor.placed": "top",
        "sensor.min_range": 0.15,
        "sensor.max_range": None,
        "track.length": 1.2,
    }
    assert (bench.word("sensor.placed"), bench.number("track.length"), bench.number("sensor.max_range")) == ("top", 1.2, None)


@pytest.mark.parametrize(("house", "tolerance"), [("0.1", 0.1), ('"3 %"', 0.03)])
def test_the_teachers_tolerance(bench_of: Callable[..., Bench], house: str, tolerance: float) -> None:
    assert bench_of(f"{SHORT}[house]\ntolerance = {house}\n").tolerance == tolerance


@pytest.mark.parametrize(
    ("more", "where", "what", "remedy"),
    [
        ("[house]\ntolerance = 0\n", "house.tolerance", "0 is not between 0 and 1", "5 %"),
        ('[house]\ntolerance = "5 kg"\n', "house.tolerance", "a mass, but a pure number", "bare number"),
        ("[house]\ntolerence = 0.1\n", "house.tolerence", "no name", r"Did you mean house\.tolerance"),
        ("[reading]\nunits = 'cm'\n", "reading.units", "no name", r"Did you mean reading\.unit\?"),
        ("[reading]\nunit = 3\n", "reading.unit", "must be a text", "unit = "),
        ("[reading]\nrun = [1]\n", "reading.run", "must be a name or a number", "run = 1"),
        ("[reading]\ntime_column = true\n", "reading.time_column", "must be a name or a number", "time_column = 1"),
    ],
)  # fmt: skip
def test_a_fault_in_house_or_reading(
    faults_of: Callable[..., tuple[Fault, ...]], more: str, where: str, what: str, remedy: str
) -> None:
    only(faults_of(DESIGN + more), where, what, remedy)


@pytest.mark.parametrize("table", ["cart", "house", "reading", "launches", "files"])
def test_a_table_must_be_a_table(faults_of: Callable[..., tuple[Fault, ...]], table: str) -> None:
    text = f"{table} = 3\n" + ('[track]\nangle = "9.8 deg"\n' if table == "cart" else SHORT)
    found = {fault.where: fault for fault in faults_of(text)}
    assert found[table].what == "must be a table."
    assert f"[{table}" in found[table].remedy


def test_all_faults_are_told_together(faults_of: Callable[..., tuple[Fault, ...]], folder: Path) -> None:
    """Values, names, files and the records themselves: one error."""
    (folder / "launch-2.csv").write_bytes(b"nothing here\nthat is a number\n")
    text = (
        DESIGN.replace("0.2513 kg ± 0.0005 kg", "0.2513").replace('placed = "top"', 'placed = "left"\ncolour = 3')
        .replace('"rest.csv"', '"rust.csv"').replace("9.80665 m/s^2", "98 m/s^2")
    )  # fmt: skip
    where = [fault.where for fault in faults_of(text + "[house]\ntolerance = 2\n")]
    assert where[:6] == ["sensor.colour", "files.rest", "house.tolerance", "cart.mass", "place.gravity", "sensor.placed"]
    assert all(place.startswith("launch-2.csv") for place in where[6:])
    assert len(where) >= 7


def test_the_error_counts_and_shows_the_faults(bench_of: Callable[..., Bench]) -> None:
    with pytest.raises(BenchFileError, match="there are 2 faults in this bench or its records") as caught:
        bench_of("")
    assert "  - cart.mass: is missing" in str(caught.value)
    assert set(caught.value.to_dict()) == {"code", "message", "remedy"}
    assert caught.value.code == "bench-file"


def test_a_bench_without_a_file(folder: Path) -> None:
    """Paths, bytes and records side by side, with the same checks and defaults as a file's."""
    record = Record("made.csv", np.arange(5.0), np.ones(5))
    bench = make_bench(
        values=VALUES, launches=[folder / "launch-1.csv", ("mine.csv", csv()), record], rest=str(folder / "rest.csv")
    )
    assert [launch.file for launch in bench.launches] == ["launch-1.csv", "mine.csv", "made.csv"]
    assert bench.launches[2] is record
    assert bench.rest is not None
    assert bench.rest.file.endswith("rest.csv")
    assert bench.folder == ""
    assert bench.inputs["track.angle"].u == 0.5 / R3
    assert bench.inputs["place.gravity"].origin == "default"


def test_overrides_without_a_file(folder: Path) -> None:
    mine, every = Override(release=1.0), Override(apex=1.5)
    bench = make_bench(values=VALUES, launches=[("a.csv", csv()), ("b.csv", csv())], overrides={"a.csv": mine, "": every})
    assert bench.overrides == {"a.csv": mine, "b.csv": every}


def test_faults_without_a_file(folder: Path) -> None:
    with pytest.raises(BenchFileError) as caught:
        make_bench(
            title="",
            values={"track.angel": "9.8 deg", "cart.mass": "250"},
            launches=[folder / "nothing.csv", ("bad.csv", b"words"), folder / "launch-1.csv", folder / "launch-1.csv"],
            rest="x\x00",
            overrides={"c.csv": Override(release=1.0), "bad.csv": Override(release=1.0)},
            tolerance="7",
        )
    where = [fault.where for fault in caught.value.faults]
    assert where[:8] == ["track.angel", "launch 1", "rest", "launch 4", "c.csv", "house.tolerance", "track.angle", "cart.mass"]
    assert where[8] == "title"
    assert set(where[9:]) == {place for place in where if place.startswith("bad.csv")} != set()
    assert caught.value.source == ""
    with pytest.raises(BenchFileError, match="there is no launch record"):
        make_bench(values=VALUES, launches=[])


def test_a_run_of_a_file_elsewhere(folder: Path) -> None:
    (folder / "runs.csv").write_bytes(side_by_side())
    bench = make_bench(values=VALUES, launches=[f"{folder}/runs.csv#2", f"{folder}/runs.csv#1"])
    assert [(one.file, float(one.distance[0])) for one in bench.launches] == [("runs.csv#2", 2.0), ("runs.csv#1", 1.0)]


names = st.sampled_from(
    [spec.name.partition(".")[2] for spec in (*INPUTS, *SETTINGS)]
    + ["rest", "launch", "tolerance", "release", "phases", "run", "unit"]
)
headings = st.sampled_from(
    ["cart", "track", "sensor", "place", "files", "reading", "house", "launches", 'launches."launch-1.csv"', "x"]
)
things = st.one_of(
    st.sampled_from(['"9.8 deg ± 0.25 deg"', '"0.25 kg"', "0.25", '"top"', "[]", "{}", "nan", "-inf", "true",
         '"launch-1.csv"', '["rest.csv#2"]', '"1 m ± 2 %"']),
    st.text(max_size=12).map(lambda text: write_bench({"a": text.encode("utf-8", "ignore").decode()}).strip()[4:]),
    st.floats().map(repr),
    st.text(max_size=8),
)  # fmt: skip
lines = st.one_of(st.tuples(names, things).map(" = ".join), headings.map("[{}]".format), st.text(max_size=10))


@given(st.lists(lines, max_size=12).map("\n".join) | st.text(max_size=80))
def test_any_text_is_a_bench_or_a_clear_error(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    folder = tmp_path_factory.getbasetemp() / "any-bench"
    if not folder.exists():
        folder.mkdir()
        (folder / "launch-1.csv").write_bytes(csv())
    (folder / "bench.toml").write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        assert read_bench(folder).launches
    except JoulebookError as error:
        assert error.remedy
        assert str(error)
