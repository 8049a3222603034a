"""The report: everything that an audit found, frozen, in the shape of the JSON contract."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from joulebook.uncertainty import Input, Quantity

__all__ = ["Audit", "BudgetLine", "Finding", "LaunchAudit", "Phase", "RecordSummary", "Series", "Severity", "Verdict"]

_FORMAT = "joulebook/audit-1"
PhaseKind = Literal["still", "handled", "push", "climb", "descent", "contact", "gap"]
Severity = Literal["stop", "look", "note"]


@dataclass(frozen=True, slots=True)
class Phase:
    """A stretch of the trace. start_s, end_s: seconds on the record's clock; first, last: sample numbers, counted from 0."""

    kind: PhaseKind
    start_s: float
    end_s: float
    first: int
    last: int

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {"kind": self.kind, "start_s": self.start_s, "end_s": self.end_s, "first": self.first, "last": self.last}


@dataclass(frozen=True, slots=True)
class Finding:
    """Something about the data or the set-up that a person should know (DESIGN §6).

    code: one of the documented codes. severity: "stop", "look" or "note".
    message: what was seen, with its number and place, why it matters and how much it changes the answer.
    remedy: what to do at the bench. evidence: the numbers behind it, JSON-safe, with a "record" key where one record is meant.
    """

    code: str
    severity: Severity
    message: str
    remedy: str
    evidence: Mapping[str, object] = field(default_factory=dict)

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {
            "code": self.code,
            "severity": self.severity,
            "message": self.message,
            "remedy": self.remedy,
            "evidence": dict(self.evidence),
        }


@dataclass(frozen=True, slots=True)
class RecordSummary:
    """What became of one record.

    used: samples that the fit (or, for a rest record, the datum) rests on. missing: blank samples.
    rejected: samples flagged as spurious. noise_m: standard deviation of one sample, metres; None when it cannot be told.
    """

    file: str
    sha256: str
    samples: int
    rate_Hz: float
    used: int
    missing: int
    rejected: int
    noise_m: float | None
    read_as: str
    notices: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {
            "file": self.file,
            "sha256": self.sha256,
            "samples": self.samples,
            "rate_Hz": self.rate_Hz,
            "used": self.used,
            "missing": self.missing,
            "rejected": self.rejected,
            "noise_m": self.noise_m,
            "read_as": self.read_as,
        }


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One influence on one quantity (GUM: uncertainty budget).

    input: its name. sensitivity: ∂y/∂x, in units of quantity over input; 0 for a block of several parameters.
    contribution: |c|·u, in the quantity's unit. share: contribution² over the combined variance, in [0, 1].
    """

    input: str
    sensitivity: float
    contribution: float
    share: float

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {
            "input": self.input,
            "sensitivity": self.sensitivity,
            "contribution": self.contribution,
            "share": self.share,
        }


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the ledger lets one claim (DESIGN §5).

    mechanical: kinetic against potential energy alone. account: after the known losses are entered.
    resolution: the smallest relative loss that this bench could have shown. normalised_error: Δ over its expanded uncertainty.
    """

    mechanical: Literal["gain", "loss", "conserved", "undecided"]
    account: Literal["closed", "open", "undecided"]
    resolution: float
    normalised_error: float
    sentence: str

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {
            "mechanical": self.mechanical,
            "account": self.account,
            "resolution": self.resolution if math.isfinite(self.resolution) else None,
            "normalised_error": self.normalised_error,
            "sentence": self.sentence,
        }


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """The trace of one launch for pictures and tables; not part of the JSON.

    time: s, shape (n,). distance: m as read, shape (n,). position: m up-slope of the datum, shape (n,).
    flags: shape (n,), "" for a good sample, else the reason ("missing", "far-echo", "stuck", "floor", "slip", "clock",
        "duplicate", "outlier").
    used: shape (n,), True where the fit used the sample. fitted: m, shape (n,), the fitted motion, NaN outside it.
    residual: m, shape (n,), position minus fitted where used or rejected by the fit, else NaN.
    release_level: m, up-slope position of the release.
    """

    time: npt.NDArray[np.float64]
    distance: npt.NDArray[np.float64]
    position: npt.NDArray[np.float64]
    flags: npt.NDArray[np.str_]
    used: npt.NDArray[np.bool_]
    fitted: npt.NDArray[np.float64]
    residual: npt.NDArray[np.float64]
    release_level: float


