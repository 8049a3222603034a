"""A long measurement goes on where it was ended, and measures anew what was made otherwise."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from benchmarks.cells import measure_cells, read_cells, workers

NAMES = ("a", "b", "c")


class Bench:
    """Measures cells, and is ended before a cell of this name."""

    def __init__(self, *, ended_before: str = "") -> None:
        self.measured: list[str] = []
        self.ended_before = ended_before

    def __call__(self, name: str) -> dict[str, Any]:
        if name == self.ended_before:
            raise KeyboardInterrupt
        self.measured.append(name)
        return {"value": 2 * NAMES.index(name)}


def test_a_run_goes_on_where_it_was_ended(tmp_path: Path) -> None:
    path, settings = tmp_path / "cells.jsonl", {"benches": 2}
    ended = Bench(ended_before="c")
    with pytest.raises(KeyboardInterrupt):
        measure_cells(path, NAMES, ended, settings=settings)
    assert ended.measured == ["a", "b"]
    assert not path.exists()
    part = tmp_path / "cells.jsonl.part"
    whole = part.read_text(encoding="utf-8")
    part.write_text(whole + '{"cell":"c","val', encoding="utf-8")  # killed while it wrote
    second = Bench()
    lines = measure_cells(path, NAMES, second, settings=settings)
    assert second.measured == ["c"]
    assert [line["cell"] for line in lines] == list(NAMES)
    assert [line["value"] for line in lines] == [0, 2, 4]
    assert read_cells(path) == lines
    assert not part.exists()


def test_a_finished_run_begins_anew_unless_it_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "cells.jsonl"
    measure_cells(path, NAMES[:2], Bench(), settings={"benches": 2})
    kept, anew, other = Bench(), Bench(), Bench()
    measure_cells(path, NAMES, kept, settings={"benches": 2}, keep=True)
    assert kept.measured == ["c"]
    measure_cells(path, NAMES, anew, settings={"benches": 2})
    assert anew.measured == list(NAMES)
    measure_cells(path, NAMES, other, settings={"benches": 3}, keep=True)
    assert other.measured == list(NAMES)


def test_a_line_of_another_version_is_measured_again(tmp_path: Path) -> None:
    path = tmp_path / "cells.jsonl"
    lines = measure_cells(path, NAMES, Bench(), settings={})
    path.write_text("".join(json.dumps({**line, "version": "0.0"}) + "\n" for line in lines), encoding="utf-8")
    again = Bench()
    measure_cells(path, NAMES, again, settings={}, keep=True)
    assert again.measured == list(NAMES)


def test_no_file_has_no_lines(tmp_path: Path) -> None:
    assert read_cells(tmp_path / "none.jsonl") == []


@pytest.mark.parametrize("count", [1, pytest.param(2, marks=pytest.mark.slow)])
def test_workers_answer_in_order(count: int) -> None:
    with workers(count) as over:
        assert over(abs, range(-5, 1)) == [5, 4, 3, 2, 1, 0]
