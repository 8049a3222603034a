"""What a group writes in its bench file about a quantity, and what the truth may then be."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from joulebook.experiments.ramp_inputs import INPUTS
from joulebook.uncertainty import Input

__all__ = ["Statement", "default_statement", "stated_inputs"]

Notation = Literal["limits", "standard", "expanded", "triangular", "bare", "default"]
_SPECS = {spec.name: spec for spec in INPUTS}


@dataclass(frozen=True, slots=True)
class Statement:
    """One stated input.

    name: dotted name in the bench file. value: in `unit`. width: half-width for "limits" and "triangular", standard
    uncertainty for "standard", expanded uncertainty (k = 2) for "expanded"; for "bare" and "default" the documented half-width.
    decimals: printed digits of value and width. written_unit: the unit in the file where it differs, with `factor` units of it
    in one of `unit`.
    """

    name: str
    value: float
    width: float
    notation: Notation = "limits"
    decimals: int = 3
    written_unit: str = ""
    factor: float = 1.0

    @property
    def unit(self) -> str:
        """The unit that the input is kept in."""
        return _SPECS[self.name].unit

    @property
    def standard_uncertainty(self) -> float:
        """GUM 4.3.7 (rectangular), 4.3.9 (triangular), 4.3.3 (expanded)."""
        divisor = {"standard": 1.0, "expanded": 2.0, "triangular": math.sqrt(6.0)}.get(self.notation, math.sqrt(3.0))
        return self.width / divisor

    def draw(self, rng: np.random.Generator) -> float:
        """Return a true value drawn from what is stated; a width of zero returns the value."""
        if self.notation in ("standard", "expanded"):
            return float(self.value + self.standard_uncertainty * rng.standard_normal())
        if self.notation == "triangular":
            return float(self.value + self.width * (rng.uniform() - rng.uniform()))
        return float(self.value + self.width * rng.uniform(-1.0, 1.0))

    def as_input(self) -> Input:
        """Return the input as a reader of the bench file would make it."""
        kind = {"standard": "normal", "expanded": "normal", "triangular": "triangular"}.get(self.notation, "rectangular")
        return Input(
            self.name, self.value, self.unit, self.standard_uncertainty, kind if self.width else "constant",
            origin="default" if self.notation == "default" else "given",
            note="made by the simulator",
        )

    def text(self) -> str:
        """Return the text of the bench file, such as "9.8 deg ± 0.25 deg"; "" for a default, which is left out."""
        if self.notation == "default":
            return ""
        unit = self.written_unit or ("" if self.unit == "1" else self.unit)
        value, width = self.value * self.factor, self.width * self.factor
        tail = f" {unit}" if unit else ""
        if self.notation == "bare":
            return f"{value:.{self.decimals}f}{tail}"
        if self.notation == "standard":
            digits = round(width * 10**self.decimals)
            return f"{value:.{self.decimals}f}({digits}){tail}"
        end = {"expanded": " (k=2)", "triangular": " (triangular)"}.get(self.notation, "")
        return f"{value:.{self.decimals}f}{tail} ± {width:.{self.decimals}f}{tail}{end}"


def default_statement(name: str) -> Statement:
    """Return what is taken for an input that the file leaves out.

    Raises KeyError for an input without a default.
    """
    spec = _SPECS[name]
    if spec.default is None:
        raise KeyError(f"{name} has no default: it must be stated")
    return Statement(name, spec.default, spec.default_half_width, "default")


def stated_inputs(statements: Sequence[Statement]) -> dict[str, Input]:
    """Return the inputs of a bench in the order of the experiment's list, defaults filled in for what is not stated."""
    stated = {statement.name: statement for statement in statements}
    given = {(_SPECS[name].group, _SPECS[name].alternative) for name in stated if _SPECS[name].group}
    groups = {group for group, _ in given}
    inputs: dict[str, Input] = {}
    for spec in INPUTS:
        if spec.name in stated:
            inputs[spec.name] = stated[spec.name].as_input()
            continue
        wanted = not spec.group or (spec.group, spec.alternative) in given
        if spec.group and spec.group not in groups:
            wanted = spec.default_alternative
        if wanted and spec.default is not None:
            inputs[spec.name] = default_statement(spec.name).as_input()
    return inputs
