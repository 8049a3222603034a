"""The datum: where a standing cart is read, how well, and which of two witnesses is believed."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.engine.closed_form import ClosedForm

from joulebook.engine.clean import clean
from joulebook.engine.datum import RestLevel, rest_level, take_datum
from joulebook.engine.phases import Outline
from joulebook.engine.record import Record

PLACING = 0.0002
"""m: how well a cart comes to stand in the same place again (common practice, no source)."""


def level_of(distance: np.ndarray, rate: float = 20.0) -> RestLevel:
    found = rest_level(clean(Record("rest.csv", np.arange(distance.size) / rate, distance)))
    assert found is not None
    return found


def test_a_still_target() -> None:
    """Mean, s/√n and n − 1 of GUM 4.2, with the placing beside it, ν by Welch–Satterthwaite."""
    values = 1.1 + 0.0008 * np.random.default_rng(4).standard_normal(25)
    found = level_of(values)
    s = float(np.std(values, ddof=1))
    assert found.distance == pytest.approx(np.mean(values), abs=1e-12)
    assert found.u == pytest.approx(math.hypot(s / 5.0, PLACING), rel=1e-9)
    assert found.dof == pytest.approx(24.0 * (found.u / (s / 5.0)) ** 4, rel=1e-9)
    assert (found.samples, found.first, found.last) == (25, 0, 24)
    assert found.noise == pytest.approx(s, rel=1e-9)
    assert abs(found.drift) < 4.0 * s / math.sqrt(8.0)


def test_hands_at_both_ends_do_no_harm() -> None:
    rng = np.random.default_rng(5)
    before, after = np.linspace(0.7, 1.09, 12), np.linspace(1.12, 0.8, 9)
    still = 1.1 + 0.0004 * rng.standard_normal(60)
    found = level_of(np.concatenate([before, still, after]))
    assert found.distance == pytest.approx(1.1, abs=4 * 0.0004 / math.sqrt(60))
    assert found.first in (11, 12) and found.last in (71, 72)


def test_a_reading_that_never_leaves_its_step() -> None:
    """GUM F.2.2.1: somewhere in a step of 1 mm, u = 1/√12 mm, however many readings say the same."""
    record = replace(Record("rest.csv", np.arange(50) / 20.0, np.full(50, 1.234)), distance_step=0.001)
    found = rest_level(clean(record))
    assert found is not None
    assert found.u == pytest.approx(math.hypot(0.001 / math.sqrt(12.0), PLACING), rel=1e-6)
    assert found.dof == math.inf
    assert found.noise == pytest.approx(0.001 / math.sqrt(12.0))


def test_a_drifting_target_is_less_well_known() -> None:
    rng = np.random.default_rng(6)
    steady = 1.1 + 0.0003 * rng.standard_normal(90)
    drifting = steady + np.linspace(0.0, 0.002, 90)
    still, moved = level_of(steady), level_of(drifting)
    assert moved.drift == pytest.approx(0.002 * 2.0 / 3.0, abs=0.0003)
    assert moved.u > 1.5 * still.u
    assert moved.u == pytest.approx(math.sqrt(0.0004**2 / 90 + moved.drift**2 / 12.0 + PLACING**2), rel=0.2)


def test_one_spike_does_not_break_the_stretch() -> None:
    values = 1.1 + 0.0004 * np.random.default_rng(7).standard_normal(40)
    values[20] = 1.14
    found = level_of(values)
    assert (found.first, found.last) == (0, 39)
    assert found.distance == pytest.approx(1.1, abs=0.0015)


@pytest.mark.parametrize("distance", [np.linspace(0.4, 1.2, 30), np.array([1.0, 1.1]), np.full(10, np.nan)])
def test_a_target_that_never_stands(distance: np.ndarray) -> None:
    assert rest_level(clean(Record("rest.csv", np.arange(distance.size) / 20.0, distance))) is None


def test_a_part_of_a_record() -> None:
    launch = ClosedForm()
    trace = clean(launch.record(40.0, noise=0.0003))
    cocked = rest_level(trace, 0, int(np.searchsorted(trace.time, launch.wait)) - 1)
    assert cocked is not None
    assert cocked.distance == pytest.approx(launch.rest + launch.cocked, abs=0.0004)
    assert cocked.last < np.searchsorted(trace.time, launch.wait)


def test_which_level_is_believed() -> None:
    """The rest record, unless there is none or it is not to be trusted; up-slope readings carry the ranger's sign."""
    outline = Outline(-1, ())
    rest = RestLevel(1.10, 0.0003, 20.0, 0, 9, 10, 0.0, 0.0005)
    tail = RestLevel(1.12, 0.0004, 15.0, 90, 99, 10, 0.0, 0.0005)
    chosen = take_datum(outline, rest, tail)
    assert chosen is not None
    assert (chosen.level, chosen.u, chosen.dof, chosen.source) == (-1.10, 0.0003, 20.0, "rest")
    other = take_datum(replace(outline, up=1), rest, tail, trust_tail=True)
    assert other is not None
    assert (other.level, other.u, other.dof, other.source) == (1.12, 0.0004, 15.0, "tail")
    without = take_datum(outline, None, tail)
    assert without is not None and without.source == "tail"
    untrusted = take_datum(outline, rest, None, trust_tail=True)
    assert untrusted is not None and untrusted.source == "rest"
    assert take_datum(outline, None, None) is None
