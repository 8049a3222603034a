"""The fit in progress: which values it has, where its hops are, and how well its places are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.engine.closed_form import ClosedForm

from joulebook.engine.clean import clean
from joulebook.engine.hops import Hops
from joulebook.engine.phases import find_phases
from joulebook.errors import FitError
from joulebook.experiments.ramp_launch import arc

LAUNCH = ClosedForm()


def started(launch: ClosedForm = LAUNCH, *, rate: float = 40.0, noise: float = 0.0, apex: float | None = None) -> Hops:
    trace = clean(launch.record(rate, noise=noise))
    return Hops.start(trace, find_phases(trace)[0], trace.good, arc, launch.drag, apex)


def test_the_first_guess() -> None:
    hops = started()
    assert hops.names == ("climb", "descent", "apex_time_1", "apex_1", "apex_time_2", "apex_2", "apex_time_3", "apex_3")
    assert (hops.count, hops.lead, hops.fixed) == (3, 2, ())
    assert hops.climb == hops.descent == pytest.approx(1.66, rel=0.01)
    assert hops.apex_times == pytest.approx([hop.apex_time for hop in LAUNCH.flights()], abs=0.01)
    assert hops.apexes == pytest.approx([-1.1 + hop.apex for hop in LAUNCH.flights()], abs=0.002)
    assert np.array_equal(hops.time, hops.trace.time[hops.index])
    assert np.all(np.diff(hops.index) > 0) and np.all(np.diff(hops.hop) >= 0)


def test_solving_finds_the_launch() -> None:
    hops = started()
    solution = hops.solve()
    truth = LAUNCH.values()
    assert hops.values == pytest.approx([truth[name] for name in hops.names], abs=1e-9)
    assert solution.converged
    assert hops.solution is solution
    assert hops.predict(hops.hop, hops.time)[0] == pytest.approx(hops.level[hops.index], abs=1e-9)


def test_windows_are_where_the_parabolas_pass_a_level() -> None:
    hops = started()
    hops.solve()
    level = -1.1 + LAUNCH.offset
    expected = [[hop.release, hop.landing] for hop in LAUNCH.flights()]
    assert hops.windows(level) == pytest.approx(np.array(expected), abs=1e-8)
    above = hops.windows(-0.5)
    assert above == pytest.approx(np.column_stack([hops.apex_times, hops.apex_times]))


def test_a_person_may_hold_the_apex() -> None:
    hops = started(apex=1.45)
    hops.solve()
    assert hops.fixed == ("apex_time_1",)
    assert hops.apex_times[0] == 1.45


def test_hops_without_three_samples_are_forgotten() -> None:
    hops = started()
    parts = [hops.index[hops.hop == j] for j in range(3)]
    hops.take([parts[0], parts[1], parts[2][:2]])
    assert hops.count == 2 and hops.values.size == 6 and hops.hop.max() == 1
    hops.first_hops(1)
    assert hops.count == 1 and hops.names == ("climb", "descent", "apex_time_1", "apex_1")


def test_the_descent_comes_and_goes_with_its_samples() -> None:
    hops = started(ClosedForm(hops=1))
    whole = hops.index
    hops.take([whole[hops.trace.time[whole] < hops.apex_times[0]]])
    assert hops.names == ("climb", "apex_time_1", "apex_1")
    assert hops.descent == hops.climb
    hops.take([whole])
    assert hops.names == ("climb", "descent", "apex_time_1", "apex_1")


def test_scatter_is_the_noise_of_a_sample() -> None:
    found = []
    for seed in range(20):
        trace = clean(LAUNCH.record(40.0, noise=0.0006, seed=seed))
        hops = Hops.start(trace, find_phases(trace)[0], trace.good, arc, 0.0, None)
        hops.solve()
        found.append(hops.scatter())
    # A median of about 70 samples scatters by 1.17/√(2·70)·… about 10 % each.
    assert np.mean(found) == pytest.approx(0.0006, rel=4 * 0.1 / math.sqrt(20))
    assert started().scatter() >= 5e-5


def test_prediction_is_the_propagated_uncertainty() -> None:
    """√(gᵀ(JᵀJ)⁻¹g) with g from differences of the closed form, at a time outside the samples as well."""
    hops = started(noise=0.0005)
    hops.solve()
    assert hops.solution is not None
    times = np.array([LAUNCH.flights()[1].release, LAUNCH.flights()[1].apex_time, LAUNCH.flights()[1].landing])
    gradient = np.empty((3, hops.values.size))
    kept = hops.values.copy()
    for column in range(kept.size):
        sides = []
        for step in (1e-6, -1e-6):
            hops.values = kept + step * (np.arange(kept.size) == column)
            sides.append(hops.predict(1, times)[0])
        gradient[:, column] = (sides[0] - sides[1]) / 2e-6
    hops.values = kept
    expected = np.sqrt(np.einsum("ij,jk,ik->i", gradient, hops.solution.unscaled, gradient))
    assert hops.prediction(1, times) == pytest.approx(expected, rel=1e-5)


def test_segments_break_at_gaps_and_hops() -> None:
    hops = started()
    keep = np.ones(hops.index.size, dtype=bool)
    keep[10] = False
    first = int(np.count_nonzero(hops.hop == 0))
    hops.keep(keep)
    numbers = hops.segments()
    assert numbers[9] == 0 and numbers[10] == 1
    assert numbers[first - 1] != numbers[first - 2]
    assert numbers.max() == 3


def test_too_few_samples_for_the_values() -> None:
    hops = started(ClosedForm(hops=1))
    hops.take([hops.index[:3]])
    with pytest.raises(FitError, match="only 3 samples lie on free motion, and 3 values"):
        hops.solve()
