"""What the tests of findings share: the one finding that a bench must have, and what holds for every finding."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
from tests.experiments.hand_made import Ride, ride

from joulebook.analysis import audit_bench
from joulebook.engine.bench import Bench
from joulebook.engine.record import Record
from joulebook.engine.report import Audit, Finding
from joulebook.experiments.ramp_codes import CODES

__all__ = ["RIDE", "SETTLED", "audited", "caught_at", "number", "only", "sound", "spoiled", "told"]

TABLE = {item.code: item for item in CODES}
RIDE = ride()
SETTLED = ride(settles=1.5)


def audited(bench: Bench) -> Audit:
    return audit_bench(bench, method="linear")


def told(audit: Audit) -> list[tuple[str, str]]:
    return [(finding.code, finding.severity) for finding in audit.findings]


def only(bench: Bench, code: str, severity: str, *, beside: tuple[str, ...] = ()) -> Finding:
    """Return the one finding of a bench, which must be this; beside: others that come with it by their nature."""
    audit = audited(bench)
    assert [each for each in told(audit) if each[0] not in beside] == [(code, severity)]
    finding = next(each for each in audit.findings if each.code == code)
    sound(finding, bench)
    return finding


def sound(finding: Finding, bench: Bench) -> None:
    """What holds for every finding: documented, remedied, its record named first, said in whole sentences and numbers."""
    assert finding.severity in TABLE[finding.code].severities
    assert finding.remedy == TABLE[finding.code].remedy and len(finding.remedy) > 30
    record = finding.evidence.get("record")
    if record is not None:
        assert record in {each.file for each in bench.launches}
        assert finding.message.startswith(f"{record}: ")
    assert finding.message.endswith(".") and len(finding.message) > 60
    body = finding.message.removeprefix(f"{record}: ")
    assert re.search(r"\bnan\b|\binf\b|None|  |\.\.|\(s\)|-\d|\b1 readings|\b1 time stamps", body) is None, body
    for value in finding.evidence.values():
        assert isinstance(value, (str, int)) or (isinstance(value, float) and math.isfinite(value))


def number(finding: Finding, name: str) -> float:
    value = finding.evidence[name]
    assert isinstance(value, (int, float))
    return float(value)


def spoiled(record: Record, at: np.ndarray, value: float | np.ndarray) -> Record:
    """Return the record with other distances where `at` is True."""
    distance = record.distance.copy()
    distance[at] = value
    return replace(record, distance=distance)


def caught_at(when: float, place: float, motion: Ride = RIDE) -> Ride:
    """The ride until `when`, and from there on the cart held where it was, drawn `place` further in half a second."""
    held = float(motion.position(np.array([when]))[0])

    def position(time: np.ndarray) -> np.ndarray:
        drawn = held + place * np.clip((time - when) / 0.5, 0.0, 1.0)
        return np.where(time < when, motion.position(time), drawn)

    return replace(motion, position=position, end=when + 1.5)
