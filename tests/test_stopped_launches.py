"""Findings of severity "stop": the launch is left out of the mean, and without any other there is no verdict (DESIGN §6)."""

from __future__ import annotations

import math

import numpy as np
from tests.experiments.hand_made import ANGLE, Ride, bench_of, record_of, ride

from joulebook.analysis import audit_bench
from joulebook.engine.record import Record
from joulebook.engine.report import Audit

RIDE = ride()


def hidden_apex(file: str, motion: Ride, seed: int) -> Record:
    """A launch whose highest point lies in the blind zone of a ranger that measures from 0.70 m on: it is fitted, and stopped."""
    record = record_of(motion, file=file, seed=seed)
    distance = np.where(1.0 - motion.position(record.time) < 0.70, 0.70, record.distance)
    return Record(file, record.time, distance, distance_step=1e-4)


def stops(audit: Audit) -> set[tuple[str, object]]:
    return {(item.code, item.evidence.get("record")) for item in audit.findings if item.severity == "stop"}


def test_a_stopped_launch_is_left_out_of_the_pooled_values() -> None:
    """Three launches of 0.8 m/s turn outside the blind zone, at 0.77 m; a fourth of 1.0 m/s turns inside it."""
    calm = ride(speed=0.8)
    good = [record_of(calm, file=f"launch-{number}.csv", seed=number) for number in (1, 2, 3)]
    bad = hidden_apex("launch-4.csv", RIDE, 4)
    without, with_it = (audit_bench(bench_of(*records, min_range=0.70), method="linear") for records in (good, [*good, bad]))
    assert stops(without) == set()
    assert stops(with_it) == {("too-close", "launch-4.csv")}
    assert dict(with_it.quantities) == dict(without.quantities)
    assert with_it.verdict == without.verdict
    own = with_it.launches[3].quantities
    assert own, "the stopped launch keeps its own ledger, for those who look into it"
    assert abs(own["travel"].value - with_it.quantity("travel").value) > 0.1  # type: ignore[union-attr]


def test_without_a_sound_launch_there_is_no_verdict() -> None:
    """Both launches are fitted and stopped: their ledger is shown, but neither a verdict nor a slope is concluded from it."""
    launches = [hidden_apex(f"launch-{number}.csv", RIDE, number) for number in (1, 2)]
    audit = audit_bench(bench_of(*launches, min_range=0.70, angle=ANGLE + 4.0), method="linear")
    assert stops(audit) == {("too-close", "launch-1.csv"), ("too-close", "launch-2.csv")}
    assert audit.quantities and all(launch.quantities for launch in audit.launches)
    assert (audit.verdict.mechanical, audit.verdict.account) == ("undecided", "undecided")
    assert math.isinf(audit.verdict.resolution) and audit.verdict.normalised_error == 0.0
    assert audit.verdict.sentence.startswith("Nothing can be said about the energy: launch-1.csv: at its highest point")
    assert "angle-mismatch" not in {item.code for item in audit.findings}
    # The same bench with a launch that is sound has its verdict, and its slope is compared.
    sound = record_of(ride(speed=0.8), file="launch-3.csv")
    audit = audit_bench(bench_of(*launches, sound, min_range=0.70, angle=ANGLE + 4.0), method="linear")
    assert math.isfinite(audit.verdict.resolution) and audit.verdict.mechanical == "gain"
    assert "angle-mismatch" in {item.code for item in audit.findings}
