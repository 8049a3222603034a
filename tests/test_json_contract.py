"""The JSON form of an audit, `joulebook/audit-1`: exactly the keys of DESIGN §3, plain types, SI units, finite numbers or null.

A reference file of this version stands in tests/data; a later joulebook must go on reading it.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.test_analysis import LAUNCH, bench_of

from joulebook.analysis import audit_bench
from joulebook.engine.report import Audit
from joulebook.experiments.ramp_codes import CODES
from joulebook.experiments.ramp_launch import UNITS
from joulebook.planning.design import random_design
from joulebook.planning.faults import FAULTS
from joulebook.planning.simulate import simulate_bench

REFERENCE = Path(__file__).parent / "data" / "audit-1.json"

TOP = ["format", "experiment", "bench", "records", "phases", "quantities", "budgets", "verdict", "findings", "launches"]
BENCH = ["title", "inputs"]
INPUT = ["name", "value", "unit", "u", "distribution", "origin"]
RECORD = ["file", "sha256", "samples", "rate_Hz", "used", "missing", "rejected", "noise_m", "read_as"]
PHASE = ["kind", "start_s", "end_s", "first", "last"]
QUANTITY = ["value", "unit", "u", "dof", "low", "high", "coverage", "method"]
LINE = ["input", "sensitivity", "contribution", "share"]
VERDICT = ["mechanical", "account", "resolution", "normalised_error", "sentence"]
FINDING = ["code", "severity", "message", "remedy", "evidence"]
LAUNCH_KEYS = ["file", "phases", "quantities", "budgets"]
QUANTITIES = [
    "release_time", "release_speed", "apex_time", "travel", "height", "climb_acceleration", "descent_acceleration",
    "slope_from_motion", "rolling_resistance", "kinetic_energy", "rotational_energy", "potential_energy", "rolling_loss",
    "drag_loss", "difference", "relative_difference", "unaccounted", "restitution",
]  # fmt: skip
SI = {"s", "m/s", "m", "m/s^2", "deg", "1", "J"}
INPUT_UNITS = {"kg", "1", "m^2", "deg", "m", "degC", "m/s^2", "kg/m^3", "s", "Pa"}
DISTRIBUTIONS = {
    "normal", "t", "rectangular", "triangular", "trapezoidal", "curvilinear-trapezoidal", "arcsine", "constant",
}  # fmt: skip

CASES = [
    "clean", "three launches", "no launch", "no descent", "no-rest", "ghost-echo", "caught", "velocity-only", "soft-stop",
    "misfit",
]  # fmt: skip


@cache
def audit_of(case: str) -> Audit:
    rest = LAUNCH.standing(noise=0.0003)
    if case == "clean":
        return audit_bench(bench_of(LAUNCH.record(40.0, noise=0.0005), rest=rest))
    if case == "three launches":
        records = [LAUNCH.record(40.0, noise=0.0005, seed=n, file=f"launch-{n}.csv") for n in range(3)]
        return audit_bench(bench_of(*records, rest=rest))
    if case == "no launch":
        return audit_bench(bench_of(LAUNCH.standing(noise=0.0003, seconds=4.0)))
    if case == "no descent":
        whole = LAUNCH.record(40.0, noise=0.0005)
        end = int(np.searchsorted(whole.time, LAUNCH.flights()[0].apex_time + 0.03))
        return audit_bench(bench_of(replace(whole, time=whole.time[:end], distance=whole.distance[:end]), rest=rest))
    rng = np.random.default_rng(11)
    return audit_bench(simulate_bench(FAULTS[case](random_design(rng, launches=2), rng), rng).bench)


def plain(case: str) -> dict[str, Any]:
    return audit_of(case).to_dict()


def every_quantity(document: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for holder in (document, *document["launches"]):
        for name, item in holder["quantities"].items():
            for each in item if isinstance(item, list) else [item]:
                yield name, each


def check_number(value: object, *, null: bool = False) -> None:
    if value is None:
        assert null
        return
    assert isinstance(value, int | float) and not isinstance(value, bool), f"{value!r} is no number"
    assert math.isfinite(value)


def check_form(document: dict[str, Any]) -> None:
    """Every key of the contract, in its order, and no other; plain types throughout."""
    assert list(document) == TOP
    assert document["format"] == "joulebook/audit-1"
    assert document["experiment"] == "ramp-launch"
    assert list(document["bench"]) == BENCH
    for item in document["bench"]["inputs"]:
        assert list(item) == INPUT
        check_number(item["value"])
        check_number(item["u"])
        assert item["u"] >= 0.0 and item["unit"] in INPUT_UNITS
        assert item["distribution"] in DISTRIBUTIONS and item["origin"] in ("given", "default", "inferred", "planned")
    names = [item["name"] for item in document["bench"]["inputs"]]
    assert len(set(names)) == len(names)
    for record in document["records"]:
        assert list(record) == RECORD
        assert len(record["sha256"]) == 64 and int(record["sha256"], 16) >= 0
        assert all(type(record[key]) is int and record[key] >= 0 for key in ("samples", "used", "missing", "rejected"))
        assert record["used"] + record["missing"] <= record["samples"]
        check_number(record["rate_Hz"])
        check_number(record["noise_m"], null=True)
    for phases in (document["phases"], *(launch["phases"] for launch in document["launches"])):
        for phase in phases:
            assert list(phase) == PHASE
            assert phase["kind"] in ("still", "handled", "push", "climb", "descent", "contact", "gap")
            check_number(phase["start_s"])
            check_number(phase["end_s"])
            assert type(phase["first"]) is int and type(phase["last"]) is int
    for launch in document["launches"]:
        assert list(launch) == LAUNCH_KEYS
        assert list(launch["quantities"]) in (QUANTITIES, [])
    assert list(document["quantities"]) in (QUANTITIES, [])
    for name, quantity in every_quantity(document):
        assert list(quantity) == QUANTITY
        for key in ("value", "u", "low", "high", "coverage"):
            check_number(quantity[key])
        check_number(quantity["dof"], null=True)
        assert quantity["unit"] == UNITS[name] and quantity["unit"] in SI
        assert quantity["u"] >= 0.0 and quantity["low"] <= quantity["high"] and quantity["coverage"] == 0.95
        assert quantity["method"] in ("gum", "monte-carlo")
    for budgets in (document["budgets"], *(launch["budgets"] for launch in document["launches"])):
        assert set(budgets) in (set(), set(QUANTITIES) - {"restitution"})
        for name, lines in budgets.items():
            assert all(list(line) == LINE for line in lines)
            for line in lines:
                for key in LINE[1:]:
                    check_number(line[key])
                assert 0.0 <= line["share"] <= 1.0 + 1e-12 and line["contribution"] >= 0.0
            if lines:
                assert sum(line["share"] for line in lines) == pytest.approx(1.0, abs=1e-6), name
    assert list(document["verdict"]) == VERDICT
    assert document["verdict"]["mechanical"] in ("gain", "loss", "conserved", "undecided")
    assert document["verdict"]["account"] in ("closed", "open", "undecided")
    check_number(document["verdict"]["resolution"], null=True)
    check_number(document["verdict"]["normalised_error"])
    for finding in document["findings"]:
        assert list(finding) == FINDING
        assert finding["code"] in {code.code for code in CODES}
        assert finding["severity"] in ("stop", "look", "note")
        assert finding["message"] and finding["remedy"] and isinstance(finding["evidence"], dict)


@pytest.mark.parametrize("case", CASES)
def test_the_form_is_that_of_the_design(case: str) -> None:
    document = plain(case)
    check_form(document)
    text = json.dumps(document, allow_nan=False)
    assert json.loads(text) == document, "something in it is no plain JSON type"


def test_the_quantities_are_all_there() -> None:
    assert list(plain("clean")["quantities"]) == QUANTITIES
    assert plain("clean")["quantities"]["slope_from_motion"]["unit"] == "deg"
    assert plain("no launch")["quantities"] == {}
    assert plain("no launch")["verdict"]["resolution"] is None


def test_numbers_agree_with_each_other() -> None:
    """Energies are those of ½mv² and mgh; the difference is what it says; the pooled ones hold for pooled values too."""
    found = plain("clean")["quantities"]
    value = {name: item["value"] for name, item in found.items() if isinstance(item, dict)}
    assert value["kinetic_energy"] == pytest.approx(0.5 * 0.25 * value["release_speed"] ** 2, rel=1e-12)
    assert value["potential_energy"] == pytest.approx(0.25 * 9.80665 * value["height"], rel=1e-12)
    whole = value["kinetic_energy"] + value["rotational_energy"]
    assert value["difference"] == pytest.approx(whole - value["potential_energy"], rel=1e-12)
    assert value["relative_difference"] == pytest.approx(value["difference"] / whole, rel=1e-12)
    assert value["unaccounted"] == pytest.approx(value["difference"] - value["rolling_loss"] - value["drag_loss"], abs=1e-12)


def test_launches_and_records_are_told_one_by_one() -> None:
    document = plain("three launches")
    assert [launch["file"] for launch in document["launches"]] == ["launch-0.csv", "launch-1.csv", "launch-2.csv"]
    files = [record["file"] for record in document["records"]]
    assert files == ["rest.csv", "launch-0.csv", "launch-1.csv", "launch-2.csv"]
    assert document["phases"] == document["launches"][0]["phases"]
    for record, launch in zip(document["records"][1:], audit_of("three launches").launches, strict=True):
        assert launch.series is not None
        assert record["used"] == int(launch.series.used.sum())
        assert record["samples"] == launch.series.time.size
        flags = launch.series.flags
        assert record["rejected"] + record["missing"] == int((flags != "").sum()), "a flagged sample is hidden"


@pytest.mark.parametrize("case", ["ghost-echo", "caught", "clean"])
def test_every_sample_stays_visible(case: str) -> None:
    """Times and distances of the series are the record's own; a sample is used, flagged with its reason, or not free."""
    for launch in audit_of(case).launches:
        series = launch.series
        assert series is not None
        assert series.flags.shape == series.used.shape == series.time.shape == series.distance.shape == series.position.shape
        assert not (series.used & (series.flags != "")).any()
        inside = np.isfinite(series.fitted)
        assert not (series.used & ~inside).any()
        known = series.used | ((series.flags != "") & inside & np.isfinite(series.distance))
        assert np.isfinite(series.residual[known]).all()


