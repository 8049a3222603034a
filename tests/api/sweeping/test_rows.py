"""The flat row, its schema and the summary: every column is documented, with its unit, and holds what the audit says."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

import joulebook
from joulebook.api.sweeping.rows import COLUMNS, FORMAT, arrow_schema, row_of
from joulebook.api.sweeping.summary import SweepSummary
from joulebook.api.sweeping.tables import record_schema

PAGE = Path(__file__).parents[3] / "docs" / "sweep.md"


@pytest.fixture(scope="module")
def line(sound_bench: Path) -> dict[str, Any]:
    """The line of a sound bench."""
    return {"folder": "b", "ok": True, "audit": joulebook.audit(sound_bench, method="linear").to_dict()}


def test_units_are_those_of_the_audit(line: dict[str, Any]) -> None:
    """A column of numbers whose name ends in a unit holds a quantity in that unit."""
    quantities = line["audit"]["quantities"]
    row = row_of(line)
    checked = set()
    for column in COLUMNS:
        found = next(
            (name for name in quantities if re.fullmatch(rf"{name}(_(u|low|high))?(_[A-Z]?[a-z_0-9]*)?", column.name)), None
        )
        if found is not None and found != "restitution" and column.kind == "number":
            assert column.unit == quantities[found]["unit"], column.name
            part = re.search(r"_(u|low|high)(_|$)", column.name.removeprefix(found))
            assert row[column.name] == quantities[found][part[1] if part else "value"]
            checked.add(found)
    assert len(checked) == 15


def test_the_schema_carries_units_and_meanings() -> None:
    schema = arrow_schema()
    assert schema.metadata[b"format"].decode() == FORMAT
    assert schema.names == [column.name for column in COLUMNS]
    for column in COLUMNS:
        metadata = schema.field(column.name).metadata
        assert metadata[b"meaning"].decode() == column.meaning
        assert metadata.get(b"unit", b"").decode() == column.unit


def test_infinities_are_null(line: dict[str, Any]) -> None:
    """Where no launch can be trusted there is no resolution."""
    audit = json.loads(json.dumps(line["audit"]))
    audit["verdict"]["normalised_error"] = float("inf")
    audit["quantities"]["kinetic_energy"]["high"] = float("nan")
    row = row_of({**line, "audit": audit})
    assert row["normalised_error"] is None
    assert row["kinetic_energy_high_J"] is None
    assert row["kinetic_energy_low_J"] is not None


def test_an_audit_without_quantities_has_a_row(line: dict[str, Any]) -> None:
    audit = {**line["audit"], "quantities": {}, "findings": [
        {"code": code, "severity": severity} for code, severity in (("no-launch", "stop"), ("clock", "note"), ("clock", "note"))
    ]}  # fmt: skip
    row = row_of({**line, "audit": audit})
    assert row["audited"] is True
    assert row["kinetic_energy_J"] is None
    assert row["restitution"] is None
    assert (row["severity"], row["findings"]) == ("stop", ["no-launch", "clock"])


def test_the_summary_counts_a_bench_once_for_each_code() -> None:
    summary = SweepSummary()
    sound = {"audited": True, "verdict": "loss", "account": "open", "severity": None, "findings": []}
    for number in range(1200):
        summary.add({**sound, "bench": f"b-{number}"})
    summary.add({**sound, "bench": "c", "verdict": "gain", "severity": "stop", "findings": ["too-close", "mass-suspect"]})
    summary.add({**sound, "bench": "d", "severity": "note", "findings": ["mass-suspect"]})
    for number in range(7):
        summary.add({"audited": False, "bench": f"e-{number}", "error_code": "record" if number else "crashed"})
    assert summary.sentences() == [
        "1,209 benches: 1,201 loss, 1 gain; 1 to look at first; 7 not audited (e-0, e-1, e-2, e-3, e-4, …).",
        "Findings: mass-suspect 2, too-close 1.",
        "Not audited: record 6, crashed 1.",
    ]
    assert summary.to_dict()["findings"] == {"mass-suspect": 2, "too-close": 1}
    assert SweepSummary().sentences() == ["0 benches: none audited."]


def test_every_column_is_on_the_page() -> None:
    """docs/sweep.md names the columns of both tables, and no others."""
    named = set(re.findall(r"^\| (`[^|]+`) \|", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE))
    shown = {name for cell in named for name in re.findall(r"`([^`]+)`", cell)}
    quantity = re.compile(r"_(u|low|high)(?=_|$)")
    wanted = {column.name for column in COLUMNS if not quantity.search(column.name) or column.name == "restitution_u"}
    wanted |= set(record_schema().names)
    assert wanted - shown == set()
    keys = set(SweepSummary().to_dict())
    assert keys - shown == set()
