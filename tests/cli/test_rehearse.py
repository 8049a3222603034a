"""`joulebook rehearse`: folders for the class, answers apart from them, packs with their sheets, and what is refused."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pikepdf
import pytest
from tests.cli.conftest import Run

import joulebook
from joulebook.errors import InputError


def flat(text: str) -> str:
    return " ".join(text.split())


def test_a_rehearsal_with_answers_apart(tmp_path: Path, run: Run) -> None:
    out = tmp_path / "class"
    result = run("rehearse", "--out", out, "--benches", 3, "--fault", "mass-suspect", "--faults", 1, "--seed", 4, "--no-pdf")
    assert result.exit_code == 0, result.output
    assert sorted(path.name for path in out.iterdir()) == ["bench-01", "bench-02", "bench-03"]
    apart = tmp_path / "class-answers"
    assert sorted(path.name for path in apart.iterdir()) == ["answers.html", "answers.json"]
    told = json.loads((apart / "answers.json").read_text(encoding="utf-8"))
    hidden = [bench["hidden"] for bench in told["benches"]]
    assert "mass-suspect" in hidden
    assert hidden.count(None) == 1
    assert "mass-suspect: The mass is not a cart&#39;s" in (apart / "answers.html").read_text(encoding="utf-8")
    given = "".join(path.read_text(encoding="latin-1") for path in out.rglob("*") if path.is_file() and path.suffix != ".xlsx")
    assert "suspect" not in given
    # What was written is what a class hands in: the sweep reads every folder.
    lines = list(joulebook.sweep(out, method="linear"))
    assert [line["ok"] for line in lines] == [True] * 3


def test_from_bench_files(tmp_path: Path, run: Run) -> None:
    for number, angle in ((1, 6), (2, 8)):
        folder = tmp_path / "stated" / f"bench-{number}"
        folder.mkdir(parents=True)
        (folder / "bench.toml").write_text(
            f'title = "Table {number}"\n[cart]\nmass = "0.5 kg ± 0.001 kg"\n'
            f'[track]\nangle = "{angle} deg ± 0.25 deg"\nlength = "1.8 m"\n',
            encoding="utf-8",
        )
    result = run("rehearse", "--out", tmp_path / "class", "--from", tmp_path / "stated", "--launches", 2, "--no-pdf")
    assert result.exit_code == 0, result.output
    benches = [joulebook.read_bench(tmp_path / "class" / f"bench-0{number}") for number in (1, 2)]
    assert [bench.title for bench in benches] == ["Table 1", "Table 2"]
    assert [bench.inputs["track.angle"].value for bench in benches] == [6.0, 8.0]
    assert [len(bench.launches) for bench in benches] == [2, 2]


def width(pdf: Path) -> int:
    """Return the width of a PDF's first page in points: 595 for A4 (ISO 216), 612 for US Letter (8.5 in)."""
    with pikepdf.open(pdf) as opened:
        return int(float(opened.pages[0].MediaBox[2]))


HOUSE = '[numbers]\ngravity = "9.7 m/s^2 ± 0.01 m/s^2"\n[sheets]\npaper = "us-letter"\n'


def test_the_house_of_the_source_goes_along(tmp_path: Path, run: Run) -> None:
    stated = tmp_path / "stated"
    stated.mkdir()
    text = 'title = "Table"\n[cart]\nmass = "0.5 kg ± 0.001 kg"\n[track]\nangle = "6.0 deg ± 0.2 deg"\nlength = "1.8 m"\n'
    (stated / "bench.toml").write_text(text, encoding="utf-8")
    (stated / "house.toml").write_text(HOUSE, encoding="utf-8")
    out = tmp_path / "class"
    result = run("rehearse", "--out", out, "--from", stated, "--seed", 2)
    assert result.exit_code == 0, result.output
    assert (out / "house.toml").read_text(encoding="utf-8") == HOUSE
    assert width(tmp_path / "class-answers" / "answers.pdf") == 612
    # The benches are audited there by that g, and what happened at them happened at that g.
    audit = joulebook.audit(out / "bench-01", method="linear")
    assert {item.name: item.value for item in audit.inputs}["place.gravity"] == 9.7
    assert not [finding for finding in audit.findings if finding.severity != "note"]
    again = run("rehearse", "--out", tmp_path / "b", "--from", stated, "--seed", 2, "--paper", "a4")
    assert again.exit_code == 0 and width(tmp_path / "b-answers" / "answers.pdf") == 595