def test_findings_come_gravest_first() -> None:
    order = {"stop": 0, "look": 1, "note": 2}
    for case in CASES:
        ranks = [order[finding["severity"]] for finding in plain(case)["findings"]]
        assert ranks == sorted(ranks)


def test_an_infinite_number_of_degrees_of_freedom_is_null() -> None:
    dofs = [quantity["dof"] for _, quantity in every_quantity(plain("no descent"))]
    assert None in dofs
    assert all(dof is None or dof > 0.0 for dof in dofs)


def test_the_same_again() -> None:
    bench = bench_of(LAUNCH.record(40.0, noise=0.0005), rest=LAUNCH.standing(noise=0.0003))
    assert json.dumps(audit_bench(bench, seed=5).to_dict()) == json.dumps(audit_bench(bench, seed=5).to_dict())


def test_the_reference_file_of_this_version_is_still_read() -> None:
    """Written by joulebook 0.1 for an invented bench; never written anew: what breaks it needs a new format name."""
    document = json.loads(REFERENCE.read_text(encoding="utf-8"))
    check_form(document)
    assert document["bench"]["title"] == "Bench 3"
    assert len(document["launches"]) == 2
    assert document["verdict"]["mechanical"] == "loss"
    assert document["quantities"]["kinetic_energy"]["value"] == pytest.approx(0.125, rel=0.05)


def test_todays_audit_has_the_shape_of_the_reference_file() -> None:
    """The same keys at every level, the same types, whatever the numbers."""

    def shape(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: shape(each) for key, each in value.items() if key != "evidence"}
        if isinstance(value, list):
            kinds = [shape(each) for each in value]
            return kinds[:1]
        return "number" if isinstance(value, int | float) or value is None else type(value).__name__

    reference, today = json.loads(REFERENCE.read_text(encoding="utf-8")), plain("three launches")
    for key in TOP:
        if key not in ("findings", "budgets", "launches"):
            assert shape(reference[key]) == shape(today[key]), key
    assert list(reference["launches"][0]) == list(today["launches"][0])
    assert shape(reference["budgets"]["travel"]) == shape(today["budgets"]["travel"])
