"""Different set-ups for the benches of a class, on purpose: the loss against 1/tanθ becomes a result, and no report fits
another bench."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from joulebook.experiments.ramp_kit import Kit
from joulebook.experiments.ramp_plan import Assignment, ClassResult, Forecast, SetUp
from joulebook.planning.expected import plunger_speed
from joulebook.planning.forecasts import forecast, hides_the_square, scores
from joulebook.planning.predict import Grid, predict_at
from joulebook.planning.slips import alike, slips_at

__all__ = ["assign", "class_result"]

Floats = npt.NDArray[np.float64]

_LEAST_DECIDED = 0.75
"""What a bench must at least be likely to decide."""


def assign(kit: Kit, chosen: SetUp, *, tolerance: float) -> tuple[Assignment, ...]:
    """Return one set-up for each bench, slopes spread evenly in 1/tanθ, launches chosen so that their energies differ.

    chosen: the recommended set-up, whose mass, rate, angle method and launches all benches share. Slopes stand half a degree
    apart at least, within those of the kit. Fewer benches than the kit has come back where too few set-ups are good.
    """
    kit = _narrowed(kit, chosen)
    grid = _fine(kit, chosen, tolerance)
    score = scores(grid)[:, 0, 0]
    decided = (grid.mechanical[1] + grid.mechanical[2])[:, 0, 0]
    good = grid.feasible & (decided >= _LEAST_DECIDED) & ~hides_the_square(grid) & _parted(grid)
    if not good.any():
        good = grid.feasible
    if not good.any():
        return ()
    cotangent = 1.0 / np.tan(np.radians(grid.angle))
    low, high = float(cotangent[good].min()), float(cotangent[good].max())
    taken: list[int] = []
    for wanted in np.linspace(high, low, kit.benches) if kit.benches > 1 else [1.0 / math.tan(math.radians(chosen.angle))]:
        left = [int(row) for row in np.flatnonzero(good) if row not in taken]
        fresh = [row for row in left if all(grid.angle[row] != grid.angle[other] for other in taken)]
        pool = fresh or left
        if not pool:
            break
        nearest = min(abs(float(cotangent[row]) - wanted) for row in pool)
        here = [row for row in pool if abs(float(cotangent[row]) - wanted) <= nearest + 1e-9]
        taken.append(max(here, key=lambda row: (min([_apart(grid, row, other) for other in taken] + [1.5]), float(score[row]))))
    return tuple(Assignment(f"Bench {number}", forecast(grid, (row, 0, 0))) for number, row in enumerate(taken, 1))


def class_result(assignments: tuple[Assignment, ...]) -> ClassResult | None:
    """Return what the benches together can show; None for fewer than three.

    (K − P)/P = μ/tanθ is fitted through the origin; what all benches share (wheels, scale, g) is not averaged away.
    """
    if len(assignments) < 3:
        return None
    each = [item.forecast for item in assignments]
    x = np.array([1.0 / math.tan(math.radians(item.set_up.angle)) for item in each])
    ratio = np.array([1.0 / (1.0 - item.loss) for item in each])
    shared = np.array([_shared(item) for item in each]) * ratio**2
    own = np.sqrt(np.maximum(np.array([item.u_loss for item in each]) ** 2 * ratio**4 - shared**2, 1e-12))
    weight = 1.0 / own**2
    base = float((weight * x * x).sum())
    mu = float((weight * x * (ratio - 1.0)).sum() / base)
    common = float((weight * x * shared).sum() / base)
    apart = [_separation(a, b) for place, a in enumerate(each) for b in each[:place]]
    return ClassResult(mu, math.hypot(1.0 / math.sqrt(base), common), float(x.min()), float(x.max()), min(apart))


def _narrowed(kit: Kit, chosen: SetUp) -> Kit:
    from dataclasses import replace

    return replace(kit, methods=(chosen.method,), numbers=(chosen.launches,))


def _fine(kit: Kit, chosen: SetUp, tolerance: float) -> Grid:
    """Predict slopes every half degree, with every launch."""
    first, last = min(kit.angles), max(kit.angles)
    angles = np.unique(np.append(np.arange(math.ceil(2.0 * first) / 2.0, last + 1e-9, 0.5), [chosen.angle]))
    rows = []
    for angle in angles.tolist():
        speeds = np.array(kit.speeds)
        if kit.strokes:
            speeds = plunger_speed(
                np.array(kit.strokes), stiffness=kit.spring(chosen.mass), mass=chosen.mass,
                inertia=chosen.mass * (1.0 + kit.rotating_fraction.value), angle=np.radians(np.full(len(kit.strokes), angle)),
                gravity=kit.gravity.value,
            )  # fmt: skip
        rows += [(angle, max(speed, 1e-3), number) for number, speed in enumerate(speeds.tolist())]
    angle_column, speed_column, launch = (np.array(column) for column in zip(*rows, strict=True))
    size = angle_column.size
    return predict_at(
        kit, mass=np.full(size, chosen.mass), angle=angle_column, speed=speed_column,
        rate=np.full(size, chosen.rate), launch=launch,
        tolerance=tolerance,
    )  # fmt: skip


def _parted(grid: Grid) -> npt.NDArray[np.bool_]:
    """Say at which motions no two slips on the height give the same number."""
    bad = {}
    for angle in np.unique(grid.angle).tolist():
        slips = slips_at(angle=angle, speed=1.0, climb=1.0, descent=1.0, gravity=grid.kit.gravity.value)
        bad[angle] = bool(alike([slip for slip in slips if slip.quantity == "potential"], angle=angle))
    return np.array([not bad[angle] for angle in grid.angle.tolist()])


def _apart(grid: Grid, row: int, other: int) -> float:
    """How far two set-ups' energies lie apart, over U of their difference."""
    apart = []
    for name in (0, 1):
        u = float(np.hypot(grid.u[name, row, 0, 0], grid.u[name, other, 0, 0]))
        apart.append(abs(float(grid.values[name, row] - grid.values[name, other])) / (2.0 * u))
    return max(apart)


def _separation(a: Forecast, b: Forecast) -> float:
    kinetic = abs(a.kinetic - b.kinetic) / (2.0 * math.hypot(a.u_kinetic, b.u_kinetic))
    potential = abs(a.potential - b.potential) / (2.0 * math.hypot(a.u_potential, b.u_potential))
    return max(kinetic, potential)


def _shared(item: Forecast) -> float:
    names = ("cart.rotating_fraction", "sensor.scale", "place.gravity", "cart.drag_area", "place.air_density")
    return math.sqrt(sum(line.contribution**2 for line in item.budget if line.input in names))
