"""A set-up as a bench to be simulated: its truth within what is stated, and its stop of the kind that was asked for."""

from __future__ import annotations

import math

import numpy as np
import pytest

from joulebook.experiments.ramp_kit import Kit
from joulebook.experiments.ramp_plan import SetUp
from joulebook.planning.set_ups import design_of, statements_of
from joulebook.planning.simulate import simulate_launch
from joulebook.planning.stops import SpringStop
from joulebook.readers.kit_file import make_kit


def set_up(kit: Kit) -> SetUp:
    return SetUp(kit.masses[0].value, 12.0, 1.3, 0.06, 50.0, kit.methods[2], 1)


def test_the_truth_lies_within_what_is_stated() -> None:
    kit = make_kit()
    chosen = set_up(kit)
    stated = {statement.name: statement for statement in statements_of(kit, chosen)}
    for seed in range(20):
        setup = design_of(kit, chosen, np.random.default_rng(seed)).setup
        for name, true in (("cart.mass", setup.mass), ("cart.rotating_fraction", setup.rotating_fraction)):
            assert abs(true - stated[name].value) <= stated[name].width
        rise, along = stated["track.rise"], stated["track.along"]
        least = math.asin((rise.value - rise.width) / (along.value + along.width))
        most = math.asin((rise.value + rise.width) / (along.value - along.width))
        assert least <= math.radians(setup.angle) <= most


@pytest.mark.parametrize("damped", [0.0, 0.5, 1.0])
def test_a_damped_plunger_lets_go_early(damped: float) -> None:
    """A spring with a damper pushes no more once it is within c·v/k of its free length, −k·s − c·v = 0 (Kelvin–Voigt); it is
    cocked deeper, so that it launches at the planned speed all the same, within the plunger's scatter of 2 %."""
    kit = make_kit(repeat="1e-9")
    design = design_of(kit, set_up(kit), np.random.default_rng(3), damped=damped)
    plunger, stop = design.setup.plunger, design.setup.stop
    assert isinstance(plunger, SpringStop) and isinstance(stop, SpringStop)
    _, truth, _, _ = simulate_launch(design, np.random.default_rng(4))
    assert truth is not None
    assert truth.release_position == pytest.approx(-plunger.damping * truth.release_speed / plunger.stiffness, abs=1e-9)
    assert (plunger.damping > 0.0) == (damped > 0.0)
    # Without a damper the stroke is worked out in closed form, and the rolling resistance of the push is left out of it.
    assert truth.release_speed == pytest.approx(1.3, rel=1e-6 if damped else 0.01)
    assert truth.restitution[0] == pytest.approx(kit.restitution, abs=0.04)
