"""A simulated section for the class picture: twelve benches of several slopes, one of which stated its slope 0.9° too small."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from joulebook.analysis import audit_bench
from joulebook.classroom.class_picture import ClassBench
from joulebook.planning.demo_section import demo_benches
from joulebook.planning.simulate import simulate_bench
from joulebook.planning.statements import Statement

SLOPES = (4.0, 5.0, 6.0, 7.5, 9.0, 11.0)
ODD = 8


@cache
def section(benches: int = 12, odd: int = ODD) -> tuple[ClassBench, ...]:
    """Return benches 1 to `benches`, audited; bench `odd` (0 for none) has the wrong slope."""
    return tuple(_bench(number, number == odd) for number in range(1, benches + 1))


def _bench(number: int, odd: bool) -> ClassBench:
    rng = np.random.default_rng([7, number])
    stated = SLOPES[(number - 1) % len(SLOPES)]
    design = demo_benches()[0].design
    friction = float(0.0045 + rng.normal(0.0, 0.0004))
    setup = replace(design.setup, angle=stated + float(rng.uniform(-0.2, 0.2)) + (0.9 if odd else 0.0), rolling_resistance=friction)
    said = tuple(
        Statement("track.angle", stated, 0.25, "limits", 2) if each.name == "track.angle" else each for each in design.statements
    )
    made = replace(design, setup=setup, statements=said, speed=0.85 if stated < 5.5 else 1.1, title=f"Bench {number}", launches=2)
    return ClassBench(str(number), f"Bench {number}", audit_bench(simulate_bench(made, rng).bench, method="linear"))
