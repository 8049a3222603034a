"""docs/accuracy.md and docs/performance.md are what the stored results give, and say what falls short."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from benchmarks.accuracy_page import accuracy_page
from benchmarks.cells import read_cells
from benchmarks.map_picture import map_picture
from benchmarks.pages import DOCS
from benchmarks.performance_page import performance_page
from benchmarks.scores import QUANTITIES, Outcome

from joulebook.experiments import EXPERIMENTS

RESULTS = Path(__file__).parents[1] / "benchmarks" / "results"


def results(name: str) -> dict:  # type: ignore[type-arg]
    return json.loads((RESULTS / f"{name}.json").read_text(encoding="utf-8"))  # type: ignore[no-any-return]


def lines(name: str) -> list[dict]:  # type: ignore[type-arg]
    return read_cells(RESULTS / f"{name}.jsonl")


def test_the_pages_are_those_of_the_stored_results() -> None:
    accuracy = accuracy_page(
        results("conformance"), results("plan"), results("marking"), maps=lines("maps"), robustness=lines("robustness")
    )
    assert (DOCS / "accuracy.md").read_text(encoding="utf-8") == accuracy
    if maps := lines("maps"):
        assert (DOCS / "maps.svg").read_text(encoding="utf-8") == map_picture(maps)
    faults, profile = (results(name) if (RESULTS / f"{name}.json").is_file() else None for name in ("faults", "profile"))
    performance = performance_page(results("speed"), results("room_load"), faults, cost=lines("cost"), profile=profile)
    assert (DOCS / "performance.md").read_text(encoding="utf-8") == performance


def test_enough_was_measured() -> None:
    """The goals are stated for 400 clean benches at least, and every finding code has its faults."""
    stored = results("conformance")
    assert len(stored["clean"]) >= 400
    assert set(stored["faults"]) == {code.code for code in EXPERIMENTS["ramp-launch"].codes}
    assert min(each["benches"] for each in stored["faults"].values()) >= 100


def made_up(*, covered: bool, alarm: bool) -> dict:  # type: ignore[type-arg]
    outcome = Outcome(
        1, {"stop": "spring", "placed": "top", "rate": 20.0}, {name: 0.5 for name in QUANTITIES},
        {name: covered for name in QUANTITIES}, {}, (("misfit", "look"),) if alarm else (),
        extra={"energy": [{"bound": 1.0, "known_level": 9.0, "own_level": 9.0}]},
    )  # fmt: skip
    return outcome.to_dict()


def test_what_falls_short_is_said() -> None:
    bad = [made_up(covered=False, alarm=True)] * 20
    stored = {
        "version": "0", "first_seeds": {"clean": 1, "faults": 1, "plain": 1}, "clean": bad, "plain": bad,
        "faults": {"misfit": {"benches": 10, "caught": 3, "missed": bad[:7]}},
    }  # fmt: skip
    plans = results("plan")
    point = plans["points"][0]
    point["scatter"]["kinetic_energy"] = 1.5 * point["predicted_scatter"]["kinetic_energy"]
    point["account"]["closed"] = point["planned"]["account"]["closed"] + 0.2
    short = accuracy_page(stored, plans, results("marking")).split("## What falls short")[1]
    for words in (
        "of `kinetic_energy` holds the truth too seldom: on 0.0", "Of 100 clean benches, 100.0 get",
        f"{point['name']}: the errors scatter of `kinetic_energy`, 1.50 times what was planned.",
        f"{point['name']}: “closed” was planned for",
        "9.00 in rms Cramér–Rao bounds",
        "`misfit` is found on 30 %", 'In the second simulator, stop "spring", these',
    ):  # fmt: skip
        assert words in short


def test_an_outcome_is_stored_whole() -> None:
    plain = made_up(covered=True, alarm=True)
    assert Outcome.from_dict(json.loads(json.dumps(plain))).to_dict() == plain


@pytest.mark.parametrize("page", ["accuracy.md", "performance.md"])
def test_no_machine_is_named(page: str) -> None:
    text = (DOCS / page).read_text(encoding="utf-8")
    assert "/home/" not in text and "/work/" not in text and "/tmp/" not in text
