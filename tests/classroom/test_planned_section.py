"""A section from a plan or from bench files: planned values, never measured ones, and every fault told."""

from __future__ import annotations

import io
import json
import zipfile

import pytest

from joulebook.classroom.planned_section import read_planned
from joulebook.errors import InputError

BENCH = b"""title = "By the window"
[cart]
# mass = "..."
rotating_fraction = "0.015 \xc2\xb1 0.015"
[track]
length = "1.20 m"
[sensor]
placed = "top"
[files]
launch = ["launch.csv"]
[plan]
cart.mass = "0.25 kg \xc2\xb1 0.01 kg"
track.angle = "6.0 deg \xc2\xb1 0.5 deg"
"""


SET_UP = {"mass_kg": 0.25, "angle_deg": 6.0, "track_length_m": 1.2, "placed": "top"}


def _plan(**more: object) -> bytes:
    plan = {"format": "joulebook/plan-1", "title": "Plan", "benches": [{"title": "Bench 1", "set_up": SET_UP}], **more}
    return json.dumps(plan).encode()


def _zip(files: dict[str, bytes]) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return packed.getvalue()


def test_bench_files_give_planned_values_in_natural_order() -> None:
    files = [(f"plan/bench-{n}/bench.toml", BENCH.replace(b"6.0 deg", f"{n}.0 deg".encode())) for n in (10, 2, 1)]
    planned = read_planned(files)
    assert [bench.values["track.angle"] for bench in planned.benches] == [f"{n}.0 deg ± 0.5 deg" for n in (1, 2, 10)]
    assert planned.benches[0].values["cart.mass"] == "0.25 kg ± 0.01 kg"
    assert planned.benches[0].values["sensor.placed"] == "top"
    assert planned.benches[0].title == "By the window"


def test_a_zip_with_a_house_file() -> None:
    house = b'title = "Fourth period"\n[lesson]\nlaunches = 2\n'
    planned = read_planned([("plan.zip", _zip({"a/bench-1/bench.toml": BENCH, "a/house.toml": house, "a/kit.toml": b"x = 1"}))])
    assert planned.title == "Fourth period"
    assert planned.house["lesson"] == {"launches": 2}
    assert len(planned.benches) == 1


def test_a_plan_in_json() -> None:
    planned = read_planned([("plan.json", _plan())])
    assert planned.benches[0].values == {
        "cart.mass": "0.25 kg", "track.angle": "6 deg", "track.length": "1.2 m", "sensor.placed": "top",
    }  # fmt: skip


def test_a_slope_that_was_measured_stands_for_the_planned_one() -> None:
    content = BENCH.replace(b"length =", b'rise = "10 cm"\nalong = "100 cm"\nlength =')
    values = read_planned([("bench.toml", content)]).benches[0].values
    assert values["track.rise"] == "10 cm"
    assert "track.angle" not in values


@pytest.mark.parametrize(
    ("files", "told"),
    [
        ([], "no plan and no bench file"),
        ([("notes.txt", b"x")], "no plan and no bench file"),
        ([("plan.json", b"{}")], "no plan of the format joulebook/plan-1"),
        ([("plan.json", b"[1")], "not a plan that can be read"),
        ([("plan.json", _plan(benches=[{"title": "x", "set_up": {"mass_kg": "heavy"}}]))], "not a plan that can be read"),
        ([("plan.json", _plan(benches=[{"title": "x", "set_up": {**SET_UP, "placed": "up"}}]))], "not a plan that can be read"),
        ([("bench.toml", b"title = ")], "is not TOML"),
        ([("bench.toml", b"\xff\xfe")], "is not TOML"),
        ([("bench.toml", b"a" * 300_000)], "more than 256 kB"),
        ([("bench.toml", BENCH.replace(b"0.25 kg", b"0.25 m"))], "cart.mass"),
        ([("bench.toml", BENCH.replace(b"length", b"lenght"))], "track.lenght"),
        ([("plan.zip", b"PK\x03\x04broken")], "cannot be opened"),
        ([("plan.zip", _zip({f"{n}.toml": b"" for n in range(201)}))], "too much for a plan"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_told(files: list[tuple[str, bytes]], told: str) -> None:
    with pytest.raises(InputError) as error:
        read_planned(files)
    assert told in str(error.value)
    assert error.value.remedy


def test_every_fault_of_every_file_is_told_together() -> None:
    bad = BENCH.replace(b"0.25 kg", b"0.25 m")
    with pytest.raises(InputError) as error:
        read_planned([("a/bench.toml", bad), ("b/bench.toml", bad)])
    assert {fault.where.split(":")[0] for fault in error.value.faults} == {"a/bench.toml", "b/bench.toml"}
