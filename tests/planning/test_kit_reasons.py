"""Why a bench is named: never for a value within its uncertainty, never for a change too small to matter, always in words."""

from __future__ import annotations

import datetime
import math

import pytest

from joulebook.engine.report import Finding
from joulebook.planning.kit_measures import Measure, spread_uncertainty
from joulebook.planning.kit_reasons import (
    bounds_reason,
    change_reason,
    class_reason,
    finding_reason,
    slope_reason,
    speed_allowance,
)
from joulebook.planning.kit_statistics import Standing
from joulebook.planning.kit_table import KIT_MEASURES, KitMeasure
from joulebook.planning.kit_words import check_sentence, listed, plain_value, probability_text, shown_value

SPECS = {spec.name: spec for spec in KIT_MEASURES}
DAY = datetime.date(2031, 7, 4)


def measure(name: str, value: float, u: float, dof: float = math.inf, note: str = "") -> Measure:
    return Measure(name, value, u, u, dof, 5, note)


def change(name: str, before: float, now: float, *, p: float = 1e-5, adjusted: float = 1e-4) -> object:
    spec = SPECS[name]
    difference = now / before if spec.kind == "scatter" else now - before
    pair = (measure(name, before, 0.01 * before), measure(name, now, 0.01 * now))
    return change_reason(spec, *pair, difference, p, adjusted, family=0.05, day=DAY)


def test_bounds_allow_for_the_uncertainty() -> None:
    spec = SPECS["friction"]
    assert bounds_reason(spec, measure("friction", 0.0151, 0.001)) is None or (
        bounds_reason(spec, measure("friction", 0.0151, 0.001)).weight < 3.0  # type: ignore[union-attr]
    )
    heavy = bounds_reason(spec, measure("friction", 0.020, 0.001))
    assert heavy is not None
    assert heavy.weight >= 3.0
    assert heavy.sentence == "Rolling resistance is 0.020; good kit has at most 0.015."
    assert heavy.criterion.startswith("Rolling resistance 0.0200(10), beyond the bound")
    assert bounds_reason(spec, measure("friction", 0.006, 0.001)) is None


def test_three_launches_hardly_condemn_a_launcher() -> None:
    """A scatter of 6 % from three launches is no proof of more than 3 %; the same from ten is (χ², one in twenty)."""
    spec = SPECS["repeatability"]
    few, many = (Measure("repeatability", 0.06, 0.06 * spread_uncertainty(n - 1), 0.0, n - 1, n) for n in (3, 10))
    assert bounds_reason(spec, few) is not None or few.dof == 2
    assert bounds_reason(spec, Measure("repeatability", 0.045, 0.02, 0.0, 2.0, 3)) is None
    assert bounds_reason(spec, many) is not None


def test_a_rate_below_its_floor() -> None:
    reason = bounds_reason(SPECS["rate"], measure("rate", 10.0, 0.1))
    assert reason is not None
    assert reason.sentence == "Only 10 readings a second came; good kit has at least 18."


def test_change_for_the_worse_and_for_the_better() -> None:
    worse, better = change("friction", 0.004, 0.012), change("friction", 0.012, 0.004)
    assert worse.weight >= 3.0  # type: ignore[attr-defined]
    assert "rose from" in worse.sentence  # type: ignore[attr-defined]
    assert better.weight < 1.0  # type: ignore[attr-defined]
    assert better.sentence.endswith("That is better than it was.")  # type: ignore[attr-defined]
    assert better.remedy == ""  # type: ignore[attr-defined]


def test_changes_that_say_nothing() -> None:
    assert change("friction", 0.0040, 0.0046) is None, "significant, but too small to matter"
    assert change("friction", 0.004, 0.012, p=0.2) is None, "large, but by chance"
    assert change("friction", 0.004, 0.012, p=math.nan) is None
    assert change("noise_moving", 0.0005, 0.0006) is None
    uncertain = change("friction", 0.004, 0.012, p=0.005, adjusted=0.4)
    assert 1.0 <= uncertain.weight < 3.0  # type: ignore[attr-defined]
    assert "not certain yet" in uncertain.sentence  # type: ignore[attr-defined]
    assert "chance alone does that in one in 200 comparisons" in uncertain.criterion  # type: ignore[attr-defined]
    assert "chance" not in uncertain.sentence  # type: ignore[attr-defined]


