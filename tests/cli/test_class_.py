"""`joulebook class`: the pages, what is left out, the projector's letters, and what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from tests.cli.conftest import Run

from joulebook.api.class_pictures import class_picture, write_class_picture
from joulebook.errors import AnalysisError, InputError
from joulebook.planning.demo_section import write_demo


@pytest.fixture(scope="module")
def benches(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    write_demo(folder)
    (folder / "bench-7").mkdir()
    (folder / "bench-7" / "bench.toml").write_text('[track]\nangle = "steep"\n', encoding="utf-8")
    return folder


def test_pages_and_json(benches: Path, tmp_path: Path, run: Run) -> None:
    files = {name: tmp_path / f"c.{name}" for name in ("json", "html", "pdf")}
    wall = tmp_path / "wall.html"
    result = run(
        "class", benches, "--linear", "--title", "Period 3", "--projector", wall, "--letters", 1,
        *(each for name, path in files.items() for each in (f"--{name}", path)),
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    text = " ".join(result.output.split())
    assert "5 of 7 benches count" in text
    assert "Bench 4, in the corner: no ledger to trust." in text
    assert "Bench 3, next to the sink: share of the energy unaccounted for" in text
    told = json.loads(files["json"].read_text(encoding="utf-8"))
    assert told["format"] == "joulebook/class-1"
    assert [each["code"] for each in told["benches"]] == ["1", "2", "3", "5", "6"]
    assert {each["code"]: each["kind"] for each in told["left_out"]} == {"4": "stopped", "7": "not-audited"}
    assert "Period 3" in files["html"].read_text(encoding="utf-8")
    assert files["pdf"].read_bytes().startswith(b"%PDF")
    assert "by the window" not in wall.read_text(encoding="utf-8")


def test_a_bench_left_out_by_hand(benches: Path, run: Run) -> None:
    result = run("class", benches, "--linear", "--leave-out", "bench-3", "--json")
    told = json.loads(result.stdout)
    assert {"3": "excluded"}.items() <= {each["code"]: each["kind"] for each in told["left_out"]}.items()


def test_what_is_refused(benches: Path, tmp_path: Path, run: Run) -> None:
    result = run("class", benches, "--linear", "--leave-out", "bench-99")
    assert result.exit_code == 3
    assert "no bench 'bench-99' to leave out" in " ".join(result.output.split())
    assert run("class", tmp_path).exit_code == 3
    over = run("class", benches, "--json", benches / "bench-1" / "bench.toml")
    assert over.exit_code == 2
    assert "would write over" in over.output


def test_from_python(benches: Path, tmp_path: Path) -> None:
    picture = class_picture(benches, method="linear", leave_out=["Bench 3, next to the sink"])
    assert len(picture.benches) == 4
    for name in ("a.json", "a.html", "a.pdf"):
        write_class_picture(tmp_path / name, picture)
        assert (tmp_path / name).stat().st_size > 2000
    with pytest.raises(InputError, match=r"cannot be written as \.docx"):
        write_class_picture(tmp_path / "a.docx", picture)
    shown = class_picture(
        [("Table 1", AnalysisError("Nothing moved.", remedy="Launch it."))], anonymous=np.random.default_rng(1)
    )
    assert [each.title for each in shown.left_out] == ["Bench A"]
    write_class_picture(tmp_path / "wall.html", shown)
    with pytest.raises(InputError, match="projector"):
        write_class_picture(tmp_path / "wall.pdf", shown)
