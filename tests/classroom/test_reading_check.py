"""What an audit shows is worked out once for all write-ups of its bench, and never taken for another bench's."""

from __future__ import annotations

import numpy as np
import pytest

from joulebook.analysis import audit_bench
from joulebook.classroom import reading_check
from joulebook.classroom.reading_check import check_reading, features_of
from joulebook.classroom.written import Written
from joulebook.engine.report import Audit
from joulebook.planning.design import random_design
from joulebook.planning.simulate import simulate_bench


def audit(seed: int) -> Audit:
    rng = np.random.default_rng(seed)
    design = random_design(rng, stop="spring", placed="top", rate=20.0, launches=1, hands=False)
    return audit_bench(simulate_bench(design, rng).bench, method="linear")


def wanted(of: Audit) -> float:
    feature = next(each for each in features_of("release_speed", of) if each.code == "wanted")
    return 0.5 * (feature.low + feature.high)


def test_an_audit_is_looked_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    first, second = audit(3), audit(4)
    asked: list[Audit] = []

    def counted(reading: str, of: Audit):  # type: ignore[no-untyped-def]
        asked.append(of)
        return features_of(reading, of)  # type: ignore[arg-type]

    monkeypatch.setattr(reading_check, "features_of", counted)
    speeds = [wanted(first), wanted(second)]
    assert abs(speeds[0] - speeds[1]) > 0.1
    for _ in range(3):
        for of, speed, other in zip((first, second), speeds, reversed(speeds), strict=True):
            assert check_reading("release_speed", Written("v", speed, 0.0, 3), of).kind == "right"
            assert check_reading("release_speed", Written("v", other, 0.0, 3), of).kind != "right"
    assert [each is of for each, of in zip(asked, (first, second), strict=True)] == [True, True]
