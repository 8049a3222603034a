"""What may be written behind the shared options, and what is refused."""

from __future__ import annotations

import click
import pytest

from joulebook.cli.options import analysis_choice, collect_overrides, column_choice, named_values, share
from joulebook.engine.bench import Override

NOTHING = {"linear": False, "draws": None, "adaptive": False, "interval": None, "seed": None, "tolerance": None}


@pytest.mark.parametrize(("text", "fraction"), [("5%", 0.05), ("5 %", 0.05), ("0.05", 0.05), ("2,5 %", 0.025)])
def test_shares(text: str, fraction: float) -> None:
    assert share(text) == pytest.approx(fraction, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("much", r"'much' is not a share. Write it like 5% or 0.05."),
        ("5", r"5 is 5 times the energy; a share lies between 0 and 1."),
        ("0%", r"0% is 0 times the energy"),
        ("nan", r"nan is nan times the energy"),
    ],
)
def test_shares_that_are_none(text: str, message: str) -> None:
    with pytest.raises(click.BadParameter, match=message):
        share(text)


@pytest.mark.parametrize(
    ("asked", "choice"),
    [
        ({}, {}),
        ({"linear": True}, {"method": "linear"}),
        ({"draws": 4096, "seed": 3}, {"method": "monte-carlo", "draws": 4096, "seed": 3}),
        ({"adaptive": True}, {"method": "adaptive"}),
        ({"interval": "shortest"}, {"method": "monte-carlo", "interval": "shortest"}),
        ({"tolerance": 0.1}, {"tolerance": 0.1}),
    ],
)
def test_the_method(asked: dict[str, object], choice: dict[str, object]) -> None:
    assert analysis_choice(**{**NOTHING, **asked}) == choice  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"linear": True, "draws": 500}, r"--linear makes no draws, so that --draws has nothing to act on"),
        ({"linear": True, "adaptive": True}, r"--linear makes no draws, so that --adaptive"),
        ({"linear": True, "interval": "shortest"}, r"--linear makes no draws, so that --interval"),
        ({"draws": 500, "adaptive": True}, r"--adaptive chooses the number of draws itself"),
    ],
)
def test_methods_that_contradict(asked: dict[str, object], message: str) -> None:
    with pytest.raises(click.UsageError, match=message):
        analysis_choice(**{**NOTHING, **asked})  # type: ignore[arg-type]


def test_named_values() -> None:
    assert named_values(("sensor.placed=top", "scale = 1.000 ± 0.007")) == {"sensor.placed": "top", "scale": "1.000 ± 0.007"}


@pytest.mark.parametrize("pair", ["angle", "=5", "angle="])
def test_a_value_needs_a_name_and_a_value(pair: str) -> None:
    with pytest.raises(click.UsageError, match=r"is no NAME=VALUE. Write it like --set"):
        named_values((pair,))


def test_a_name_given_twice() -> None:
    with pytest.raises(click.UsageError, match=r"--set gives mass twice: '1 kg' and '2 kg'. Keep one."):
        named_values(("mass=1 kg", "mass=2 kg"))


def test_overrides_by_launch() -> None:
    found = collect_overrides(("1.13", "b.csv=2.5 s"), ("b.csv=3,1",), ("climb:1.13:1.68", "b.csv=descent:2:3"))
    assert found == {
        "": Override(release=1.13, edges=(("climb", 1.13, 1.68),)),
        "b.csv": Override(release=2.5, apex=3.1, edges=(("descent", 2.0, 3.0),)),
    }


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((("soon",), (), ()), r"--release soon: 'soon' is not a time. Write seconds, like 1.13 or launch-2.csv=1.13."),
        (((), ("x.csv=",), ()), r"--apex x.csv=: '' is not a time"),
        (((), (), ("climb:1",)), r"--phase climb:1: this needs a kind, a start and an end. Write it like climb:1.13:1.68"),
        (((), (), ("fall:1:2",)), r"--phase fall:1:2: 'fall' is not a kind of phase. The kinds are still, handled, push, climb"),
        (((), (), ("climb:2:1",)), r"--phase climb:2:1: it ends at 1 s, which is not after its start at 2 s."),
    ],
)
def test_overrides_that_cannot_be_understood(arguments: tuple[tuple[str, ...], ...], message: str) -> None:
    with pytest.raises(click.UsageError, match=message):
        collect_overrides(*arguments)


def test_columns_may_be_numbers() -> None:
    chosen = column_choice(time_column="1", position_column="Weg (m)", unit="cm", run=None)
    assert chosen == {"time_column": 1, "position_column": "Weg (m)", "unit": "cm"}
