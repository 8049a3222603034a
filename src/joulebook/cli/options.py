"""Options that several commands share, and what a person may write behind them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from joulebook.engine.bench import Override

__all__ = ["analysis_choice", "analysis_options", "collect_overrides", "column_choice", "named_values", "share"]

_Command = TypeVar("_Command", bound=Callable[..., Any])


def share(text: str) -> float:
    """Return a share of the energy, "5%", "5 %" or 0.05, as a fraction between 0 and 1; raises click.BadParameter."""
    number = text.strip()
    try:
        fraction = float(number.removesuffix("%").replace(",", ".")) * (0.01 if number.endswith("%") else 1.0)
    except ValueError:
        raise click.BadParameter(f"{number!r} is not a share. Write it like 5% or 0.05.") from None
    if not 0.0 < fraction < 1.0:
        raise click.BadParameter(f"{number} is {fraction:g} times the energy; a share lies between 0 and 1. Write 5% or 0.05.")
    return fraction


def analysis_options(command: _Command) -> _Command:
    """Add the options that say how intervals are computed."""
    for option in (
        click.option("--seed", type=click.IntRange(0), help="Seed of the draws; fixed unless given, so that reports repeat."),
        click.option("--interval", type=click.Choice(["symmetric", "shortest"]), help="Monte Carlo, equal tails or shortest."),
        click.option("--adaptive", is_flag=True, help="Draw until the interval's ends are stable (JCGM 101, 7.9)."),
        click.option("--draws", type=click.IntRange(100), metavar="N", help="Monte Carlo with N draws."),
        click.option("--linear", is_flag=True, help="Linear propagation alone (the GUM's way); the quickest."),
        click.option(
            "--tolerance", type=share, metavar="SHARE",
            help="Uncertainty up to which 'no difference seen' may be called conserved, such as 5%.",
        ),
    ):  # fmt: skip
        command = option(command)
    return command


def analysis_choice(
    *, linear: bool, draws: int | None, adaptive: bool, interval: str | None, seed: int | None, tolerance: float | None
) -> dict[str, Any]:
    """Return the keyword arguments of `joulebook.audit` for those options; what was not asked for is left out.

    Raises click.UsageError when they contradict each other.
    """
    if linear and (draws is not None or adaptive or interval is not None):
        other = "--draws" if draws is not None else "--adaptive" if adaptive else "--interval"
        raise click.UsageError(f"--linear makes no draws, so that {other} has nothing to act on. Leave one of them out.")
    if draws is not None and adaptive:
        raise click.UsageError("--adaptive chooses the number of draws itself. Leave out --draws or --adaptive.")
    method = "linear" if linear else "adaptive" if adaptive else "monte-carlo" if draws is not None or interval else None
    choice = {"method": method, "draws": draws, "interval": interval, "seed": seed, "tolerance": tolerance}
    return {name: value for name, value in choice.items() if value is not None}


def column_choice(**asked: str | None) -> dict[str, Any]:
    """Return what was asked for of time_column, position_column, unit and run; digits alone are a number counted from 1."""
    given = {name: text for name, text in asked.items() if text is not None}
    return {name: int(text) if text.isdecimal() and name != "unit" else text for name, text in given.items()}


def named_values(pairs: tuple[str, ...], option: str = "--set") -> dict[str, str]:
    """Return NAME=VALUE pairs as a dictionary. Raises click.UsageError for one without name or value, or twice one name."""
    values: dict[str, str] = {}
    for pair in pairs:
        name, equals, value = (part.strip() for part in pair.partition("="))
        if not (name and equals and value):
            raise click.UsageError(f"{option} {pair!r} is no NAME=VALUE. Write it like {option} 'cart.mass=0.25 kg'.")
        if name in values:
            raise click.UsageError(f"{option} gives {name} twice: {values[name]!r} and {value!r}. Keep one.")
        values[name] = value
    return values


def collect_overrides(release: tuple[str, ...], apex: tuple[str, ...], phase: tuple[str, ...]) -> Mapping[str, Override]:
    """Return a person's own choices by launch file name, "" where none was named.

    release, apex: "1.13" or "launch-2.csv=1.13", seconds. phase: "climb:1.13:1.68", with or without a file name.
    Raises click.UsageError for what cannot be understood.
    """
    from joulebook.engine.bench import Override

    found: dict[str, Override] = {}
    for text in release:
        file, time = _of_launch(text)
        found[file] = replace(found.get(file, Override()), release=_seconds(time, f"--release {text}"))
    for text in apex:
        file, time = _of_launch(text)
        found[file] = replace(found.get(file, Override()), apex=_seconds(time, f"--apex {text}"))
    for text in phase:
        file, edge = _of_launch(text)
        before = found.get(file, Override())
        found[file] = replace(before, edges=(*before.edges, _edge(edge, f"--phase {text}")))
    return found


def _of_launch(text: str) -> tuple[str, str]:
    file, _, rest = text.rpartition("=")
    return file.strip(), rest.strip()


def _seconds(text: str, option: str) -> float:
    try:
        return float(text.removesuffix("s").strip().replace(",", "."))
    except ValueError:
        raise click.UsageError(f"{option}: {text!r} is not a time. Write seconds, like 1.13 or launch-2.csv=1.13.") from None


def _edge(text: str, option: str) -> tuple[str, float, float]:
    from typing import get_args

    from joulebook.engine.report import PhaseKind

    kinds = get_args(PhaseKind)
    parts = text.split(":")
    if len(parts) != 3:
        raise click.UsageError(f"{option}: this needs a kind, a start and an end. Write it like climb:1.13:1.68, in seconds.")
    kind, start, end = parts[0].strip(), _seconds(parts[1], option), _seconds(parts[2], option)
    if kind not in kinds:
        raise click.UsageError(f"{option}: {kind!r} is not a kind of phase. The kinds are {', '.join(kinds)}.")
    if not start < end:
        raise click.UsageError(f"{option}: it ends at {end:g} s, which is not after its start at {start:g} s.")
    return kind, start, end
