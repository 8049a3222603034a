"""The ensemble: all inputs of a model put in one row, with one covariance matrix, for propagation and for Monte Carlo."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from joulebook.errors import AnalysisError, Fault, InputError
from joulebook.uncertainty.distributions import DISTRIBUTIONS, half_width
from joulebook.uncertainty.quantity import Block, Input

__all__ = ["Correlations", "Ensemble", "Model", "assemble", "check_coverage", "check_finite", "evaluate", "place_of"]

Model = Callable[[Mapping[str, npt.NDArray[Any]]], Mapping[str, npt.NDArray[Any]]]
Correlations = Mapping[tuple[str, str], float]

_KNOWN = frozenset(DISTRIBUTIONS)
_SHAPED = frozenset({"trapezoidal", "curvilinear-trapezoidal"})
# Distributions that need no look at their shape or u.
_SIMPLE = _KNOWN - _SHAPED - {"constant"}


@dataclass(frozen=True, slots=True, eq=False)
class Ensemble:
    """Inputs first, then the parameters of the blocks; n of them all together, in c independent components.

    names: n names. values: estimates, shape (n,). u: standard uncertainties, shape (n,).
    covariance: shape (n, n), zero between different components.
    component: the component that each belongs to, shape (n,): a scalar input is one by itself, correlated inputs form
        one together, and so does a block.
    dof: degrees of freedom of each component, shape (c,); of correlated inputs the smallest.
    inputs, blocks: as they were given.
    groups: the inputs that are correlated with one another, as places in `inputs`.
    """

    names: tuple[str, ...]
    values: npt.NDArray[np.float64]
    u: npt.NDArray[np.float64]
    covariance: npt.NDArray[np.float64]
    component: npt.NDArray[np.intp]
    dof: npt.NDArray[np.float64]
    inputs: tuple[Input, ...]
    blocks: tuple[Block, ...]
    groups: tuple[tuple[int, ...], ...] = ()


def assemble(inputs: Sequence[Input], blocks: Sequence[Block], correlations: Correlations | None = None) -> Ensemble:
    """Put inputs and blocks in one row and check that they make sense.

    correlations: correlation coefficients of pairs of inputs by name, each pair once in either order.
    Raises InputError with one fault for each thing wrong.
    """
    inputs, blocks = tuple(inputs), tuple(blocks)
    scalars = len(inputs)
    names = tuple([item.name for item in inputs] + [name for block in blocks for name in block.names])
    values = np.empty(len(names))
    u = np.empty(len(names))
    covariance = np.zeros((len(names), len(names)))
    component = np.arange(len(names))
    dof = np.array([item.dof for item in inputs] + [block.dof for block in blocks])
    values[:scalars] = [item.value for item in inputs]
    u[:scalars] = [item.u for item in inputs]
    start = scalars
    for number, block in enumerate(blocks, start=scalars):
        end = start + len(block.names)
        if block.values.shape != (end - start,) or block.covariance.shape != (end - start, end - start):
            raise _refused([_shape_fault(block)])
        values[start:end] = block.values
        covariance[start:end, start:end] = block.covariance
        component[start:end] = number
        start = end
    diagonal = covariance.reshape(-1)[:: len(names) + 1]
    diagonal[:scalars] = u[:scalars] * u[:scalars]
    if blocks:
        np.sqrt(np.abs(diagonal[scalars:]), out=u[scalars:])
    finite = math.isfinite(float(values.sum() + covariance.sum()))
    sound = not names or (finite and min(u.min(), diagonal.min()) >= 0.0 and dof.min() > 0.0 and len(set(names)) == len(names))
    plain = _SIMPLE.issuperset([item.distribution for item in inputs if item.u]) and _KNOWN.issuperset(
        [item.distribution for item in inputs]
    )
    odd = not plain and any(_odd(item) for item in inputs)
    if not sound or odd or (blocks and _lopsided(covariance, u)):
        raise _refused(_faults(names, inputs, blocks))
    groups: tuple[tuple[int, ...], ...] = ()
    if correlations:
        groups = _correlate(correlations, inputs, covariance)
        for group in groups:
            component[list(group)] = group[0]
            dof[group[0]] = dof[list(group)].min()
    return Ensemble(names, values, u, covariance, component, dof, inputs, blocks, groups)


def evaluate(
    model: Model, arguments: Mapping[str, npt.NDArray[Any]], width: int, kind: type
) -> tuple[tuple[str, ...], npt.NDArray[Any]]:
    """Call the model once and stack its outputs, shape (m, width), of dtype `kind`.

    Raises AnalysisError for a model without outputs or with an output of another shape.
    """
    with np.errstate(all="ignore"):
        result = model(arguments)
    names = tuple(result)
    if not names:
        raise AnalysisError("the model returned no output.", remedy="It must return a mapping from names to arrays.")
    stacked: npt.NDArray[Any] = np.empty((len(names), width), dtype=kind)
    for row, name in enumerate(names):
        try:
            stacked[row] = result[name]
        except (ValueError, TypeError) as error:
            raise AnalysisError(
                f"the output {name!r} of the model has shape {np.shape(result[name])} and type "
                f"{np.asarray(result[name]).dtype}, where ({width},) numbers were expected.",
                remedy="A model computes element by element, with NumPy functions that know complex numbers.",
            ) from error
    return names, stacked


def place_of(output: str, outputs: Sequence[str]) -> int:
    """Return the place of an output among a model's. Raises InputError when there is no such output."""
    if output not in outputs:
        raise InputError(f"the model has no output {output!r}.", remedy=f"It has {', '.join(outputs)}.")
    return outputs.index(output)


