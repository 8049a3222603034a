"""The adaptive Monte Carlo procedure (JCGM 101, 7.9): draws until the results are stable."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from joulebook.errors import InputError
from joulebook.uncertainty.ensemble import Correlations, Model, assemble
from joulebook.uncertainty.monte_carlo import Interval, MonteCarlo, Sampler, check_options, draw_outputs, ends, moments, plan
from joulebook.uncertainty.quantity import Block, Input
from joulebook.uncertainty.validation import numerical_tolerance

__all__ = ["adaptive_monte_carlo"]

# JCGM 101 stops at two blocks at the earliest, whose spread is too poor an estimate to stop by.
_FEWEST_BLOCKS = 4


def adaptive_monte_carlo(
    model: Model,
    inputs: Sequence[Input],
    blocks: Sequence[Block] = (),
    *,
    rng: np.random.Generator,
    digits: int = 2,
    coverage: float = 0.95,
    interval: Interval = "symmetric",
    sampler: Sampler = "sobol",
    correlations: Correlations | None = None,
    fraction: float = 1.0,
    block_draws: int | None = None,
    most_draws: int = 2**21,
) -> MonteCarlo:
    """Return Monte Carlo results of all outputs, stable to their numerical tolerances.

    Blocks of draws are made, each with its own scrambling, until twice the standard deviation of the average over the blocks is
    within the tolerance for mean, u, low and high of every output; four blocks at least.
    digits: significant digits of u that must be right: the tolerance is half a unit of the last.
    fraction: the part of that tolerance to reach; 0.2 for use in `validate` (clause 8.2).
    block_draws: draws in a block; by default a power of two from max(10 000, 100/(1 − p)) up, or that number itself for "plain".
    most_draws: where to give up; the result then says converged = False, with what was reached in `standard_errors`.
    Other arguments, and what is raised, as in `monte_carlo`; besides, InputError for a tolerance that cannot be.

    The ends are averages over the blocks, which need no memory of all draws; the standard sorts all draws together.
    """
    if not (digits >= 1 and fraction > 0.0):
        raise InputError(f"{digits} digits and a fraction of {fraction:g} are no tolerance.", remedy="Both must be positive.")
    if block_draws is None:
        block_draws = max(10_000, math.ceil(100.0 / (1.0 - coverage))) if 0.0 < coverage < 1.0 else 10_000
        if sampler == "sobol":
            block_draws = 1 << (block_draws - 1).bit_length()
    check_options(block_draws, coverage, interval, sampler)
    ensemble = assemble(inputs, blocks, correlations)
    joints = plan(ensemble)
    results: list[tuple[np.ndarray, ...]] = []
    converged = False
    while True:
        outputs, samples = draw_outputs(model, ensemble, joints, rng, block_draws, sampler)
        mean, u = moments(samples)
        samples.sort(axis=1)
        results.append((mean, u, *ends(samples, coverage, interval)))
        count = len(results)
        if count < _FEWEST_BLOCKS:
            continue
        table = np.array(results)
        # Means of the blocks scatter too: their variance belongs to that of all draws together.
        scatter = table[:, 0].var(axis=0)
        u = np.sqrt((table[:, 1] ** 2).mean(axis=0) + scatter)
        errors = table.std(axis=0, ddof=1) / math.sqrt(count)
        tolerance = np.array([fraction * numerical_tolerance(float(each), digits=digits) for each in u])
        # An output without uncertainty is known to the rounding of its own size.
        converged = bool((2.0 * errors <= tolerance + 1e-14 * np.abs(table[:, 0]).max(axis=0)).all())
        if converged or (count + 1) * block_draws > most_draws:
            break
    average = table.mean(axis=0)
    return MonteCarlo(
        outputs, average[0], u, average[2], average[3], coverage, count * block_draws, interval, sampler,
        standard_errors=errors, tolerance=tolerance, converged=converged,
    )
