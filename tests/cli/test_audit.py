"""`joulebook audit`: the same result by every way in and out, and no file lost on the way."""

from __future__ import annotations

import csv
import io
import json
import math
import os
import re
import zipfile
from pathlib import Path

import pytest
from tests.cli.conftest import Run

import joulebook

RECORDS = ("rest.csv", "launch-1.csv", "launch-2.csv")


def stated(bench: Path, name: str) -> str:
    """Return what the bench file says of one value."""
    found = re.search(rf'^{name} = "(.*)"$', (bench / "bench.toml").read_text(encoding="utf-8"), re.MULTILINE)
    assert found is not None
    return found[1]


def test_json_is_the_audit(bench: Path, run: Run) -> None:
    result = run("audit", bench, "--linear", "--json")
    assert result.exit_code == 0
    found = json.loads(result.stdout)
    audit = joulebook.audit(bench, method="linear")
    assert found == json.loads(json.dumps(audit.to_dict()))
    assert list(found) == [
        "format",
        "experiment",
        "bench",
        "records",
        "phases",
        "quantities",
        "budgets",
        "verdict",
        "findings",
        "launches",
    ]
    assert found["format"] == "joulebook/audit-1"
    assert found["records"][0]["sha256"] == audit.records[0].sha256


def test_the_folder_and_the_file_are_the_same_bench(bench: Path, run: Run) -> None:
    outputs = [run("audit", way, "--linear", "--json").stdout for way in (bench, bench / "bench.toml")]
    assert outputs[0] == outputs[1] != ""


def test_records_and_values_without_a_bench_file(bench: Path, run: Run) -> None:
    """The same records and values, given one by one, give the same ledger."""
    launches = [part for name in RECORDS[1:] for part in ("--launch", bench / name)]
    text = (bench / "bench.toml").read_text(encoding="utf-8").partition("[files]")[0]
    given, table = [], ""
    for line in text.splitlines():
        if line.startswith("["):
            table = line.strip("[]")
        elif table and " = " in line:
            name, value = line.split(" = ", 1)
            given += ["--set", f"{table}.{name}={value.strip(chr(34))}"]
    angle, mass = stated(bench, "angle"), stated(bench, "mass")
    given = [*_without(given, ("track.angle", "cart.mass")), "--angle", angle, "--mass", mass]
    alone = json.loads(run("audit", *launches, "--rest", bench / "rest.csv", *given, "--linear", "--json").stdout)
    whole = json.loads(run("audit", bench, "--linear", "--json").stdout)
    assert alone["quantities"] == whole["quantities"]
    assert alone["verdict"] == whole["verdict"]


def _without(given: list[str], names: tuple[str, ...]) -> list[str]:
    pairs = [pair for pair in given[1::2] if pair.partition("=")[0] not in names]
    return [part for pair in pairs for part in ("--set", pair)]


def test_the_terminal_says_the_verdict_first(bench: Path, run: Run) -> None:
    result = run("audit", bench, "--linear")
    assert result.exit_code == 0
    sentence = joulebook.audit(bench, method="linear").verdict.sentence
    words = " ".join(result.stdout.split())
    assert " ".join(sentence.split()) in words
    assert len(run("audit", bench, "--linear", "--all").stdout) > len(result.stdout)


def test_every_report_is_written_beside_the_terminal(bench: Path, tmp_path: Path, run: Run) -> None:
    names = {"json": "a.json", "html": "a.html", "pdf": "a.pdf", "csv": "a.csv", "xlsx": "a.xlsx", "working": "a.txt"}
    paths = {kind: tmp_path / name for kind, name in names.items()}
    arguments = [part for kind, path in paths.items() for part in (f"--{kind}", path)]
    result = run("audit", bench, "--linear", *arguments)
    assert result.exit_code == 0, result.output
    assert result.stderr == "".join(f"{kind}: {path}\n" for kind, path in paths.items())
    assert json.loads(paths["json"].read_text(encoding="utf-8"))["format"] == "joulebook/audit-1"
    assert "<html" in paths["html"].read_text(encoding="utf-8")
    assert paths["pdf"].read_bytes().startswith(b"%PDF-")
    rows = list(csv.reader(io.StringIO(paths["csv"].read_text(encoding="utf-8"))))
    samples = sum(record.samples for record in joulebook.read_bench(bench).launches)
    assert len([row for row in rows if row and row[0]]) > samples
    assert zipfile.is_zipfile(paths["xlsx"])
    assert paths["working"].read_text(encoding="utf-8").count("\n") > 10
    assert sorted(os.listdir(tmp_path)) == sorted([*names.values(), "bench-1"])


