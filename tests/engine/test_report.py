"""The report's records: frozen, plain in JSON, and readable as a table."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

import numpy as np
import pytest

from joulebook.engine.report import Audit, BudgetLine, Finding, LaunchAudit, Phase, RecordSummary, Series, Verdict
from joulebook.uncertainty import Input, Quantity

SPEED = Quantity(1.0, "m/s", 0.01, 40.0, 0.98, 1.02)
ENERGY = Quantity(0.125, "J", 0.002, math.inf, 0.121, 0.129, method="monte-carlo")
BOUNCES = (Quantity(0.8, "1", 0.01, 12.0, 0.78, 0.82), Quantity(0.79, "1", 0.02, 12.0, 0.75, 0.83))
PHASE = Phase("climb", 1.0, 1.5, 20, 29)
VERDICT = Verdict("loss", "closed", 0.021, 1.9, "Energy was lost.")
SUMMARY = RecordSummary("a.csv", "0" * 64, 100, 20.0, 80, 2, 3, 0.0005, "Read 100 samples.", ("a notice",))
FINDING = Finding("no-rest", "note", "There is no rest record.", "Take one.", {"record": "a.csv"})
LINE = BudgetLine("track.angle", 0.7, 0.001, 0.81)
INPUT = Input("track.angle", 9.8, "deg", 0.144, "rectangular", note="given")
EMPTY = np.zeros(3)
SERIES = Series(EMPTY, EMPTY, EMPTY, np.array(["", "", ""]), np.zeros(3, dtype=bool), EMPTY, EMPTY, 0.004)
LAUNCH = LaunchAudit("a.csv", (PHASE,), {"release_speed": SPEED}, {"release_speed": (LINE,)}, SERIES, {"noise": 0.0005})
AUDIT = Audit(
    "ramp-launch", "Bench 3", (INPUT,), (SUMMARY,), (PHASE,),
    {"release_speed": SPEED, "kinetic_energy": ENERGY, "restitution": BOUNCES}, {"release_speed": (LINE,)}, VERDICT, (FINDING,),
    (LAUNCH,),
)  # fmt: skip


RECORDS = [AUDIT, LAUNCH, SERIES, VERDICT, LINE, SUMMARY, FINDING, PHASE, SPEED, INPUT]


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: type(record).__name__)
def test_records_are_frozen(record: object) -> None:
    fields: Sequence[dataclasses.Field[object]] = dataclasses.fields(record)  # type: ignore[arg-type]
    for field in fields:
        with pytest.raises(dataclasses.FrozenInstanceError):
            setattr(record, field.name, None)
    with pytest.raises((dataclasses.FrozenInstanceError, AttributeError, TypeError)):
        record.a_new_name = 1  # type: ignore[attr-defined]


def test_the_whole_as_json() -> None:
    assert AUDIT.to_dict() == {
        "format": "joulebook/audit-1",
        "experiment": "ramp-launch",
        "bench": {
            "title": "Bench 3",
            "inputs": [
                {"name": "track.angle", "value": 9.8, "unit": "deg", "u": 0.144, "distribution": "rectangular", "origin": "given"}
            ],
        },
        "records": [
            {
                "file": "a.csv", "sha256": "0" * 64, "samples": 100, "rate_Hz": 20.0, "used": 80, "missing": 2, "rejected": 3,
                "noise_m": 0.0005, "read_as": "Read 100 samples.",
            }
        ],
        "phases": [{"kind": "climb", "start_s": 1.0, "end_s": 1.5, "first": 20, "last": 29}],
        "quantities": {
            "release_speed": SPEED.to_dict(), "kinetic_energy": ENERGY.to_dict(),
            "restitution": [each.to_dict() for each in BOUNCES],
        },
        "budgets": {
            "release_speed": [{"input": "track.angle", "sensitivity": 0.7, "contribution": 0.001, "share": 0.81}]
        },
        "verdict": {
            "mechanical": "loss", "account": "closed", "resolution": 0.021, "normalised_error": 1.9,
            "sentence": "Energy was lost.",
        },
        "findings": [
            {
                "code": "no-rest", "severity": "note", "message": "There is no rest record.", "remedy": "Take one.",
                "evidence": {"record": "a.csv"},
            }
        ],
        "launches": [LAUNCH.to_dict()],
    }  # fmt: skip
    assert list(LAUNCH.to_dict()) == ["file", "phases", "quantities", "budgets"]


def test_what_json_cannot_say_is_null() -> None:
    assert ENERGY.to_dict()["dof"] is None
    assert ENERGY.to_dict()["method"] == "monte-carlo"
    assert dataclasses.replace(VERDICT, resolution=math.inf).to_dict()["resolution"] is None
    assert dataclasses.replace(SUMMARY, noise_m=None).to_dict()["noise_m"] is None


def test_a_quantity_by_name() -> None:
    assert AUDIT.quantity("kinetic_energy") is ENERGY
    with pytest.raises(KeyError):
        AUDIT.quantity("no_such_quantity")
    with pytest.raises(TypeError, match=r"restitution holds 2 quantities: take it from \.quantities"):
        AUDIT.quantity("restitution")


def test_the_expanded_uncertainty_is_half_the_interval() -> None:
    assert SPEED.expanded == pytest.approx(0.02)


def test_the_table() -> None:
    pandas = pytest.importorskip("pandas")
    table = AUDIT.to_frame()
    assert isinstance(table, pandas.DataFrame)
    assert table["quantity"].tolist() == ["release_speed", "kinetic_energy", "restitution[0]", "restitution[1]"]
    assert list(table.columns) == ["quantity", "value", "unit", "u", "dof", "low", "high", "coverage", "method"]
    assert table["value"].tolist() == [1.0, 0.125, 0.8, 0.79]
    assert table["unit"].tolist() == ["m/s", "J", "1", "1"]
    assert dataclasses.replace(AUDIT, quantities={}).to_frame().empty