def test_a_new_slope_is_no_reason_for_service() -> None:
    assert change("slope_gap", 0.1, 1.5).weight < 3.0  # type: ignore[attr-defined]


def test_standing_out_of_the_class() -> None:
    standing = Standing(0.0045, 0.0004, 0.0002, 8, 7.0, ())
    spec = SPECS["friction"]
    worst = class_reason(spec, measure("friction", 0.0120, 0.0002), standing, 16.0)
    assert worst is not None
    assert worst.weight >= 3.0
    assert worst.sentence == "Rolling resistance is 0.0120; the other benches 0.0045."
    assert "z = 16.0, where 8 equal benches stay within ±7.0" in worst.criterion
    best = class_reason(spec, measure("friction", 0.0010, 0.0002), standing, -8.0)
    assert best is not None
    assert best.weight < 1.0
    assert best.sentence.endswith("That is better than the others.")
    assert "z = −8.0" in best.criterion
    assert class_reason(spec, measure("friction", 0.0120, 0.0002), standing, 6.9) is None
    hard = class_reason(SPECS["restitution"], measure("restitution", 0.5, 0.001), Standing(0.8, 0.01, 0.005, 8, 7.0, ()), -30.0)
    assert hard is not None
    assert hard.weight < 3.0, "another kind of stop is no fault"
    assert class_reason(spec, measure("friction", 0.0052, 0.0002), standing, 9.0) is None, "too near to matter"


def test_slope_and_scale_are_told_in_one_breath() -> None:
    gap = measure("slope_gap", 1.0, 0.1, note="stated 6.00°, seen 5.00°")
    known = slope_reason({"slope_gap": gap, "scale_hint": measure("scale_hint", 1.03, 0.01)}, {})
    assert known is not None
    assert known.sentence.startswith("The slopes do not agree: stated 6.00°, seen 5.00°.")
    assert "1.030(10)" in known.criterion
    assert "cannot tell a wrong angle, wheels, gravity and the ranger's distance scale apart" in known.sentence
    absurd = slope_reason({"slope_gap": gap, "scale_hint": measure("scale_hint", 1.2, 0.01)}, {})
    assert absurd is not None
    assert "No ranger's distance scale is off by so much: look at the angle first." in absurd.sentence
    assert "1.200(10)" in absurd.criterion
    unknown = slope_reason({"slope_gap": gap}, {"scale_hint": "the stated slope is known to 5 % only"})
    assert unknown is not None
    assert "says nothing of the distance scale: the stated slope is known to 5 % only" in unknown.criterion
    assert slope_reason({"slope_gap": measure("slope_gap", 0.3, 0.2)}, {}) is None
    assert slope_reason({}, {}) is None


@pytest.mark.parametrize(
    ("code", "severity", "weight"),
    [
        ("misfit", "look", 3.1),
        ("too-close", "stop", 2.0),
        ("lost-echo", "look", 1.1),
        ("mass-suspect", "look", None),
        ("misfit", "note", None),
    ],
)
def test_findings_about_the_kit(code: str, severity: str, weight: float | None) -> None:
    reason = finding_reason([Finding(code, severity, "seen in launch 1.", "do this.")] * 3)  # type: ignore[arg-type]
    assert (None if reason is None else reason.weight) == weight
    if reason is not None:
        assert reason.sentence == "seen in launch 1. The same in 2 more."
        assert reason.criterion == f"Finding {code} of the audit."


def test_values_as_they_are_shown() -> None:
    assert shown_value(SPECS["friction"], measure("friction", 0.00478, 0.00016)) == "0.00478(16)"
    assert shown_value(SPECS["noise_still"], measure("noise_still", 0.00056, 0.00004)) == "0.560(40) mm"
    assert shown_value(SPECS["slope_gap"], measure("slope_gap", -0.103, 0.2)) == "−0.1(2)°"
    assert shown_value(SPECS["lost"], measure("lost", 0.034, 0.01)) == "3.4 %"
    assert shown_value(SPECS["rate"], measure("rate", 19.98, 0.04)) == "20 per second"


