"""The text of a bench file: what is no TOML, and what is written."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.readers.bench_texts import DESIGN, only

from joulebook.engine.bench import Bench, Override
from joulebook.errors import BenchFileError, Fault, OutputError
from joulebook.readers.bench_file import read_bench
from joulebook.readers.bench_text import parse_bench_file, write_bench


@pytest.mark.parametrize(
    "encode", [lambda t: t.encode("utf-8-sig"), lambda t: t.replace("\n", "\r\n").encode(), lambda t: t.encode("utf-16")]
)
def test_other_editors_files(bench_of: Callable[..., Bench], encode: Callable[[str], bytes]) -> None:
    assert bench_of(encode(DESIGN)).title == "Bench 3"


def test_a_bench_file_under_another_name(folder: Path) -> None:
    (folder / "morning.toml").write_text(DESIGN, encoding="utf-8")
    assert read_bench(folder / "morning.toml").title == "Bench 3"
    with pytest.raises(BenchFileError, match=r"holds no bench\.toml.* There is morning\.toml"):
        read_bench(folder)


@pytest.mark.parametrize(
    ("text", "where", "what"),
    [
        ('[cart]\nmass = 0.25 kg\n', "line 2, column 13", "in: mass = 0.25 kg"),
        ('[cart]\nmass = 0,25\n', "line 2, column 9", "in: mass = 0,25"),
        ('[cart]\nmass = "0.25 kg\n', "line 2, column 16", 'in: mass = "0.25 kg'),
        ('[cart]\n[cart]\n', "line 2, column 6", "twice|in: "),
        ('a = """x', "end of the file", "."),
        (f"a = {'9' * 5000}", "", "."),
        (b'title = "B"\n[track]\nangle = "9.8\xb0"\n', "line 3", "code 176 is not UTF-8"),
        (b"\xff\xfe\x00", "line 1", "is not UTF-8"),
    ],
)  # fmt: skip
def test_what_is_no_toml_is_told_with_line_and_column(
    faults_of: Callable[..., tuple[Fault, ...]], text: str | bytes, where: str, what: str
) -> None:
    only(faults_of(text), where, what, ".")


@pytest.mark.parametrize(("text", "what"), [("a = " + "[" * 20000, "nested too deeply"), ("#" * 70000, "longer than 64 KiB")])
def test_hostile_files(bench_of: Callable[..., Bench], text: str, what: str) -> None:
    with pytest.raises(BenchFileError, match=what):
        bench_of(text)


def test_places_without_a_bench_file(tmp_path: Path) -> None:
    with pytest.raises(BenchFileError, match=r"holds no bench\.toml. Write one, as docs/inputs.md shows") as caught:
        read_bench(tmp_path)
    assert caught.value.code == "no-bench-file"
    with pytest.raises(BenchFileError, match="cannot be read"):
        parse_bench_file(tmp_path)
    with pytest.raises(BenchFileError, match="no such file or folder"):
        read_bench(tmp_path / "nowhere")
    with pytest.raises(BenchFileError, match=r"no such file or folder|cannot be a path"):
        read_bench("a\x00b")
    with pytest.raises(BenchFileError, match="cannot be a path"):
        read_bench("x" * 5000)


def test_a_written_bench_reads_back(folder: Path) -> None:
    values = {
        "title": "Bench 3", "experiment": "ramp-launch", "cart.mass": "0.2513 kg ± 0.0005 kg", "cart.rotating_fraction": 0.015,
        "track.angle": "9.8 deg ± 0.25 deg", "sensor": {"placed": "top"}, "place.gravity": None,
        "files": {"rest": "rest.csv", "launch": ["launch-1.csv", {"file": "launch-2.csv"}]},
        "launches": {"launch-1.csv": {"release": "1.13 s", "phases": [["handled", 0.0, 0.8]]}}, "house.tolerance": 0.04,
    }  # fmt: skip
    text = write_bench(values)
    assert '[launches."launch-1.csv"]\nrelease = "1.13 s"\n' in text
    assert "gravity" not in text
    (folder / "bench.toml").write_text(text, encoding="utf-8")
    bench = read_bench(folder)
    assert bench.inputs["cart.mass"].value == 0.2513
    assert bench.inputs["place.gravity"].origin == "default"
    assert bench.overrides == {"launch-1.csv": Override(1.13, None, (("handled", 0.0, 0.8),))}
    assert (bench.tolerance, bench.word("sensor.placed"), len(bench.launches)) == (0.04, "top", 2)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), object(), "\ud800", [None]])
def test_what_a_bench_file_cannot_hold(value: object) -> None:
    with pytest.raises(OutputError, match=r"^cart\.mass: .* cannot stand in a bench file") as caught:
        write_bench({"cart.mass": value})
    assert caught.value.remedy


texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
scalars = texts | st.integers(-(2**63), 2**63) | st.floats(allow_nan=False, allow_infinity=False) | st.booleans()
leaves = st.recursive(
    scalars, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3), max_leaves=8
)
tables = st.dictionaries(
    texts, st.recursive(leaves, lambda inner: st.dictionaries(texts, inner, max_size=3), max_leaves=4), max_size=4
)


@given(st.dictionaries(texts.filter(lambda name: "." not in name), tables | scalars, max_size=4))
def test_any_mapping_is_written_so_that_toml_reads_it_back(values: dict[str, object]) -> None:
    assert tomllib.loads(write_bench(values)) == values
