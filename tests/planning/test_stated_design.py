"""Stated set-ups: a bench file keeps every word of what it states, a plan becomes benches, and what cannot be is refused."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from joulebook.errors import BenchFileError, InputError
from joulebook.planning.plan import make_plan
from joulebook.planning.stated_design import StatedBench, read_stated, stated_design
from joulebook.planning.statements import Statement
from joulebook.readers.kit_file import make_kit

BENCH = """title = "Window"
[cart]
mass = "512.4 g ± 0.5 g"
[track]
angle = "7.00(12) deg"
length = "1.80 m"
[sensor]
placed = "bottom"
min_range = "0.20 m"
air_temperature = "27 degC ± 2 degC"
[place]
latitude = "47 deg"
[files]
launch = ["a.csv", "b.csv"]
[house]
tolerance = 0.08
"""


def plan(**set_up: object) -> dict[str, object]:
    given = {
        "mass_kg": 0.5,
        "angle_deg": 6.0,
        "speed_m_s": 0.9,
        "stroke_m": 0.03,
        "rate_Hz": 20.0,
        "angle_method": "height over length",
        "launches": 3,
        "placed": "top",
        "track_length_m": 1.2,
    }
    farthest = set_up.pop("farthest", 0.9)
    forecast = {"title": "Bench 1", "set_up": {**given, **set_up}, "nearest_m": 0.3, "farthest_m": farthest}
    return {"format": "joulebook/plan-1", "benches": [forecast, {**forecast, "title": "Bench 2"}]}


def write(path: Path, content: object) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    return path


def test_a_bench_file_without_its_records(tmp_path: Path) -> None:
    (stated,) = read_stated(write(tmp_path / "bench.toml", BENCH))
    assert (stated.title, stated.placed, stated.length, stated.min_range, stated.launches) == ("Window", "bottom", 1.8, 0.2, 2)
    assert stated.house == {"tolerance": 0.08}
    texts = {statement.name: statement.text() for statement in stated.statements}
    assert texts["track.angle"] == "7.00(12) deg"
    assert texts["cart.mass"] == "0.51240 kg ± 0.00050 kg"
    assert {"sensor.air_temperature", "place.latitude"} <= texts.keys()


def test_truth_is_drawn_from_what_is_stated(tmp_path: Path) -> None:
    """Over 300 draws the true angle scatters as stated, 7.00(12)°, to four standard errors."""
    (stated,) = read_stated(write(tmp_path / "bench.toml", BENCH))
    angles = np.array([stated_design(stated, np.random.default_rng([1, i])).setup.angle for i in range(300)])
    assert angles.mean() == pytest.approx(7.0, abs=4.0 * 0.12 / math.sqrt(300))
    assert angles.std(ddof=1) == pytest.approx(0.12, rel=4.0 / math.sqrt(2 * 299))


def test_the_design_is_feasible(tmp_path: Path) -> None:
    (stated,) = read_stated(write(tmp_path / "bench.toml", BENCH))
    for i in range(20):
        design = stated_design(stated, np.random.default_rng([2, i]))
        slope = math.radians(design.setup.angle)
        travel = design.speed**2 / (2.0 * 9.81 * (math.sin(slope) + design.setup.rolling_resistance))
        assert 0.12 < travel < 1.8 - 0.15
        assert design.ranger.zero - design.stroke(design.speed * 1.05) >= 0.2
        assert design.launches == 2
        assert stated_design(stated, np.random.default_rng(1), launches=5).launches == 5


def test_a_folder_in_natural_order(tmp_path: Path) -> None:
    for name in ("bench-10", "bench-2", "bench-1"):
        write(tmp_path / name / "bench.toml", BENCH.replace("Window", name))
    assert [bench.title for bench in read_stated(tmp_path)] == ["bench-1", "bench-2", "bench-10"]


def test_a_plan(tmp_path: Path) -> None:
    first, second = read_stated(write(tmp_path / "plan.json", plan()))
    assert (first.title, second.title) == ("Bench 1", "Bench 2")
    assert (first.speed, first.rate, first.launches, first.placed) == (0.9, 20.0, 3, "top")
    texts = {statement.name: statement.text() for statement in first.statements}
    assert texts["track.rise"] == "10.5 cm ± 0.1 cm"
    design = stated_design(first, np.random.default_rng(3))
    assert (design.speed, design.ranger.rate, design.launches) == (0.9, 20.0, 3)
    assert design.setup.angle == pytest.approx(math.degrees(math.asin(0.105)), abs=0.2)


def test_a_plan_says_track_and_ranger(tmp_path: Path) -> None:
    """0.90 m to the cart cocked by 3 cm leave 0.87 m to the stop for a ranger at the top, 0.30 m leave 0.33 m at the bottom."""
    for placed, at_stop in (("top", 0.87), ("bottom", 0.33)):
        stated = read_stated(write(tmp_path / "plan.json", plan(placed=placed, track_length_m=1.35)))[0]
        assert (stated.placed, stated.length) == (placed, 1.35)
        assert stated.at_stop == pytest.approx(at_stop)
        design = stated_design(stated, np.random.default_rng(4))
        assert (design.ranger.placed, design.setup.track_length) == (placed, 1.35)
        assert (design.stated_placed, design.stated_length) == (placed, 1.35)
        assert design.ranger.zero == pytest.approx(at_stop, abs=0.002)


@pytest.mark.parametrize("placed", ["top", "bottom"])
def test_a_written_plan_is_read_back(tmp_path: Path, placed: str) -> None:
    """From the planner's own JSON: the ranger stands where the kit has it, at the distance that the kit gives."""
    kit = make_kit(values={"placed": placed, "length": "1.50 m", "start": "0.20 m", "behind": "0.35 m"})
    document = make_plan(kit, tolerance=0.05).to_dict()
    benches = read_stated(write(tmp_path / "plan.json", document))
    assert len(benches) == 6
    for stated in benches:
        assert (stated.placed, stated.length) == (placed, 1.5)
        # A plan's farthest and nearest are those of the strongest launch, cocked some millimetres deeper.
        assert stated.at_stop == pytest.approx(1.3 if placed == "top" else 0.35, abs=0.01)


