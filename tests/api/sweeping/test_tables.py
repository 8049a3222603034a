"""Tables of records: numbers instead of files, what a stranger's table may leave out, and what is wrong with one."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from pyarrow import parquet

import joulebook
from joulebook.api.sweeping.inputs import open_input
from joulebook.api.sweeping.records import write_records
from joulebook.api.sweeping.tables import FORMAT, record_schema
from joulebook.errors import InputError

Row = dict[str, Any]


def written(path: Path, rows: list[Row], schema: pa.Schema | None = None, **options: Any) -> Path:
    parquet.write_table(pa.Table.from_pylist(rows, schema=schema), path, **options)
    return path


def swept(source: Path) -> list[dict[str, Any]]:
    return json.loads(json.dumps(list(joulebook.sweep(source, method="linear"))))  # type: ignore[no-any-return]


@pytest.fixture(scope="module")
def numbers(sound_bench: Path) -> dict[str, tuple[list[float], list[float]]]:
    """Times and distances of the records of the sound bench, by file."""
    found = {}
    for name in ("rest.csv", "launch.csv"):
        record = joulebook.read_record(sound_bench / name)
        found[name] = (record.time.tolist(), record.distance.tolist())
    return found


@pytest.fixture(scope="module")
def text(sound_bench: Path) -> str:
    """Its bench file without the table [files]."""
    return (sound_bench / "bench.toml").read_text().partition("[files]")[0]


def rows(text: str, numbers: dict[str, tuple[list[float], list[float]]], **names: str) -> list[Row]:
    """Return a bench as lists of numbers; names: what its records are called."""
    return [
        {"bench": "b", "bench_file": text, "kind": kind, "file": names.get(kind, f"{kind}.csv"), "time_s": numbers[f"{kind}.csv"][0],
         "distance_m": numbers[f"{kind}.csv"][1]}
        for kind in ("rest", "launch")
    ]  # fmt: skip


def test_numbers_are_as_good_as_files(
    sound_bench: Path, text: str, numbers: dict[str, tuple[list[float], list[float]]], tmp_path: Path
) -> None:
    """Every digit of a number counts: the energies are those of the file that was read."""
    (line,) = swept(written(tmp_path / "a.parquet", rows(text, numbers)))
    audit = json.loads(json.dumps(joulebook.audit(sound_bench, method="linear").to_dict()))
    assert line["folder"] == "b"
    for key in ("quantities", "verdict", "findings", "phases", "budgets"):
        assert line["audit"][key] == audit[key], key


def test_kinds_count_where_names_say_nothing(
    text: str, numbers: dict[str, tuple[list[float], list[float]]], tmp_path: Path
) -> None:
    """A table of a study calls its records what it likes; the bench file need not name them."""
    named = swept(written(tmp_path / "a.parquet", rows(text, numbers)))
    other = swept(written(tmp_path / "b.parquet", rows(text, numbers, rest="0017.csv", launch="0018.csv")))
    assert other[0]["audit"]["quantities"] == named[0]["audit"]["quantities"]
    assert [each["file"] for each in other[0]["audit"]["records"]] == ["0017.csv", "0018.csv"]


def test_a_bench_file_that_names_its_records_counts_before_kinds(
    text: str, numbers: dict[str, tuple[list[float], list[float]]], tmp_path: Path
) -> None:
    found = rows(text + '\n[files]\nrest = "rest.csv"\nlaunch = "launch.csv"\n', numbers)
    for row in found:
        row["kind"] = "launch"
    (line,) = swept(written(tmp_path / "a.parquet", found))
    assert [each["file"] for each in line["audit"]["launches"]] == ["launch.csv"]


def test_a_launch_that_is_set_aside(text: str, numbers: dict[str, tuple[list[float], list[float]]], tmp_path: Path) -> None:
    """What its name would make a launch is none where the kind says so, in a bench file of any encoding."""
    found = rows(text, numbers)
    found.append({**found[1], "kind": "other", "file": "launch-2.csv"})
    for encoding in ("utf-8", "utf-8-sig", "utf-16"):
        for row in found:
            row["bench_file"] = text.encode(encoding)
        (line,) = swept(written(tmp_path / "a.parquet", found))
        assert [each["file"] for each in line["audit"]["launches"]] == ["launch.csv"], encoding


def test_a_sample_without_distance_is_a_blank_cell(
    text: str, numbers: dict[str, tuple[list[float], list[float]]], tmp_path: Path
) -> None:
    found = rows(text, numbers)
    found[1]["distance_m"] = [None, float("nan"), *found[1]["distance_m"][2:]]
    (line,) = swept(written(tmp_path / "a.parquet", found))
    assert [each["missing"] for each in line["audit"]["records"]] == [0, 2]


def test_other_types_that_mean_the_same(text: str, numbers: dict[str, tuple[list[float], list[float]]], tmp_path: Path) -> None:
    """Large texts, dictionaries, columns that nobody asked for, every row group of its own."""
    plain = swept(written(tmp_path / "a.parquet", rows(text, numbers)))
    numbers_type = pa.large_list(pa.float64())
    schema = pa.schema(
        {"remark": pa.string(), "bench": pa.dictionary(pa.int32(), pa.string()), "bench_file": pa.large_string(),
         "house_file": pa.null(), "kind": pa.dictionary(pa.int8(), pa.string()), "file": pa.large_string(),
         "time_s": numbers_type, "distance_m": numbers_type}
    )  # fmt: skip
    assert swept(written(tmp_path / "b.parquet", rows(text, numbers), schema, row_group_size=1)) == plain


def test_the_schema_is_the_documented_one(sound_bench: Path, tmp_path: Path) -> None:
    write_records(sound_bench, tmp_path / "a.parquet")
    table = parquet.read_table(tmp_path / "a.parquet")
    assert table.schema.equals(record_schema())
    assert table.schema.metadata[b"format"].decode() == FORMAT
    found = table.to_pylist()
    assert [(row["bench"], row["kind"], row["file"]) for row in found] == [
        ("bench-1", "launch", "launch.csv"), ("bench-1", "rest", "rest.csv"),
    ]  # fmt: skip
    assert found[0]["bench_file"] == (sound_bench / "bench.toml").read_bytes()
    assert found[1]["bench_file"] is None
    assert [row["content"] for row in found] == [(sound_bench / row["file"]).read_bytes() for row in found]


def test_a_table_is_written_in_groups(sound_bench: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("joulebook.api.sweeping.records._GROUP_BYTES", 1)
    root = tmp_path / "root"
    for name in ("a", "b", "c"):
        (root / name).mkdir(parents=True)
        (root / name / "bench.toml").write_text("# nothing yet\n")
    told: list[tuple[int, int]] = []
    assert write_records(root, tmp_path / "a.parquet", progress=lambda *now: told.append(now)) == 3
    assert parquet.ParquetFile(tmp_path / "a.parquet").num_row_groups == 3
    assert told == [(1, 3), (2, 3), (3, 3)]
    assert list(open_input(tmp_path / "a.parquet").names) == ["a", "b", "c"]


def test_a_bench_without_records_or_bench_file(tmp_path: Path) -> None:
    nothing = {"bench": "b", "bench_file": None, "kind": None, "file": None, "content": None}
    (line,) = swept(written(tmp_path / "a.parquet", [nothing], record_schema()))
    assert line["error"]["code"] == "no-bench-file"


_SOUND = {"bench": "b", "bench_file": "", "file": "launch.csv", "content": b"1,2\n"}


@pytest.mark.parametrize(
    ("found", "message"),
    [
        ([{"bench": "b", "content": b""}], "This table has no column bench_file and no column file."),
        ([{"bench": "b", "bench_file": "", "file": "a"}], "This table has neither a column content nor columns time_s and distance_m."),
        ([{**_SOUND, "bench": 3}], "Column bench of this table holds int64, not text."),
        ([{**_SOUND, "bench_file": 3}], "Column bench_file of this table holds int64, not text or bytes."),
        ([{**_SOUND, "time_s": ["a"], "distance_m": [1.0]}], "Column time_s of this table holds list<element: string>, not lists of"),
        ([_SOUND, {**_SOUND, "bench": "c"}, _SOUND], "The rows of 'b' do not stand together: row 3 is one of them too."),
        ([{**_SOUND, "bench": "a"}, {**_SOUND, "bench": None}], "Row 2 of this table has no text in column bench."),
        ([{**_SOUND, "bench": ""}], "Row 1 of this table has no text in column bench."),
    ],
)  # fmt: skip
def test_a_table_that_cannot_be_swept(tmp_path: Path, found: list[Row], message: str) -> None:
    with pytest.raises(InputError, match=re.escape(message)) as caught:
        open_input(written(tmp_path / "a.parquet", found))
    assert caught.value.code == "record-table"
    assert caught.value.remedy.startswith("Write it as docs/sweep.md describes it")


def test_a_table_without_rows(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"There is no row in this table\."):
        open_input(written(tmp_path / "a.parquet", [], record_schema()))


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ([{"kind": "jump"}, {}], "b: 'jump' is no kind of record."),
        ([{}, {"file": "launch.csv"}], "b: It has two rows of the file 'launch.csv'."),
        ([{}, {"bench_file": "# another\n"}], "b: Its rows do not agree on bench_file."),
        ([{"content": None, "time_s": [0.0, 0.1], "distance_m": [1.0]}, {}], "b: 'launch.csv' has 2 times and 1 distances."),
        ([{"content": None, "time_s": [0.0], "distance_m": None}, {}], "b: 'launch.csv' has 1 times and no distances."),
    ],
)  # fmt: skip
def test_a_bench_whose_rows_contradict_each_other(tmp_path: Path, changes: list[Row], message: str) -> None:
    """It has its line, and the others have theirs."""
    found = [{**_SOUND, **change} for change in changes]
    found[1].setdefault("file", "rest.csv")
    if "file" not in changes[1]:
        found[1]["file"] = "rest.csv"
    schema = record_schema().set(1, pa.field("bench_file", pa.string()))
    lines = swept(written(tmp_path / "a.parquet", [*found, {**_SOUND, "bench": "c"}], schema))
    assert [line["folder"] for line in lines] == ["b", "c"]
    assert lines[0]["error"]["code"] == "record-table"
    assert lines[0]["error"]["message"] == message
    assert lines[0]["error"]["remedy"]
    assert lines[1]["error"]["code"] == "bench-file"


def test_a_damaged_table(sound_bench: Path, tmp_path: Path) -> None:
    path = tmp_path / "a.parquet"
    write_records(sound_bench, path)
    content = bytearray(path.read_bytes())
    parts = parquet.ParquetFile(path).metadata.row_group(0).column(5)
    start = parts.dictionary_page_offset or parts.data_page_offset
    content[start : start + 8] = b"\xff" * 8
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"This table is damaged \("):
        swept(path)


def test_memory_does_not_grow_with_the_table(tmp_path: Path) -> None:
    """One row group of 40 MB of records is read some rows at a time."""
    import numpy as np

    noise = np.random.default_rng(1)
    found = [{**_SOUND, "bench": f"b-{number}", "content": noise.bytes(5_000)} for number in range(8_000)]
    path = written(tmp_path / "a.parquet", found, compression="none")
    assert parquet.ParquetFile(path).num_row_groups == 1
    del found
    most = 0
    before = pa.total_allocated_bytes()
    for _ in open_input(path).benches(whole=True):
        most = max(most, pa.total_allocated_bytes() - before)
    assert 0 < most < 20_000_000