def test_the_house_around_the_folder(tmp_path: Path, run: Run) -> None:
    """Rules around --out give the paper, and are found from there: they need no copy. Without any, the paper is A4."""
    assert run("rehearse", "--diagnosis", 1, "--out", tmp_path / "a").exit_code == 0
    assert width(tmp_path / "a" / "questions.pdf") == 595
    (tmp_path / "house.toml").write_text(HOUSE, encoding="utf-8")
    assert run("rehearse", "--diagnosis", 1, "--out", tmp_path / "b").exit_code == 0
    assert width(tmp_path / "b" / "questions.pdf") == width(tmp_path / "b-answers" / "answers.pdf") == 612
    assert run("rehearse", "--out", tmp_path / "c", "--benches", 1).exit_code == 0
    assert width(tmp_path / "c-answers" / "answers.pdf") == 612
    assert not (tmp_path / "c" / "house.toml").exists()
    given = tmp_path / "mine.toml"
    given.write_text(HOUSE.replace("us-letter", "a4"), encoding="utf-8")
    assert run("rehearse", "--out", tmp_path / "d", "--benches", 1, "--house", given).exit_code == 0
    assert width(tmp_path / "d-answers" / "answers.pdf") == 595
    assert (tmp_path / "d" / "house.toml").read_bytes() == given.read_bytes()
    given.write_text("[sheets]\npaper = 'a7'\n", encoding="utf-8")
    refused = run("rehearse", "--out", tmp_path / "e", "--house", given)
    assert refused.exit_code == 3 and "fault in these house rules" in flat(refused.output)
    assert not (tmp_path / "e").exists()


def test_a_diagnosis_pack(tmp_path: Path, run: Run) -> None:
    out = tmp_path / "practice"
    result = run("rehearse", "--diagnosis", 4, "--out", out, "--seed", 3, "--answers", tmp_path / "keys")
    assert result.exit_code == 0, result.output
    assert sorted(path.name for path in out.iterdir()) == ["questions.html", "questions.pdf", "records"]
    assert sorted(path.name for path in (out / "records").iterdir()) == [f"record-0{number}" for number in range(1, 5)]
    assert sorted(path.name for path in (tmp_path / "keys").iterdir()) == ["answers.html", "answers.json", "answers.pdf"]
    questions = (out / "questions.html").read_text(encoding="utf-8")
    answers = (tmp_path / "keys" / "answers.html").read_text(encoding="utf-8")
    for bench in json.loads((tmp_path / "keys" / "answers.json").read_text(encoding="utf-8"))["benches"]:
        if bench["hidden"]:
            assert bench["hidden"] not in questions
            assert bench["hidden"] in answers


@pytest.mark.parametrize(
    ("arguments", "message", "code"),
    [
        (["--answers", "{out}/answers"], "where students would find it", 2),
        (["--answers", "{out}/.."], "whoever gets it gets the answers", 2),
        (["--diagnosis", "3", "--benches", "2"], "leave out --benches", 2),
        (["--diagnosis", "3", "--dialect", "bare"], "leave out --dialect", 2),
        (["--fault", "caugt"], "There is no fault 'caugt'. Did you mean caught?", 3),
        (["--benches", "1", "--faults", "2"], "2 faults do not fit into 1 bench", 3),
        (["--dialect", "morse"], "no dialect 'morse'", 3),
    ],
)
def test_what_is_refused(tmp_path: Path, run: Run, arguments: list[str], message: str, code: int) -> None:
    out = tmp_path / "class"
    result = run("rehearse", "--out", out, *(each.replace("{out}", str(out)) for each in arguments))
    assert result.exit_code == code, result.output
    assert message in flat(result.output)
    assert not out.exists()


