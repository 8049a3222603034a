"""`joulebook demo`: six invented benches, their verdicts and their reports."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.cli.conftest import Run

import joulebook


@pytest.mark.slow
def test_the_demo_writes_six_benches_and_their_reports(tmp_path: Path, run: Run) -> None:
    out = tmp_path / "demo"
    result = run("demo", "--out", out, "--no-pdf")
    assert result.exit_code == 0, result.output
    folders = sorted(path.parent.name for path in out.glob("benches/*/bench.toml"))
    assert len(folders) == 6
    audits = {name: json.loads((out / f"for-the-teacher/reports/{name}.json").read_text(encoding="utf-8")) for name in folders}
    codes = {name: {finding["code"] for finding in audit["findings"]} for name, audit in audits.items()}
    for wanted in ("angle-mismatch", "too-close", "mass-suspect"):
        assert sum(wanted in found for found in codes.values()) == 1, (wanted, codes)
    for name in folders:
        page = out / f"for-the-teacher/reports/{name}.html"
        assert audits[name]["bench"]["title"] in page.read_text(encoding="utf-8")
        assert str(page) in result.stdout
        assert joulebook.read_bench(out / "benches" / name).title == audits[name]["bench"]["title"]
    assert not list(out.rglob("*.pdf"))
    # The section's sheets, under the invented house that stands beside the benches.
    assert joulebook.read_house(out / "benches").local_rules
    sheets = ("for-students/card", "for-students/worksheet", "for-students/hints", "for-the-teacher/run")
    for name in (*sheets, "for-the-teacher/answers", "for-the-teacher/hints"):
        assert joulebook.read_house(out / "benches").title in (out / f"{name}.html").read_text(encoding="utf-8")
        assert str(out / f"{name}.html") in result.stdout
    # Nothing that tells a result lies where the students' sheets are.
    assert sorted(path.name for path in (out / "for-students").iterdir()) == ["card.html", "hints.html", "worksheet.html"]
    hints = {place: (out / place / "hints.html").read_text(encoding="utf-8") for place in ("for-students", "for-the-teacher")}
    assert "(angle-mismatch)" in hints["for-the-teacher"] and "(angle-mismatch)" not in hints["for-students"]
    # The plan of the week before, for a kit that can be edited and planned again.
    plan = json.loads((out / "for-the-teacher/plan.json").read_text(encoding="utf-8"))
    assert plan["recommended"]["problem"] is None
    assert plan["recommended"]["set_up"]["track_length_m"] == 1.6
    assert len(plan["benches"]) == 6
    page = (out / "for-the-teacher/plan.html").read_text(encoding="utf-8")
    assert page.startswith("<!doctype html>") and plan["title"] in page
    assert "For the teacher only" in page
    assert str(out / "for-the-teacher/plan.html") in result.stdout and str(out / "for-the-teacher/kit.toml") in result.stdout
    assert joulebook.plan(out / "for-the-teacher/kit.toml", house=out / "benches/house.toml").to_dict() == plan


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path, run: Run) -> None:
    (tmp_path / "file").write_text("")
    result = run("demo", "--out", tmp_path / "file" / "demo")
    assert result.exit_code == 3
    assert "The folder cannot be made" in result.stderr
    assert "Name another place with --out." in result.stderr
