"""A group's own comparison in words, for each rule of a house; numbers by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from joulebook.classroom.section import BenchState, SavedStep
from joulebook.engine.house import COMPARISONS, DEFAULT_HOUSE
from joulebook.web.bench_comparison import own_comparison


def _bench(kinetic: str = "0.24", potential: str = "0.22", ku: str = "0.01", pu: str = "0.012") -> BenchState:
    work = {
        "calculation": {"kinetic_energy": kinetic, "potential_energy": potential},
        "uncertainty": {"kinetic_energy_u": ku, "potential_energy_u": pu},
        "claim": {"claim": "loss"},
    }
    return BenchState(1, work={step: SavedStep(fields, 1, "") for step, fields in work.items()}, committed_at="2026-03-04T10:00:00Z")


@pytest.mark.parametrize(
    ("method", "expected"),
    [
        # 0.02/0.23 = 8.7 %.
        ("percent difference", ("8.7 % of the average", "5 % counts as the same", "differ")),
        # 0.24 ± 0.02 and 0.22 ± 0.024.
        ("overlap of intervals", ("share a stretch of the line", "agree")),
        # 0.02/0.22 = 9.1 %; 0.02/0.24 + 0.024/0.22 = 19.2 %.
        ("percentage uncertainty", ("9.1 % of the energy at the top", "together are 19", "agree")),
        # √(0.01² + 0.012²) = 0.01562; 0.02/0.01562 = 1.28.
        ("t-prime", ("joint standard uncertainty", "0.016 J", "t′ = 1.3", "cannot be told")),
        ("model test", ("Your loss is 9.1 % of the energy at the top",)),
    ],
)
def test_each_rule_says_its_numbers(method: Any, expected: tuple[str, ...]) -> None:
    found = own_comparison(_bench(), replace(DEFAULT_HOUSE, comparison=method))
    assert found.question == COMPARISONS[method] and not found.problem
    assert found.claim == "there is less energy at the top"
    for words in expected:
        assert words in found.sentence.replace("\xa0", " "), found.sentence
    assert "u of yours is one standard uncertainty" in found.how and found.picture is not None


def test_the_houses_decimal_sign_is_used_and_understood() -> None:
    house = replace(DEFAULT_HOUSE, comparison="t-prime", decimal=",")
    found = own_comparison(_bench("0,24", "0,22"), house)
    assert "t′ = 1,3" in found.sentence and found.picture is not None
    assert "0,24 J" in found.picture.sentence and "0.24" not in found.picture.sentence


@pytest.mark.parametrize("method", list(COMPARISONS))
def test_numbers_that_no_rule_can_use_are_said(method: Any) -> None:
    house = replace(DEFAULT_HOUSE, comparison=method)
    assert own_comparison(_bench("0", "0", "0", "0"), house).sentence
    assert "nan" not in own_comparison(_bench("0", "0", "0", "0"), house).sentence
    told = own_comparison(_bench(kinetic="a lot"), house)
    assert "not understood as a number" in told.problem and "Ask your teacher" in told.problem
    assert "is blank" in own_comparison(_bench(ku=""), house).problem
