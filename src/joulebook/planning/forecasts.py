"""From a grid of predictions to single forecasts, and the search among them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from joulebook.engine.report import BudgetLine
from joulebook.experiments.ramp_kit import Kit
from joulebook.experiments.ramp_plan import Forecast, Problem, SetUp
from joulebook.planning.predict import OUTPUTS, SCALARS, Grid, predict_at

__all__ = ["USUAL_RATE", "Place", "best_place", "forecast", "forecast_of", "hides_the_square", "problem_of", "scores"]

Place = tuple[int, int, int]
"""Where a set-up stands in a grid: its motion, its angle method and its number of launches."""

Floats = npt.NDArray[np.float64]

USUAL_RATE = 20.0
"""1/s: a sensible floor for this lab (common practice, no source)."""


def forecast(grid: Grid, place: Place) -> Forecast:
    """Return one set-up of a grid with its budget and its odds."""
    i, method, n = place
    kit, expected = grid.kit, grid.expected
    u = dict(zip(OUTPUTS, grid.u[:, i, method, n].tolist(), strict=True))
    values = dict(zip(OUTPUTS, grid.values[:, i].tolist(), strict=True))
    chosen = SetUp(
        float(grid.mass[i]), float(grid.angle[i]), float(grid.speed[i]), float(expected.stroke[i]), float(grid.rate[i]),
        kit.methods[method], kit.numbers[n],
    )  # fmt: skip
    return Forecast(
        set_up=chosen, placed=kit.placed, track_length=kit.track_length, travel=values["travel"],
        height=float(expected.height[i]), nearest=float(grid.nearest[i]),
        farthest=float(grid.farthest[i]), room=float(grid.room[i]), time_up=float(expected.time_up[i]),
        on_climb=float(grid.on_climb[i]), samples=float(grid.samples[i]), kinetic=values["kinetic_energy"],
        u_kinetic=u["kinetic_energy"], potential=values["potential_energy"], u_potential=u["potential_energy"],
        loss=values["relative_difference"], u_loss=u["relative_difference"], resolution=float(grid.expanded[0, i, method, n]),
        account_resolution=float(grid.expanded[1, i, method, n]), budget=_budget(grid, place),
        mechanical=dict(zip(("gain", "loss", "conserved", "undecided"), grid.mechanical[:, i, method, n].tolist(), strict=True)),
        account=dict(zip(("closed", "open", "undecided"), grid.account[:, i, method, n].tolist(), strict=True)),
        problem=problem_of(grid, i),
        scatter={
            name: float(grid.scatter[OUTPUTS.index(name), i, method, n])
            for name in ("kinetic_energy", "potential_energy", "relative_difference")
        },
    )  # fmt: skip


def forecast_of(kit: Kit, set_up: SetUp, *, tolerance: float) -> Forecast:
    """Return the forecast of one set-up, whether the kit lists it or not."""
    kit = replace(kit, methods=(set_up.method,), numbers=(set_up.launches,))
    one = [np.array([each]) for each in (set_up.mass, set_up.angle, set_up.speed, set_up.rate)]
    grid = predict_at(kit, mass=one[0], angle=one[1], speed=one[2], rate=one[3], tolerance=tolerance)
    return forecast(grid, (0, 0, 0))


def problem_of(grid: Grid, motion: int) -> Problem:
    """Return what keeps a motion from being used, "" for nothing."""
    if not grid.comes_back[motion]:
        return "too-flat"
    return "off-track" if not grid.fits[motion] else "" if grid.enough[motion] else "few-samples"


def scores(grid: Grid) -> Floats:
    """Return how good each set-up is, shape (p, m, n): what is likely to be decided and accounted for; −1 where it cannot be
    used.

    A launch near 1 m/s, whose forgotten square would go unseen, costs a tenth; so do launches that the lesson has no time for.
    """
    decided = (grid.mechanical[1] + grid.mechanical[2]) * grid.account[0]
    # Between two set-ups that both decide, the one that sees more of the loss teaches more.
    clear = grid.mechanical[1] * grid.account[0]
    score = 0.5 * decided + 0.5 * clear
    score = score - 0.1 * hides_the_square(grid)[:, None, None]
    late = np.array([number > grid.kit.most_launches for number in grid.kit.numbers])
    score = np.where(late[None, None, :], -0.5, score)
    return np.where(grid.feasible[:, None, None], score, -1.0)


def hides_the_square(grid: Grid) -> npt.NDArray[np.bool_]:
    """Say for which motions a forgotten square in ½mv² would go unseen: its factor 1/v lies within 5 % of 1, or within twice
    U."""
    relative = 4.0 * grid.u[OUTPUTS.index("kinetic_energy"), :, 0, 0] / grid.values[OUTPUTS.index("kinetic_energy")]
    return np.asarray(np.abs(1.0 / grid.speed - 1.0) < np.maximum(relative, 0.05))


def best_place(grid: Grid, score: Floats | None = None, *, allowed: npt.NDArray[np.bool_] | None = None) -> Place | None:
    """Return the set-up to recommend: of those within 0.03 of the best score, the one that asks least of the class.

    Least: nearest to three launches, which show the scatter; then the lowest rate from 20/s on; then the smallest U.
    allowed: motions to choose among, shape (p,). None where no set-up can be used.
    """
    score = scores(grid) if score is None else score
    if allowed is not None:
        score = np.where(allowed[:, None, None], score, -1.0)
    top = float(score.max())
    if top <= -0.5:
        return None
    near: Sequence[Place] = [(int(a), int(b), int(c)) for a, b, c in np.argwhere(score >= top - 0.03)]

    def effort(place: Place) -> tuple[float, ...]:
        i, method, n = place
        rate = float(grid.rate[i])
        return (abs(grid.kit.numbers[n] - 3), rate if rate >= USUAL_RATE else 1e6 / rate, float(grid.expanded[0, i, method, n]))

    return min(near, key=effort)


def _budget(grid: Grid, place: Place) -> tuple[BudgetLine, ...]:
    """Return the influences on the relative difference; the slope's goes to what is measured for it."""
    i, method, n = place
    kit = grid.kit
    row = OUTPUTS.index("relative_difference")
    parts = grid.parts[row, :, i]
    total = float(grid.u[row, i, method, n]) ** 2
    lines = []
    for name, part in zip(SCALARS[:-1], parts, strict=False):
        lines.append((name, float(part)))
    slope = kit.methods[method]
    by_degree = float(parts[len(SCALARS) - 1])
    for item in slope.inputs(float(grid.angle[i])):
        if item.name == "track.angle":
            lines.append((item.name, by_degree * item.u))
        else:
            tangent = np.tan(np.radians(grid.angle[i]))
            lines.append((item.name, by_degree * float(np.degrees(tangent)) * item.u / item.value))
    lines.append(("fit of the motion", float(parts[-1]) / float(np.sqrt(kit.numbers[n]))))
    lines.sort(key=lambda line: -line[1])
    return tuple(BudgetLine(name, 0.0, part, part * part / total) for name, part in lines if part > 0.0)
