"""`joulebook mark` on the demo's section."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from tests.cli.conftest import Run

from joulebook.api import audit, bench_folders
from joulebook.api.demo_write_ups import demo_write_up_rows
from joulebook.classroom.mark_table import to_csv
from joulebook.planning.demo_section import write_demo


@pytest.fixture(scope="module")
def section(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's benches, and the write-ups of the class beside them."""
    folder = tmp_path_factory.mktemp("section")
    write_demo(folder / "benches")
    audits = {number: audit(folder / "benches" / name) for number, name in enumerate(bench_folders(folder / "benches"), 1)}
    (folder / "write-ups.csv").write_text(to_csv(demo_write_up_rows(audits)), encoding="utf-8")
    return folder


def _args(section: Path) -> tuple[str, ...]:
    return ("mark", str(section / "benches"), "--write-ups", str(section / "write-ups.csv"))


def test_the_slips_of_the_demo_are_found_and_the_sound_ones_left_alone(run: Run, section: Path) -> None:
    result = run(*_args(section), "--json")
    found = {each["code"]: each for each in json.loads(result.stdout)["write_ups"]}
    assert len(found) == 15

    def named(code: str, line: str) -> list[list[str]]:
        return [each["slips"] for each in found[code]["lines"][line]["explanations"]]

    assert named("birch", "kinetic_energy") == [["half-forgotten"]]
    assert ["cosine"] in named("dune", "height") and ["travel-for-height"] in named("dune", "height")
    assert named("fern", "potential_energy") == [["g-forgotten"]]
    assert named("jade", "kinetic_energy") == [["kinetic-in-grams"]]
    assert named("nettle", "kinetic_energy") == [["square-forgotten"]]
    assert "top of hop 2" in found["gale"]["readings"]["apex_distance"]["features"]
    assert "friction-for-gain" in found["kelp"]["claim"]["remarks"]
    assert found["iris"]["first_wrong"] == "" and found["iris"]["harmless"]
    for code in ("amber", "opal"):
        assert found[code]["first_wrong"] == "", code


def test_everything_is_written_and_no_mark_without_the_teacher(run: Run, section: Path, tmp_path: Path) -> None:
    out = tmp_path / "marked"
    result = run(*_args(section), "--out", str(out), "--no-pdf")
    assert result.exit_code == 0, result.output
    assert "as if the half were left out" in " ".join(result.output.split())
    with (out / "gradebook.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 15 and all(not row["claim"] and not row["total"] for row in rows)
    assert (out / "feedback" / "amber.html").is_file() and (out / "next-lesson.html").is_file()
    assert (out / "gradebook.xlsx").read_bytes().startswith(b"PK")
    with (out / "checks.csv").open(encoding="utf-8-sig", newline="") as file:
        checks = {row["code"]: row for row in csv.DictReader(file)}
    assert checks["birch"]["first wrong line"] == "energy of motion"
    assert checks["birch"]["suggested: calculation"] == "needs improvement"


def test_confirmed_marks_go_into_gradebook_and_feedback(run: Run, section: Path, tmp_path: Path) -> None:
    marks = tmp_path / "marks.csv"
    marks.write_text("code,claim,comment: claim\namber,adequate,Well argued.\n", encoding="utf-8")
    out = tmp_path / "marked"
    assert run(*_args(section), "--marks", str(marks), "--out", str(out), "--no-pdf").exit_code == 0
    with (out / "gradebook.csv").open(encoding="utf-8-sig", newline="") as file:
        row = next(row for row in csv.DictReader(file) if row["code"] == "amber")
    assert (row["claim"], row["comment"], row["total"]) == ("3", "Well argued.", "")
    assert "Well argued." in (out / "feedback" / "amber.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["empty.csv", "empty.xlsx"])
def test_the_template_is_written(run: Run, tmp_path: Path, name: str) -> None:
    result = run("mark", "--template", str(tmp_path / name))
    assert result.exit_code == 0 and name in result.output
    assert (tmp_path / name).stat().st_size > 100


def test_what_cannot_be_marked_is_told(run: Run, section: Path, tmp_path: Path) -> None:
    assert "Name the folder of benches" in run("mark").output
    wrong = tmp_path / "w.csv"
    wrong.write_text("code,bench\nx,9\n", encoding="utf-8")
    result = run("mark", str(section / "benches"), "--write-ups", str(wrong))
    assert result.exit_code == 3 and "bench 9: has write-ups and no data" in result.output
    marks = tmp_path / "m.csv"
    marks.write_text("code,claim\namber,superb\n", encoding="utf-8")
    result = run(*_args(section), "--marks", str(marks))
    assert result.exit_code == 3 and "row 2, claim: There is no level 'superb'" in result.output
    empty = tmp_path / "none"
    empty.mkdir()
    result = run("mark", str(empty), "--write-ups", str(section / "write-ups.csv"))
    assert result.exit_code == 3 and "no bench folder" in result.output.casefold()
