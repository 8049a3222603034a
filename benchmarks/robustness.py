"""Faults of the model that a fit does not know, each at several sizes: does the interval hold the truth, or does a finding speak?

    python -m benchmarks.robustness [--benches 200] [--workers 1] [--keep] [--quick]

Benches are those of `random_design`, one to five launches each, over the whole region, with one fault. Counted at each size: the
stated 95 % intervals of the release energy and of the relative difference that hold the truth, the benches with the finding `misfit`,
those with any finding of severity look or stop, and those where one or the other is so. Audits propagate linearly. Bench i of every
fault and size comes from numpy.random.default_rng(FIRST_SEED + i): the same benches, so that sizes can be compared. The raw results, a
line for each fault and size, go to benchmarks/results/robustness.jsonl; until all are there they stand in robustness.jsonl.part, from
which a run goes on after one that was ended.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from types import MappingProxyType
from typing import Any

import numpy as np
from benchmarks.cells import cell_choices, measure_cells, workers
from benchmarks.conformance import RESULTS, outcome_of
from benchmarks.scores import Outcome

from joulebook.planning.design import Design, random_design
from joulebook.planning.simulate import SimulatedBench, simulate_bench

__all__ = ["FIRST_SEED", "HELD", "MODEL_FAULTS", "ModelFault", "faulty_design", "main", "model_bench", "summary"]

FIRST_SEED = 9_000_000
HELD = ("kinetic_energy", "relative_difference")
_LONG = 60.0


@dataclass(frozen=True, slots=True)
class ModelFault:
    """A fault of the model. sizes: in `unit`, from one that nobody would notice to one that a person could see. why: it can hide.

    make: turns a design and a size into the design with the fault.
    """

    words: str
    unit: str
    sizes: tuple[float, ...]
    why: str
    make: Callable[[Design, float], Design]


def _of_setup(name: str, factor: float = 1.0) -> Callable[[Design, float], Design]:
    return lambda design, size: replace(design, setup=replace(design.setup, **{name: factor * size}))  # type: ignore[arg-type]


def _of_ranger(name: str, factor: float = 1.0) -> Callable[[Design, float], Design]:
    return lambda design, size: replace(design, ranger=replace(design.ranger, **{name: factor * size}))  # type: ignore[arg-type]


def _less_slope(design: Design, size: float) -> Design:
    return replace(design, setup=replace(design.setup, angle=design.setup.angle - size))


MODEL_FAULTS: Mapping[str, ModelFault] = MappingProxyType(
    {
        "sagging track": ModelFault(
            "the track sags in its middle by", "mm", (1.0, 2.0, 5.0, 10.0),
            "a sag bends the climb and the descent alike, and the slope of the stretch that the cart uses is not that of the track",
            _of_setup("sag", 1e-3),
        ),
        "tilted sensor": ModelFault(
            "the ranger's axis is turned from the track's by", "°", (3.0, 6.0, 10.0, 15.0),
            "every distance is short by the same factor, the cosine, which no record can tell from a wrong speed of sound",
            _of_ranger("tilt"),
        ),
        "sensor off the axis": ModelFault(
            "the ranger stands beside the track's line by", "cm", (2.0, 5.0, 8.0, 12.0),
            "far from the ranger the reading is right, near it the distance changes too slowly",
            _of_ranger("off_axis", 1e-2),
        ),
        "creeping clamp": ModelFault(
            "the clamp gives way during a record, a second by", "°", (0.01, 0.02, 0.05, 0.10),
            "a later hop has another slope than the first, by less than its own uncertainty",
            _of_setup("creep"),
        ),
        "slipped clamp": ModelFault(
            "the clamp has sunk since the angle was measured, by", "°", (0.1, 0.25, 0.5, 1.0),
            "the motion is that of a sound bench with another slope; only the stated angle speaks against it",
            _less_slope,
        ),
        "moved stop": ModelFault(
            "the stop has moved since the rest record, by", "mm", (1.0, 3.0, 6.0, 10.0),
            "where the cart was let go is counted from the rest record",
            lambda design, size: replace(design, rest_shift=1e-3 * size),
        ),
        "friction along the track": ModelFault(
            "rolling resistance grows up the track, a metre by", "", (0.001, 0.003, 0.006, 0.010),
            "what grows with the place bends the motion by as much as the noise hides",
            _of_setup("resistance_along"),
        ),
        "friction in time": ModelFault(
            "rolling resistance grows during a record, a second by", "", (0.0002, 0.0005, 0.001, 0.002),
            "each hop has its own friction, and the fit takes their mean",
            _of_setup("resistance_drift"),
        ),
        "friction with speed": ModelFault(
            "rolling resistance grows with the speed, a metre per second by", "", (0.001, 0.003, 0.006, 0.010),
            "what grows with the speed is taken for drag, or for a steeper climb",
            _of_setup("resistance_per_speed"),
        ),
        "wrong drag": ModelFault(
            "the drag area, of which the default is 0.003 ± 0.003 m², is", "m²", (0.010, 0.015, 0.030, 0.060),
            "the drag is so small that its size hardly shows",
            _of_setup("drag_area"),
        ),
    }
)  # fmt: skip
"""All faults by name."""


def faulty_design(fault: str, size: float, design: Design) -> Design:
    """Return a design with a fault of this size, in the fault's unit."""
    return MODEL_FAULTS[fault].make(design, size)


