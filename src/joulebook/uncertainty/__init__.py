"""Measurement uncertainty after the GUM (JCGM 100) and its Supplement 1 (JCGM 101).

quantity holds the nouns. propagate carries uncertainties through a model linearly, monte_carlo by draws (adaptive: until they
are stable), validation compares the two, type_a evaluates repeated readings, distributions knows the shapes of inputs and
rounding writes results.
"""

from joulebook.uncertainty.adaptive import adaptive_monte_carlo
from joulebook.uncertainty.distributions import DISTRIBUTIONS, half_width, quantile, standard_deviation, standard_uncertainty
from joulebook.uncertainty.ensemble import Correlations, Model
from joulebook.uncertainty.monte_carlo import MonteCarlo, monte_carlo
from joulebook.uncertainty.propagate import Influence, Propagation, propagate
from joulebook.uncertainty.quantity import Block, Input, Quantity
from joulebook.uncertainty.rounding import round_together, write
from joulebook.uncertainty.second_order import second_order_variance
from joulebook.uncertainty.type_a import (
    BetweenWithin,
    Readings,
    WeightedMean,
    between_within,
    mean_of_readings,
    pooled_standard_deviation,
    simultaneous_readings,
    weighted_mean,
)
from joulebook.uncertainty.validation import Validation, numerical_tolerance, validate

__all__ = [
    "DISTRIBUTIONS",
    "BetweenWithin",
    "Block",
    "Correlations",
    "Influence",
    "Input",
    "Model",
    "MonteCarlo",
    "Propagation",
    "Quantity",
    "Readings",
    "Validation",
    "WeightedMean",
    "adaptive_monte_carlo",
    "between_within",
    "half_width",
    "mean_of_readings",
    "monte_carlo",
    "numerical_tolerance",
    "pooled_standard_deviation",
    "propagate",
    "quantile",
    "round_together",
    "second_order_variance",
    "simultaneous_readings",
    "standard_deviation",
    "standard_uncertainty",
    "validate",
    "weighted_mean",
    "write",
]
