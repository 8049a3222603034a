"""A launch that was followed once is not followed again, and nothing that it rests on is overlooked."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.classroom.benches import files

from joulebook.analysis import audit_bench
from joulebook.classroom import followed
from joulebook.engine.bench import Bench, Override
from joulebook.readers.bench_file import make_bench


def _bench(**changes: str) -> Bench:
    content, values = files()
    launches = [(name, data) for name, data in content.items() if "rest" not in name]
    return make_bench(values={**values, **changes}, launches=launches, rest=("rest.csv", content["rest.csv"]))


def _others() -> list[Bench]:
    bench = _bench()
    name = bench.launches[0].file
    return [
        _bench(**{"cart.mass": "0.9 kg"}),
        _bench(**{"sensor.min_range": "0.2 m"}),
        replace(bench, rest=None),
        replace(bench, overrides={name: Override(apex=float(bench.launches[0].time[60]))}),
    ]


def test_an_audit_from_memory_is_the_same_and_follows_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    first = audit_bench(_bench(), follower=followed.follow_once)
    monkeypatch.setattr(followed, "follow", lambda *_: pytest.fail("it was followed already"))
    again = audit_bench(_bench(), follower=followed.follow_once)
    assert again.to_dict() == first.to_dict() == audit_bench(_bench()).to_dict()


@pytest.mark.parametrize("index", range(4))
def test_whatever_a_launch_rests_on_counts(index: int) -> None:
    audit_bench(_bench(), follower=followed.follow_once)
    other = _others()[index]
    remembered = audit_bench(other, method="linear", follower=followed.follow_once)
    assert remembered.to_dict() == audit_bench(other, method="linear").to_dict()


def test_memory_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(followed, "_MOST", 1)
    audit_bench(_bench(), follower=followed.follow_once)
    audit_bench(_bench(**{"cart.mass": "0.7 kg"}), follower=followed.follow_once)
    assert len(followed._kept) == 1
