"""Faults of the model: each changes what it says, the counts are right, and the page says which are not held."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from benchmarks.cells import read_cells
from benchmarks.robustness import FIRST_SEED, HELD, MODEL_FAULTS, faulty_design, main, summary
from benchmarks.robustness_page import robustness_goals, robustness_section
from benchmarks.scores import Outcome

from joulebook.planning.design import random_design
from joulebook.planning.simulate import simulate_bench


@pytest.mark.parametrize("fault", MODEL_FAULTS)
def test_a_larger_fault_changes_more(fault: str) -> None:
    """What is read differs from the sound bench's by more, the larger the fault; what is stated stays as it was."""
    design = replace(random_design(np.random.default_rng(12), launches=1, hands=False), repeat=0.0)
    clean = simulate_bench(design, np.random.default_rng(1))
    assert clean.bench.rest is not None
    changes = []
    for size in MODEL_FAULTS[fault].sizes:
        faulty = simulate_bench(faulty_design(fault, size, design), np.random.default_rng(1))
        assert faulty.bench.rest is not None
        assert faulty.bench.inputs == clean.bench.inputs
        one, other = (
            np.concatenate([each.bench.launches[0].distance[:20], each.bench.rest.distance[:20]]) for each in (faulty, clean)
        )
        launch = min(faulty.bench.launches[0].samples, clean.bench.launches[0].samples)
        moved = np.abs(faulty.bench.launches[0].distance[:launch] - clean.bench.launches[0].distance[:launch])
        changes.append(max(float(np.max(np.abs(one - other))), float(np.max(moved))))
    assert changes[0] > 0.0
    assert changes == sorted(changes)
    assert changes[-1] > changes[0]


def test_the_faults_that_were_asked_for_are_there() -> None:
    assert len(MODEL_FAULTS) == 10
    for fault in MODEL_FAULTS.values():
        assert len(fault.sizes) >= 3
        assert list(fault.sizes) == sorted(fault.sizes)
        assert fault.why


def test_a_summary_counts() -> None:
    def outcome(seed: int, covered: bool, *findings: tuple[str, str]) -> Outcome:
        return Outcome(seed, {}, dict.fromkeys(HELD, 0.0), {"kinetic_energy": covered, "relative_difference": True}, {}, findings)

    found = summary([
        outcome(1, True), outcome(2, False), outcome(3, False, ("misfit", "look")), outcome(4, False, ("angle-mismatch", "look")),
        outcome(5, False, ("misfit", "note")), Outcome(6, {}, failure="ValueError: …"),
    ])  # fmt: skip
    assert (found["benches"], found["misfit"], found["spoken"], found["failed"]) == (6, 2, 2, [6])
    assert found["covered"] == {"kinetic_energy": 1, "relative_difference": 5}
    assert found["held"] == {"kinetic_energy": 3, "relative_difference": 5}
    assert found["held_misfit"] == {"kinetic_energy": 3, "relative_difference": 5}
    assert found["alarms"] == {"angle-mismatch": 1, "misfit": 1}
    assert json.loads(json.dumps(found)) == found


@pytest.mark.slow
def test_two_benches_of_one_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    only = {"slipped clamp": replace(MODEL_FAULTS["slipped clamp"], sizes=(3.0,))}
    monkeypatch.setattr("benchmarks.robustness.MODEL_FAULTS", only)
    main(["--benches", "2", "--out", str(tmp_path / "robustness.jsonl")])
    (line,) = read_cells(tmp_path / "robustness.jsonl")
    assert (line["fault"], line["size"], line["benches"], line["failed"]) == ("slipped clamp", 3.0, 2, [])
    # Nobody's gauge is 3° wrong: the interval cannot hold the truth, and the finding has to speak.
    assert line["covered"]["relative_difference"] == 0
    assert line["held"]["relative_difference"] == line["spoken"] == 2
    assert line["settings"]["first_seed"] == FIRST_SEED


def line(fault: str, size: float, held: int, n: int = 200) -> dict[str, Any]:
    return {
        "fault": fault, "size": size, "benches": n, "settings": {"first_seed": FIRST_SEED}, "misfit": 10, "spoken": 20, "failed": [],
        "covered": dict.fromkeys(HELD, held - 5), "held": {"kinetic_energy": held, "relative_difference": 190},
    }  # fmt: skip


def test_the_section_says_what_is_not_held() -> None:
    short: list[str] = []
    lines = [line("sagging track", 2.0, 190), line("tilted sensor", 3.0, 180), line("tilted sensor", 10.0, 60)]
    text = robustness_section(lines, short)
    assert "| the track sags in its middle by | 2 mm | 92 | 92 | 5 | 10 | 95 (91–97) | 95 (91–97) |" in text
    assert "| 10° | 28 | 28 | 5 | 10 | 30 (24–37) **low** |" in text
    (told,) = short
    assert told.startswith("Tilted sensor: neither the interval holds nor a finding speaks often enough for `kinetic_energy` at 10 °")
    assert "3 °" not in told
    assert told.endswith(f"{MODEL_FAULTS['tilted sensor'].why}.")
    assert [each[2:] for each in robustness_goals(lines)] == [("1 of 3", False), ("0 of 3", True)]
    assert robustness_section([], []) == ""
    assert robustness_goals([]) == []
