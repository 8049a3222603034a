"""An experiment, as the engine sees it: pure physics and the tables that go with it.

The engine knows no experiment. An experiment is one file that fills in this record; it opens no file, draws nothing, fits
nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import numpy.typing as npt

from joulebook.engine.bench import Bench, InputSpec, SettingSpec
from joulebook.uncertainty import Input

if TYPE_CHECKING:  # these rest on the fit, which takes an experiment's motion: only their names are needed here
    from joulebook.engine.datum import RestLevel
    from joulebook.engine.ledger import Ledger
    from joulebook.engine.report import Finding, Severity
    from joulebook.engine.run import Run

__all__ = ["ArcMotion", "Experiment", "FindingCode", "Model"]

FloatArray = npt.NDArray[np.float64]
Values = Mapping[str, npt.NDArray[Any]]
Model = Callable[[Values], dict[str, npt.NDArray[Any]]]


class ArcMotion(Protocol):
    """The closed form of one arc of free motion, seen from its apex."""

    def __call__(
        self, tau: FloatArray, climb: FloatArray | float, descent: FloatArray | float, drag: float
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return position below the apex and its derivatives.

        tau: s from the apex, negative on the way up, shape (n,). climb, descent: m/s², magnitudes of the acceleration at
        vanishing speed on the way up and down. drag: 1/m.
        Returns four arrays of shape (n,): position (≤ 0, m); its derivative by that side's acceleration; by tau; by drag.
        """


@dataclass(frozen=True, slots=True)
class FindingCode:
    """What a finding code means, for the documentation and the command line.

    severities: all that it is given with, the gravest first ("stop", "look", "note"). title: what is the matter, in a few words.
    meaning: what is seen and why it matters. remedy: what to do at the bench.
    """

    code: str
    severities: tuple[Severity, ...]
    title: str
    meaning: str
    remedy: str

    @property
    def severity(self) -> Severity:
        """The gravest one it is given with."""
        return self.severities[0]


@dataclass(frozen=True, slots=True)
class Experiment:
    """One experiment over the shared engine.

    name: as in the bench file. inputs, settings: its tables. arc: its closed-form motion.
    drag: 1/m, the drag constant k from the inputs and its standard uncertainty, for the fit.
    scale: true distance over reading. expected_fall: m/s², the mean deceleration that the stated set-up would give.
    unseen: inputs that stand in for what only the descent can show, when it was not recorded.
    model: hops, descent_seen, drag and by_drag (see ledger.Settled) → the function from inputs and fitted values to every
        quantity; pure NumPy and complex-analytic, so that it can be evaluated for linear propagation and on draws alike.
    units: of each quantity, in the order in which reports show them.
    inspect_run, inspect_bench: the findings about one launch, and those about the bench as a whole.
    codes: what the findings mean.
    """

    name: str
    inputs: tuple[InputSpec, ...]
    settings: tuple[SettingSpec, ...]
    arc: ArcMotion
    drag: Callable[[Mapping[str, Input]], tuple[float, float]]
    scale: Callable[[Mapping[str, float]], float]
    expected_fall: Callable[[Mapping[str, float]], float]
    unseen: tuple[Input, ...]
    model: Callable[..., Model]
    units: Mapping[str, str]
    inspect_run: Callable[[Bench, Run, RestLevel | None], list[Finding]]
    inspect_bench: Callable[[Bench, Sequence[Run], RestLevel | None, Ledger | None], list[Finding]]
    codes: tuple[FindingCode, ...]