def test_a_plan_without_benches_of_their_own(tmp_path: Path) -> None:
    document = plan()
    alone = {**document, "benches": [], "recommended": document["benches"][0]}  # type: ignore[index]
    assert len(read_stated(write(tmp_path / "plan.json", alone))) == 1


@pytest.mark.parametrize(("method", "text"), [("protractor", "6.00 deg ± 0.50 deg"), ("digital level", "6.00 deg ± 0.20 deg")])
def test_ways_of_measuring_the_slope(tmp_path: Path, method: str, text: str) -> None:
    stated = read_stated(write(tmp_path / "plan.json", plan(angle_method=method)))[0]
    assert stated.statements[0].text() == text


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("{", "not JSON"),
        ({"format": "joulebook/audit-1"}, "This is no plan: its format is 'joulebook/audit-1'"),
        ({"format": "joulebook/plan-1"}, r"benches\[0\]: has no set_up"),
        (plan(mass_kg=-1), r"benches\[0\]\.set_up\.mass_kg: -1 is not between 0\.01 and 20"),
        (plan(rate_Hz="fast"), r"benches\[1\]\.set_up\.rate_Hz: 'fast'"),
        (plan(placed="middle"), r"benches\[0\]\.set_up\.placed: 'middle' is neither 'top' nor 'bottom'"),
        (plan(track_length_m=0), r"benches\[1\]\.set_up\.track_length_m: 0 is not between 0\.3 and 20"),
        (plan(farthest="far"), r"benches\[0\]\.farthest_m: 'far' is not between 0 and 50"),
    ],
)
def test_what_is_no_plan(tmp_path: Path, content: object, message: str) -> None:
    with pytest.raises(InputError, match=message) as caught:
        read_stated(write(tmp_path / "plan.json", content))
    assert caught.value.remedy


def test_places_that_hold_nothing(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no bench file in this folder"):
        read_stated(tmp_path)
    with pytest.raises(InputError, match="no such file or folder"):
        read_stated(tmp_path / "nothing")


def test_a_faulty_bench_file(tmp_path: Path) -> None:
    with pytest.raises(BenchFileError, match=r"track\.angle"):
        read_stated(write(tmp_path / "bench.toml", BENCH.replace("7.00(12) deg", "steep")))


@pytest.mark.parametrize(("angle", "length", "message"), [(7.0, 0.4, "are left for the climb"), (0.01, 1.5, "none of a track")])
def test_benches_that_cannot_be(angle: float, length: float, message: str) -> None:
    statements = (Statement("track.angle", angle, 0.0, "limits", 2), Statement("cart.mass", 0.5, 0.0005))
    with pytest.raises(InputError, match=message) as caught:
        stated_design(StatedBench("Bench 1", statements, length=length), np.random.default_rng(1))
    assert "track.length" in caught.value.remedy
