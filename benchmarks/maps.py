"""Maps of the operating region: coverage of the stated intervals and statistical efficiency, cell by cell.

    python -m benchmarks.maps [--benches 240] [--workers 1] [--keep] [--quick]

A cell is an angle of the track, a rate, a level of the ranger's noise and a kind of stop: the ends and the middle of the region in
each. Everything else of a bench is drawn as in `random_design`, with one launch. Counted in each cell: how many of the stated 95 %
intervals of the release energy and of the relative difference hold the truth, and the error of the release energy over its
Cramér–Rao bound (benchmarks/bound.py). Audits are the default ones. Bench i of cell c comes from
numpy.random.default_rng(FIRST_SEED + 10000 c + i). The raw results, a line for each cell, go to
benchmarks/results/maps.jsonl; until all are there they stand in maps.jsonl.part, from which a run goes on after one that was ended.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from typing import Any

import numpy as np
from benchmarks.cells import cell_choices, measure_cells, workers
from benchmarks.conformance import RESULTS, outcome_of
from benchmarks.scores import Outcome, score

from joulebook.planning.design import StopKind, random_design
from joulebook.planning.simulate import SimulatedBench, simulate_bench

__all__ = ["CELLS", "FIRST_SEED", "MAPPED", "MapCell", "cell_bench", "main", "summary"]

FIRST_SEED = 8_000_000
MAPPED = ("kinetic_energy", "relative_difference")
ANGLES, RATES, NOISES = (3.0, 8.0, 18.0), (10.0, 25.0, 100.0), (0.2, 0.5, 1.5)
STOPS: tuple[StopKind, ...] = ("spring", "hard", "magnetic")
_LONG = 60.0


@dataclass(frozen=True, slots=True)
class MapCell:
    """A cell of the region. stop: its kind. angle: degrees, as aimed at. rate: samples per second. noise: mm."""

    stop: StopKind
    angle: float
    rate: float
    noise: float

    @property
    def name(self) -> str:
        """How the cell is called in the results and on the page."""
        return f"{self.stop}, {self.angle:g}°, {self.rate:g}/s, {self.noise:g} mm"


CELLS = {cell.name: cell for cell in (MapCell(*each) for each in product(STOPS, ANGLES, RATES, NOISES))}
"""All cells by name."""


def cell_bench(cell: MapCell, seed: int) -> SimulatedBench:
    """Return a bench of this cell with one launch.

    The kind of noise is drawn (white, correlated, growing with speed); white and correlated part together are made as large as the
    cell says.
    """
    rng = np.random.default_rng(seed)
    design = random_design(rng, stop=cell.stop, rate=cell.rate, angle=cell.angle, launches=1)
    ranger = design.ranger
    louder = 1e-3 * cell.noise / float(np.hypot(ranger.noise, ranger.drift_noise))
    ranger = replace(ranger, noise=louder * ranger.noise, drift_noise=louder * ranger.drift_noise)
    return simulate_bench(replace(design, ranger=ranger, longest=_LONG), rng)


def summary(outcomes: Sequence[Outcome]) -> dict[str, Any]:
    """Return what one cell's outcomes say, in plain JSON types.

    given, covered: benches that gave a quantity, and whose interval held the truth. pull: mean and standard deviation. efficiency: the
    error of the release energy over its bound, as median of the absolute value and root mean square.
    """
    found: dict[str, Any] = {"benches": len(outcomes), "given": {}, "covered": {}, "pull": {}, "efficiency": {}}
    for name in MAPPED:
        each = score(outcomes, name)
        found["given"][name] = each.n
        found["covered"][name] = sum(outcome.covered[name] for outcome in outcomes if name in outcome.covered)
        found["pull"][name] = [round(each.pull_mean, 3), round(each.pull_sd, 3)] if each.n > 1 else None
    energies = [each for outcome in outcomes for each in outcome.extra.get("energy", ())]
    for level in ("known_level", "own_level") if energies else ():
        errors = np.abs([each[level] for each in energies])
        found["efficiency"][level] = [round(float(np.median(errors)), 4), round(float(np.sqrt(np.mean(errors**2))), 4)]
    found["launches"] = len(energies)
    found["alarms"] = dict(sorted(Counter(code for outcome in outcomes for code in outcome.alarms).items()))
    found["alarmed"] = sum(bool(outcome.alarms) for outcome in outcomes)
    found["failed"] = [outcome.seed for outcome in outcomes if outcome.failure]
    return found


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure the cells that are missing."""
    chosen = cell_choices(__doc__, arguments, out=RESULTS / "maps.jsonl", benches=240, each="in each cell")
    benches = chosen.benches
    order = list(CELLS)
    with workers(chosen.workers) as over:

        def measure(name: str) -> dict[str, Any]:
            first = FIRST_SEED + 10_000 * order.index(name)
            return summary(over(partial(_outcome, CELLS[name]), range(first, first + benches)))

        measure_cells(chosen.out, order, measure, settings={"benches": benches, "first_seed": FIRST_SEED}, keep=chosen.keep)
    print(chosen.out)


def _outcome(cell: MapCell, seed: int) -> Outcome:
    return outcome_of(cell_bench(cell, seed), seed, method="auto", bound=True, only=MAPPED)


if __name__ == "__main__":
    main()
