"""NIST StRD nonlinear regression (REFERENCES N6; public domain): all 27 problems from both starts, none left out.

Derivatives are by complex step, exact to rounding (W. Squire and G. Trapp, SIAM Rev. 40 (1998) 110).
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from tests.engine.strd import Certified, digits, read
from tests.engine.strd_models import MODELS

from joulebook.engine.descent import Model
from joulebook.engine.least_squares import least_squares

CASES = [(name, start) for name in sorted(MODELS) for start in (1, 2)]
# From start 1 some valleys are long and curved: Bennett5 takes 1158 steps, MGH09 517, MGH17 450. A motion takes 3 to 5.
MAX_STEPS = 2000


def model_of(certified: Certified) -> Model:
    formula = MODELS[certified.name]
    y, x = certified.data[:, 0], certified.data[:, 1]
    if certified.name == "Nelson":
        y, x = np.log(y), certified.data[:, 1:].T

    def model(b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        jacobian = np.empty((y.size, b.size))
        with np.errstate(all="ignore"):
            residual = y - formula(b, x)
            for column in range(b.size):
                tilted = b.astype(complex)
                tilted[column] += 1e-30j
                jacobian[:, column] = formula(tilted, x).imag / 1e-30
        return residual, jacobian

    return model


@pytest.mark.parametrize(("name", "start"), CASES)
def test_certified(name: str, start: int) -> None:
    certified = read("nonlinear", name)
    model = model_of(certified)
    # Ill-conditioned sets (ENSO, Nelson) have parameters that hardly change the sum of squares: ask for the last digit of it.
    solution = least_squares(model, certified.starts[start - 1], max_steps=MAX_STEPS, tolerance=1e-16)
    assert solution.converged
    assert digits(solution.parameters, certified.estimates) >= 6.0
    # Rat43 states 9 degrees of freedom, but 15 observations and 4 parameters leave 11, which its residual sd uses too.
    assert solution.dof == (11 if name == "Rat43" else certified.dof)
    if name == "Lanczos1":
        # Fourteen-digit data without error: the certified sum of squares, 1.43e-25, is below the rounding of the data themselves.
        assert solution.rss < 1e-24
        return
    assert digits(solution.uncertainties, certified.sds) >= 5.0
    assert digits(solution.rss, certified.rss) >= 8.0
    assert digits(solution.sd, certified.residual_sd) >= 8.0


def test_all_27_problems_are_here() -> None:
    assert len(MODELS) == 27
    assert all(len(read("nonlinear", name).starts) == 2 for name in MODELS)


@pytest.mark.parametrize("name", ["Misra1a", "Gauss1", "Thurber"])
def test_the_sum_of_squares_never_rises(name: str) -> None:
    """Stopped after 1, 2, 3 … steps, the best point so far never gets worse."""
    certified = read("nonlinear", name)
    model = model_of(certified)
    sums = [least_squares(model, certified.starts[0], max_steps=k, require=False).rss for k in range(12)]
    assert all(later <= earlier for earlier, later in pairwise(sums))
    assert sums[-1] < 0.5 * sums[0]
