"""`joulebook check`: the table, the stored check, the comparison with the last one, and what is refused."""

from __future__ import annotations

import datetime
import json
import shutil
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from click.testing import Result
from tests.cli.conftest import Run
from tests.planning.kit_section import kit_design

from joulebook.api.kit_checks import check_kit
from joulebook.errors import InputError
from joulebook.planning.folder import write_bench_folder
from joulebook.planning.simulate import simulate_bench


def write_section(folder: Path, seed: int, *, friction: float = 0.0045) -> Path:
    for number in (1, 2):
        design = kit_design(number, launches=3, setup={"rolling_resistance": friction if number == 2 else 0.0045})
        write_bench_folder(simulate_bench(design, np.random.default_rng([seed, number])), folder / f"bench-{number}")
    return folder


@pytest.fixture(scope="module")
def summer(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_section(tmp_path_factory.mktemp("summer"), 1)


@pytest.fixture(scope="module")
def autumn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_section(tmp_path_factory.mktemp("autumn"), 2, friction=0.018)


def refused(result: Result, text: str, code: int = 3) -> None:
    assert result.exit_code == code, result.output
    assert text in " ".join(result.output.split())


def test_two_checks_in_a_row(summer: Path, autumn: Path, tmp_path: Path, run: Run) -> None:
    history = tmp_path / "history"
    first = run("check", summer, "--history", history, "--date", "2031-07-04")
    assert first.exit_code == 0, first.output
    assert "2 benches checked: none needs anything." in first.output
    assert "no earlier check" in first.output
    second = run(
        "check", autumn, "--history", history, "--date", "2031-09-01", "--html", tmp_path / "c.html", "--pdf", tmp_path / "c.pdf"
    )
    assert second.exit_code == 0, second.output
    assert "Compared with the check of 2031-07-04." in second.output
    assert "Bench 2 needs service" in second.output
    assert sorted(path.name for path in history.iterdir()) == ["kit-check-2031-07-04.json", "kit-check-2031-09-01.json"]
    stored = json.loads((history / "kit-check-2031-09-01.json").read_text(encoding="utf-8"))
    assert [bench["bench"] for bench in stored["benches"]] == ["Bench 2", "Bench 1"]
    assert "Bench 2 needs service" in (tmp_path / "c.html").read_text(encoding="utf-8")
    assert (tmp_path / "c.pdf").read_bytes().startswith(b"%PDF")


def test_against_one_file_and_json_alone(summer: Path, autumn: Path, tmp_path: Path, run: Run) -> None:
    stored = tmp_path / "summer.json"
    assert run("check", summer, "--date", "2031-07-04", "--json", stored).exit_code == 0
    result = run("check", autumn, "--date", "2031-09-01", "--against", stored, "--json")
    assert result.exit_code == 0, result.output
    told = json.loads(result.stdout)
    assert told["compared_with"] == "2031-07-04"
    assert told["benches"][0]["changes"]["friction"]["probability"] < 1e-6


def test_a_broken_bench_stops_nothing(summer: Path, tmp_path: Path, run: Run) -> None:
    root = Path(shutil.copytree(summer, tmp_path / "run"))
    (root / "bench-1" / "bench.toml").write_text('[track]\nangle = "steep"\n', encoding="utf-8")
    result = run("check", root)
    assert result.exit_code == 0, result.output
    assert "bench-1 could not be judged" in result.output
    assert "Bench 2" in result.output


def test_the_house_counts(summer: Path, tmp_path: Path, run: Run) -> None:
    """Paper and g come from the house.toml beside the benches; --paper wins. Widths in points: ISO 216 A4 595, Letter 612."""
    root = tmp_path / "run"
    shutil.copytree(summer, root)
    widths = {}
    for name, more in (("plain", []), ("house", []), ("given", ["--paper", "a4"])):
        if name == "house":
            (root / "house.toml").write_text('[sheets]\npaper = "us-letter"\n', encoding="utf-8")
        assert run("check", root, "--pdf", tmp_path / f"{name}.pdf", *more).exit_code == 0
        with pikepdf.open(tmp_path / f"{name}.pdf") as pdf:
            widths[name] = int(float(pdf.pages[0].MediaBox[2]))
    assert widths == {"plain": 595, "house": 612, "given": 595}
    refused(run("check", root, "--json", root / "house.toml"), "would write over", 2)
    (tmp_path / "h.toml").write_text('[numbers]\ndecimal = "coma"\n', encoding="utf-8")
    refused(run("check", root, "--house", tmp_path / "h.toml"), 'Did you mean "comma"?')


def test_a_stored_day_is_refused_before_the_work(summer: Path, tmp_path: Path, run: Run) -> None:
    (tmp_path / "kit-check-2031-07-04.json").write_text("kept", encoding="utf-8")
    result = run("check", summer, "--history", tmp_path, "--date", "2031-07-04", "--html", tmp_path / "c.html")
    refused(result, "2031-07-04 is stored already")
    assert not (tmp_path / "c.html").exists()
    assert (tmp_path / "kit-check-2031-07-04.json").read_text(encoding="utf-8") == "kept"


def test_what_is_refused(summer: Path, tmp_path: Path, run: Run) -> None:
    refused(run("check", summer, "--date", "in autumn"), "'in autumn' is no day", 2)
    refused(run("check", tmp_path), "No bench.toml in this folder")
    refused(run("check", summer, "--json", summer / "bench-1" / "rest.csv"), "would write over", 2)
    later = tmp_path / "later.json"
    later.write_text('{"format": "joulebook/kit-check-1", "date": "2032-01-01", "benches": []}', encoding="utf-8")
    refused(run("check", summer, "--against", later, "--date", "2031-09-01"), "is of 2032-01-01")


def test_from_python(summer: Path, tmp_path: Path) -> None:
    check = check_kit(summer, date=datetime.date(2031, 7, 4))
    assert {bench.title for bench in check.benches} == {"Bench 1", "Bench 2"}
    assert {bench.folder for bench in check.benches} == {"bench-1", "bench-2"}
    assert check_kit(summer).date == datetime.date.today()
    with pytest.raises(InputError, match="No bench"):
        check_kit(tmp_path)


def test_the_check_takes_the_decimal_sign_of_the_house(summer: Path, tmp_path: Path, run: Run) -> None:
    house, page = tmp_path / "house.toml", tmp_path / "c.html"
    house.write_text('[numbers]\ndecimal = "comma"\n', encoding="utf-8")
    result = run("check", summer, "--date", "2031-07-04", "--house", house, "--html", page, "--json", tmp_path / "c.json")
    assert result.exit_code == 0, result.output
    friction = json.loads((tmp_path / "c.json").read_text(encoding="utf-8"))["benches"][0]["measures"]["friction"]["shown"]
    assert "." in friction, "data keep the point"
    text = page.read_text(encoding="utf-8")
    assert friction.replace(".", ",") in text
    assert friction not in text
    assert "2031-07-04" in text
