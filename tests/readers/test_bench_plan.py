"""The table [plan]: used while nothing was measured, aside as soon as something was, and said to be a plan."""

from __future__ import annotations

from pathlib import Path

import pytest

from joulebook.engine.house import House
from joulebook.errors import BenchFileError
from joulebook.readers.bench_file import read_bench
from joulebook.uncertainty import Input

PLAN = """
[plan]
cart.mass = "0.50 kg ± 0.01 kg"
track.rise = "8.7 cm ± 0.2 cm"
"track.along" = "100 cm ± 0.1 cm"
place.gravity = "9.80 m/s^2 ± 0.05 m/s^2"
sensor.placed = "bottom"
"""


def bench(tmp_path: Path, text: str, **options: object) -> dict[str, Input]:
    (tmp_path / "bench.toml").write_text(text, encoding="utf-8")
    return dict(read_bench(tmp_path, with_records=False, **options).inputs)  # type: ignore[arg-type]


def test_planned_inputs_are_used_and_called_planned(tmp_path: Path) -> None:
    inputs = bench(tmp_path, PLAN)
    assert (inputs["cart.mass"].value, inputs["cart.mass"].origin) == (0.5, "planned")
    assert inputs["track.along"].origin == inputs["track.rise"].origin == "planned"
    assert inputs["track.rise"].value == pytest.approx(0.087)
    assert inputs["cart.mass"].note == "From the table [plan]. Written as 0.50 kg ± 0.01 kg."
    assert inputs["cart.drag_area"].origin == "default"
    assert read_bench(tmp_path, with_records=False).word("sensor.placed") == "bottom"


def test_a_reading_wins_over_a_plan(tmp_path: Path) -> None:
    inputs = bench(tmp_path, '[cart]\nmass = "0.5013 kg"\n[track]\nrise = "8.9 cm"\n[sensor]\nplaced = "top"\n' + PLAN)
    assert (inputs["cart.mass"].value, inputs["cart.mass"].origin) == (0.5013, "given")
    assert (inputs["track.rise"].origin, inputs["track.along"].origin) == ("given", "planned")
    assert read_bench(tmp_path, with_records=False).word("sensor.placed") == "top"


def test_another_way_of_measuring_puts_the_planned_way_aside(tmp_path: Path) -> None:
    inputs = bench(tmp_path, '[track]\nangle = "5.1 deg"\n' + PLAN)
    assert inputs["track.angle"].origin == "given"
    assert not {"track.rise", "track.along"} & inputs.keys()


def test_an_option_wins_over_a_plan(tmp_path: Path) -> None:
    inputs = bench(tmp_path, PLAN, values={"cart.mass": "0.4 kg", "track.angle": "5 deg"})
    assert (inputs["cart.mass"].value, inputs["cart.mass"].origin) == (0.4, "given")
    assert "track.rise" not in inputs


def test_the_house_rules_gravity_wins_over_a_plan(tmp_path: Path) -> None:
    house = House(gravity=Input("place.gravity", 9.8123, "m/s^2", 0.0001))
    assert bench(tmp_path, PLAN, house=house)["place.gravity"].value == 9.8123
    assert bench(tmp_path, PLAN)["place.gravity"].origin == "planned"


@pytest.mark.parametrize(
    ("text", "where", "what"),
    [
        ('plan = "soon"', "plan", "must be a table."),
        ('[plan]\ncart.mas = "1 kg"', "plan.cart.mas", "is no name that joulebook knows. Did you mean cart.mass?"),
        ('[plan]\nsoon = "1 kg"', "plan.soon", "is no name that joulebook knows."),
        ('[plan]\ncart.mass = "1 s"', "plan.cart.mass", "time"),
        ('[plan]\ncart.mass = "-1 kg"', "plan.cart.mass", "below the limit"),
        ('[plan]\nsensor.placed = "left"', "plan.sensor.placed", "none of its words"),
        ('[plan]\ntrack.rise = "9 cm"', "track.along", "is missing"),
    ],
)
def test_faults_of_a_plan_are_told_where_they_are(tmp_path: Path, text: str, where: str, what: str) -> None:
    with pytest.raises(BenchFileError) as caught:
        (tmp_path / "launch.csv").write_text("time (s),distance (m)\n0,1\n1,2\n", encoding="utf-8")
        (tmp_path / "bench.toml").write_text(text + "\n", encoding="utf-8")
        read_bench(tmp_path)
    told = {fault.where: str(fault) for fault in caught.value.faults}
    assert where in told and what in told[where], told
