"""`joulebook sheet`, and house rules on the other commands."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from tests.cli.conftest import Run

COMMA = """
[numbers]
decimal = "comma"
gravity = "9.7 m/s^2 ± 0.01 m/s^2"
[comparison]
tolerance = "1 %"
"""


def test_a_card_as_pdf_and_page(run: Run, bench: Path, tmp_path: Path) -> None:
    result = run("sheet", "card", bench, "--pdf", tmp_path / "c.pdf", "--html", tmp_path / "c.html", "--paper", "us-letter")
    assert result.exit_code == 0, result.output
    assert (tmp_path / "c.pdf").read_bytes().startswith(b"%PDF")
    assert "size:letter" in (tmp_path / "c.html").read_text(encoding="utf-8")
    assert "card: " in result.stderr


def test_all_benches_of_a_folder_in_one_document(run: Run, bench: Path, tmp_path: Path) -> None:
    for number in (2, 10):
        shutil.copytree(bench, tmp_path / f"bench-{number}")
    assert run("sheet", "worksheet", tmp_path, "--html", tmp_path / "w.html", "--large-print").exit_code == 0
    page = (tmp_path / "w.html").read_text(encoding="utf-8")
    assert page.count("<h1") == 3 and 'class="large"' in page


@pytest.mark.parametrize("kind", ["card", "worksheet", "run", "hints"])
def test_without_a_source_it_is_blank_or_complete(run: Run, tmp_path: Path, kind: str) -> None:
    assert run("sheet", kind, "--html", tmp_path / "s.html").exit_code == 0


def test_a_plan_makes_cards(run: Run, tmp_path: Path) -> None:
    set_up = {
        "mass_kg": 0.5, "angle_deg": 6.0, "stroke_m": 0.03, "rate_Hz": 25.0, "launches": 3,
        "placed": "top", "track_length_m": 1.5,
    }  # fmt: skip
    plan = {"format": "joulebook/plan-1", "title": "S", "benches": [{"title": "Bench A", "set_up": set_up, "farthest_m": 1.2}]}
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(plan), encoding="utf-8")
    assert run("sheet", "card", path, "--html", tmp_path / "c.html").exit_code == 0
    page = (tmp_path / "c.html").read_text(encoding="utf-8")
    assert "Bench A" in page and "Set the ranger to 25 readings per second." in page
    del set_up["rate_Hz"]
    path.write_text(json.dumps(plan), encoding="utf-8")
    result = run("sheet", "card", path, "--html", tmp_path / "c.html")
    assert result.exit_code == 3 and "lacks something or holds a wrong value: 'rate_Hz'" in result.output


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"{", "This is not JSON."),
        (b"[]", "not a plan of the format joulebook/plan-1"),
        (b'{"format": "x"}', "not a plan of the format"),
    ],
)
def test_what_is_no_plan(run: Run, tmp_path: Path, content: bytes, told: str) -> None:
    (tmp_path / "p.json").write_bytes(content)
    result = run("sheet", "card", tmp_path / "p.json", "--html", tmp_path / "c.html")
    assert result.exit_code == 3 and told in result.output
    assert not (tmp_path / "c.html").exists()


def test_answers_need_records(run: Run, tmp_path: Path) -> None:
    result = run("sheet", "answers", "--html", tmp_path / "a.html")
    assert result.exit_code == 3 and "comes from the benches' own records" in result.output


def test_a_bench_without_audit_has_its_row(run: Run, school: Path, tmp_path: Path) -> None:
    assert run("sheet", "answers", school, "--html", tmp_path / "a.html").exit_code == 0
    page = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert "Benches without an audit" in page and "spoilt" in page


def test_a_folder_without_benches(run: Run, tmp_path: Path) -> None:
    result = run("sheet", "card", tmp_path, "--html", tmp_path / "c.html")
    assert result.exit_code == 3 and "No bench.toml in this folder or below it." in result.output


def test_it_has_to_be_written_somewhere(run: Run, bench: Path) -> None:
    result = run("sheet", "card", bench)
    assert result.exit_code == 2 and "Say what to write" in result.output
    result = run("sheet", "card", bench / "bench.toml", "--html", bench / "bench.toml")
    assert result.exit_code == 2 and "would write over" in result.output


def test_a_faulty_house_is_told_with_its_faults(run: Run, bench: Path, tmp_path: Path) -> None:
    (tmp_path / "h.toml").write_text('[numbers]\ndecimal = "coma"\n', encoding="utf-8")
    for arguments in (("sheet", "card", bench, "--html", "-"), ("audit", bench), ("sweep", tmp_path)):
        result = run(*arguments, "--house", tmp_path / "h.toml")
        assert result.exit_code == 3 and 'Did you mean "comma"?' in result.output


def test_the_house_reaches_the_audit(run: Run, bench: Path, tmp_path: Path) -> None:
    plain = json.loads(run("audit", bench, "--linear", "--json").stdout)
    text = (bench / "bench.toml").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith(("gravity", "latitude", "altitude"))]
    (bench / "bench.toml").write_text("\n".join(lines), encoding="utf-8")
    (bench.parent / "house.toml").write_text(COMMA, encoding="utf-8")
    found = json.loads(run("audit", bench, "--linear", "--json").stdout)
    gravity = {item["name"]: item["value"] for item in found["bench"]["inputs"]}["place.gravity"]
    assert gravity == 9.7
    before, after = (each["quantities"]["potential_energy"]["value"] for each in (plain, found))
    given = {item["name"]: item["value"] for item in plain["bench"]["inputs"]}.get("place.gravity")
    if given is not None:
        assert after / before == pytest.approx(9.7 / given, rel=1e-9)
    shown = run("audit", bench, "--linear").stdout
    assert " J" in shown and "0," in shown and "0." not in shown.replace("bench", "")
    # What the bench file and the command say wins over the house.
    (bench / "bench.toml").write_text(text, encoding="utf-8")
    own = run("audit", bench, "--linear", "--json", "--set", "place.gravity=9.8 m/s^2").stdout
    assert {item["name"]: item["value"] for item in json.loads(own)["bench"]["inputs"]}["place.gravity"] == 9.8


def test_the_houses_tolerance_decides_what_may_be_called_conserved(run: Run, bench: Path, tmp_path: Path) -> None:
    import joulebook

    (tmp_path / "h.toml").write_text(COMMA, encoding="utf-8")
    house = joulebook.read_house(tmp_path / "h.toml")
    assert joulebook.audit(bench, method="linear", house=house).tolerance == 0.01
    assert joulebook.audit(bench, method="linear", house=tmp_path / "h.toml", tolerance=0.2).tolerance == 0.2
    assert joulebook.audit(bench, method="linear").tolerance == 0.05
    with (bench / "bench.toml").open("a", encoding="utf-8") as stream:
        stream.write("\n[house]\ntolerance = 0.03\n")
    assert joulebook.audit(bench, method="linear", house=house).tolerance == 0.03
    with pytest.raises(joulebook.InputError, match="house can no longer be set"):
        joulebook.audit(joulebook.read_bench(bench), house=house)


def test_reports_take_the_houses_decimal_sign(run: Run, bench: Path, tmp_path: Path) -> None:
    (tmp_path / "h.toml").write_text('[numbers]\ndecimal = "comma"\n[sheets]\npaper = "us-letter"\n', encoding="utf-8")
    outputs = [
        "--html",
        tmp_path / "r.html",
        "--pdf",
        tmp_path / "r.pdf",
        "--working",
        tmp_path / "w.md",
        "--csv",
        tmp_path / "t.csv",
    ]
    assert run("audit", bench, "--linear", "--house", tmp_path / "h.toml", *outputs).exit_code == 0
    page = (tmp_path / "r.html").read_text(encoding="utf-8").split("<body>")[1]
    assert "0,0" in page and "0.0" not in "".join(part.split(">")[-1] for part in page.split("<"))
    assert "0,0" in (tmp_path / "w.md").read_text(encoding="utf-8")
    assert "0.0" in (tmp_path / "t.csv").read_text(encoding="utf-8")
    import pikepdf

    with pikepdf.open(tmp_path / "r.pdf") as pdf:
        assert float(pdf.pages[0].mediabox[3]) == 792.0


def test_a_sweep_under_house_rules(run: Run, bench: Path) -> None:
    (bench.parent / "house.toml").write_text('[numbers]\ndecimal = "comma"\n', encoding="utf-8")
    result = run("sweep", bench.parent, "--linear", "--workers", "1")
    assert result.exit_code == 0 and "," in result.output.splitlines()[1]
    lines = run("sweep", bench.parent, "--linear", "--workers", "1", "--jsonl", "--house", bench.parent / "house.toml").stdout
    assert json.loads(lines)["ok"] is True
