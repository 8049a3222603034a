"""Rehearsals: the hidden fault is found by the audit of the written files, and nothing in the folders gives it away."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from joulebook.errors import InputError, OutputError
from joulebook.planning.faults import FAULTS
from joulebook.planning.folder import DIALECTS
from joulebook.planning.rehearse import ALSO_READ_AS, Rehearsal, choose_faults, rehearse_bench, rehearse_benches
from joulebook.planning.stated_design import StatedBench, read_stated
from joulebook.planning.statements import Statement

HIDDEN = list(FAULTS)[::3]


@pytest.fixture(scope="module")
def everything(tmp_path_factory: pytest.TempPathFactory) -> Rehearsal:
    """Benches with every third fault and two clean ones, as a class would hand them in; test_diagnosis.py has every fault."""
    return rehearse_benches(tmp_path_factory.mktemp("all") / "class", hidden=[*HIDDEN, "", ""], seed=21)


def test_every_hidden_fault_is_found(everything: Rehearsal) -> None:
    """The audit of the files as they were written names what was hidden, but for the documented codes."""
    missed = [bench.code for bench in everything.benches if bench.code and bench.code not in bench.found]
    assert set(missed) <= set(ALSO_READ_AS)
    assert len(missed) <= 1


def test_clean_benches_ask_nobody_to_look(everything: Rehearsal) -> None:
    for bench in everything.benches[-2:]:
        assert [finding.code for finding in bench.audit.findings if finding.severity != "note"] == []


def test_folders_give_nothing_away(everything: Rehearsal) -> None:
    for bench in everything.benches:
        names = {path.name for path in bench.folder.iterdir()}
        assert "bench.toml" in names
        assert all(name.startswith(("bench", "rest", "launch")) for name in names)
        text = (bench.folder / "bench.toml").read_text(encoding="utf-8")
        assert bench.code == "" or bench.code not in text
        assert bench.bench.title in text


def test_the_dialects_are_mixed(everything: Rehearsal) -> None:
    assert len({bench.dialect for bench in everything.benches}) >= 4


def test_answers_hold_what_is_hidden_and_what_is_true(everything: Rehearsal) -> None:
    told = json.loads(json.dumps(everything.to_dict()))
    assert told["format"] == "joulebook/rehearsal-1"
    assert [bench["hidden"] for bench in told["benches"]] == [*HIDDEN, None, None]
    clean = told["benches"][-1]["truth"]
    assert clean["kinetic_energy"] + clean["rotational_energy"] > clean["potential_energy"] > 0.0
    assert told["benches"][0]["truth"] == {}, "nothing was launched there"


def test_the_same_seed_writes_the_same_bytes(tmp_path: Path) -> None:
    written = []
    for name in ("one", "two"):
        rehearsal = rehearse_benches(tmp_path / name, hidden=["", "caught"], seed=5, dialect="logger")
        files = sorted(path for path in rehearsal.folder.rglob("*") if path.is_file())
        written.append([(path.relative_to(rehearsal.folder).as_posix(), path.read_bytes()) for path in files])
    assert written[0] == written[1]
    other = rehearse_benches(tmp_path / "three", hidden=["", "caught"], seed=6, dialect="logger")
    assert (other.benches[0].folder / "bench.toml").read_bytes() != dict(written[0])["bench-01/bench.toml"]


def test_a_stated_set_up_is_kept(tmp_path: Path) -> None:
    """What the teacher wrote stands in the new bench file with the same values and uncertainties, house rules included."""
    slope = (
        Statement("track.rise", 0.12, 0.001, "limits", 1, "cm", 100.0),
        Statement("track.along", 1.0, 0.001, "limits", 1, "cm", 100.0),
    )
    stated = StatedBench(
        "Bench by the door",
        (*slope, Statement("cart.mass", 0.4321, 0.0005, "limits", 4)),
        placed="bottom",
        length=1.7,
        launches=2,
        house={"tolerance": 0.08},
    )
    bench = rehearse_bench(tmp_path / "bench", "", stated=stated, seed=(3,))
    assert bench.bench.title == "Bench by the door"
    assert bench.bench.inputs["cart.mass"].value == pytest.approx(0.4321)
    assert bench.bench.inputs["track.rise"].value == pytest.approx(0.12)
    assert bench.bench.word("sensor.placed") == "bottom"
    assert bench.bench.tolerance == pytest.approx(0.08)
    assert len(bench.bench.launches) == 2
    (again,) = read_stated(bench.folder)
    assert {each.name: each.text() for each in again.statements}["cart.mass"].startswith("0.4321")


def test_a_fault_that_a_set_up_cannot_show(tmp_path: Path) -> None:
    statements = (Statement("track.angle", 15.0, 0.25, "limits", 2), Statement("cart.mass", 0.5, 0.0005))
    short = StatedBench("Bench 1", statements, length=0.6, speed=0.8)
    with pytest.raises(InputError, match="the fault misfit does not show on this set-up"):
        rehearse_bench(tmp_path / "bench", "misfit", stated=short, seed=(1,))


def test_faults_are_dealt_out() -> None:
    rng = np.random.default_rng(1)
    hidden = choose_faults(6, codes=["caught"], faults=2, rng=rng)
    assert len(hidden) == 6
    assert hidden.count("") == 3
    assert hidden.count("caught") == 1
    assert len({code for code in hidden if code}) == 3
    many = choose_faults(60, codes=[], faults=50, rng=rng)
    assert set(FAULTS) <= set(many)


@pytest.mark.parametrize(
    ("arguments", "message", "remedy"),
    [
        ({"count": 3, "codes": ["caugt"], "faults": 0}, "no fault 'caugt'", "Did you mean caught?"),
        ({"count": 3, "codes": ["zzz"], "faults": 0}, "no fault 'zzz'", "joulebook findings"),
        ({"count": 1, "codes": ["caught"], "faults": 1}, "2 faults do not fit into 1 bench;", "more benches"),
    ],
)
def test_what_cannot_be_dealt_out(arguments: dict[str, object], message: str, remedy: str) -> None:
    with pytest.raises(InputError, match=message) as caught:
        choose_faults(**arguments, rng=np.random.default_rng(1))  # type: ignore[arg-type]
    assert remedy in caught.value.remedy


def test_a_folder_in_use_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("notes")
    with pytest.raises(OutputError, match="in use already"):
        rehearse_benches(tmp_path, hidden=[""], seed=1)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_unknown_dialect_and_uneven_set_ups(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no dialect 'morse'") as caught:
        rehearse_benches(tmp_path / "x", hidden=[""], seed=1, dialect="morse")
    assert all(name in caught.value.remedy for name in DIALECTS)
    with pytest.raises(InputError, match="1 stated set-ups do not go with 2 benches"):
        rehearse_benches(tmp_path / "x", hidden=["", ""], seed=1, stated=[StatedBench("A", ())])
