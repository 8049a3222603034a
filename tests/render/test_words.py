"""The words of the reports cover everything that an audit can hold."""

from __future__ import annotations

from typing import get_args

import pytest
from tests.render.sample_audit import sample_audit

from joulebook.engine.bench import InputSpec, SettingSpec
from joulebook.engine.report import PhaseKind, Severity, Verdict
from joulebook.experiments.ramp_inputs import INPUTS, SETTINGS
from joulebook.render import words

SPECS: tuple[InputSpec | SettingSpec, ...] = (*INPUTS, *SETTINGS)


@pytest.mark.parametrize("name", sample_audit().quantities)
def test_every_quantity_has_a_label_and_a_meaning(name: str) -> None:
    found = words.QUANTITY_WORDS[name]
    assert found.label and found.meaning and not found.meaning.endswith(".")


@pytest.mark.parametrize("name", [spec.name for spec in SPECS])
def test_every_input_of_the_bench_file_has_words(name: str) -> None:
    assert words.INPUT_WORDS[name].meaning


def test_shown_units_follow_the_stored_ones() -> None:
    for spec in INPUTS:
        found = words.INPUT_WORDS[spec.name]
        # A fraction may be shown in per cent, nothing else may change its unit.
        assert found.unit == words.unit_text(spec.unit) or (found.unit, found.factor, spec.unit) == ("%", 100.0, "1")


def test_every_kind_of_phase_severity_and_claim_has_words() -> None:
    assert set(get_args(PhaseKind)) == set(words.PHASE_WORDS)
    assert set(get_args(Severity)) == set(words.SEVERITY_WORDS)
    assert set(words.MECHANICAL_WORDS) == {"gain", "loss", "conserved", "undecided"}
    assert set(words.ACCOUNT_WORDS) == {"closed", "open", "undecided"}
    assert {"mechanical", "account"} <= set(Verdict.__dataclass_fields__)


def test_severities_are_told_apart_without_colour() -> None:
    assert len({item.mark for item in words.SEVERITY_WORDS.values()}) == 3
    assert len({item.word for item in words.SEVERITY_WORDS.values()}) == 3


def test_unknown_names_are_shown_as_they_are() -> None:
    assert words.quantity_words("spin_energy").label == "spin energy"
    assert words.input_words("release of launch_1.csv").label == "release of launch 1.csv"
    assert words.unit_text("parsec") == "parsec"


def test_the_cautions_are_not_called_a_risk_assessment() -> None:
    assert words.CAUTIONS_LABEL.startswith("Cautions, not a risk assessment.")