def test_values_as_a_sentence_says_them() -> None:
    """To the first digit of u, to three digits at most, and never with brackets."""
    assert plain_value(SPECS["lost"], 0.1125, 0.02) == "11 %"
    assert plain_value(SPECS["contact_time"], 0.16070, 0.0032) == "161 ms"
    assert plain_value(SPECS["contact_time"], 0.00530, 0.0006) == "5.3 ms"
    assert plain_value(SPECS["restitution"], 0.49783, 0.00035) == "50 %"
    assert plain_value(SPECS["friction"], 0.00478, 0.00016) == "0.0048"
    assert plain_value(SPECS["friction"], 0.00478) == "0.00478"
    assert plain_value(SPECS["slope_gap"], -0.103, 0.2) == "−0.1°"
    assert plain_value(SPECS["slope_gap"], 0.0042, 0.16) == "0.0°"


def test_contact_times_carry_no_more_than_a_rebound_repeats() -> None:
    assert shown_value(SPECS["contact_time"], measure("contact_time", 0.16070, 0.0032)) == "161(3) ms"
    assert shown_value(SPECS["restitution"], measure("restitution", 0.49783, 0.0012)) == "0.498(1)"


def test_a_rebound_is_compared_beyond_what_its_speed_explains() -> None:
    """Hunt and Crossley: e = 1 − αv. At twice the speed, 1 − e is doubled, and nothing is the matter with the stop."""
    standing = Standing(0.90, 0.005, 0.002, 8, 7.0, ())
    spec = SPECS["restitution"]
    seen = measure("restitution", 0.82, 0.002)
    assert class_reason(spec, seen, standing, -16.0) is not None, "8 % apart, at a speed that nobody knows"
    assert class_reason(spec, seen, standing, -16.0, impacts=(1.0, 1.9)) is None
    same = class_reason(spec, seen, standing, -16.0, impacts=(1.0, 1.05))
    assert same is not None
    assert same.sentence == (
        "The stop gives back 82 % of the speed; the other benches 90 % (the cart came back at 1.1 m/s here, at 1 m/s there)."
    )
    assert speed_allowance(spec, 0.9, (1.0, 2.0)) == pytest.approx(0.1)
    assert speed_allowance(SPECS["contact_time"], 0.1, (1.0, 2.0)) == pytest.approx(0.05)
    assert speed_allowance(SPECS["friction"], 0.004, (1.0, 2.0)) == 0.0
    assert speed_allowance(spec, 0.9, None) == 0.0
    pair = (measure("restitution", 0.90, 0.002), measure("restitution", 0.82, 0.002))
    arguments = (spec, *pair, -0.08, 1e-6, 1e-5)
    assert change_reason(*arguments, family=0.05, day=DAY) is not None
    assert change_reason(*arguments, family=0.05, day=DAY, impacts=(1.0, 1.9)) is None


@pytest.mark.parametrize("spec", [spec for spec in KIT_MEASURES if spec.remedy], ids=lambda spec: spec.name)
def test_every_remedy_names_a_part(spec: KitMeasure) -> None:
    parts = ("screw", "spring", "battery", "plug", "axle", "tape")
    assert any(part in spec.remedy for part in parts)
    assert "{}" in spec.said


def test_rareness_in_words() -> None:
    assert probability_text(0.01) == "one in 100"
    assert probability_text(0.0041) == "one in 240"
    assert probability_text(1e-9) == "fewer than one in 10\u202f000"
    assert probability_text(2e-4) == "one in 5\u202f000"


def test_sentence() -> None:
    assert check_sentence([("A", "fine")]) == "1 bench checked: none needs anything."
    assert check_sentence([("A", "service"), ("B", "unknown"), ("C", "watch"), ("D", "watch"), ("E", "fine")]) == (
        "5 benches checked: A needs service; B could not be judged and should be run again; keep an eye on C and D."
    )
    assert listed(["A", "B", "C"]) == "A, B and C"