def model_bench(fault: str, size: float, seed: int) -> SimulatedBench:
    """Return a bench of the region with a fault of this size."""
    rng = np.random.default_rng(seed)
    return simulate_bench(faulty_design(fault, size, replace(random_design(rng), longest=_LONG)), rng)


def summary(outcomes: Sequence[Outcome]) -> dict[str, Any]:
    """Return what the outcomes of one fault and size say, in plain JSON types.

    covered: benches whose interval held the truth. held: those, and those where a finding of severity look or stop speaks. held_misfit:
    the same with the finding `misfit` alone. A bench without the quantity counts as held only when a finding speaks.
    """
    found: dict[str, Any] = {"benches": len(outcomes), "covered": {}, "held": {}, "held_misfit": {}}
    misfit = ["misfit" in {code for code, _ in outcome.findings} for outcome in outcomes]
    spoken = [bool(outcome.alarms) for outcome in outcomes]
    for name in HELD:
        covered = [outcome.covered.get(name, False) for outcome in outcomes]
        found["covered"][name] = sum(covered)
        found["held"][name] = sum(a or b for a, b in zip(covered, spoken, strict=True))
        found["held_misfit"][name] = sum(a or b for a, b in zip(covered, misfit, strict=True))
    found["misfit"], found["spoken"] = sum(misfit), sum(spoken)
    found["alarms"] = dict(sorted(Counter(code for outcome in outcomes for code in outcome.alarms).items()))
    found["failed"] = [outcome.seed for outcome in outcomes if outcome.failure]
    return found


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure what is missing."""
    chosen = cell_choices(__doc__, arguments, out=RESULTS / "robustness.jsonl", benches=200, each="of each fault and size")
    benches = chosen.benches
    cells = {f"{name}, {size:g}": (name, size) for name, fault in MODEL_FAULTS.items() for size in fault.sizes}
    with workers(chosen.workers) as over:

        def measure(cell: str) -> dict[str, Any]:
            fault, size = cells[cell]
            outcomes = over(partial(_outcome, fault, size), range(FIRST_SEED, FIRST_SEED + benches))
            return {"fault": fault, "size": size, **summary(outcomes)}

        settings = {"benches": benches, "first_seed": FIRST_SEED}
        measure_cells(chosen.out, list(cells), measure, settings=settings, keep=chosen.keep)
    print(chosen.out)


def _outcome(fault: str, size: float, seed: int) -> Outcome:
    return outcome_of(model_bench(fault, size, seed), seed, only=HELD)


if __name__ == "__main__":
    main()
