"""The experiments that joulebook knows, by the name used in bench files."""

from joulebook.engine.experiment import Experiment
from joulebook.experiments.ramp_launch import RAMP_LAUNCH

__all__ = ["EXPERIMENTS", "get_experiment"]

EXPERIMENTS: dict[str, Experiment] = {RAMP_LAUNCH.name: RAMP_LAUNCH}


def get_experiment(name: str) -> Experiment:
    """Return the experiment of that name; KeyError when there is none."""
    return EXPERIMENTS[name]
