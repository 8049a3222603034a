"""Linear propagation of uncertainty (JCGM 100, clause 5), for all outputs of a model and all its inputs at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import special

from joulebook.errors import AnalysisError, InputError
from joulebook.uncertainty.ensemble import (
    Correlations,
    Ensemble,
    Model,
    assemble,
    check_coverage,
    check_finite,
    evaluate,
    place_of,
)
from joulebook.uncertainty.quantity import Block, Input, Quantity

__all__ = ["Influence", "Propagation", "coverage_factors", "differentiate", "propagate"]

_Floats = npt.NDArray[np.float64]

_STEP = 1e-30


@dataclass(frozen=True, slots=True)
class Influence:
    """One line of an uncertainty budget.

    input: the input's name, or the label of a block. sensitivity: ∂y/∂x in units of output over input; 0 for a block.
    contribution: |∂y/∂x|·u(x), or the block's standard uncertainty in y, in the output's unit.
    share: its part of the combined variance. The shares of a budget add up to 1; each lies in [0, 1] unless inputs are
        correlated by `correlations`, when half of a covariance goes to either and a share can be negative.
    """

    input: str
    sensitivity: float
    contribution: float
    share: float


@dataclass(frozen=True, slots=True, eq=False)
class Propagation:
    """The outputs of a model with their uncertainties, n inputs (block parameters among them) and m outputs.

    inputs: n names, those of the blocks last. outputs: m names, in the model's order.
    values: shape (m,). sensitivities: ∂y/∂x, shape (m, n). covariance: between the outputs, shape (m, m).
    u: combined standard uncertainties, shape (m,). dof: effective degrees of freedom, shape (m,), infinite where all are.
    k: coverage factors, shape (m,). low, high: ends of the coverage intervals y ± k·u, shape (m,).
    coverage: the probability of those intervals.
    input_u: standard uncertainties of the inputs, shape (n,).
    lines: names of the budget's lines, l of them: inputs with an uncertainty, then blocks by their labels.
    line_places: for each line the input's place in `inputs`, or -1 for a block.
    line_shares: the share of each line in the variance of each output, shape (m, l).
    """

    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    values: _Floats
    sensitivities: _Floats
    covariance: _Floats
    u: _Floats
    dof: _Floats
    k: _Floats
    low: _Floats
    high: _Floats
    coverage: float
    input_u: _Floats
    lines: tuple[str, ...]
    line_places: tuple[int, ...]
    line_shares: _Floats

    def index(self, output: str) -> int:
        """Return the row of an output. Raises InputError when the model has no such output."""
        return place_of(output, self.outputs)

    def budget(self, output: str) -> tuple[Influence, ...]:
        """Return the influences on one output, the largest share first. Raises InputError as `index` does."""
        row = self.index(output)
        return self._budgets(slice(row, row + 1))[0]

    def budgets(self) -> dict[str, tuple[Influence, ...]]:
        """Return the budgets of all outputs."""
        return dict(zip(self.outputs, self._budgets(slice(None)), strict=True))

    def rows(self) -> dict[str, list[tuple[str, float, float, float]]]:
        """Return the budgets of all outputs as plain rows: input, sensitivity, contribution and share, as in Influence."""
        return dict(zip(self.outputs, self._rows(slice(None)), strict=True))

    def quantity(self, output: str, unit: str) -> Quantity:
        """Return one output as a Quantity. Raises InputError as `index` does."""
        row = self.index(output)
        value, u, dof, low, high = (float(each[row]) for each in (self.values, self.u, self.dof, self.low, self.high))
        return Quantity(value, unit, u, dof, low, high, self.coverage, "gum")

    def correlation(self) -> _Floats:
        """Return the correlation coefficients between outputs, shape (m, m); NaN where an output has no uncertainty."""
        scale = np.where(self.u > 0.0, self.u, np.nan)
        coefficients: _Floats = self.covariance / np.outer(scale, scale)
        return coefficients

    def _budgets(self, rows: slice) -> list[tuple[Influence, ...]]:
        return [tuple([Influence(*line) for line in lines]) for lines in self._rows(rows)]

    def _rows(self, rows: slice) -> list[list[tuple[str, float, float, float]]]:
        places = np.array(self.line_places, dtype=np.intp)
        scalar = places >= 0
        shares = self.line_shares[rows]
        slopes = np.where(scalar, self.sensitivities[rows][:, places], 0.0)
        parts = np.where(scalar, np.abs(slopes) * self.input_u[places], np.sqrt(np.maximum(shares, 0.0)) * self.u[rows, None])
        columns = (slopes.tolist(), parts.tolist(), shares.tolist())
        return [sorted(zip(self.lines, *row, strict=True), key=_falling_share) for row in zip(*columns, strict=True)]


def propagate(
    model: Model,
    inputs: Sequence[Input],
    blocks: Sequence[Block] = (),
    *,
    coverage: float = 0.95,
    correlations: Correlations | None = None,
    truncate_dof: bool = False,
) -> Propagation:
    """Return a model's outputs with combined standard uncertainties, coverage intervals and budgets.

    model: takes a mapping from input names to arrays that broadcast together, each in its Input's unit, and returns a mapping
        from output names to arrays. It works element by element and is differentiated by complex step (W. Squire and
        G. Trapp, SIAM Rev. 40 (1998) 110), exact to rounding, in one call: so it uses NumPy functions that continue
        analytically to complex numbers, and no abs, max, hypot, arctan2 or comparison.
    inputs: estimates with u; those with u = 0 reach the model as 0-d arrays. blocks: inputs estimated together.
    correlations: coefficients of pairs of inputs by name (GUM 5.2.2).
    truncate_dof: cut ν down to the next integer before looking up t, as the GUM does in G.4.1 (note 1).

    y ± t_p(ν)·u follows GUM 5.1.2, 5.2.2, G.4.1 (Welch–Satterthwaite) and G.6.4. A block, and likewise a group of correlated
    inputs, is one component of the variance with its own degrees of freedom; of a group's the smallest is taken, for which
    the GUM has no rule.
    Raises InputError for inputs that do not make sense, AnalysisError when an output is not finite or not real.
    """
    check_coverage(coverage)
    ensemble = assemble(inputs, blocks, correlations)
    outputs, values, sensitivities = differentiate(model, ensemble.names, ensemble.values, ensemble.u > 0.0)
    weighted = sensitivities @ ensemble.covariance
    covariance = weighted @ sensitivities.T
    # Part of each variance that each input brings, covariances inside its component halved.
    parts = sensitivities * weighted
    variance = parts.sum(axis=1)
    if not (variance > 0.0).all():
        if (variance < -1e-9 * ((sensitivities * ensemble.u) ** 2).sum(axis=1)).any():
            raise _not_a_covariance(outputs[int(np.argmin(variance))])
        variance = np.maximum(variance, 0.0)
    u = np.sqrt(variance)
    shares = parts / np.where(variance > 0.0, variance, 1.0)[:, None]
    lines, places, parts = _lines(ensemble, shares)
    dof = _effective_dof(shares, parts, ensemble)
    k = coverage_factors(dof, coverage, truncate_dof)
    half = k * u
    return Propagation(
        ensemble.names, outputs, values, sensitivities, covariance, u, dof, k, values - half, values + half, coverage,
        ensemble.u, lines, places, parts,
    )


def differentiate(
    model: Model, names: Sequence[str], values: _Floats, active: npt.NDArray[np.bool_]
) -> tuple[tuple[str, ...], _Floats, _Floats]:
    """Return a model's output names, values (m,) and derivatives (m, n), by complex step in one call.

    active: shape (n,), the inputs to differentiate by; the other derivatives are left 0.
    Raises AnalysisError when an output is not finite or not real.
    """
    (which,) = active.nonzero()
    rows = which.size + 1
    stepped = np.empty((values.size, rows), dtype=np.complex128)
    stepped[:] = values[:, None]
    stepped.imag[which, np.arange(rows - 1)] = _STEP
    moves = active.tolist()
    # A constant is handed over as a real 0-d array, so that its part of the work is done once.
    arguments: dict[str, npt.NDArray[Any]] = {
        name: stepped[row] if moves[row] else values[row, ...] for row, name in enumerate(names)
    }
    outputs, result = evaluate(model, arguments, rows, np.complex128)
    check_finite(outputs, result, "points")
    # The last point was not stepped: an imaginary part there means a root or logarithm of a negative number.
    unreal = result.imag[:, -1] != 0.0
    if unreal.any():
        raise AnalysisError(
            f"the model leaves the real numbers for {', '.join(name for name, bad in zip(outputs, unreal, strict=True) if bad)}.",
            remedy="An input reaches where the model takes a root, a logarithm or an arc sine outside its range.",
            code="not-real",
        )
    sensitivities = np.zeros((len(outputs), values.size))
    sensitivities[:, which] = result.imag[:, :-1] / _STEP
    return outputs, result.real[:, -1].copy(), sensitivities


def coverage_factors(dof: _Floats, coverage: float, truncate: bool = False) -> _Floats:
    """Return t_p(ν) of the t-distribution for each ν, shape (m,); that of the normal one for infinite ν (GUM G.3)."""
    probability = 0.5 * (1.0 + coverage)
    factors = np.full(dof.shape, special.ndtri(probability))
    finite = dof < math.inf
    if finite.any():
        nu = dof[finite]
        if truncate:
            # What is 16 but for rounding stays 16; below 1 there is no integer to go to.
            nu = np.maximum(np.floor(nu * (1.0 + 1e-12)), 1.0)
        factors[finite] = special.stdtrit(nu, probability)
    return factors


def _effective_dof(shares: _Floats, parts: _Floats, ensemble: Ensemble) -> _Floats:
    """Welch–Satterthwaite, 1/ν = Σ (share of component)²/ν_component."""
    if ensemble.groups:
        membership = ensemble.component[:, None] == np.arange(ensemble.dof.size)
        inverse = (shares @ membership) ** 2 @ (1.0 / ensemble.dof)
    else:
        # Each line of the budget is a component, and an input without a line has no share.
        kept = (ensemble.u[: len(ensemble.inputs)] > 0.0).tolist() + [True] * len(ensemble.blocks)
        inverse = parts * parts @ (1.0 / ensemble.dof[kept])
    with np.errstate(divide="ignore"):
        dof: _Floats = 1.0 / inverse
    return dof


def _lines(ensemble: Ensemble, shares: _Floats) -> tuple[tuple[str, ...], tuple[int, ...], _Floats]:
    """Names, places and shares of the budget's lines: inputs with an uncertainty one by one, each block as a whole."""
    scalars = len(ensemble.inputs)
    places = ensemble.u[:scalars].nonzero()[0].tolist()
    starts, names, end = places.copy(), [ensemble.names[place] for place in places], scalars
    for block in ensemble.blocks:
        starts.append(end)
        names.append(block.label)
        places.append(-1)
        end += len(block.names)
    if not names:
        return (), (), np.zeros((shares.shape[0], 0))
    # Columns from one start to the next; constants between them add nothing.
    parts = np.add.reduceat(shares, starts, axis=1)
    if not ensemble.groups:
        # A variance cannot be negative; rounding can.
        np.maximum(parts, 0.0, out=parts)
    return tuple(names), tuple(places), parts


def _falling_share(line: tuple[str, float, float, float]) -> float:
    return -line[3]


def _not_a_covariance(output: str) -> InputError:
    return InputError(
        f"the correlations of the inputs give {output!r} a negative variance.",
        remedy="A covariance matrix has no negative eigenvalue: look at the correlation coefficients.",
        code="covariance",
    )