def check_coverage(coverage: float) -> None:
    """Raise InputError unless the coverage probability lies between 0 and 1."""
    if not 0.0 < coverage < 1.0:
        raise InputError(f"the coverage probability is {coverage:g}.", remedy="Give a number between 0 and 1, such as 0.95.")


def check_finite(names: Sequence[str], stacked: npt.NDArray[Any], what: str) -> None:
    """Raise AnalysisError that names the outputs, shape (m, width), in which a number is not finite.

    what: what the columns are, for the message ("draws").
    """
    finite = np.isfinite(stacked)
    if finite.all():
        return
    bad = [
        f"{name} ({stacked.shape[1] - int(row.sum())} of {stacked.shape[1]} {what})"
        for name, row in zip(names, finite, strict=True)
        if not row.all()
    ]
    raise AnalysisError(
        f"the model gives no finite number for {', '.join(bad)}.",
        remedy="An input, or its uncertainty, reaches where the model divides by zero or takes a root or logarithm of nothing.",
        code="not-finite",
    )


def _odd(item: Input) -> bool:
    """Whether distribution, shape and u do not go together."""
    return (
        item.distribution not in _KNOWN
        or (item.distribution in _SHAPED and not 0.0 <= item.shape <= 1.0)
        or (item.distribution == "constant" and item.u != 0.0)
    )


def _lopsided(covariance: npt.NDArray[np.float64], u: npt.NDArray[np.float64]) -> bool:
    """Whether a covariance matrix differs from its mirror image by more than rounding."""
    mirrored = covariance.T
    if (covariance == mirrored).all():
        return False
    return bool((np.abs(covariance - mirrored) > 1e-9 * u * u[:, None]).any())


def _refused(faults: list[Fault]) -> InputError:
    return InputError(
        "the inputs of the uncertainty calculation do not make sense.",
        remedy="Correct what is listed and try again.",
        faults=faults,
    )


def _shape_fault(block: Block) -> Fault:
    return Fault(
        block.label,
        f"{len(block.names)} names, values of shape {block.values.shape} and covariance of shape {block.covariance.shape}.",
        "p names go with p values and a p by p covariance.",
    )


def _faults(names: tuple[str, ...], inputs: tuple[Input, ...], blocks: tuple[Block, ...]) -> list[Fault]:
    """Look again, slowly, and say everything that is wrong."""
    twice = sorted({name for name in names if names.count(name) > 1})
    faults = [Fault(name, "the name stands for two inputs.", "Give each its own name.") for name in twice]
    for item in inputs:
        if not math.isfinite(item.value):
            faults.append(Fault(item.name, f"the value is {item.value}.", "Give a finite number."))
        if not (math.isfinite(item.u) and item.u >= 0.0):
            faults.append(Fault(item.name, f"the standard uncertainty is {item.u}.", "Give zero or a positive number."))
        if not item.dof > 0.0:
            faults.append(Fault(item.name, f"the degrees of freedom are {item.dof}.", "Give a positive number or infinity."))
        if item.distribution == "constant" and item.u != 0.0:
            faults.append(Fault(item.name, f"it is called constant, with u = {item.u:g}.", "Set u to 0 or name a distribution."))
        try:
            half_width(item)
        except InputError as error:
            faults.append(Fault(item.name, error.message, error.remedy))
    for block in blocks:
        matrix = np.asarray(block.covariance)
        if not (np.isfinite(matrix).all() and np.isfinite(block.values).all()):
            faults.append(Fault(block.label, "values or covariance are not finite.", "Leave out what could not be fitted."))
        elif np.any(matrix.diagonal() < 0.0):
            lowest = matrix.diagonal().min()
            faults.append(Fault(block.label, f"a variance is negative ({lowest:g}).", "This is no covariance matrix."))
        elif _lopsided(matrix, np.sqrt(matrix.diagonal())):
            faults.append(Fault(block.label, "the covariance matrix is not symmetric.", "Entry (i, j) must equal entry (j, i)."))
        if not block.dof > 0.0:
            faults.append(Fault(block.label, f"the degrees of freedom are {block.dof}.", "Give a positive number or infinity."))
    return faults


def _correlate(
    correlations: Correlations, inputs: tuple[Input, ...], covariance: npt.NDArray[np.float64]
) -> tuple[tuple[int, ...], ...]:
    """Write the covariances into the matrix and return the connected groups of inputs."""
    places = {item.name: place for place, item in enumerate(inputs)}
    leader = list(range(len(inputs)))
    faults = []
    for pair, coefficient in correlations.items():
        where = " and ".join(pair)
        unknown = [name for name in pair if name not in places]
        if unknown or len(set(pair)) != 2:
            missing = f"Not known: {', '.join(unknown)}." if unknown else "An input is fully correlated with itself."
            faults.append(Fault(where, "a correlation needs the names of two different inputs.", missing))
            continue
        if not -1.0 <= coefficient <= 1.0:
            faults.append(Fault(where, f"the correlation coefficient is {coefficient:g}.", "It must lie between -1 and 1."))
            continue
        i, j = places[pair[0]], places[pair[1]]
        if inputs[i].u == 0.0 or inputs[j].u == 0.0 or coefficient == 0.0:
            continue
        covariance[i, j] = covariance[j, i] = coefficient * inputs[i].u * inputs[j].u
        old, new = max(leader[i], leader[j]), min(leader[i], leader[j])
        leader = [new if each == old else each for each in leader]
    if faults:
        raise _refused(faults)
    members = {first: tuple(place for place, each in enumerate(leader) if each == first) for first in leader}
    return tuple(group for group in members.values() if len(group) > 1)
