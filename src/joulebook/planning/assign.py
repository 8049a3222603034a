"""Different set-ups for the benches of a class, on purpose: the loss against 1/tanθ becomes a result, and no report fits
another bench."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
import numpy.typing as npt

from joulebook.experiments.ramp_kit import Kit
from joulebook.experiments.ramp_plan import LEAST_CHANCE, Assignment, ClassResult, Forecast, SetUp
from joulebook.planning.advice import percent
from joulebook.planning.expected import plunger_speed
from joulebook.planning.forecasts import forecast, hides_the_square, scores
from joulebook.planning.predict import Grid, predict_at
from joulebook.planning.slips import alike, slips_at

__all__ = ["assign", "class_result"]

Floats = npt.NDArray[np.float64]

_LINE = 3
"""Slopes that a line of losses against 1/tanθ wants at least."""


def assign(kit: Kit, chosen: SetUp, *, tolerance: float) -> tuple[Assignment, ...]:
    """Return one set-up for each bench, slopes spread evenly in 1/tanθ, launches chosen so that their energies differ.

    chosen: the recommended set-up, whose mass, rate, angle method and launches all benches share. Slopes stand half a degree
    apart at least, within those of the kit. Every bench is likely (LEAST_CHANCE) to do what it is meant to do as long as the kit
    has set-ups enough of that kind; where it has not, the best of the others are added, and each says why it is weak.
    Fewer benches than the kit has come back where too few set-ups can be used.
    """
    kit = _narrowed(kit, chosen)
    grid = _fine(kit, chosen, tolerance)
    usable = grid.feasible & ~hides_the_square(grid) & _parted(grid)
    if not usable.any():
        usable = grid.feasible
    if not usable.any():
        return ()
    aim, chance = _aim(grid, usable)
    good = _likely(grid, usable, chance, kit.benches)
    score = scores(grid)[:, 0, 0]
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
    found = []
    for number, row in enumerate(taken, 1):
        each = forecast(grid, (row, 0, 0))
        weak = float(chance[row]) < LEAST_CHANCE
        found.append(Assignment(f"Bench {number}", each, aim, _why_low(each, aim, tolerance) if weak else ""))
    return tuple(found)


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


def _aim(grid: Grid, usable: npt.NDArray[np.bool_]) -> tuple[Literal["loss", "decide"], Floats]:
    """Return what the benches are meant to do, and each motion's chance of it: to see the loss where some set-up does reliably."""
    _, seen, conserved, _ = grid.mechanical[:, :, 0, 0]
    if float(seen[usable].max()) >= LEAST_CHANCE:
        return "loss", seen
    return "decide", seen + conserved


def _likely(grid: Grid, usable: npt.NDArray[np.bool_], chance: Floats, benches: int) -> npt.NDArray[np.bool_]:
    """Return the motions to choose among: the likely ones, and the best of the others while those are too few for the benches, or
    of too few slopes for a line."""
    good = usable & (chance >= LEAST_CHANCE)
    slopes = min(_LINE, benches, np.unique(grid.angle[usable]).size)
    others = np.flatnonzero(usable & ~good)
    for row in others[np.argsort(-chance[others], kind="stable")]:
        many = int(good.sum()) >= benches
        if many and np.unique(grid.angle[good]).size >= slopes:
            break
        if not many or grid.angle[row] not in grid.angle[good]:
            good[row] = True
    return good


def _why_low(item: Forecast, aim: Literal["loss", "decide"], tolerance: float) -> str:
    """Say why a bench is likely to miss its aim."""
    angle, expanded = item.set_up.angle, percent(item.resolution)
    if aim == "loss":
        return f"At {angle:g}° a loss of {percent(item.loss)} is expected, and this bench can show one from about {expanded} on."
    return f"At {angle:g}° the bench is uncertain by {expanded}, and only up to {percent(tolerance)} may be called conserved."


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
