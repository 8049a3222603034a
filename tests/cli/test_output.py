"""Results are written whole or not at all, and never over what was read."""

from __future__ import annotations

import json
import math
import os
from pathlib import Path

import click
import numpy as np
import pytest

from joulebook.cli.output import json_text, open_output, refuse_to_overwrite, write_output
from joulebook.errors import OutputError


def test_text_is_utf8_and_the_old_file_is_replaced(tmp_path: Path) -> None:
    target = tmp_path / "ledger.txt"
    target.write_text("old")
    write_output(str(target), "½mv² ± µ")
    assert target.read_bytes() == "½mv² ± µ".encode()
    assert os.listdir(tmp_path) == ["ledger.txt"]


def test_a_block_that_fails_leaves_the_old_file(tmp_path: Path) -> None:
    target = tmp_path / "ledger.txt"
    target.write_text("old")
    with pytest.raises(ZeroDivisionError), open_output(str(target)) as stream:
        stream.write(b"half")
        stream.write(b"%d" % (1 // 0))
    assert target.read_text() == "old"
    assert os.listdir(tmp_path) == ["ledger.txt"]


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    link = tmp_path / "link.txt"
    link.symlink_to(tmp_path / "real/file.txt")
    write_output(str(link), "x")
    assert link.is_symlink()
    assert (tmp_path / "real/file.txt").read_text() == "x"


def test_a_device_is_written_directly() -> None:
    write_output(os.devnull, "x")
    assert not Path(os.devnull).is_file()


def test_a_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"This is a folder. Name a file inside it."):
        write_output(str(tmp_path), "x")


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"There is no folder .*nowhere. Make the folder first or name another place."):
        write_output(str(tmp_path / "nowhere/file.txt"), "x")


def test_a_name_that_is_too_long_is_refused(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"It cannot be written: .*too long.* Name another place, or free this one."):
        write_output(str(tmp_path / ("x" * 5000)), "x")


def test_inputs_are_never_written_over(tmp_path: Path) -> None:
    read = tmp_path / "rest.csv"
    with pytest.raises(click.UsageError, match=r"--json would write over .*rest.csv, which is one of the files to be read"):
        refuse_to_overwrite({"--json": str(tmp_path / "." / "rest.csv")}, [read])


def test_two_results_need_two_places() -> None:
    with pytest.raises(click.UsageError, match=r"--json and --csv cannot both be written to -. Name two places."):
        refuse_to_overwrite({"--json": "-", "--html": None, "--csv": "-"}, [])
    refuse_to_overwrite({"--json": "-", "--html": None, "--csv": "trace.csv"}, ["rest.csv"])


def test_json_has_no_numbers_that_json_does_not_know() -> None:
    value = {"a": math.inf, "b": [math.nan, 1.5], "c": np.float64(2.5), "d": np.array([1, 2]), "e": True, "f": None, "g": "θ"}
    text = json_text(value)
    assert json.loads(text, parse_constant=pytest.fail) == {
        "a": None, "b": [None, 1.5], "c": 2.5, "d": [1, 2], "e": True, "f": None, "g": "θ",
    }  # fmt: skip
    assert "θ" in text


def test_json_refuses_what_it_cannot_say() -> None:
    with pytest.raises(TypeError, match="no JSON form for set"):
        json_text({1, 2})
