"""The angle table: what each way of measuring the slope does to the height."""

from __future__ import annotations

import math

import pytest

from joulebook.experiments.ramp_kit import METHOD_DEFAULTS
from joulebook.readers.kit_file import make_kit

PROTRACTOR, LEVEL, RULER = METHOD_DEFAULTS


@pytest.mark.parametrize(("angle", "percent"), [(3.0, 17), (5.0, 10), (10.0, 5)])
def test_half_a_degree(angle: float, percent: int) -> None:
    """cotθ·dθ for ±0.5°: 17 % at 3°, 10 % at 5°, 5 % at 10° (closed form; table of the project's facts about benches)."""
    assert round(100 * PROTRACTOR.relative_limits(angle)) == percent


def test_height_over_length() -> None:
    """Two readings of ±1 mm over 1 m: 1.6 % at 5° (the project's facts about benches)."""
    assert round(100 * RULER.relative_limits(5.0), 1) == 1.6


def test_a_height_gives_the_same_by_its_inputs() -> None:
    """GUM 5.1.2 for sinθ = rise/along, done by hand."""
    rise, along = RULER.inputs(7.0)
    sine = rise.value / along.value
    u = sine * math.hypot(rise.u / rise.value, along.u / along.value) / math.cos(math.radians(7.0))
    assert RULER.standard_uncertainty(7.0) == pytest.approx(math.degrees(u), rel=1e-12)
    assert sine == pytest.approx(math.sin(math.radians(7.0)))
    assert LEVEL.inputs(7.0)[0].u == LEVEL.standard_uncertainty(7.0) == pytest.approx(0.2 / math.sqrt(3))


def test_time_for_launches() -> None:
    assert make_kit(period="45 min", launch_time="2 min").most_launches == 6
    assert make_kit(period="34 min", launch_time="2 min").most_launches == 0


def test_the_spring_of_a_kit() -> None:
    """Half a period of m(1 + κ) on the spring is the contact time where no stiffness is given."""
    kit = make_kit()
    inertia = 0.5 * (1 + kit.rotating_fraction.value)
    assert math.pi * math.sqrt(inertia / kit.spring(0.5)) == pytest.approx(kit.CONTACT_TIME)
    assert make_kit(stiffness="200 N/m", strokes="4 cm").spring(0.5) == 200.0
