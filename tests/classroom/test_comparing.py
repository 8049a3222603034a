"""Students' numbers beside the audit's: differences and how far apart, from numbers worked out by hand."""

from __future__ import annotations

import math

import pytest
from tests.classroom.benches import filled

from joulebook.classroom.comparing import COMPARED, side_by_side
from joulebook.classroom.judging import judge_bench
from joulebook.uncertainty import Quantity


def test_differences_are_own_less_audit() -> None:
    ledger, contents = filled()
    audit = judge_bench(ledger.section.benches[1], contents, ledger.section.house).ledger
    assert audit is not None
    energy = audit.quantity("kinetic_energy")
    ledger.do(
        "work-saved", 1, "bench", step="calculation", fields={"kinetic_energy": f"{energy.value * 1.1} J", "travel": "30 cm"}
    )
    ledger.do("work-saved", 1, "bench", step="uncertainty", fields={"kinetic_energy_u": str(3.0 * energy.u)})
    lines = {line.name: line for line in side_by_side(ledger.section.benches[1], audit)}
    assert set(lines) == set(COMPARED)
    line = lines["kinetic_energy"]
    assert line.difference == pytest.approx(0.1 * energy.value)
    assert line.relative == pytest.approx(0.1)
    # Two independent uncertainties add in squares (GUM 5.1.2): √(3² + 1²) u.
    assert line.apart == pytest.approx(0.1 * energy.value / (math.sqrt(10.0) * energy.u))
    launches = [launch.quantities["kinetic_energy"] for launch in audit.launches]
    values = [each.value for each in launches if isinstance(each, Quantity)]
    assert (line.low, line.high) == (min(values), max(values))
    assert lines["travel"].own == pytest.approx(0.30)
    assert lines["height"].own is lines["height"].difference is lines["height"].apart is None


def test_without_a_ledger_or_a_number_there_is_no_difference() -> None:
    ledger, _ = filled()
    ledger.do("work-saved", 1, "bench", step="calculation", fields={"height": "tall"})
    line = next(each for each in side_by_side(ledger.section.benches[1], None) if each.name == "height")
    assert (line.written, line.own, line.audit, line.difference, line.relative) == ("tall", None, None, None, None)


def test_what_stands_beside_a_reading_is_a_limit() -> None:
    """GUM 4.3.7: the standard uncertainty of a pair of limits ± a is a/√3; beside an energy stands the standard uncertainty itself."""
    ledger, contents = filled()
    audit = judge_bench(ledger.section.benches[1], contents, ledger.section.house).ledger
    speed = {"release_speed": "1.3", "release_speed_u": "0,06"}
    ledger.do("work-saved", 1, "bench", step="readings", fields=speed)
    ledger.do("work-saved", 1, "bench", step="uncertainty", fields={"kinetic_energy_u": "0.06"})
    lines = {line.name: line for line in side_by_side(ledger.section.benches[1], audit, decimal=",")}
    assert lines["release_speed"].own_u == pytest.approx(0.06 / math.sqrt(3.0))
    assert lines["kinetic_energy"].own_u == pytest.approx(0.06)
