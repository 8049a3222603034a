"""The maps: benches are those of their cell, the counts are right, and the page says what a reader must know."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from benchmarks.cells import read_cells
from benchmarks.map_page import _by_chance, map_goals, map_section
from benchmarks.map_picture import map_picture
from benchmarks.maps import CELLS, FIRST_SEED, MAPPED, cell_bench, main, summary
from benchmarks.scores import Outcome, wilson_interval
from scipy.stats import binomtest


# Wilson's score interval: Newcombe, Stat. Med. 17 (1998) 857, table I, method 3; from memory, and SciPy beside it.
@pytest.mark.parametrize(
    ("count", "n", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_interval(count: int, n: int, low: float, high: float) -> None:
    found = wilson_interval(count, n)
    assert found == pytest.approx((low, high), abs=5e-5)
    assert found == pytest.approx(tuple(binomtest(count, n).proportion_ci(method="wilson")), abs=1e-12)


@pytest.mark.parametrize(("count", "n"), [(0, 0), (3, 2), (-1, 2)])
def test_wilson_interval_needs_a_share(count: int, n: int) -> None:
    with pytest.raises(ValueError, match=f"{count} of {n} is not a share"):
        wilson_interval(count, n)


def test_a_bench_is_of_its_cell() -> None:
    """At the corners of the region, where a feasible bench is hardest to find."""
    for stop in ("spring", "hard", "magnetic"):
        for angle, rate, noise in ((3, 10, 1.5), (18, 100, 0.2), (18, 10, 0.5)):
            cell = CELLS[f"{stop}, {angle}°, {rate}/s, {noise:g} mm"]
            simulated = cell_bench(cell, FIRST_SEED)
            ranger, setup = simulated.design.ranger, simulated.design.setup
            assert (simulated.design.stop_kind, ranger.rate, len(simulated.bench.launches)) == (stop, rate, 1)
            assert math.hypot(ranger.noise, ranger.drift_noise) == pytest.approx(1e-3 * noise)
            assert abs(setup.angle - angle) < 1.0


def test_there_are_cells_at_the_ends_of_the_region() -> None:
    assert len(CELLS) == 81
    assert {(cell.angle, cell.rate, cell.noise) for cell in CELLS.values()} >= {(3.0, 10.0, 0.2), (18.0, 100.0, 1.5)}


@pytest.mark.slow
def test_a_few_benches_of_each_stop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    few = {name: cell for name, cell in CELLS.items() if (cell.angle, cell.rate, cell.noise) == (8.0, 25.0, 0.5)}
    monkeypatch.setattr("benchmarks.maps.CELLS", few)
    out = tmp_path / "maps.jsonl"
    main(["--benches", "3", "--out", str(out)])
    lines = read_cells(out)
    assert [line["cell"] for line in lines] == list(few)
    for line in lines:
        assert line["benches"] == line["given"]["kinetic_energy"] == line["launches"] == 3
        assert line["failed"] == []
        assert 0 <= line["covered"]["relative_difference"] <= 3
        median, rms = line["efficiency"]["known_level"]
        # An estimate near its bound: five bounds from it with three launches has a chance of 1 in a million.
        assert 0.0 < median <= rms * math.sqrt(3.0)
        assert rms < 5.0
    before = out.read_bytes()
    main(["--benches", "3", "--out", str(out), "--keep"])
    assert out.read_bytes() == before


def test_a_summary_counts() -> None:
    outcomes = [
        Outcome(
            seed, {}, dict.fromkeys(MAPPED, 1.0 + seed), {"kinetic_energy": seed > 0, "relative_difference": True}, {},
            (("misfit", "look"), ("soft-stop", "note")) if seed == 2 else (),
            extra={"energy": [{"bound": 1.0, "known_level": float(seed), "own_level": -2.0 * seed}]},
        )
        for seed in range(3)
    ]  # fmt: skip
    found = summary([*outcomes, Outcome(3, {}, failure="ValueError: …")])
    assert (found["benches"], found["launches"], found["failed"], found["alarmed"]) == (4, 3, [3], 1)
    assert found["alarms"] == {"misfit": 1}
    assert found["given"] == {"kinetic_energy": 3, "relative_difference": 3}
    assert found["covered"] == {"kinetic_energy": 2, "relative_difference": 3}
    assert found["pull"]["kinetic_energy"] == [2.0, 1.0]
    assert found["efficiency"]["known_level"] == [1.0, round(math.sqrt(5.0 / 3.0), 4)]
    assert found["efficiency"]["own_level"][0] == 2.0
    assert json.loads(json.dumps(found)) == found


def line(cell: str, *, covered: int, n: int = 240, rms: float = 1.0) -> dict[str, Any]:
    return {
        "cell": cell, "benches": n, "settings": {"first_seed": FIRST_SEED}, "given": dict.fromkeys(MAPPED, n),
        "covered": {"kinetic_energy": covered, "relative_difference": n - n // 20}, "failed": [], "alarmed": 0, "launches": n,
        "efficiency": {"known_level": [0.67449 * rms, rms], "own_level": [1.0, 1.0]},
    }  # fmt: skip


def test_the_section_marks_cells_and_says_what_falls_short() -> None:
    names = list(CELLS)
    lines = [line(name, covered=228) for name in names]
    lines[4], lines[30], lines[80] = line(names[4], covered=190), line(names[30], covered=213), line(names[80], covered=240, rms=1.7)
    lines[50] = line(names[50], covered=228, rms=1.3)  # which chance may do
    short: list[str] = []
    text = map_section(lines, short)
    assert text.count(") **low** |") == 2
    assert text.count(") **high** |") == 1
    assert text.count(" **far** |") == 1
    low, high = wilson_interval(190, 240)
    assert f"79 ({100 * low:.0f}–{100 * high:.0f}) **low**" in text
    assert "2 of 81 cells are below 90 %, 1 of them by more than chance; 1 are above 99 %." in text
    assert f"Lowest: {names[4]} (79 %" in text
    assert any(each.startswith("In 2 of 81 cells the interval of `kinetic_energy` holds the truth on less than 90 %") for each in short)
    assert any("more than 99 %" in each and "(1 magnetic)" in each for each in short)
    assert any("above 1.5 Cramér–Rao bounds in rms, at most 1.70" in each for each in short)
    assert any("above 1.2 Cramér–Rao bounds in the median by more than chance, at most 1.70" in each for each in short)
    assert "2 are above 1.2 in the median, 1 of them by more than two standard errors of a median." in text
    assert not any("relative_difference" in each for each in short)
    assert "The goal is stated for cells of 200" not in text
    assert [each[2:] for each in map_goals(lines)] == [("2 and 1 of 81", False), ("0 and 0 of 81", True)]
    assert [met for *_, met in map_goals(lines[:40])] == [False, False]  # half a map is not met
    assert map_goals([]) == []


def test_the_section_of_few_benches_says_so() -> None:
    text = map_section([line(next(iter(CELLS)), covered=3, n=3)], [])
    assert "1 of 81 cells, 3 benches" in text
    assert "The goal is stated for cells of 200 benches or more" in text
    assert map_section([], []) == ""


def test_a_cell_on_the_page_stands_where_it_belongs() -> None:
    text = map_section([line("hard, 8°, 100/s, 1.5 mm", covered=200)], [])
    row = next(each for each in text.splitlines() if each.startswith("| hard | 8° | 1.5 mm |"))
    assert [cell.strip()[:2] for cell in row.split("|")[4:7]] == ["–", "–", "83"]


def test_the_picture_has_the_tables_numbers() -> None:
    lines = [line(name, covered=228) for name in CELLS]
    lines[0] = line("spring, 3°, 10/s, 0.2 mm", covered=180, rms=1.66)
    picture = map_picture(lines)
    root = ElementTree.fromstring(picture)
    texts = [each.text for each in root.iter("{http://www.w3.org/2000/svg}text")]
    assert texts.count("95") == 80 + 81  # the energy's cells but one, and all of the relative difference
    assert [text for text in texts if text in ("75", "1.66")] == ["75", "1.66"]
    assert texts.count("1.00") == 80
    bold = [each.text for each in root.iter("{http://www.w3.org/2000/svg}text") if each.get("class") == "n h"]
    assert bold == ["75", "1.66"]
    assert next(root.iter("{http://www.w3.org/2000/svg}title")).text
    # What is outside the view cannot be seen.
    _, _, width, height = map(float, root.attrib["viewBox"].split())
    for each in root.iter("{http://www.w3.org/2000/svg}rect"):
        assert float(each.get("x", 0)) + float(each.attrib["width"]) <= width
        assert float(each.get("y", 0)) + float(each.attrib["height"]) <= height


def test_the_picture_of_half_a_map_has_dashes() -> None:
    assert map_picture([line("hard, 8°, 100/s, 1.5 mm", covered=200)]).count(">–<") == 3 * 80


def test_a_median_scatters_as_the_page_says() -> None:
    """By 4,000 medians of 240 normal errors each: their standard deviation is known to 1.1 %, and four of that are allowed."""
    medians = np.median(np.abs(np.random.default_rng(5).standard_normal((4000, 240))), axis=1) / 0.67449
    assert float(medians.std()) == pytest.approx(0.5 * _by_chance(240), rel=0.05)
