"""The ledger: every quantity of a launch, or of a bench's pooled launches, with its uncertainty and its budget."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc

from joulebook.engine.contacts import LIMITS, LIMITS_SHAPE
from joulebook.engine.experiment import Experiment
from joulebook.engine.fit import Motion
from joulebook.engine.report import BudgetLine
from joulebook.uncertainty import Block, Input, Quantity, adaptive_monte_carlo, monte_carlo, propagate, validate

__all__ = ["Ledger", "Method", "Settled", "draw_up", "pool", "settle"]

FloatArray = npt.NDArray[np.float64]
Method = Literal["auto", "linear", "monte-carlo", "adaptive"]


@dataclass(frozen=True, slots=True, eq=False)
class Settled:
    """What the ledger takes from the fit: one launch's, or the mean of several.

    block: fit.climb, fit.descent (when seen), fit.apex_time, fit.apex_j. by_drag: derivative of each by the drag constant.
    datum: the inputs datum.level and datum.offset. hops: number of hops in the block.
    between: ratio of the scatter between launches to that expected from within, for the climb's acceleration; 1 for one launch.
    """

    block: Block
    by_drag: Mapping[str, float]
    drag: float
    datum: tuple[Input, Input]
    hops: int
    descent_seen: bool
    between: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Ledger:
    """Quantities by name in the experiment's order, their budgets, and how well the linear propagation did.

    validated: for each quantity whether Monte Carlo confirmed the linear interval (JCGM 101, 8.1); empty when it was not asked.
    """

    quantities: Mapping[str, Quantity | tuple[Quantity, ...]]
    budgets: Mapping[str, tuple[BudgetLine, ...]]
    validated: Mapping[str, bool]

    def quantity(self, name: str) -> Quantity:
        """Return a quantity that is not a list."""
        item = self.quantities[name]
        assert isinstance(item, Quantity)
        return item


def settle(motion: Motion) -> Settled:
    """Take from one launch's fit what the ledger needs."""
    stop = motion.contacts
    lead = 2 if motion.descent_seen else 1
    half = stop.half_width
    # A hop no higher than what is not known about the release level says nothing about a bounce.
    doubt = 0.003 + 3.0 * half + 6.0 * motion.datum.u
    low = np.flatnonzero(motion.apexes - motion.datum.level - stop.offset < doubt)
    hops = max(1, int(low[0])) if low.size else motion.hops
    places = [*range(lead), lead, *range(lead + 1, lead + 2 * hops, 2)]
    names = ["fit.climb", "fit.descent"][:lead] + ["fit.apex_time"] + [f"fit.apex_{j}" for j in range(1, hops + 1)]
    block = Block(tuple(names), motion.values[places], motion.covariance[np.ix_(places, places)], motion.dof)
    datum = (
        Input("datum.level", motion.datum.level, "m", motion.datum.u, "normal", "inferred", motion.datum.dof,
              note=f"up-slope reading of the standing cart, from the {_SOURCES[motion.datum.source]}"),
        Input("datum.offset", float(stop.offset), "m", stop.u, LIMITS, "inferred", shape=LIMITS_SHAPE,
              note="how far above the rest level the stop lets go, from the contacts"),
    )  # fmt: skip
    return Settled(
        block, dict(zip(names, motion.by_drag[places].tolist(), strict=True)), motion.drag, datum, hops, motion.descent_seen
    )


_SOURCES = {
    "rest": "rest record",
    "tail": "end of the launch record",
    "contacts": "rebounds of the launch record",
    "push": "start of the launch record",
}


def pool(launches: Sequence[Settled]) -> Settled:
    """Return the mean of several launches, with the scatter between them where it exceeds that within (GUM H.5).

    The launches' strengths differ on purpose or by the plunger, so only the two accelerations, which belong to the bench, are
    tested for scatter between launches.
    """
    if len(launches) == 1:
        return launches[0]
    n = len(launches)
    hops = min(each.hops for each in launches)
    seen = all(each.descent_seen for each in launches)
    names = ["fit.climb", "fit.descent"][: 2 if seen else 1] + ["fit.apex_time"] + [f"fit.apex_{j}" for j in range(1, hops + 1)]
    places = [[each.block.names.index(name) for name in names] for each in launches]
    values = np.array([each.block.values[place] for each, place in zip(launches, places, strict=True)])
    within = [each.block.covariance[np.ix_(place, place)] for each, place in zip(launches, places, strict=True)]
    covariance = np.sum(within, axis=0) / n**2
    dof = float(sum(each.block.dof for each in launches))
    between = 1.0
    for place in range(2 if seen else 1):
        ratio = float(np.var(values[:, place], ddof=1)) / n / float(covariance[place, place])
        if ratio > 1.0 and fdtrc(n - 1, dof, ratio) < 0.01:
            covariance[place, :] *= np.sqrt(ratio)
            covariance[:, place] *= np.sqrt(ratio)
            dof = min(dof, n - 1.0)
        if place == 0:
            between = float(np.sqrt(ratio))
    block = Block(tuple(names), values.mean(axis=0), covariance, dof)
    by_drag = {name: float(np.mean([each.by_drag[name] for each in launches])) for name in names}
    drag = float(np.mean([each.drag for each in launches]))
    return Settled(block, by_drag, drag, _pool_datum(launches), hops, seen, between)


