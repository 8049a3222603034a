"""docs/inputs.md says what the code does: every input, setting, notation and table, with its default."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from joulebook.engine.bench import InputSpec, SettingSpec
from joulebook.experiments.ramp_inputs import INPUTS, SETTINGS
from joulebook.readers.bench_file import read_bench
from joulebook.readers.bench_records import READING_OPTIONS
from joulebook.uncertainty.notation import read_quantity

PAGE = (Path(__file__).parents[1] / "docs" / "inputs.md").read_text(encoding="utf-8")


def section(heading: str) -> str:
    """Return the text under a heading, up to the next one of the same kind or above."""
    level = heading.split(" ")[0]
    start = PAGE.index(f"\n{heading}\n") + len(heading) + 2
    end = re.search(rf"\n#{{1,{len(level)}}} ", PAGE[start:])
    return PAGE[start : start + end.start() if end else None]


def table(heading: str) -> list[list[str]]:
    """Return the cells of the first table under a heading, without its two head lines."""
    rows = re.findall(r"^\|(.+)\|$", section(heading), re.MULTILINE)
    first = next(n for n, row in enumerate(rows) if set(row) <= set(" -|"))
    width = rows[first].count("|")
    cells = [[cell.strip() for cell in row.split("|")] for row in rows[first + 1 :] if row.count("|") == width]
    return [row for row in cells if row[0].startswith("`") or heading.startswith("###")]


ROWS = {row[0].strip("`"): row for row in table("## Inputs")}
SETTING_ROWS = {row[0].strip("`"): row for row in table("## Settings")}


def left_out(spec: InputSpec) -> str:
    """Return what stands in the column "left out"."""
    if spec.default is not None:
        return f"{spec.default:g} ± {spec.default_half_width:g}"
    if spec.required:
        return "must be given"
    return f"the {spec.group} is used instead"


def bare(spec: InputSpec) -> str:
    """Return what stands in the column "bare number"."""
    parts = [f"± {spec.bare_half_width:g}"] if spec.bare_half_width else []
    parts += [f"± {100 * spec.bare_relative:g} % of it"] if spec.bare_relative else []
    return " or ".join(parts)


@pytest.mark.parametrize("spec", INPUTS, ids=lambda spec: spec.name)
def test_every_input_is_documented_as_it_is(spec: InputSpec) -> None:
    _, unit, default, number, limits = ROWS[spec.name]
    assert unit == spec.unit
    assert default == left_out(spec) or (spec.required and default.startswith("must be given"))
    assert number == bare(spec)
    assert limits == f"{spec.low:g} to {spec.high:g}"
    assert re.search(
        rf"^\*\*.*`{re.escape(spec.name)}`.*\*\*:", section("### What they are, and why these numbers"), re.MULTILINE
    )


@pytest.mark.parametrize("spec", SETTINGS, ids=lambda spec: spec.name)
def test_every_setting_is_documented_as_it_is(spec: SettingSpec) -> None:
    _, unit, default, limits, meaning = SETTING_ROWS[spec.name]
    assert unit == (spec.unit or "word")
    assert default == ("unknown" if spec.default is None else f"{spec.default:g}") or (
        spec.default is None and "inferred" in default
    )
    assert limits == (", ".join(spec.choices) or f"{spec.low:g} to {spec.high:g}")
    assert meaning


def test_nothing_is_documented_that_is_not_there() -> None:
    assert list(ROWS) == [spec.name for spec in INPUTS]
    assert list(SETTING_ROWS) == [spec.name for spec in SETTINGS]


def test_the_alternatives() -> None:
    ways: dict[str, dict[str, list[str]]] = {}
    for spec in INPUTS:
        if spec.group:
            ways.setdefault(spec.group, {}).setdefault(spec.alternative, []).append(f"`{spec.name}`")
    documented = {
        row[0]: [cell.split(", ") for cell in row[1:]] for row in table("### Two ways to say one thing") if row[0] in ways
    }
    assert documented == {group: list(alternatives.values()) for group, alternatives in ways.items()}


NOTATIONS = table("## How a quantity is written")


@pytest.mark.parametrize("row", NOTATIONS, ids=lambda row: row[0])
def test_every_notation_means_what_the_page_says(row: list[str]) -> None:
    written, _, u, distribution, _ = row
    reading = read_quantity(written.strip("`"), unit="deg")
    assert reading.value == 9.8
    assert f"{reading.u:.3g} deg" == u
    assert reading.distribution == distribution


def test_the_page_shows_every_distribution() -> None:
    assert {row[3] for row in NOTATIONS} == {"rectangular", "triangular", "arcsine", "normal", "t"}


def test_the_tables_beside_the_inputs() -> None:
    text = section("## Records")
    for name in (*READING_OPTIONS, "release", "apex", "phases", "run", "tolerance", "rest", "launch"):
        assert f"`{name}`" in text, name


def test_the_examples_are_read(tmp_path: Path) -> None:
    """Every TOML block of the page is valid, and the first is a whole bench."""
    blocks = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)
    assert len(blocks) == 4
    rows = "".join(f"{n / 20:.2f},{1 + n / 100:.3f}\n" for n in range(60))
    runs = "".join(f"{n / 20:.2f},{1 + n / 100:.3f},{n / 20:.2f},2.{n:02d},{n / 20:.2f},3.{n:02d}\n" for n in range(60))
    (tmp_path / "runs.csv").write_text(
        "time (s),distance (m),time (s),distance (m),time (s),distance (m)\n" + runs, encoding="utf-8"
    )
    for name in ("rest.csv", "launch-1.csv", "launch-2.csv"):
        (tmp_path / name).write_text("time (s),distance (m)\n" + rows, encoding="utf-8")
    (tmp_path / "bench.toml").write_text(blocks[0], encoding="utf-8")
    bench = read_bench(tmp_path)
    assert bench.title == "Bench 3"
    assert bench.inputs["sensor.air_temperature"].value == 27.0
    (tmp_path / "bench.toml").write_text(blocks[1], encoding="utf-8")
    planned = read_bench(tmp_path).inputs
    assert {name for name, item in planned.items() if item.origin == "planned"} == {"cart.mass", "track.rise", "track.along"}
    whole = blocks[0].partition("[files]")[0] + blocks[2] + blocks[3]
    assert set(tomllib.loads(whole)) == {"title", "experiment", "cart", "track", "sensor", "place", "files", "launches"}
    (tmp_path / "bench.toml").write_text(whole, encoding="utf-8")
    bench = read_bench(tmp_path)
    assert [record.file for record in bench.launches] == ["launch-1.csv", "runs.csv#2", "runs.csv#3"]
    assert bench.overrides["launch-1.csv"].release == 1.13


def test_a_wrong_default_would_be_seen() -> None:
    """The comparison above can fail: another default is not what the page says."""
    spec = INPUTS[1]
    other = InputSpec(spec.name, spec.unit, spec.meaning, default=0.03, default_half_width=0.02)
    assert left_out(other) != ROWS[spec.name][2]
