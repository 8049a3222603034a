"""`joulebook.plan` from Python."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

import joulebook
from joulebook.api.plans import kit_of, write_benches
from joulebook.engine.house import House
from joulebook.errors import InputError, OutputError
from joulebook.uncertainty import Input


def test_keywords_and_files(tmp_path: Path) -> None:
    (tmp_path / "kit.toml").write_text('[track]\nlength = "1.8 m"\n', encoding="utf-8")
    plan = joulebook.plan(tmp_path, title="Mine", angles=["5 deg", "6 deg"], tolerance="4 %")
    assert plan.title == "Mine"
    assert plan.kit.track_length == 1.8
    assert plan.kit.angles == (5.0, 6.0)
    assert plan.tolerance == pytest.approx(0.04)
    assert joulebook.plan(plan.kit, tolerance=0.04).recommended == plan.recommended


def test_house_rules_fill_what_is_left_out() -> None:
    house = House(tolerance=0.07, gravity=Input("house.gravity", 9.812, "m/s^2", 0.001), minutes=60, source="house.toml")
    kit = kit_of(house=house)
    assert (kit.gravity.name, kit.gravity.value) == ("place.gravity", 9.812)
    assert kit.period == 60.0
    assert not {"place.gravity", "class.period"} & set(kit.defaults)
    given = kit_of(house=house, gravity="9.80 m/s^2", period="45 min")
    assert (given.gravity.value, given.period) == (9.80, 45.0)
    assert joulebook.plan(house=house, angles="5 deg").tolerance == 0.07
    assert joulebook.plan(house=house, angles="5 deg", tolerance=0.03).tolerance == 0.03


def test_what_cannot_be() -> None:
    kit = kit_of()
    with pytest.raises(InputError, match="read already: length"):
        joulebook.plan(kit, length="2 m")
    with pytest.raises(InputError, match="cannot be simulated"):
        joulebook.plan(kit, check=-1)


def test_bench_files_in_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    plan = joulebook.plan(benches=2, angles=["5 deg", "6 deg"])
    assert math.isfinite(plan.recommended.u_loss)
    blocked = tmp_path / "file"
    blocked.write_text("")
    with pytest.raises(OutputError, match="cannot be written"):
        write_benches(plan, blocked / "benches")
