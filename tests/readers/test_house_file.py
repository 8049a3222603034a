"""House rules from a file: every rule, every fault at once, and where the file is looked for."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import pytest

import joulebook
from joulebook.engine.house import STEPS, House
from joulebook.errors import BenchFileError
from joulebook.readers.house_file import _FIELDS, find_house, read_house

ROOT = Path(__file__).parents[2]

FULL = """
title = "Physics, second period"

[numbers]
gravity = "9.81 m/s^2 ± 0.02 m/s^2"
decimal = "comma"
uncertainty_digits = 2

[comparison]
method = "T-Prime"
percent_of = "bottom"
signed = true
tolerance = "4 %"

[lesson]
minutes = 50
launches = 5
steps = ["comparison", "readings", "calculation"]
formulas = false

[sheets]
paper = "Letter"
large_print = true
local_rules = "Long hair tied back.\\n\\n  Bags   under the tables. "
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "house.toml"
    path.write_text(text, encoding="utf-8")
    return path


def faults(path: Path) -> list[str]:
    with pytest.raises(BenchFileError) as caught:
        read_house(path)
    return [str(fault) for fault in caught.value.faults]


def test_every_rule_is_read(tmp_path: Path) -> None:
    house = read_house(written(tmp_path, FULL))
    assert house.gravity is not None
    # Limits are rectangular: u = a/√3 (GUM 4.3.7).
    assert (house.gravity.value, house.gravity.u) == (9.81, pytest.approx(0.02 / math.sqrt(3)))
    assert dataclasses.replace(house, gravity=None, source="") == House(
        title="Physics, second period", decimal=",", uncertainty_digits=2, comparison="t-prime", percent_of="bottom", signed=True,
        tolerance=0.04, minutes=50, launches=5, steps=("readings", "calculation", "comparison"), formulas=False,
        paper="us-letter", large_print=True, local_rules=("Long hair tied back.", "Bags under the tables."),
    )  # fmt: skip
    assert house.source == str(tmp_path / "house.toml")
    assert joulebook.read_house(tmp_path) == house


def test_every_field_of_a_house_can_be_written() -> None:
    assert {field for field, _ in _FIELDS.values()} == {each.name for each in dataclasses.fields(House)} - {"source"}


def test_an_empty_file_keeps_every_default(tmp_path: Path) -> None:
    path = written(tmp_path, "# nothing yet\n")
    assert read_house(path) == House(source=str(path))
    assert House().steps == STEPS


def test_a_bare_gravity_gets_a_documented_half_width(tmp_path: Path) -> None:
    house = read_house(written(tmp_path, '[numbers]\ngravity = "9.8 m/s^2"\n'))
    assert house.gravity is not None
    assert house.gravity.u == pytest.approx(0.02 / math.sqrt(3))
    assert "House rule" in house.gravity.note


def test_all_faults_are_told_together(tmp_path: Path) -> None:
    text = """
title = 3
decimls = 1
sheets = 4
[numbers]
gravity = "98 m/s^2"
decimal = "coma"
uncertainty_digits = 3
[comparison]
method = "overlap of interval"
percent_of = "mean"
signed = "no"
tolerance = "500 %"
[lesson]
minutes = 3
launches = 0.5
steps = ["predict", "calculations"]
formulas = 1
"""
    found = faults(written(tmp_path, text))
    expected = [
        "decimls: is no house rule that joulebook knows. Did you mean numbers.decimal?",
        "sheets: must be a table.",
        "title: must be a text of at most 120 characters.",
        "numbers.gravity: 98 m/s^2 is not between 9 and 10.5 m/s^2.",
        'numbers.decimal: "coma" is none of the choices. Did you mean "comma"? Choose one of "point", "comma".',
        "numbers.uncertainty_digits: 3 is no whole number of digits from 1 to 2.",
        'comparison.method: "overlap of interval" is none of the choices. Did you mean "overlap of intervals"?',
        'comparison.percent_of: "mean" is none of the choices.',
        'comparison.signed: "no" is neither true nor false. Write true or false, without quotes.',
        'comparison.tolerance: "500 %" is not between 0 and 1.',
        "lesson.minutes: 3 is no whole number of minutes from 35 to 120. Write minutes = 35.",
        "lesson.launches: 0.5 is no whole number of launches from 1 to 8.",
        "calculations: is no step that joulebook knows. Did you mean calculation?",
        "lesson.formulas: 1 is neither true nor false.",
    ]
    for start in expected:
        assert any(fault.startswith(start) for fault in found), (start, found)
    assert len(found) == len(expected)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[numbers]\ngravity = "9.81"', "numbers.gravity"),
        ('[comparison]\ntolerance = "5 kg"', "comparison.tolerance"),
        ("[lesson]\nsteps = []", "lesson.steps: must be a list of steps."),
        ("[sheets]\nlocal_rules = 4", "sheets.local_rules: must be a text or a list of texts."),
        (f'[sheets]\nlocal_rules = ["{"x" * 301}"]', "a rule of 301 characters is longer than 300"),
        (f"[sheets]\nlocal_rules = {['a'] * 21}", "21 rules are more than the 20 that fit."),
        ("[numbers\n", "line 1"),
    ],
)
def test_single_faults(tmp_path: Path, text: str, told: str) -> None:
    found = faults(written(tmp_path, text))
    assert len(found) == 1 and told in found[0]


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(BenchFileError, match="there is no such house file") as caught:
        read_house(tmp_path)
    assert caught.value.code == "no-house-file"


def test_the_nearest_file_up_to_the_section_counts(tmp_path: Path) -> None:
    bench = tmp_path / "school" / "section" / "benches" / "bench-1"
    bench.mkdir(parents=True)
    assert find_house(bench) is None
    far = written(tmp_path / "school", "")
    assert find_house(bench) is None  # three folders up: a wider place's rules are not taken by accident
    assert find_house(bench, section=tmp_path / "school") == far
    section = written(tmp_path / "school" / "section", "")
    assert find_house(bench) == section
    beside = written(bench.parent, "")
    assert find_house(bench) == beside
    assert find_house(bench, section=bench) is None
    own = written(bench, "")
    assert find_house(bench / "bench.toml") == own


def test_the_page_lists_every_rule() -> None:
    page = (ROOT / "docs" / "house.md").read_text(encoding="utf-8")
    for name in _FIELDS:
        assert f"`{name}`" in page, name
    for step in STEPS:
        assert f"`{step}`" in page, step


def test_the_example_of_the_page_is_a_house_file(tmp_path: Path) -> None:
    page = (ROOT / "docs" / "house.md").read_text(encoding="utf-8")
    example = page.split("```toml\n")[1].split("```")[0]
    assert read_house(written(tmp_path, example)).title
