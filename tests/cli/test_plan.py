"""`joulebook plan` from the command line."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from click.testing import Result

Run = Callable[..., Result]


def test_the_documented_kit(run: Run) -> None:
    result = run("plan")
    assert result.exit_code == 0
    assert "Set the track to 5°, measured by height over length" in " ".join(result.output.split())
    assert "10 % on the height becomes 1.6 %" in " ".join(result.output.split())
    assert "What to avoid" in result.output
    assert "How many such benches" not in result.output
    assert "How many such benches" in run("plan", "--all").output


def test_a_kit_file_and_its_outputs(run: Run, tmp_path: Path) -> None:
    kit = tmp_path / "kit.toml"
    kit.write_text('title = "Blue kit"\n[class]\nbenches = 3\n', encoding="utf-8")
    result = run(
        "plan", tmp_path, "--set", "launch.speeds=0.7 m/s; 0.9 m/s", "--json", tmp_path / "p.json", "--html", tmp_path / "p.html",
        "--pdf", tmp_path / "p.pdf", "--paper", "us-letter", "--benches", tmp_path / "benches", "--check", 2, "--seed", 4,
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    assert "Blue kit" in result.output
    found = json.loads((tmp_path / "p.json").read_text(encoding="utf-8"))
    assert found["format"] == "joulebook/plan-1"
    assert found["region"]["speeds_m_s"] == [0.7, 0.9]
    assert found["check"]["seed"] == 4
    assert (tmp_path / "p.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    assert (tmp_path / "p.pdf").read_bytes().startswith(b"%PDF")
    for number in (1, 2, 3):
        path = tmp_path / "benches" / f"bench-{number}" / "bench.toml"
        assert f'title = "Bench {number}"' in path.read_text(encoding="utf-8")
        assert str(path) in "".join(result.output.split())
    again = run("plan", tmp_path, "--benches", tmp_path / "benches")
    assert again.exit_code == 3
    assert "3 of the 3 bench files are there already" in again.output


def test_json_to_the_terminal_alone(run: Run) -> None:
    result = run("plan", "--json", "--tolerance", "10%")
    assert json.loads(result.output)["tolerance"] == 0.1


def test_house_rules(run: Run, tmp_path: Path) -> None:
    house = tmp_path / "house.toml"
    house.write_text('[comparison]\ntolerance = "8 %"\n\n[numbers]\ndecimal = "comma"\n', encoding="utf-8")
    result = run("plan", "--house", house)
    assert result.exit_code == 0, result.output
    assert "energy conserved within 8 %" in " ".join(result.output.split())
    assert "1,10 m/s" in result.output or "0,90 m/s" in result.output


def test_faults_of_a_kit(run: Run) -> None:
    result = run("plan", "--set", "length=3 s", "--set", "colour=blue")
    assert result.exit_code == 3
    assert "2 faults in this kit" in result.output
    assert "track.length" in result.output


def test_what_is_not_understood(run: Run, tmp_path: Path) -> None:
    assert run("plan", "--tolerance", "200%").exit_code == 2
    assert run("plan", "--set", "length").exit_code == 2
    kit = tmp_path / "kit.toml"
    kit.write_text("", encoding="utf-8")
    result = run("plan", kit, "--json", kit)
    assert result.exit_code == 2
    assert kit.read_text(encoding="utf-8") == ""


def test_a_kit_that_offers_nothing(run: Run) -> None:
    result = run("plan", "--set", "speeds=3 m/s")
    assert result.exit_code == 3
    assert "Give gentler launches" in result.output