def _pool_datum(launches: Sequence[Settled]) -> tuple[Input, Input]:
    """Average the release levels; what is not known about them is the same in all launches, so their number does not help."""
    level, offset = launches[0].datum
    pooled = []
    for place, first in ((0, level), (1, offset)):
        value = float(np.mean([each.datum[place].value for each in launches]))
        u = float(np.sqrt(np.mean([each.datum[place].u ** 2 for each in launches])))
        dof = min(each.datum[place].dof for each in launches)
        pooled.append(Input(first.name, value, "m", u, first.distribution, "inferred", dof, first.shape, first.note))
    return pooled[0], pooled[1]


def draw_up(
    settled: Settled,
    inputs: Sequence[Input],
    experiment: Experiment,
    *,
    method: Method = "auto",
    draws: int = 2**13,
    interval: Literal["symmetric", "shortest"] = "symmetric",
    seed: int = 1,
    coverage: float = 0.95,
) -> Ledger:
    """Work out every quantity with its uncertainty, coverage interval and budget.

    inputs: the bench's. method: "linear" for the GUM's interval alone; "monte-carlo" for that of JCGM 101 alone, "adaptive"
    with as many draws as its clause 7.9 asks for; "auto" for the linear one where Monte Carlo validates it, else Monte
    Carlo's (JCGM 101, clause 8).
    """
    model = experiment.model(
        hops=settled.hops, descent_seen=settled.descent_seen, drag=settled.drag, by_drag=settled.by_drag
    )
    all_inputs = (*inputs, *(() if settled.descent_seen else experiment.unseen), *settled.datum)
    propagation = propagate(model, all_inputs, (settled.block,), coverage=coverage)
    validated: dict[str, bool] = {}
    low, high = propagation.low, propagation.high
    chosen = np.zeros(len(propagation.outputs), dtype=bool)
    if method != "linear":
        rng, blocks = np.random.default_rng(seed), (settled.block,)
        if method == "adaptive":
            drawn = adaptive_monte_carlo(model, all_inputs, blocks, rng=rng, coverage=coverage, interval=interval)
        else:
            drawn = monte_carlo(model, all_inputs, blocks, rng=rng, draws=draws, coverage=coverage, interval=interval)
        validated = {name: check.validated for name, check in validate(propagation, drawn).items()}
        chosen = np.array([method in ("monte-carlo", "adaptive") or not validated[name] for name in propagation.outputs])
        low, high = np.where(chosen, drawn.low, low), np.where(chosen, drawn.high, high)
    found = {
        name: Quantity(
            float(propagation.values[row]), _unit(experiment, name), float(propagation.u[row]), float(propagation.dof[row]),
            float(low[row]), float(high[row]), coverage, "monte-carlo" if chosen[row] else "gum",
        )
        for row, name in enumerate(propagation.outputs)
    }  # fmt: skip
    return Ledger(_gather(found, experiment), _budgets(propagation.rows(), experiment), validated)


def _unit(experiment: Experiment, name: str) -> str:
    return experiment.units[name] if name in experiment.units else experiment.units[name.rsplit("_", 1)[0]]


def _gather(found: Mapping[str, Quantity], experiment: Experiment) -> dict[str, Quantity | tuple[Quantity, ...]]:
    """Put numbered quantities ("restitution_1" …) into one tuple under their common name."""
    result: dict[str, Quantity | tuple[Quantity, ...]] = {}
    for name in experiment.units:
        if name in found:
            result[name] = found[name]
        else:
            result[name] = tuple(found[f"{name}_{j}"] for j in range(1, len(found) + 1) if f"{name}_{j}" in found)
    return result


def _budgets(
    rows: Mapping[str, Sequence[tuple[str, float, float, float]]], experiment: Experiment
) -> dict[str, tuple[BudgetLine, ...]]:
    """Return the budgets without the lines that contribute nothing."""
    return {
        name: tuple([BudgetLine(*row) for row in lines if row[2] > 0.0]) for name, lines in rows.items() if name in experiment.units
    }