def test_the_paper_can_be_chosen(bench: Path, tmp_path: Path, run: Run) -> None:
    import pikepdf

    sizes = {"a4": (595.28, 841.89), "us-letter": (612.0, 792.0)}
    for paper, size in sizes.items():
        path = tmp_path / f"{paper}.pdf"
        assert run("audit", bench, "--linear", "--pdf", path, "--paper", paper).exit_code == 0
        with pikepdf.open(path) as document:
            box = [float(number) for number in document.pages[0].mediabox]
        assert box[2:] == pytest.approx(size, abs=0.1)


def test_printed_json_stands_alone(bench: Path, tmp_path: Path, run: Run) -> None:
    result = run("audit", bench, "--linear", "--csv", tmp_path / "trace.csv", "--json")
    json.loads(result.stdout)
    assert (tmp_path / "trace.csv").exists()


def test_a_seed_repeats_the_draws(bench: Path, run: Run) -> None:
    outputs = [run("audit", bench, "--draws", 1024, "--seed", seed, "--json").stdout for seed in (7, 7, 8)]
    assert outputs[0] == outputs[1] != outputs[2]
    quantity = json.loads(outputs[0])["quantities"]["relative_difference"]
    assert quantity["method"] == "monte-carlo"
    assert quantity["low"] < quantity["value"] < quantity["high"]


def test_the_shortest_interval_is_no_longer_than_the_symmetric_one(bench: Path, run: Run) -> None:
    ends = {}
    for kind in ("symmetric", "shortest"):
        text = run("audit", bench, "--draws", 4096, "--interval", kind, "--json").stdout
        ends[kind] = json.loads(text)["quantities"]["relative_difference"]
    width = {kind: quantity["high"] - quantity["low"] for kind, quantity in ends.items()}
    assert width["shortest"] <= width["symmetric"] * (1 + 1e-9)


def test_the_adaptive_draws_agree_with_the_linear_interval(bench: Path, run: Run) -> None:
    found = {}
    for method in ("--adaptive", "--linear"):
        quantities = json.loads(run("audit", bench, method, "--json").stdout)["quantities"]
        found[method] = quantities["release_speed"]
        methods = {item["method"] for item in quantities.values() if isinstance(item, dict)}
        assert methods == ({"gum"} if method == "--linear" else {"monte-carlo"})
    width = {method: quantity["high"] - quantity["low"] for method, quantity in found.items()}
    assert width["--adaptive"] == pytest.approx(width["--linear"], rel=0.25)


def test_a_tolerance_decides_between_conserved_and_undecided(bench: Path, run: Run) -> None:
    words = {}
    for tolerance in ("0.01%", "99%"):
        text = run("audit", bench, "--linear", "--angle", "8 deg ± 4 deg", "--tolerance", tolerance, "--json").stdout
        words[tolerance] = json.loads(text)["verdict"]["mechanical"]
    assert words == {"0.01%": "undecided", "99%": "conserved"}


def test_a_person_may_set_the_release(bench: Path, run: Run) -> None:
    """A release set by hand, a little later than the one found, is the one that is reported."""
    found = json.loads(run("audit", bench, "--linear", "--json").stdout)["launches"]
    later = found[0]["quantities"]["release_time"]["value"] + 0.1
    result = run("audit", bench, "--linear", "--release", f"launch-1.csv={later:.4f}", "--json")
    again = json.loads(result.stdout)["launches"]
    assert again[0]["quantities"]["release_time"]["value"] == pytest.approx(later, abs=1e-3)
    assert again[1] == found[1]


def test_columns_may_be_overruled(bench: Path, run: Run) -> None:
    usual = run("audit", bench, "--linear", "--json").stdout
    assert run("audit", bench, "--linear", "--time-column", 1, "--position-column", 2, "--unit", "m", "--json").exit_code == 0
    wrong = json.loads(run("audit", bench, "--linear", "--unit", "ft", "--json").stdout)
    shrunk = json.loads(usual)["records"][0]["noise_m"]
    assert wrong["records"][0]["noise_m"] is None or not math.isclose(wrong["records"][0]["noise_m"], shrunk)