QuantityMap = Mapping[str, Quantity | tuple[Quantity, ...]]


@dataclass(frozen=True, slots=True, eq=False)
class LaunchAudit:
    """One launch record's own part of an audit; `budgets` by quantity, sorted by share."""

    file: str
    phases: tuple[Phase, ...]
    quantities: QuantityMap
    budgets: Mapping[str, tuple[BudgetLine, ...]]
    series: Series | None = None
    facts: Mapping[str, float] = field(default_factory=dict)

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object: file, phases, quantities, budgets."""
        return {
            "file": self.file,
            "phases": [phase.to_dict() for phase in self.phases],
            "quantities": _quantities(self.quantities),
            "budgets": _budgets(self.budgets),
        }


@dataclass(frozen=True, slots=True, eq=False)
class Audit:
    """The result of an audit; `to_dict()` is the JSON form `joulebook/audit-1`.

    facts: numbers that are told but are not part of the ledger, by name: "tallest_velocity_sample" (m/s, what the largest
        velocity cell would have said), "tallest_velocity_energy" (J), "misfit_p" and so on.
    """

    experiment: str
    title: str
    inputs: tuple[Input, ...]
    records: tuple[RecordSummary, ...]
    phases: tuple[Phase, ...]
    quantities: QuantityMap
    budgets: Mapping[str, tuple[BudgetLine, ...]]
    verdict: Verdict
    findings: tuple[Finding, ...]
    launches: tuple[LaunchAudit, ...] = ()
    tolerance: float = 0.05
    facts: Mapping[str, float] = field(default_factory=dict)

    def to_dict(self) -> dict[str, object]:
        """Return the audit as plain JSON types (DESIGN §3)."""
        return {
            "format": _FORMAT,
            "experiment": self.experiment,
            "bench": {"title": self.title, "inputs": [_input(item) for item in self.inputs]},
            "records": [record.to_dict() for record in self.records],
            "phases": [phase.to_dict() for phase in self.phases],
            "quantities": _quantities(self.quantities),
            "budgets": _budgets(self.budgets),
            "verdict": self.verdict.to_dict(),
            "findings": [finding.to_dict() for finding in self.findings],
            "launches": [launch.to_dict() for launch in self.launches],
        }

    def to_frame(self) -> Any:
        """Return the quantities as a pandas DataFrame, a row each; needs pandas."""
        import pandas

        rows = []
        for name, item in self.quantities.items():
            single = isinstance(item, Quantity)
            for index, quantity in enumerate((item,) if isinstance(item, Quantity) else item):
                rows.append({"quantity": name if single else f"{name}[{index}]", **quantity.to_dict()})
        return pandas.DataFrame(rows)

    def quantity(self, name: str) -> Quantity:
        """Return one quantity by name. KeyError when there is none; TypeError when the name holds a list."""
        item = self.quantities[name]
        if not isinstance(item, Quantity):
            raise TypeError(f"{name} holds {len(item)} quantities: take it from .quantities")
        return item


def _input(item: Input) -> dict[str, object]:
    return {
        "name": item.name,
        "value": item.value,
        "unit": item.unit,
        "u": item.u,
        "distribution": item.distribution,
        "origin": item.origin,
    }


def _quantities(quantities: QuantityMap) -> dict[str, object]:
    return {
        name: item.to_dict() if isinstance(item, Quantity) else [each.to_dict() for each in item]
        for name, item in quantities.items()
    }


def _budgets(budgets: Mapping[str, tuple[BudgetLine, ...]]) -> dict[str, object]:
    return {name: [line.to_dict() for line in lines] for name, lines in budgets.items()}
