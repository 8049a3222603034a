"""A bench: one physical set-up and the group at it, as its bench file describes it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from joulebook.engine.record import Record
from joulebook.uncertainty import Input

__all__ = ["Bench", "InputSpec", "Override", "SettingSpec"]


@dataclass(frozen=True, slots=True)
class InputSpec:
    """One input that an experiment knows: its unit, its Type B defaults and what is plausible.

    name: dotted name in the bench file ("track.angle").
    unit: the unit that Input.value is kept in ("deg", "kg", "m", "1", "degC", "Pa").
    meaning: one plain sentence for the documentation and the reports.
    default: the value when it is left out; None when there is none.
    default_half_width: rectangular half-width that goes with `default`.
    bare_half_width: rectangular half-width, in `unit`, given to a number that was written without uncertainty.
    bare_relative: the same as a fraction of the value; the larger of the two counts.
    low, high: hard limits: a value outside is refused as a fault of the bench file.
    required: left out and no alternative given: a fault.
    group: inputs that stand for the same thing share a group ("slope", "scale", "gravity"); in the file, exactly one
        alternative of a group may be given.
    alternative: the name of the alternative inside the group ("angle" or "rise-along"); inputs of one alternative go together.
    default_alternative: this alternative is the one used when nothing of its group is given.
    """

    name: str
    unit: str
    meaning: str
    default: float | None = None
    default_half_width: float = 0.0
    bare_half_width: float = 0.0
    bare_relative: float = 0.0
    low: float = float("-inf")
    high: float = float("inf")
    required: bool = False
    group: str = ""
    alternative: str = ""
    default_alternative: bool = False


@dataclass(frozen=True, slots=True)
class SettingSpec:
    """One setting of the bench file that carries no uncertainty.

    name: dotted name ("sensor.placed"). unit: "" for a word. choices: the words allowed.
    default: the value when left out, None when it is inferred or simply unknown.
    """

    name: str
    meaning: str
    unit: str = ""
    choices: tuple[str, ...] = ()
    default: float | str | None = None
    low: float = float("-inf")
    high: float = float("inf")


@dataclass(frozen=True, slots=True)
class Override:
    """A person's own choice for one launch record, which wins over what joulebook finds.

    release, apex: seconds on the record's clock, or None.
    edges: (kind, start_s, end_s) of phases that the person has set.
    """

    release: float | None = None
    apex: float | None = None
    edges: tuple[tuple[str, float, float], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """Everything that an audit needs: inputs, settings and records.

    title: what the teacher calls it. experiment: the experiment's name ("ramp-launch").
    inputs: by dotted name, in the order of the experiment's specifications; defaults already filled in.
    settings: by dotted name; None for what was left out and has no default.
    rest: the rest record, or None. launches: the launch records in order, at least one.
    overrides: by launch file name.
    tolerance: the relative U below which "no difference seen" may be called conserved (DESIGN: 5 %).
    folder: where the bench file stood, "" for a bench made in memory.
    """

    title: str
    experiment: str
    inputs: Mapping[str, Input]
    settings: Mapping[str, float | str | None]
    launches: tuple[Record, ...]
    rest: Record | None = None
    overrides: Mapping[str, Override] = field(default_factory=dict)
    tolerance: float = 0.05
    folder: str = ""

    def number(self, name: str) -> float | None:
        """Return a numeric setting in its unit, None when it was left out."""
        value = self.settings.get(name)
        return None if value is None else float(value)

    def word(self, name: str) -> str | None:
        """Return a setting that is a word, None when it was left out."""
        value = self.settings.get(name)
        return None if value is None else str(value)