def test_nothing_is_written_over(tmp_path: Path, run: Run) -> None:
    out = tmp_path / "class"
    assert run("rehearse", "--out", out, "--benches", 1, "--no-pdf").exit_code == 0
    again = run("rehearse", "--out", out, "--benches", 1, "--no-pdf")
    assert again.exit_code == 3
    assert "answers of another rehearsal already" in flat(again.output)
    elsewhere = run("rehearse", "--out", out, "--benches", 1, "--no-pdf", "--answers", tmp_path / "other")
    assert elsewhere.exit_code == 3
    assert "in use already" in flat(elsewhere.output)


def test_from_python(tmp_path: Path) -> None:
    rehearsal = joulebook.rehearse(tmp_path / "one", benches=2, fault="no-rest", seed=7)
    assert sorted(bench.code for bench in rehearsal.benches) == ["", "no-rest"]
    pack = joulebook.diagnosis_pack(tmp_path / "two", records=1, fault="caught", seed=2)
    assert [item.code for item in pack.items] == ["caught"]
    with pytest.raises(InputError, match="0 benches cannot be rehearsed"):
        joulebook.rehearse(tmp_path / "three", benches=0)
    with pytest.raises(InputError, match="3 benches are asked for"):
        joulebook.rehearse(tmp_path / "four", benches=3, source=rehearsal.folder)


def test_a_pack_takes_the_decimal_sign_of_the_house(tmp_path: Path, run: Run) -> None:
    """Questions and answers write the comma of a house around the pack; records, folders and the answer file keep their own."""
    (tmp_path / "house.toml").write_text('[numbers]\ndecimal = "comma"\n[sheets]\npaper = "us-letter"\n', encoding="utf-8")
    out = tmp_path / "pack"
    result = run("rehearse", "--diagnosis", 2, "--out", out, "--seed", 4, "--house", tmp_path / "house.toml")
    assert result.exit_code == 0, result.output
    for path in (out / "questions.html", tmp_path / "pack-answers" / "answers.html"):
        body = path.read_text(encoding="utf-8").partition("<main>")[2]
        shown = re.sub(r"<[^>]*>", " ", body)
        assert re.search(r"\d,\d", shown)
        assert not re.search(r"(?<![\w.])\d+\.\d+ ?(?:m|s|kg|°|%)", shown)
        # Coordinates of the drawings are no numbers to read.
        assert re.search(r'd="M\d+\.\d', body)
    plain = run("rehearse", "--diagnosis", 2, "--out", tmp_path / "plain", "--seed", 4, "--no-pdf")
    assert plain.exit_code == 0, plain.output
    answers = [(tmp_path / f"{name}-answers" / "answers.json").read_text(encoding="utf-8") for name in ("pack", "plain")]
    assert json.loads(answers[0])["benches"] != []
    assert [bench["truth"] for bench in json.loads(answers[0])["benches"]] == [
        bench["truth"] for bench in json.loads(answers[1])["benches"]
    ]


def test_a_rehearsal_takes_the_decimal_sign_of_the_house(tmp_path: Path, run: Run) -> None:
    (tmp_path / "house.toml").write_text('[numbers]\ndecimal = "comma"\n', encoding="utf-8")
    result = run("rehearse", "--benches", 1, "--out", tmp_path / "class", "--house", tmp_path / "house.toml", "--no-pdf")
    assert result.exit_code == 0, result.output
    page = (tmp_path / "class-answers" / "answers.html").read_text(encoding="utf-8")
    assert re.search(r"\d,\d+ ± |\d,\d+\xa0%|\d,\d", page.partition("<main>")[2])
