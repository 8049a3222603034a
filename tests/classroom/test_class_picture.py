"""The class picture on a simulated section whose truth is known, and its statistics on drawn classes."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from tests.classroom.class_benches import ODD, SLOPES, section

from joulebook.classroom.class_picture import ClassBench, class_picture
from joulebook.classroom.class_pooling import POOLED, far_off, pool_class
from joulebook.classroom.class_results import BenchResult, Result, bench_results, covariance, shared_influences
from joulebook.classroom.class_words import LABELS
from joulebook.engine.report import Audit
from joulebook.errors import InputError


def test_the_odd_bench_is_found_and_does_not_hide_itself() -> None:
    picture = class_picture(section())
    (far,) = [each for each in picture.far_off if each.name == "unaccounted"]
    assert far.code == str(ODD)
    assert far.influence == "track.angle"
    assert far.score > 4.0
    assert abs(far.others) < 0.02
    (told,) = [each for each in picture.to_dict()["far_off"] if each["name"] == "unaccounted"]  # type: ignore[attr-defined]
    assert "standard uncertainties from the others; look at the stated slope" in told["sentence"]
    assert "Without one bench that lies far from the others" in picture.sentence


def test_a_sound_class_closes_its_account() -> None:
    picture = class_picture(section(odd=0))
    assert [each for each in picture.far_off if each.name == "unaccounted"] == []
    value = next(each for each in picture.pooled if each.name == "unaccounted")
    assert value.low < 0.0 < value.high
    assert "rolling and drag can account for what is missing" in picture.sentence
    assert picture.line is not None
    assert picture.line.low < 1.0 < picture.line.high
    # What is shared does not average out: the pooled uncertainty cannot fall below it.
    assert value.u > value.u_shared > 0.005
    assert "cart.rotating_fraction" in picture.shared
    assert not any(name.startswith("track.") for name in picture.shared)
    mu = next(each for each in picture.pooled if each.name == "rolling_resistance")
    assert mu.low < 0.0045 < mu.high


def test_loss_is_grip_plus_the_excess_of_the_slope() -> None:
    """DESIGN §4: with v² = 2a₁d, E/Eₚ − 1 = μ/tanθ + (sinθ of the motion/sinθ stated − 1), but for drag (below 1 % of the energy)."""
    benches, _ = bench_results(section())
    assert len(benches) == 12
    for each in benches:
        assert each.grip is not None
        assert each.motion_slope is not None
        excess = math.sin(math.radians(each.motion_slope.value)) / math.sin(math.radians(each.stated_slope.value)) - 1.0
        assert each.loss.value == pytest.approx(each.grip.value + excess, abs=0.006)
        assert each.loss.value == pytest.approx(each.energy.value / each.potential.value - 1.0, rel=1e-9)
        assert each.stated_slope.value == pytest.approx(SLOPES[(int(each.code) - 1) % 6], abs=1e-9)
        # A pair of limits ± 0.25°: 95 % of a rectangular distribution lie within 0.95 · 0.25°.
        assert each.stated_slope.high - each.stated_slope.value == pytest.approx(0.95 * 0.25, rel=1e-6)


def test_uncertainties_agree_with_the_audit() -> None:
    for bench in section(3):
        (found,), _ = bench_results([bench])
        assert isinstance(bench.audit, Audit)
        energy = bench.audit.quantity("kinetic_energy").value + bench.audit.quantity("rotational_energy").value
        left = bench.audit.quantity("unaccounted")
        assert found.unaccounted.value == pytest.approx(left.value / energy)
        assert found.unaccounted.u == pytest.approx(left.u / energy, rel=0.02)
        assert found.grip is not None
        assert abs(covariance(found)) < found.grip.u * found.loss.u


def test_the_stored_form_gives_the_same() -> None:
    benches = [replace(each, audit=json.loads(json.dumps(each.audit.to_dict()))) for each in section(5)]  # type: ignore[union-attr]
    assert class_picture(benches).to_dict() == class_picture(section(5)).to_dict()


def test_who_does_not_count_and_why() -> None:
    first, second, third, fourth = section(4)
    assert isinstance(third.audit, Audit)
    stopped = third.audit.to_dict()
    stopped["verdict"] = {**stopped["verdict"], "resolution": None}  # type: ignore[dict-item]
    stopped["findings"] = [{"code": "too-close", "severity": "stop", "message": "run.csv: too close.", "remedy": "", "evidence": {}}]
    empty = {**stopped, "quantities": {}}
    benches = [
        replace(first, excluded=True), replace(second, audit=None, why="run.csv holds no numbers."), replace(third, audit=stopped),
        replace(fourth, audit=empty), replace(first, code="5", title="Bench 5"),
    ]  # fmt: skip
    picture = class_picture(benches, title="Period 3")
    assert [(each.title, each.kind) for each in picture.left_out] == [
        ("Bench 1", "excluded"), ("Bench 2", "not-audited"), ("Bench 3", "stopped"), ("Bench 4", "no-launch"),
    ]  # fmt: skip
    assert picture.sentence == "1 of 5 benches count: too few to take together."
    told = " ".join(each["sentence"] for each in picture.to_dict()["left_out"])  # type: ignore[attr-defined]
    assert "run.csv holds no numbers." in told
    assert "no ledger to trust. run.csv: too close." in told
    assert class_picture([]).sentence == "No bench has a result that can be shown."


def test_an_undecided_bench_counts() -> None:
    bench = section(1)[0]
    assert isinstance(bench.audit, Audit)
    told = bench.audit.to_dict()
    told["verdict"] = {**told["verdict"], "mechanical": "undecided"}  # type: ignore[dict-item]
    assert [each.verdict for each in class_picture([replace(bench, audit=told)]).benches] == ["undecided"]


def test_the_projector_names_nobody() -> None:
    benches = [replace(each, title=f"Secret {each.code}") for each in section()]
    benches.append(ClassBench("13", "Secret 13", None, why="secret-13.csv holds no numbers."))
    orders = set()
    for seed in (1, 2):
        picture = class_picture(benches, anonymous=np.random.default_rng(seed))
        text = json.dumps(picture.to_dict(), ensure_ascii=False)
        assert "ecret" not in text
        assert "listen" not in text
        assert sorted(each.code for each in picture.benches) == [each.code for each in picture.benches]
        orders.add(tuple(each.energy.value for each in picture.benches))
    assert len(orders) == 2
    named = class_picture(benches)
    assert {each.energy.value for each in picture.benches} == {each.energy.value for each in named.benches}
    assert picture.sentence == named.sentence


def test_two_benches_of_one_code() -> None:
    with pytest.raises(InputError, match="The code '1' stands for 2 benches"):
        class_picture([section(1)[0], section(1)[0]])


def test_every_quantity_has_its_words() -> None:
    assert set(LABELS) == set(POOLED)


def drawn(rng: np.random.Generator, benches: int = 12) -> list[BenchResult]:
    """Return a class of equal benches with unequal uncertainties: carts differ, all else is chance."""

    def result(value: float, u: float) -> Result:
        return Result(value, u, math.inf, value - 1.96 * u, value + 1.96 * u, {"track.angle": u})

    found = []
    for number in range(benches):
        u = float(rng.uniform(0.01, 0.03))
        zero, one = result(0.0, 0.1), result(1.0, 0.1)
        mu = result(float(rng.normal(0.0045, 0.0004) + rng.normal(0.0, 0.0002)), 0.0002)
        left = result(float(rng.normal(0.0, u)), u)
        bounce = result(float(rng.normal(0.8, 0.01)), 0.001)
        found.append(
            BenchResult(
                str(number), f"Bench {number}", "loss", one, one, zero, left, zero, one, rolling_resistance=mu, restitution=bounce
            )
        )
    return found


@pytest.mark.parametrize("benches", [5, 12])
def test_equal_benches_are_left_in_peace(benches: int) -> None:
    """At most 1 class in 20 has any bench named; 150 classes, so four standard deviations are 7.1 %."""
    rng = np.random.default_rng(benches)
    assert sum(bool(far_off(drawn(rng, benches))) for _ in range(150)) / 150 <= 0.05 + 0.071


def test_four_benches_judge_nobody() -> None:
    benches = drawn(np.random.default_rng(1), 4)
    wild = replace(benches[0], unaccounted=replace(benches[0].unaccounted, value=9.0))
    assert far_off([wild, *benches[1:]]) == []


def test_what_is_shared_is_added_once() -> None:
    """Four values of own u 0.2 and a shared u 0.3: the mean has √(0.2²/4 + 0.3²), not 0.36/2."""

    def bench(code: str, value: float) -> BenchResult:
        part = Result(value, math.hypot(0.2, 0.3), math.inf, 0.0, 0.0, {"own": 0.2, "cart.rotating_fraction": 0.3})
        return BenchResult(code, code, "loss", part, part, part, part, part, part)

    benches = [bench(code, value) for code, value in zip("abcd", (1.0, 1.1, 0.9, 1.0), strict=True)]
    found = pool_class(benches, "unaccounted", shared=["cart.rotating_fraction"])
    assert found is not None
    assert found.u_shared == pytest.approx(0.3)
    assert found.u == pytest.approx(math.hypot(0.1, 0.3))
    assert pool_class([bench("a", 1.0)], "unaccounted") is None


def test_only_the_same_statement_is_shared() -> None:
    first, second = (each.audit for each in section(2))
    assert isinstance(second, Audit)
    other = second.to_dict()
    for item in other["bench"]["inputs"]:  # type: ignore[index]
        if item["name"] == "cart.rotating_fraction":
            item["value"] = 0.02
    assert first is not None
    assert "cart.rotating_fraction" in shared_influences([first, second])
    assert "cart.rotating_fraction" not in shared_influences([first, other])
    assert shared_influences([first]) == ()