@pytest.mark.parametrize("name", ["bench.toml", *RECORDS])
@pytest.mark.parametrize("option", ["--json", "--working", "--csv"])
def test_no_record_and_no_bench_file_is_written_over(bench: Path, run: Run, name: str, option: str) -> None:
    before = (bench / name).read_bytes()
    result = run("audit", bench, "--linear", option, bench / name)
    assert result.exit_code == 2
    assert f"{option} would write over" in result.stderr.replace("\n", " ")
    assert (bench / name).read_bytes() == before


def test_json_that_swallows_the_bench_is_explained(bench: Path, run: Run) -> None:
    result = run("audit", "--json", bench)
    assert result.exit_code == 2
    assert f"--json took {bench} as its file. Put the bench first" in " ".join(result.stderr.split())


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ([], "Nothing to audit. Name a bench file or folder, or give --launch, --angle and --mass."),
        (["BENCH", "--launch", "x.csv"], "A bench file names its own records. Leave out BENCH, or --launch and --rest."),
        (["BENCH", "--angle", "8 deg", "--set", "angle=9 deg"], "--angle and --set give track.angle twice. Keep one."),
        (["BENCH", "--mass", "1 kg", "--set", "cart.mass=9 kg"], "--mass and --set give cart.mass twice. Keep one."),
        (["BENCH", "--linear", "--draws", "1000"], "--linear makes no draws"),
        (["BENCH", "--tolerance", "5"], "a share lies between 0 and 1"),
        (["BENCH", "--json", "--working"], "--json and --working cannot both be written to -. Name two places."),
        (["BENCH", "--release", "soon"], "'soon' is not a time."),
        (["no-such-bench"], "does not exist"),
    ],
)
def test_what_was_not_understood(bench: Path, run: Run, arguments: list[str], message: str) -> None:
    result = run("audit", *[str(bench) if word == "BENCH" else word for word in arguments])
    assert result.exit_code == 2
    assert message in " ".join(result.stderr.split())
    assert result.stdout == ""


def test_faults_of_a_bench_are_all_told(bench: Path, run: Run) -> None:
    (bench / "bench.toml").write_text('[track]\nangle = "steep"\n[cart]\nmas = "1 kg"\n')
    result = run("audit", bench)
    assert result.exit_code == 3
    assert result.stdout == ""
    assert "track.angle" in result.stderr
    assert "cart.mas" in result.stderr
    assert "Traceback" not in result.stderr


def test_a_value_of_the_wrong_dimension_is_told(bench: Path, run: Run) -> None:
    result = run("audit", bench, "--angle", "9.8 kg")
    assert result.exit_code == 3
    assert "track.angle" in result.stderr


def test_reports_without_their_library_say_what_to_install(bench: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(audit: object, paper: str, decimal: str) -> str:
        raise ModuleNotFoundError("No module named 'altair'", name="altair")

    monkeypatch.setitem(joulebook.cli.reports.REPORT_KINDS, "html", missing)  # type: ignore[attr-defined]
    result = run("audit", bench, "--linear", "--html", bench / "page.html")
    assert result.exit_code == 3
    assert "--html needs the library altair, which is not installed. Install joulebook with its reports" in result.stderr
    assert not (bench / "page.html").exists()


def test_every_key_is_documented(bench: Path, run: Run) -> None:
    """docs/json.md names every key that the audit holds, save the names of inputs and the evidence of findings."""
    page = (Path(__file__).parents[2] / "docs" / "json.md").read_text(encoding="utf-8")
    audit = json.loads(run("audit", bench, "--linear", "--json").stdout)
    keys: set[str] = set()

    def collect(value: object) -> None:
        if isinstance(value, dict):
            keys.update(value)
            for name, item in value.items():
                if name != "evidence":
                    collect(item)
        elif isinstance(value, list):
            for item in value:
                collect(item)

    collect(audit)
    assert {"share", "read_as", "unaccounted"} <= keys
    assert [key for key in sorted(keys) if f"`{key}`" not in page] == []
