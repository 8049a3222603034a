"""The stored checks: written once, read back exactly, refused with every fault when damaged."""

from __future__ import annotations

import datetime
import json
import math
from pathlib import Path
from typing import Any

import pytest

from joulebook.errors import InputError, OutputError
from joulebook.planning.kit_history import check_path, last_check, read_check, store_check

DAY = datetime.date(2031, 9, 1)


def document(**changes: Any) -> dict[str, Any]:
    friction = {"value": 0.0045, "u": 0.0002, "u_repeat": 0.0001, "dof": None, "n": 4, "note": ""}
    bench = {"bench": "Bench 1", "folder": "bench-1", "measures": {"friction": friction, "a_later_measure": {}}}
    return {"format": "joulebook/kit-check-1", "date": DAY.isoformat(), "benches": [bench], **changes}


def write(path: Path, content: object) -> Path:
    path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    return path


def test_round_trip(tmp_path: Path) -> None:
    stored = store_check(tmp_path / "new" / "history", DAY, json.dumps(document()))
    assert stored.name == "kit-check-2031-09-01.json"
    assert [path.name for path in stored.parent.iterdir()] == [stored.name]
    found = read_check(stored)
    assert found.date == DAY
    (bench,) = found.benches
    assert (bench.title, bench.folder) == ("Bench 1", "bench-1")
    measure = bench.measures["friction"]
    assert (measure.value, measure.u, measure.u_repeat, measure.dof, measure.n) == (0.0045, 0.0002, 0.0001, math.inf, 4)
    # What a later version adds is passed over.
    assert set(bench.measures) == {"friction"}


def test_a_stored_check_is_never_written_over(tmp_path: Path) -> None:
    store_check(tmp_path, DAY, "first")
    for attempt in (lambda: check_path(tmp_path, DAY), lambda: store_check(tmp_path, DAY, "second")):
        with pytest.raises(OutputError, match="2031-09-01 is stored already") as caught:
            attempt()
        assert "--date" in caught.value.remedy
    assert (tmp_path / "kit-check-2031-09-01.json").read_text() == "first"
    assert len(list(tmp_path.iterdir())) == 1


def test_history_that_is_a_file(tmp_path: Path) -> None:
    file = write(tmp_path / "file", "x")
    with pytest.raises(OutputError, match=r"file where the folder should be|cannot be stored"):
        store_check(file, DAY, "text")


def test_the_last_earlier_check_is_taken(tmp_path: Path) -> None:
    for day in ("2031-03-01", "2031-07-04", "2031-09-01", "2032-01-01"):
        write(tmp_path / f"kit-check-{day}.json", document(date=day))
    write(tmp_path / "kit-check-2031-13-77.json", "no day")
    write(tmp_path / "notes.json", "{}")
    found = last_check(tmp_path, before=DAY)
    assert found is not None
    assert found.date == datetime.date(2031, 7, 4)
    assert last_check(tmp_path, before=datetime.date(2031, 3, 1)) is None
    assert last_check(tmp_path / "nothing", before=DAY) is None


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("{", "not JSON"),
        ("[" * 5000, "not JSON"),
        ([], "format is 'None'"),
        ({"format": "joulebook/audit-1"}, "'joulebook/audit-1', not 'joulebook/kit-check-1'"),
        (document(date="in autumn"), "'in autumn' is no day"),
        (document(benches="none"), "no list of benches"),
        (document(benches=[{"bench": "Bench 1"}]), r"benches\[0\]: holds no measures"),
    ],
)
def test_what_is_no_check(tmp_path: Path, content: object, message: str) -> None:
    with pytest.raises(InputError, match=message) as caught:
        read_check(write(tmp_path / "check.json", content))
    assert caught.value.remedy


@pytest.mark.parametrize(
    "change", [{"value": None}, {"value": "much"}, {"u": -1.0}, {"dof": 0}, {"n": True}, {"value": float("nan")}]
)
def test_damaged_measures_are_named(tmp_path: Path, change: dict[str, Any]) -> None:
    damaged = document()
    damaged["benches"][0]["measures"]["friction"] |= change
    with pytest.raises(InputError, match=r"benches\[0\]\.measures\.friction") as caught:
        read_check(write(tmp_path / "check.json", damaged))
    assert len(caught.value.faults) == 1


def test_a_check_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_check(tmp_path / "nothing.json")


def test_a_file_far_too_large(tmp_path: Path) -> None:
    path = tmp_path / "large.json"
    with path.open("wb") as stream:
        stream.truncate(17 * 1024 * 1024)
    with pytest.raises(InputError, match="far too large"):
        read_check(path)
