"""Which of several motions in a record is the launch: benches on which another one was once taken for it, an energy of a tenth."""

from __future__ import annotations

import pytest
from benchmarks.conformance import truth_of
from benchmarks.maps import CELLS, FIRST_SEED, cell_bench

from joulebook.analysis import audit_bench


@pytest.mark.parametrize(
    ("cell", "number"),
    [
        # Ten readings a second on a steep track: through four readings of a late small hop, or of a hand's move, anything passes.
        ("magnetic, 18°, 10/s, 0.5 mm", 144),
        ("hard, 18°, 10/s, 0.5 mm", 106),
        ("spring, 18°, 10/s, 1.5 mm", 83),
        ("spring, 8°, 10/s, 1.5 mm", 84),
        # A hand brings the cart down and up a little and down again to the stop, before it is launched.
        ("hard, 18°, 25/s, 0.2 mm", 14),
        ("magnetic, 18°, 100/s, 1.5 mm", 155),
    ],
)
def test_the_launch_is_the_launch(cell: str, number: int) -> None:
    simulated = cell_bench(CELLS[cell], FIRST_SEED + 10_000 * list(CELLS).index(cell) + number)
    audit = audit_bench(simulated.bench, method="linear")
    truth = truth_of(simulated, audit)
    assert abs(audit.quantities["apex_time"].value - truth["apex_time"]) < 0.5 / simulated.design.ranger.rate
    energy = audit.quantities["kinetic_energy"]
    assert energy.low <= truth["kinetic_energy"] <= energy.high
    assert [each.code for each in audit.findings if each.severity in ("stop", "look")] == []
