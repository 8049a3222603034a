"""The slips' factors, against the table of the project's facts about slips at the reference bench."""

from __future__ import annotations

import pytest

from joulebook.planning.slips import alike, slips_at


def factors(angle: float, speed: float = 1.0) -> dict[str, float]:
    return {slip.name: slip.factor for slip in slips_at(angle=angle, speed=speed, climb=1.0, descent=0.89)}


def test_the_table_at_five_degrees() -> None:
    found = factors(5.0, 0.8)
    assert found["cosine for sine"] == pytest.approx(11.43, abs=0.005)
    assert found["distance along the track for the height"] == pytest.approx(11.47, abs=0.005)
    assert found["tangent for sine"] == pytest.approx(1.004, abs=0.0005)
    assert found["angle read 1° too large"] == pytest.approx(1.20, abs=0.005)
    assert found["g taken as 10 m/s²"] == pytest.approx(1.019, abs=0.0005)
    assert found["g forgotten"] == pytest.approx(0.102, abs=0.0005)
    assert found["square forgotten"] == pytest.approx(1 / 0.8)
    assert found["half and square forgotten"] == pytest.approx(2 / 0.8)
    assert found["return speed for the release speed"] == 0.89
    assert (found["half forgotten"], found["average speed for the release speed"]) == (2.0, 0.25)


@pytest.mark.parametrize(("angle", "factor"), [(5.0, -11.0), (8.0, 7.11), (3.0, 2.70)])
def test_a_calculator_in_radians(angle: float, factor: float) -> None:
    assert factors(angle)["calculator in radians"] == pytest.approx(factor, abs=0.005)


def test_radians_look_like_cosine_at_eight_degrees() -> None:
    (pair,) = alike(slips_at(angle=8.0, speed=0.7, climb=1.0, descent=0.9), angle=8.0)
    assert {pair.first.name, pair.second.name} == {"cosine for sine", "calculator in radians"}
    assert pair.same_sign
    assert pair.gap < 0.002
    assert alike(slips_at(angle=5.0, speed=0.7, climb=1.0, descent=0.9), angle=5.0) == ()


def test_speeds_at_which_slips_coincide() -> None:
    """At 0.5 m/s a forgotten square doubles the energy, as a forgotten half does."""
    pairs = alike(slips_at(angle=5.0, speed=0.5, climb=1.0, descent=0.9), angle=5.0)
    assert ("half forgotten", "square forgotten") in {(pair.first.name, pair.second.name) for pair in pairs}
