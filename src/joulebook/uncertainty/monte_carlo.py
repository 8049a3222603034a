"""Propagation of distributions by Monte Carlo (JCGM 101, clause 7), for all outputs of a model at once."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from scipy import special

from joulebook.errors import InputError
from joulebook.uncertainty.distributions import chi_factor, quantile
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
from joulebook.uncertainty.sobol import sobol_pieces

__all__ = [
    "Interval",
    "Joint",
    "MonteCarlo",
    "Sampler",
    "check_options",
    "draw_outputs",
    "ends",
    "moments",
    "monte_carlo",
    "plan",
]

_Floats = npt.NDArray[np.float64]
Interval = Literal["symmetric", "shortest"]
Sampler = Literal["sobol", "plain"]

_PIECE = 2**13


@dataclass(frozen=True, slots=True, eq=False)
class MonteCarlo:
    """What the draws say of a model's m outputs.

    outputs: m names, in the model's order. mean: averages of the draws, shape (m,); they include the model's curvature and
        can differ from the model's value at the estimates. u: standard deviations of the draws, shape (m,).
    low, high: ends of the coverage intervals, shape (m,). coverage: their probability.
    draws: how many, all together. interval: "symmetric" in probability or "shortest". sampler: "sobol" or "plain".
    standard_errors: standard deviations of mean, u, low and high as numerical results, shape (4, m); None when the draws
        were made in one go, which cannot tell. tolerance: the numerical tolerance asked for, shape (m,), or None.
    converged: whether the tolerance was reached; None when none was asked for.
    samples: the draws of the outputs, shape (m, draws), in the order drawn; None unless they were to be kept.
    """

    outputs: tuple[str, ...]
    mean: _Floats
    u: _Floats
    low: _Floats
    high: _Floats
    coverage: float
    draws: int
    interval: Interval
    sampler: Sampler
    standard_errors: _Floats | None = None
    tolerance: _Floats | None = None
    converged: bool | None = None
    samples: _Floats | None = None

    def index(self, output: str) -> int:
        """Return the row of an output. Raises InputError when the model has no such output."""
        return place_of(output, self.outputs)

    def quantity(self, output: str, unit: str, *, dof: float = math.inf) -> Quantity:
        """Return one output as a Quantity whose value is the mean. Raises InputError as `index` does."""
        row = self.index(output)
        value, u, low, high = (float(each[row]) for each in (self.mean, self.u, self.low, self.high))
        return Quantity(value, unit, u, dof, low, high, self.coverage, "monte-carlo")


def monte_carlo(
    model: Model,
    inputs: Sequence[Input],
    blocks: Sequence[Block] = (),
    *,
    rng: np.random.Generator,
    draws: int = 2**14,
    coverage: float = 0.95,
    interval: Interval = "symmetric",
    sampler: Sampler = "sobol",
    correlations: Correlations | None = None,
    keep_samples: bool = False,
) -> MonteCarlo:
    """Return mean, standard deviation and coverage interval of each output, from draws of the inputs.

    model: as in `propagate`; each uncertain input reaches it as a real array, a constant as a 0-d array, in several calls when
        there are many draws.
    inputs: drawn from their distributions. blocks: drawn from a multivariate normal (JCGM 101, 6.4.8) or, with finite dof, a
        multivariate t-distribution (JCGM 102, 5.3.2), whose standard deviations are √(ν/(ν−2)) times those of the block.
    draws: a power of two serves the Sobol points best; memory is 8 bytes for each draw of each output.
    interval: "symmetric" leaves (1 − p)/2 on either side (JCGM 101, 7.7.2, with the ends interpolated between neighbouring
        draws so that they carry no bias of half a rank); "shortest" is the narrowest that holds p of the draws.
    sampler: "sobol", scrambled Sobol points, or "plain", independent draws. Both are unbiased; Sobol's ends scatter less.
    correlations: of inputs that are normal, or t with the same dof: JCGM 101 knows no other joint distribution.
    Raises InputError for inputs or options that do not make sense, AnalysisError when an output is not finite.
    """
    check_options(draws, coverage, interval, sampler)
    ensemble = assemble(inputs, blocks, correlations)
    outputs, samples = draw_outputs(model, ensemble, plan(ensemble), rng, draws, sampler)
    mean, u = moments(samples)
    ordered = np.sort(samples, axis=1) if keep_samples else samples
    if not keep_samples:
        ordered.sort(axis=1)
    low, high = ends(ordered, coverage, interval)
    return MonteCarlo(
        outputs, mean, u, low, high, coverage, draws, interval, sampler, samples=samples if keep_samples else None
    )


@dataclass(frozen=True, slots=True, eq=False)
class Joint:
    """Several inputs drawn together: places in the ensemble, a factor F with F·Fᵀ = covariance, shape (p, r), and dof."""

    places: tuple[int, ...]
    factor: _Floats
    dof: float


def plan(ensemble: Ensemble) -> tuple[Joint, ...]:
    """Factor the covariances of blocks and correlated inputs.

    Raises InputError for a matrix with a negative eigenvalue and for correlated inputs that are neither normal nor t.
    """
    joints = []
    for group in ensemble.groups:
        members = [ensemble.inputs[place] for place in group]
        kinds = {(item.distribution, item.dof if item.distribution == "t" else math.inf) for item in members}
        if len(kinds) > 1 or kinds.pop()[0] not in ("normal", "t"):
            names = ", ".join(f"{item.name} ({item.distribution}, dof {item.dof:g})" for item in members)
            raise InputError(
                f"Monte Carlo cannot draw these correlated inputs together: {names}.",
                remedy="Correlated inputs must all be normal, or all t with the same degrees of freedom.",
            )
        dof = members[0].dof if members[0].distribution == "t" else math.inf
        label = " and ".join(item.name for item in members)
        joints.append(Joint(group, _factor(ensemble.covariance[np.ix_(group, group)], label), dof))
    start = len(ensemble.inputs)
    for block in ensemble.blocks:
        end = start + len(block.names)
        factor = _factor(ensemble.covariance[start:end, start:end], block.label)
        joints.append(Joint(tuple(range(start, end)), factor, block.dof))
        start = end
    return tuple(joints)


def draw_outputs(
    model: Model, ensemble: Ensemble, joints: Sequence[Joint], rng: np.random.Generator, draws: int, sampler: Sampler
) -> tuple[tuple[str, ...], _Floats]:
    """Draw the inputs and return the model's output names and their draws, shape (m, draws).

    Raises AnalysisError when an output is not finite.
    """
    together = {place for joint in joints for place in joint.places}
    single = [place for place, item in enumerate(ensemble.inputs) if item.u > 0.0 and place not in together]
    needed = len(single) + sum(joint.factor.shape[1] + math.isfinite(joint.dof) for joint in joints)
    outputs: tuple[str, ...] = ()
    samples, start = np.empty((0, draws)), 0
    for uniform in _uniform(needed, draws, rng, sampler):
        width = uniform.shape[1]
        outputs, piece = evaluate(model, _arguments(ensemble, joints, single, uniform), width, np.float64)
        if start == 0:
            samples = piece if width == draws else np.empty((len(outputs), draws))
        samples[:, start : start + width] = piece
        start += width
    check_finite(outputs, samples, "draws")
    return outputs, samples


def _arguments(
    ensemble: Ensemble, joints: Sequence[Joint], single: Sequence[int], uniform: _Floats
) -> dict[str, npt.NDArray[Any]]:
    """Turn uniform numbers, shape (dimensions, width), into draws of the inputs, each of shape (width,)."""
    arguments: dict[str, npt.NDArray[Any]] = {name: ensemble.values[place, ...] for place, name in enumerate(ensemble.names)}
    column = 0
    for joint in joints:
        rank = joint.factor.shape[1]
        scores = special.ndtri(uniform[column : column + rank])
        column += rank
        if math.isfinite(joint.dof):
            scores *= chi_factor(uniform[column], joint.dof)
            column += 1
        drawn = joint.factor @ scores
        for place, row in zip(joint.places, drawn, strict=True):
            if ensemble.u[place] > 0.0:
                arguments[ensemble.names[place]] = row + ensemble.values[place]
    for place in single:
        arguments[ensemble.names[place]] = quantile(ensemble.inputs[place], uniform[column])
        column += 1
    return arguments


def moments(samples: _Floats) -> tuple[_Floats, _Floats]:
    """Return means and standard deviations of draws, shape (m, draws) (JCGM 101, 7.6)."""
    mean = samples.mean(axis=1)
    deviations = samples - mean[:, None]
    u = np.sqrt(np.einsum("ij,ij->i", deviations, deviations) / (samples.shape[1] - 1))
    # A constant output keeps no uncertainty from the rounding of its mean.
    u[samples.max(axis=1) == samples.min(axis=1)] = 0.0
    return mean, u


def ends(ordered: _Floats, coverage: float, interval: Interval) -> tuple[_Floats, _Floats]:
    """Return the ends of the coverage intervals from draws in ascending order, shape (m, draws) (JCGM 101, 7.7)."""
    count = ordered.shape[1]
    if interval == "symmetric":
        place = 0.5 * (1.0 - coverage) * count - 0.5
        below = int(place)
        share = place - below
        low = ordered[:, below] + share * (ordered[:, below + 1] - ordered[:, below])
        high = ordered[:, -1 - below] + share * (ordered[:, -2 - below] - ordered[:, -1 - below])
        return low, high
    span = min(int(coverage * count + 0.5), count - 1)
    start = np.argmin(ordered[:, span:] - ordered[:, : count - span], axis=1)
    row = np.arange(ordered.shape[0])
    return ordered[row, start], ordered[row, start + span]


def check_options(draws: int, coverage: float, interval: str, sampler: str) -> None:
    """Raise InputError for options that do not make sense."""
    check_coverage(coverage)
    least = math.ceil(4.0 / (1.0 - coverage))
    if not least <= draws <= 2**26:
        raise InputError(
            f"{draws} draws cannot give an interval of probability {coverage:g}.",
            remedy=f"Take at least {least} and at most {2**26}; JCGM 101 asks for 10 000/(1 − p) or an adaptive number.",
        )
    if interval not in ("symmetric", "shortest"):
        raise InputError(f"the interval {interval!r} is not known.", remedy="Choose symmetric or shortest.")
    if sampler not in ("sobol", "plain"):
        raise InputError(f"the sampler {sampler!r} is not known.", remedy="Choose sobol or plain.")


def _uniform(dimensions: int, draws: int, rng: np.random.Generator, sampler: Sampler) -> Iterator[_Floats]:
    """Yield uniform numbers in pieces of shape (dimensions, at most 2¹³), which stay in the cache through the whole model."""
    if sampler == "sobol" and dimensions > 0:
        yield from sobol_pieces(dimensions, draws, rng, piece=_PIECE)
        return
    for start in range(0, draws, _PIECE):
        # random() can return 0, whose quantile is infinite.
        yield np.maximum(rng.random((dimensions, min(_PIECE, draws - start))), 2.0**-54)


def _factor(covariance: _Floats, label: str) -> _Floats:
    """Return F with F·Fᵀ = covariance by the eigenvectors of the correlation matrix, largest first.

    Unlike Cholesky's factor it exists when parameters are tied to each other (a semi-definite matrix), and it gives most of the
    variance to the first Sobol coordinates.
    """
    u = np.sqrt(covariance.diagonal())
    scale = np.where(u > 0.0, u, 1.0)
    eigenvalues, vectors = np.linalg.eigh(covariance / np.outer(scale, scale))
    if eigenvalues.size and eigenvalues[0] < -1e-8 * max(eigenvalues[-1], 1.0):
        raise InputError(
            f"the covariance of {label} has a negative eigenvalue ({eigenvalues[0]:.3g} as correlations).",
            remedy="No joint distribution has such a covariance: look at the correlation coefficients.",
            code="covariance",
        )
    kept = eigenvalues > 1e-14 * max(eigenvalues.max(initial=0.0), 1.0)
    factor: _Floats = (scale[:, None] * vectors[:, kept] * np.sqrt(eigenvalues[kept]))[:, ::-1]
    return factor
