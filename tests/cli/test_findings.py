"""`joulebook findings`: every code can be looked up, none is missing, a slip of the pen is met with a guess."""

from __future__ import annotations

import pytest
from tests.cli.conftest import Run

from joulebook.experiments import EXPERIMENTS

CODES = [item.code for item in EXPERIMENTS["ramp-launch"].codes]

# DESIGN §6.
DESIGN_CODES = [
    "no-launch", "cut-short", "too-close", "too-far", "too-slow", "lost-echo", "ghost-echo", "stuck-echo", "clock", "no-rest",
    "rest-mismatch", "rest-cocked", "wrong-side", "angle-mismatch", "angle-suspect", "mass-suspect", "units-suspect",
    "pushed-by-hand", "caught", "second-launch", "soft-stop", "misfit", "velocity-only",
]  # fmt: skip


def test_every_code_of_the_design_is_listed(run: Run) -> None:
    listed = [line.split()[0] for line in run("findings").stdout.splitlines()]
    assert listed == CODES
    assert set(DESIGN_CODES) <= set(listed)


@pytest.mark.parametrize("code", CODES)
def test_every_code_is_explained(run: Run, code: str) -> None:
    result = run("findings", code)
    assert result.exit_code == 0
    head, meaning, remedy = result.stdout.rstrip().split("\n\n")
    assert head.startswith(f"{code} (")
    assert len(meaning) > 40
    assert remedy.startswith("What to do: ")
    assert len(remedy) > 30


@pytest.mark.parametrize(
    ("code", "message"),
    [
        ("angle-mismatched", "Did you mean angle-mismatch"),
        ("angle", "Did you mean angle-mismatch or angle-suspect?"),
        ("Mass", "Did you mean mass-suspect?"),
        ("ghost echo", "Did you mean ghost-echo?"),
        ("resistance", "Did you mean misfit?"),  # a word of its title
        ("xyzzy", "`joulebook findings` lists them all."),
    ],
)
def test_an_unknown_code(run: Run, code: str, message: str) -> None:
    result = run("findings", code)
    assert result.exit_code == 3
    assert f"There is no finding '{code}'." in result.stderr
    assert message in result.stderr


def test_an_unknown_experiment(run: Run) -> None:
    result = run("findings", "--experiment", "pendulum")
    assert result.exit_code == 3
    assert "There is no experiment 'pendulum'. Known are: ramp-launch." in result.stderr
