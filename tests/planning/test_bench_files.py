"""The bench file of a planned bench: read back it is the plan's, a measurement wins, and no student learns a result from it."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import joulebook
from joulebook.experiments.ramp_inputs import INPUTS, SETTINGS
from joulebook.experiments.ramp_plan import Plan
from joulebook.planning.bench_files import bench_text
from joulebook.planning.plan import make_plan
from joulebook.planning.set_ups import design_of, statements_of
from joulebook.planning.simulate import simulate_bench
from joulebook.planning.stated_design import read_stated
from joulebook.readers.kit_file import make_kit

KITS: list[dict[str, object]] = [
    {},
    {"scale": "1.001(4)", "mass": "0.4 kg ± 0.01 kg (triangular)", "placed": "bottom"},
    {"methods": [{"name": "level", "u": "0.12 deg"}], "numbers": 1},
    {"stiffness": "200 N/m", "strokes": ["3 cm", "4 cm"], "length": "1.6 m", "gravity": "9.812 m/s^2 ± 0.001 m/s^2"},
]


def folder_of(tmp_path: Path, entries: Mapping[str, object]) -> tuple[Plan, Any]:
    """Write a planned bench with simulated records, and return the plan and the bench's assignment."""
    kit = make_kit(values=entries)
    plan = make_plan(kit)
    item = plan.assignments[1]
    rng = np.random.default_rng(3)
    simulated = simulate_bench(design_of(kit, item.forecast.set_up, rng), rng)
    for record in (*simulated.bench.launches, simulated.bench.rest):
        assert record is not None
        rows = [f"{t:.4f},{d:.4f}" for t, d in zip(record.time, record.distance, strict=True)]
        (tmp_path / record.file).write_text("\n".join(["time (s),distance (m)", *rows]) + "\n")
    (tmp_path / "bench.toml").write_text(bench_text(kit, item), encoding="utf-8")
    return plan, item


@pytest.mark.parametrize("entries", KITS)
def test_bench_files_can_be_read_back(tmp_path: Path, entries: dict[str, object]) -> None:
    """With its records beside it each bench file is audited as it stands; the inputs are those of the plan."""
    plan, item = folder_of(tmp_path, entries)
    audit = joulebook.audit(tmp_path, method="linear")
    assert audit.title == "Bench 2"
    inputs = {each.name: each for each in audit.inputs}
    for statement in statements_of(plan.kit, item.forecast.set_up):
        made = inputs[statement.name]
        assert made.value == pytest.approx(statement.value, rel=2e-3), statement.name
        assert made.u == pytest.approx(statement.standard_uncertainty, rel=0.06), statement.name
    found = audit.quantities["relative_difference"]
    assert isinstance(found, joulebook.Quantity)
    assert found.u == pytest.approx(item.forecast.u_loss, rel=0.25)


@pytest.mark.parametrize("entries", KITS)
def test_what_nobody_measured_is_planned_and_what_the_kit_states_is_given(tmp_path: Path, entries: dict[str, object]) -> None:
    plan, _ = folder_of(tmp_path, entries)
    audit = joulebook.audit(tmp_path, method="linear")
    origins = {each.name: each.origin for each in audit.inputs if not each.name.startswith("datum.")}
    measured = {"cart.mass", "track.angle", "track.rise", "track.along"}
    for name, origin in origins.items():
        assert origin == ("planned" if name in measured or name in plan.kit.defaults else "given"), name
    # A planned value is no fault of a bench: nothing to stop at or to look at comes of it.
    assert not [finding.code for finding in audit.findings if finding.severity != "note"]


def test_a_reading_wins_over_the_plan_by_taking_away_the_sign(tmp_path: Path) -> None:
    folder_of(tmp_path, {})
    file = tmp_path / "bench.toml"
    text = file.read_text(encoding="utf-8")
    for key, reading in (("mass", "0.5013 kg ± 0.0005 kg"), ("rise", "6.3 cm ± 0.2 cm"), ("along", "100.0 cm ± 0.1 cm")):
        text, count = re.subn(rf"# {key} = \"[^\"]*\"", f'{key} = "{reading}"', text)
        assert count == 1
    file.write_text(text, encoding="utf-8")
    inputs = {each.name: each for each in joulebook.audit(tmp_path, method="linear").inputs}
    for name, value in (("cart.mass", 0.5013), ("track.rise", 0.063), ("track.along", 1.0)):
        assert (inputs[name].value, inputs[name].origin) == (pytest.approx(value), "given")


def test_the_file_says_of_each_planned_line_that_it_is_planned() -> None:
    plan = make_plan(make_kit())
    text = bench_text(plan.kit, plan.assignments[0])
    lines = text.partition("[plan]\n")[2].splitlines()
    planned = [line for line in lines if not line.startswith("#")]
    known = {spec.name for spec in (*INPUTS, *SETTINGS)}
    assert planned and all("# planned: " in line and line.partition(" = ")[0] in known for line in planned)
    assert sum("replace by what you measure" in line for line in planned) == 3
    document = tomllib.loads(text)
    assert document["cart"] == {} and document["track"] == {}  # room to write, and nothing that passes for measured


@pytest.mark.parametrize("entries", KITS)
def test_the_file_tells_no_student_what_to_find(entries: dict[str, object]) -> None:
    plan = make_plan(make_kit(values=entries))
    for item in plan.assignments:
        text = bench_text(plan.kit, item)
        told = " ".join(re.findall(r"[\d.]+ (?:J|m/s)(?![\w/^])", text))
        assert told == "" and "%" not in text
        assert not re.search(r"speed|energy|loss|expect", text)
        for number in (item.forecast.travel, item.forecast.height, item.forecast.kinetic, item.forecast.potential):
            assert f"{number:.4g}" not in text and f"{100 * number:.3g} cm" not in text
        # How to set up is told.
        assert f"{item.forecast.set_up.rate:g} readings a second" in text
        assert f"Cock the plunger by {100 * item.forecast.set_up.stroke:.1f} cm" in text


def test_a_rehearsal_takes_the_planned_set_up(tmp_path: Path) -> None:
    """Before the class what is planned is what the bench will be."""
    plan, item = folder_of(tmp_path, {})
    (stated,) = read_stated(tmp_path / "bench.toml")
    values = {each.name: each.value for each in stated.statements}
    assert values["cart.mass"] == pytest.approx(item.forecast.set_up.mass)
    assert values["track.rise"] == pytest.approx(np.sin(np.radians(item.forecast.set_up.angle)), abs=5e-4)
    assert stated.placed == plan.kit.placed and stated.length == pytest.approx(plan.kit.track_length)
