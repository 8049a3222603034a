"""Advice: one change at a time, what to avoid, and the path of an improving bench."""

from __future__ import annotations

from dataclasses import replace

import pytest

from joulebook.experiments.ramp_plan import SetUp
from joulebook.planning.advice import beyond_the_kit, cautions, changes, path, percent, say_change, slip_angles
from joulebook.planning.forecasts import Place, best_place, forecast, forecast_of
from joulebook.planning.predict import Grid, predict
from joulebook.readers.kit_file import make_kit


@pytest.fixture(scope="module")
def grid() -> Grid:
    return predict(make_kit())


@pytest.fixture(scope="module")
def place(grid: Grid) -> Place:
    found = best_place(grid)
    assert found is not None
    return found


def start(grid: Grid, **changed: object) -> SetUp:
    kit = grid.kit
    base = SetUp(0.5, 5.0, 0.9, 0.05, 20.0, kit.methods[0], 1)
    return replace(base, **changed)  # type: ignore[arg-type]


def test_the_slope_helps_most(grid: Grid) -> None:
    """At 5° the protractor is the largest influence: 10 % on the height becomes 1.6 % (the project's facts about benches)."""
    found = changes(grid.kit, start(grid), tolerance=0.05)
    assert found[0].what == "measure the slope by height over length instead of protractor"
    assert [change.after for change in found] == sorted(change.after for change in found)
    told = say_change(found[0], grid.kit, start(grid))
    assert "10 % on the height becomes 1.6 %" in told
    assert told.startswith("Measure the slope by height over length")
    five = next(change for change in found if change.what.startswith("launch 5 times"))
    assert five.after > 0.99 * five.before  # the protractor is the same in every launch
    each = forecast_of(grid.kit, start(grid, launches=5), tolerance=0.05)
    assert five.after == pytest.approx(each.resolution)


def test_beyond_the_kit(grid: Grid) -> None:
    found = beyond_the_kit(grid.kit, start(grid, method=grid.kit.methods[2]), tolerance=0.05)
    assert all(change.beyond and change.after < change.before for change in found)
    assert {change.what.split()[0] for change in found} == {"check", "weigh", "take"}
    known = make_kit(scale="1.000 ± 0.002", rotating_fraction="0.015 ± 0.003")
    assert beyond_the_kit(known, start(grid), tolerance=0.05) == ()


def test_what_to_avoid(grid: Grid, place: Place) -> None:
    found = {caution.code: caution.message for caution in cautions(grid, place)}
    assert "from 1 m/s at 3°" in found["blind-zone"]
    assert "1.00 m/s" in found["hidden-square"]
    assert "8° and 14°" in found["slips-alike"]
    assert "cosine for sine" in found["slips-alike"]
    assert "calculator in radians" in found["slips-alike"]
    assert "±10 % on the height" in found["undecided"]
    assert "0.6 m/s at 14°" in found["few-samples"]


def test_other_cautions() -> None:
    kit = make_kit(placed="bottom", period="40 min", angles=["3 deg", "6 deg"])
    grid = predict(kit)
    found = {caution.code: caution.message for caution in cautions(grid, best_place(grid) or (0, 0, 0))}
    assert "off the end of the track" in found["track-end"]
    assert "5 launches a bench" in found["time"]
    assert "leaves time for 3" in found["time"]


def test_too_flat_a_slope() -> None:
    grid = predict(make_kit(rolling_resistance="0.02 ± 0.01", angles=["1.5 deg", "8.5 deg"], speeds=["0.8 m/s"]))
    found = {caution.code: caution.message for caution in cautions(grid, best_place(grid) or (0, 0, 0))}
    assert found["too-flat"].startswith("Slopes of 1.5°: so flat")
    assert forecast(grid, (0, 0, 0)).problem == "too-flat"


def test_a_slope_where_slips_part(grid: Grid) -> None:
    assert {angle for _, _, angle, _ in slip_angles(grid)} == {8.0, 14.0}


def test_the_path_of_an_improving_bench() -> None:
    """The reference bench (0.5 kg, 200 N/m, μ = 0.005, 5°, 1 m/s, 1 mm): "cannot tell" turns into "friction resolved".

    The project's facts about benches have 0.5, 1.3, 3.3 and 4.8, with the limits of the angle taken for its standard
    uncertainty; the
    readings below are the same ones: below 1, between 1 and 3, above 3, and above 3 again.
    """
    ways = [
        {"name": "protractor", "limits": "0.5 deg"},
        {"name": "height over length", "over": "1 m ± 1 mm", "reading": "1 mm"},
    ]
    kit = make_kit(
        stiffness="200 N/m", strokes="5.26 cm", angles="5 deg", rates="20 Hz", noise="1 mm", length="1.6 m", numbers=[1, 5],
        methods=ways,
    )  # fmt: skip
    grid = predict(kit)
    assert grid.speed[0] == pytest.approx(1.0, abs=0.02)
    steps = path(grid, (0, 1, 0))
    assert [step.reading for step in steps] == [
        "cannot be told apart", "unclear", "friction is resolved", "friction is resolved"
    ]  # fmt: skip
    ratios = [step.ratio for step in steps]
    assert ratios == sorted(ratios)
    assert steps[2].u == pytest.approx(float(grid.u[2, 0, 1, 0]), rel=1e-3)
    assert steps[3].u == pytest.approx(float(grid.u[2, 0, 1, 1]), rel=1e-3)
    standard = replace(kit, methods=(replace(kit.methods[0], u=0.5), kit.methods[1]))
    assert path(predict(standard), (0, 1, 0))[0].ratio == pytest.approx(0.5, abs=0.1)


def test_expected_losses() -> None:
    """(K − P)/P = μ/tanθ: 5.7 % at 5° and 9.5 % at 3° for μ = 0.005 (closed form; the project's facts about benches)."""
    kit = make_kit(drag_area="0 m^2")
    for angle, loss in ((5.0, 0.057), (3.0, 0.095)):
        planned = forecast_of(kit, SetUp(0.5, angle, 0.8, 0.05, 20.0, kit.methods[0], 1), tolerance=0.05)
        assert planned.loss / (1.0 - planned.loss) == pytest.approx(loss, abs=0.0005)


def test_percent() -> None:
    assert (percent(0.016), percent(0.1), percent(0.0996), percent(0.0994)) == ("1.6 %", "10 %", "10 %", "9.9 %")
