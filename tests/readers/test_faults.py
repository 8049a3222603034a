"""Every message with which a record file is refused: what, where, and what to do."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest

from joulebook.errors import RecordError
from joulebook.readers.limits import MAX_BYTES, MAX_CELLS, MAX_COLUMNS, MAX_FAULTS, MAX_ROWS, MAX_RUNS
from joulebook.readers.records import list_runs, read_record, read_records


def refused(content: bytes | str, **options: object) -> RecordError:
    """Return the error that reading raises; it names the file and a remedy, and `list_runs` never fails otherwise."""
    data = content.encode() if isinstance(content, str) else content
    with pytest.raises(RecordError) as caught:
        read_record(data, name="launch.csv", **options)  # type: ignore[arg-type]
    error = caught.value
    assert error.code == "record"
    assert error.source == "launch.csv"
    assert error.message.endswith(".")
    assert error.remedy or all(fault.remedy for fault in error.faults)
    for fault in error.faults:
        assert fault.where and fault.what.endswith(".") and fault.remedy.endswith(".")
    return error


def rows(count: int, start: int = 0) -> str:
    return "".join(f"{k * 0.05:.2f},{0.5 + 0.1 * np.sin(k * 0.3):.3f}\n" for k in range(start, start + count))


@pytest.mark.parametrize("content", [b"", b"\n\n", b"  \r\n", b"\xef\xbb\xbf", b"\xff\xfe", b"\x00\x00\x00", b"\x1a"])
def test_empty(content: bytes) -> None:
    assert refused(content).message == "the file is empty."


def test_too_large() -> None:
    error = refused(b"1,2\n" * (MAX_BYTES // 4 + 1))
    assert error.message == f"the file has {MAX_BYTES + 4:,} bytes, more than the {MAX_BYTES:,} that a record may have."


def test_too_large_on_disk_is_not_read_whole(tmp_path: Path) -> None:
    path = tmp_path / "launch.csv"
    with path.open("wb") as file:
        file.truncate(1 << 34)
    with pytest.raises(RecordError, match="more than the 8,388,608 that a record may have"):
        read_record(path)


def test_too_many_rows() -> None:
    error = refused("1,2\n" * (MAX_ROWS + 1))
    assert error.message == f"the table has {MAX_ROWS + 1:,} rows, more than the {MAX_ROWS:,} that a record may have."


def test_too_many_columns() -> None:
    error = refused((",".join("1" * (MAX_COLUMNS + 1)) + "\n") * 10)
    assert error.message == f"the table has {MAX_COLUMNS + 1} columns, more than the {MAX_COLUMNS} that a record may have."


def test_too_many_cells() -> None:
    line = ",".join("1" * MAX_COLUMNS) + "\n"
    count = MAX_CELLS // MAX_COLUMNS + 1
    error = refused(line * count)
    assert f"cells, more than the {MAX_CELLS:,} that a record may have." in error.message


BINARIES = {
    b"%PDF-1.7\n": "a PDF document",
    b"\x89PNG\r\n\x1a\n": "a picture (PNG)",
    b"\xff\xd8\xff\xe0": "a picture (JPEG)",
    b"GIF89a": "a picture (GIF)",
    gzip.compress(b"1,2\n", mtime=0): "a gzip archive",
    b"BZh91AY": "a bzip2 archive",
    b"7z\xbc\xaf\x27\x1c": "a 7z archive",
    b"Rar!\x1a\x07": "a RAR archive",
    b"SQLite format 3\x00": "a database (SQLite)",
    b"\x7fELF\x02": "a program",
    b"MZ\x90\x00": "a program",
}


@pytest.mark.parametrize("start", BINARIES)
def test_known_binaries_are_named(start: bytes) -> None:
    assert refused(start + bytes(range(256))).message == f"the file is {BINARIES[start]}, not a table of numbers."


def test_binary() -> None:
    noise = np.random.default_rng(5).integers(0, 256, 5000, dtype=np.uint8).tobytes()
    assert refused(b"A" + noise).message == "the file is binary, not a table of numbers."
    assert refused(b"0.1,0.2\n" * 10 + b"\x00\x01" + b"0.1,0.2\n").message == "the file is binary, not a table of numbers."


def test_text_that_breaks_its_own_byte_order_mark() -> None:
    content = ("t,x\n" + rows(20)).encode("utf-16")
    broken = content[:40] + b"\x00\xd8\x00\xd8" + content[44:]
    assert refused(broken).message == "the file says that it is UTF-16, but byte 41 does not fit."


def test_text_cut_off_inside_a_character_is_read() -> None:
    content = ("t,x\n" + rows(20)).encode("utf-16")
    assert read_record(content[:-1]).samples == 20


@pytest.mark.parametrize("start", ["<!DOCTYPE html><html>", "<html><table>", "<?xml version='1.0'?><a>", "\n <table><tr>"])
def test_web_page(start: str) -> None:
    assert refused(start + rows(20)).message == "the file is a web page or XML document, not a table of numbers."


def test_rich_text() -> None:
    assert refused("{\\rtf1 " + rows(20)).message == "the file is a word-processor document (RTF), not a table of numbers."


def test_too_many_runs() -> None:
    text = ("t (s),x (m)\n" + rows(6)) * (MAX_RUNS + 1)
    assert (
        refused(text).message == f"the file falls into {MAX_RUNS + 1:,} runs, more than the {MAX_RUNS:,} that a record may have."
    )
    assert "runs, more than" in refused(rows(6) * (MAX_RUNS + 1)).message


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(RecordError) as caught:
        read_record(tmp_path / "no.csv")
    assert caught.value.message == "the file cannot be opened (No such file or directory)."
    assert str(tmp_path) in caught.value.remedy
    with pytest.raises(RecordError, match=r"the file cannot be opened \(Is a directory\)"):
        read_record(tmp_path)
    with pytest.raises(RecordError, match="the file cannot be opened"):
        read_record("bad\x00name")


def test_no_numbers() -> None:
    error = refused("the cart went up\nand came down\n")
    assert error.message == "there are no rows of numbers among the 2 rows; the first reads “the cart went up”."
    for read in (list_runs, read_records):
        with pytest.raises(RecordError, match="there are no rows of numbers"):
            read(b"the cart went up\n")


def test_too_few_samples() -> None:
    error = refused("Time (s),Position (m)\n" + rows(4))
    assert [str(fault) for fault in error.faults] == [
        "the table: only 4 samples have both a time and a distance; a record needs at least 5. Export the whole record."
    ]
    assert read_record(("Time (s),Position (m)\n" + rows(5)).encode()).samples == 5


def test_too_few_distances() -> None:
    text = "Time (s),Position (m)\n" + "".join(f"{k * 0.05:.2f},{'0.512' if k == 3 else ''}\n" for k in range(30))
    (fault,) = refused(text, position_column=2).faults
    assert fault.what == "only 1 sample has both a time and a distance; a record needs at least 5."


def test_no_time_column() -> None:
    error = refused("Velocity (m/s),Position (m)\n" + rows(20).replace("0.", "1."))
    assert error.message == (
        "the table is not understood; its columns of numbers are: column 1 “Velocity (m/s)”, column 2 “Position (m)”."
    )
    assert [fault.what for fault in error.faults] == ["no column of time was found."]
    assert "time_column" in error.faults[0].remedy


def test_a_counting_column_is_not_time() -> None:
    text = "".join(f"{k},{0.5 + 0.1 * np.sin(k):.3f}\n" for k in range(1, 30))
    assert [fault.what for fault in refused(text).faults] == ["no column of time was found (column 1 only counts samples)."]


def test_no_distance_column() -> None:
    error = refused("Time (s),Force (N)\n" + rows(20))
    assert error.message == "the table is not understood; its columns of numbers are: column 1 “Time (s)”, column 2 “Force (N)”."
    assert [fault.what for fault in error.faults] == ["no column of distance was found."]
    assert "position_column" in error.faults[0].remedy


def test_neither_time_nor_distance_is_one_error() -> None:
    error = refused("Force (N),Velocity (m/s)\n" + rows(20))
    assert [fault.what for fault in error.faults] == [
        "no column of time was found.",
        "no column of distance was found (column 2 “Velocity (m/s)” is a velocity, which is not used).",
    ]


def test_many_columns_are_counted() -> None:
    head = ",".join(f"Force {k} (N)" for k in range(15))
    assert " and 3 more." in refused(head + "\n" + (",".join("2" * 15) + "\n") * 9).message


def test_all_spoilt_cells_are_told_together() -> None:
    lines = ("Time (s),Position (m)\n" + rows(40)).splitlines()
    lines[5] = "0.20,0.5x"
    lines[11] = "o.50,0.512"
    lines[20] = "bad,worse"
    error = refused("\n".join(lines))
    assert error.message == "the record has 3 faults."
    assert [(fault.where, fault.what) for fault in error.faults] == [
        ("line 6, column 2", "“0.5x” is not a distance."),
        ("line 12, column 1", "“o.50” is not a time."),
        ("line 21", "“bad; worse” stands among the samples and holds no numbers."),
    ]


def test_a_line_without_numbers_among_the_samples() -> None:
    lines = ("Time (s),Position (m)\n" + rows(40)).splitlines()
    lines[20] = "bad,worse"
    (fault,) = refused("\n".join(lines)).faults
    assert (fault.where, fault.what) == ("line 21", "“bad; worse” stands among the samples and holds no numbers.")


def test_many_spoilt_cells_are_counted() -> None:
    lines = ("Time (s),Position (m)\n" + rows(100)).splitlines()
    for k in range(10, 35):
        lines[k] = lines[k] + "?!"
    error = refused("\n".join(lines))
    assert error.message == "the record has 25 faults (5 more are not listed)."
    assert len(error.faults) == MAX_FAULTS


def test_a_spoilt_cell_in_another_column_is_no_fault() -> None:
    lines = ("Time (s),Position (m),Force (N)\n" + rows(40).replace("\n", ",1.0\n")).splitlines()
    lines[7] = lines[7].replace(",1.0", ",spoilt")
    assert read_record("\n".join(lines).encode()).samples == 40


def test_ambiguous_commas() -> None:
    text = "Zeit,Weg\n" + "".join(f"{k * 0.05:.2f},{0.5 + 0.01 * k:g}\n".replace(".", ",") for k in range(51))
    error = refused(text)
    assert error.message == (
        "commas stand both between the columns and inside the numbers, so that the numbers cannot be told apart."
    )
    assert "semicolons" in error.remedy


def test_unknown_column() -> None:
    text = "Time (s),Position (m)\n" + rows(20)
    error = refused(text, position_column="Depth")
    assert error.message == (
        "no table has the column asked for (distance “Depth”); "
        "columns of numbers are: column 1 “Time (s)”, column 2 “Position (m)”."
    )
    assert "(time 7, distance “x”)" in refused(text, time_column=7, position_column="x").message
    assert "(distance 0)" in refused(text, position_column=0).message
    assert "(time -1)" in refused(text, time_column=-1).message


def test_same_column_twice() -> None:
    error = refused("Time (s),Position (m)\n" + rows(20), time_column=2, position_column=2)
    assert error.message == "time and distance cannot both be column “2”."


def test_a_position_column_that_is_the_only_time() -> None:
    error = refused("Time (s),Position (m)\n" + rows(20), position_column=1)
    assert [fault.what for fault in error.faults] == ["no column of time was found."]


@pytest.mark.parametrize("unit", ["furlong", "m/s", "N", "cm, parsec"])
def test_unknown_unit(unit: str) -> None:
    error = refused("Time (s),Position (m)\n" + rows(20), unit=unit)
    assert error.message == f"“{unit.split()[-1]}” is no unit of distance or time."


def test_unknown_decimal_mark() -> None:
    assert refused(rows(20), decimal=";").message == "the decimal mark “;” is neither “.” nor “,”."


@pytest.mark.parametrize("run", [0, 3, -1, "third", "", "run"])
def test_unknown_run(run: int | str) -> None:
    text = "Time (s),Position (m)\n" + rows(20) + "\n" + rows(20)
    error = refused(text, run=run)
    shown = str(run) if isinstance(run, int) else f"“{run}”"
    assert error.message == f"there is no run {shown}; the runs are: 1 “Run 1”, 2 “Run 2”."


def test_unknown_run_of_a_file_with_one() -> None:
    assert refused(rows(20), run=2).message == "there is no run 2; the runs are: 1."
    assert read_record(rows(20).encode(), run=1).samples == 20


def test_messages_hold_no_control_characters_and_no_endless_cells() -> None:
    lines = ("Time (s),Position (m)\n" + rows(40)).splitlines()
    lines[5] = "0.20,\x07\x1b[31m" + "z" * 500
    (fault,) = refused("\n".join(lines)).faults
    assert fault.what == "“··[31m" + "z" * 33 + "…” is not a distance."
