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
from joulebook.readers.bench_file import write_bench
from joulebook.uncertainty import Input

__all__ = ["assign", "bench_text", "class_result"]

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


def bench_text(kit: Kit, assignment: Assignment) -> str:
    """Return the bench.toml of one bench, to be completed with what the group measures; the launch files have yet to be
    recorded."""
    chosen = assignment.forecast.set_up
    mass = next((item for item in kit.masses if item.value == chosen.mass), kit.masses[0])
    values: dict[str, object] = {"title": assignment.title, "experiment": "ramp-launch"}
    for item in (mass, kit.rotating_fraction, kit.drag_area, *chosen.method.inputs(chosen.angle)):
        values[item.name] = _written(item)
    values["track.length"] = f"{kit.track_length:g} m"
    values["sensor.placed"] = kit.placed
    values["sensor.min_range"] = f"{kit.min_range:g} m"
    values["sensor.max_range"] = f"{kit.max_range:g} m"
    values["sensor.scale"] = _written(kit.scale)
    values["place.gravity"] = _written(kit.gravity)
    values["place.air_density"] = _written(kit.air_density)
    names = ["launch.csv"] if chosen.launches == 1 else [f"launch-{number}.csv" for number in range(1, chosen.launches + 1)]
    values["files"] = {"rest": "rest.csv", "launch": names}
    speed = f"{chosen.speed:.2f} m/s, plunger cocked by {100.0 * chosen.stroke:.1f} cm"
    head = (
        f"# Planned: {chosen.angle:g}°, launch at {speed}, {chosen.rate:g} samples a second, {chosen.launches} "
        f"launch{'' if chosen.launches == 1 else 'es'}.\n# Write in what the bench measures; the values here are the plan's.\n"
    )
    return head + write_bench(values)


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


def _written(item: Input) -> str:
    """Return an input as a bench file has it: limits for a rectangular one, else the standard uncertainty in brackets."""
    unit = "" if item.unit == "1" else f" {item.unit}"
    if item.u <= 0.0:
        return f"{item.value:g}{unit}"
    if item.distribution == "normal":
        places = max(0, 1 - math.floor(math.log10(item.u)))
        return f"{item.value:.{places}f}({round(item.u * 10**places)}){unit}"
    width = item.u * (math.sqrt(6.0) if item.distribution == "triangular" else math.sqrt(3.0))
    places = max(0, 2 - math.floor(math.log10(width)) - 1)
    end = " (triangular)" if item.distribution == "triangular" else ""
    return f"{item.value:.{places}f}{unit} ± {width:.{places}f}{unit}{end}"
