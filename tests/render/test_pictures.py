"""The pictures: what they show, that they need no colour, and that they may stand in any page."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from tests.render.contrast import contrast
from tests.render.sample_audit import CLIMB, DESCENT, RESTITUTION, sample_audit, sample_stopped

from joulebook.engine.report import Audit, LaunchAudit, Phase, Series
from joulebook.render.drawing import HATCHES, PALETTE, SHAPES, ticks
from joulebook.render.energy_pictures import energy_stacks
from joulebook.render.numbers import interval_text, value_with_u
from joulebook.render.pictures import Picture, Pictures, draw_pictures, main_launch
from joulebook.render.words import FLAG_WORDS
from joulebook.uncertainty import Quantity

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def audit() -> Audit:
    return sample_audit()


@pytest.fixture(scope="module")
def pictures(audit: Audit) -> Pictures:
    return draw_pictures(audit)


def all_of(pictures: Pictures) -> list[Picture]:
    single = [pictures.trace, pictures.residuals, pictures.joules, pictures.budget]
    return [picture for picture in single if picture is not None] + [picture for _, picture in pictures.launches]


def drawings(pictures: Pictures) -> list[ET.Element]:
    texts = {text for picture in all_of(pictures) for text in (picture.svg, picture.narrow)}
    return [ET.fromstring(text) for text in sorted(texts)]


def words_in(svg: str) -> str:
    return " ".join(element.text or "" for element in ET.fromstring(svg).iter(f"{SVG}text"))


def single(launch: Audit | LaunchAudit, name: str) -> Quantity:
    item = launch.quantities[name]
    assert isinstance(item, Quantity)
    return item


# ---- every picture


def test_each_picture_is_named_and_described(pictures: Pictures) -> None:
    for picture in all_of(pictures):
        for text in (picture.svg, picture.narrow):
            root = ET.fromstring(text)
            assert root.get("role") == "img"
            title, description = root[0], root[1]
            assert (title.tag, description.tag) == (f"{SVG}title", f"{SVG}desc")
            assert root.get("aria-labelledby") == title.get("id") and title.text == picture.title
            assert root.get("aria-describedby") == description.get("id") and description.text == picture.sentence


def test_ids_are_unique_in_the_whole_report_and_references_resolve(pictures: Pictures) -> None:
    roots = drawings(pictures)
    ids = [element.get("id") for root in roots for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids)) > 20
    for root in roots:
        own = {element.get("id") for element in root.iter()}
        used = {
            name for element in root.iter() for value in element.attrib.values() for name in re.findall(r"url\(#([^)]+)\)", value)
        }
        assert used <= own


def test_nothing_in_a_picture_comes_from_outside_or_runs(pictures: Pictures) -> None:
    allowed = {"svg", "title", "desc", "defs", "pattern", "rect", "path", "circle", "g", "text"}
    for root in drawings(pictures):
        for element in root.iter():
            assert element.tag.removeprefix(SVG) in allowed
            for key, value in element.attrib.items():
                assert key != "style" and not key.startswith("on") and "href" not in key
                assert "://" not in value and not value.startswith("data:")


def test_narrow_pictures_fit_a_phone(pictures: Pictures) -> None:
    for picture in all_of(pictures):
        assert float(ET.fromstring(picture.narrow).get("width", "inf")) <= 330
        assert float(ET.fromstring(picture.svg).get("width", "inf")) <= 640


def test_nothing_is_written_outside_its_sheet(pictures: Pictures) -> None:
    for root in drawings(pictures):
        width, height = float(root.get("width", "nan")), float(root.get("height", "nan"))
        for element in root.iter(f"{SVG}text"):
            assert -1 <= float(element.get("x", "nan")) <= width + 1
            assert -1 <= float(element.get("y", "nan")) <= height + 1


def test_a_hostile_name_is_text_in_a_picture(audit: Audit) -> None:
    launch = replace(audit.launches[0], file='<script>"&\x00\u202elaunch.csv')
    picture = draw_pictures(replace(audit, launches=(launch,))).trace
    assert picture is not None
    assert "<script>" not in picture.svg
    assert ET.fromstring(picture.svg)[0].text == 'Trace of <script>"&launch.csv'


def test_every_colour_turns_in_a_dark_page() -> None:
    lights = [ink.light for ink in PALETTE.values()]
    assert len(set(lights)) == len(lights)


def test_the_drawings_use_only_the_palette(pictures: Pictures) -> None:
    known = {ink.light for ink in PALETTE.values()} | {"none"}
    for root in drawings(pictures):
        for element in root.iter():
            for key in ("fill", "stroke"):
                value = element.get(key, "none")
                assert value in known or value.startswith("url(#")


def test_contrast_formula_against_known_pairs() -> None:
    # WCAG 2.2: black on white is 21:1. #767676 is the lightest grey that passes 4.5:1 on white (well known, from memory).
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0, abs=1e-9)
    assert contrast("#767676", "#ffffff") > 4.5 > contrast("#777777", "#ffffff")


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_words_and_marks_stand_out(theme: str) -> None:
    colour = {name: getattr(ink, theme) for name, ink in PALETTE.items()}
    for ground in ("paper", "band"):
        for name in ("ink", "muted", "flag"):
            assert contrast(colour[name], colour[ground]) >= 4.5, (name, ground)  # WCAG 2.2, SC 1.4.3
        assert contrast(colour["line"], colour[ground]) >= 3.0  # WCAG 2.2, SC 1.4.11
    for name in ("kinetic", "potential", "paper"):
        # Every bar has a rim of ink; the bars that carry no hatch stand out from it or from the paper.
        assert max(contrast(colour[name], colour["ink"]), contrast(colour[name], colour["paper"])) >= 3.0


def test_the_energy_bars_differ_without_colour() -> None:
    assert contrast(PALETTE["kinetic"].light, PALETTE["potential"].light) >= 3.0
    hatches = [strokes for _, strokes in HATCHES.values() if strokes]
    assert len(set(hatches)) == len(hatches) == 4
    assert len(set(SHAPES.values())) == len(SHAPES)
    assert set(SHAPES) == set(FLAG_WORDS) - {"missing"}


@pytest.mark.parametrize(("low", "high"), [(0.0, 1.0), (-0.06, 0.36), (0.55, 4.8), (-1.9e-3, 1.9e-3), (120.0, 9000.0)])
def test_ticks_are_round_and_inside(low: float, high: float) -> None:
    marks = ticks(low, high, 6)
    assert 2 <= len(marks) <= 7
    assert all(low - 1e-9 <= mark <= high + 1e-9 for mark in marks)
    step = marks[1] - marks[0]
    assert round(step / 10 ** math.floor(math.log10(step) + 1e-9), 6) in (1.0, 2.0, 5.0)


# ---- the trace


def test_the_launch_with_the_gravest_finding_is_shown_first(audit: Audit) -> None:
    assert main_launch(audit) is audit.launches[2]
    assert main_launch(replace(audit, findings=())) is audit.launches[0]
    assert main_launch(sample_stopped()) is None


def test_the_trace_says_its_numbers(audit: Audit, pictures: Pictures) -> None:
    assert pictures.trace is not None
    launch = audit.launches[2]
    for name in ("release_time", "release_speed", "travel", "apex_time"):
        assert value_with_u(name, single(launch, name)) in pictures.trace.sentence
    assert "100 samples at 20 per second" in pictures.trace.sentence
    assert "3 samples were flagged" in pictures.trace.sentence
    assert "stands at the top" in pictures.trace.sentence
    words = words_in(pictures.trace.svg)
    assert "release" in words and f"{single(launch, 'release_time').value:.3f} s" in words
    assert "apex" in words and f"{single(launch, 'apex_time').value:.3f} s" in words


def test_a_sensor_at_the_bottom_is_said_so(audit: Audit) -> None:
    series = audit.launches[0].series
    assert series is not None
    flipped = replace(series, distance=0.2 + series.position)
    picture = draw_pictures(replace(audit, launches=(replace(audit.launches[0], series=flipped),))).trace
    assert picture is not None and "stands at the bottom" in picture.sentence


def test_phases_are_named_on_the_trace_and_tabled(audit: Audit, pictures: Pictures) -> None:
    assert pictures.trace is not None
    words = words_in(pictures.trace.svg)
    for kind in ("still", "handled", "push", "climb", "descent", "contact"):
        assert kind in words
    assert [row[0] for row in pictures.trace.table_rows] == [phase.kind for phase in audit.launches[2].phases]
    assert {len(row) for row in pictures.trace.table_rows} == {len(pictures.trace.table_headings)}


def test_every_sample_inside_the_picture_is_drawn(audit: Audit) -> None:
    launch = audit.launches[0]
    series = launch.series
    assert series is not None
    picture = draw_pictures(replace(audit, launches=(launch,), findings=())).trace
    assert picture is not None
    dots = [element.get("d", "").count("h.01") for element in ET.fromstring(picture.svg).iter(f"{SVG}path")]
    # A filled dot is one stroke; an open dot is drawn twice, rim and ground.
    assert np.count_nonzero(series.used) in dots
    outside = int(re.findall(r"(\d+) samples? lie", " ".join(picture.listed))[0])
    drawn_open = np.count_nonzero((series.flags == "") & ~series.used) - outside + np.count_nonzero(series.flags == "stuck")
    assert dots.count(int(drawn_open)) == 2


def test_each_reason_for_flagging_has_its_shape_a_key_and_a_line(audit: Audit) -> None:
    launch = audit.launches[0]
    picture = draw_pictures(replace(audit, launches=(launch,), findings=())).trace
    assert picture is not None
    paths = [element.get("d") for element in ET.fromstring(picture.svg).iter(f"{SVG}path")]
    for reason in ("far-echo", "slip", "outlier"):
        assert SHAPES[reason] in paths
        assert FLAG_WORDS[reason] in words_in(picture.svg)
    listed = " ".join(picture.listed)
    for reason in ("far-echo", "slip", "outlier", "stuck", "missing"):
        assert FLAG_WORDS[reason] in listed
    # The far echo lies off the picture and is told with its own distance.
    assert re.search(r"echo from something farther away: 1\.450 s \(\d\.\d{3} m\)", listed)


def test_a_trace_without_a_fit_is_still_drawn(audit: Audit) -> None:
    series = audit.launches[0].series
    assert series is not None
    nothing = np.full(series.time.size, np.nan)
    bare = replace(series, used=np.zeros(series.time.size, dtype=bool), fitted=nothing, residual=nothing)
    launch = replace(audit.launches[0], series=bare, quantities={}, budgets={}, phases=(Phase("still", 0.0, 4.95, 0, 99),))
    drawn = draw_pictures(replace(audit, launches=(launch,), quantities={}, budgets={}))
    assert drawn.trace is not None and drawn.residuals is None and drawn.joules is None and drawn.budget is None
    assert "released" not in drawn.trace.sentence


# ---- the residuals


def test_the_residuals_say_their_scatter(audit: Audit, pictures: Pictures) -> None:
    series = audit.launches[2].series
    assert series is not None and pictures.residuals is not None
    used = series.residual[series.used] * 1000
    assert f"{math.sqrt(float(np.mean(used**2))):.2f} mm (root mean square)" in pictures.residuals.sentence
    assert f"{np.abs(used).max():.2f} mm" in pictures.residuals.sentence
    assert sum(int(row[3]) for row in pictures.residuals.table_rows) == used.size


def test_rejected_samples_are_shown_with_their_residual(audit: Audit) -> None:
    picture = draw_pictures(replace(audit, launches=audit.launches[:1], findings=())).residuals
    assert picture is not None
    assert "1 flagged sample of the free motion is shown but not used" in picture.sentence
    assert re.search(r"[↑↓] [+−]\d+\.\d mm", words_in(picture.svg))


# ---- the joules


def test_each_bar_accounts_for_the_energy_at_release(audit: Audit) -> None:
    stacks = energy_stacks(audit)
    energy = single(audit, "kinetic_energy").value + single(audit, "rotational_energy").value
    assert [stack.moment for stack in stacks] == ["at release", "at the apex", "after bounce 1", "after bounce 2"]
    for stack in stacks:
        # The sample rounds its drag loss, which the difference does not hold.
        assert sum(value for _, value in stack.parts) == pytest.approx(energy, abs=1e-9)
        assert stack.low < stack.value < stack.high


def test_the_energy_after_a_bounce_follows_from_restitution_and_rolling(audit: Audit) -> None:
    # Arriving at v² = 2·a₂·d and leaving at e·v, the cart climbs d' = e²·d·a₂/a₁ (constant accelerations, DESIGN §4).
    stacks = energy_stacks(audit)
    kept = 1.0
    for stack, e in zip(stacks[2:], RESTITUTION, strict=True):
        kept *= e**2 * DESCENT / CLIMB
        assert stack.value / stacks[0].value == pytest.approx(kept, rel=2e-3)


@pytest.mark.parametrize(("rebound", "kept"), [(1.35, 0.531), (1.47, 0.579)])
def test_the_energy_kept_by_a_tennis_ball(audit: Audit, rebound: float, kept: float) -> None:
    # ITF Rules of Tennis, Appendix I: dropped from 254 cm a ball rebounds to 135–147 cm, so 53.1–57.9 % is kept (REFERENCES M19).
    time = np.linspace(-0.7, 1.9, 261)
    fitted = np.where(time < 0.72, 2.54 - 4.9 * time**2, rebound - 4.9 * (time - 1.3) ** 2)
    fitted[(fitted < 0)] = np.nan
    series = Series(
        time,
        3 - fitted,
        fitted,
        np.full(time.size, ""),
        np.isfinite(fitted),
        fitted,
        np.where(np.isfinite(fitted), 1e-4, np.nan),
        0.0,
    )
    phases = (Phase("climb", -0.7, 0.0, 0, 70), Phase("descent", 0.0, 0.72, 71, 141), Phase("climb", 0.74, 1.3, 143, 200))
    launch = replace(audit.launches[0], series=series, phases=phases)
    stacks = energy_stacks(replace(audit, launches=(launch,)))
    assert stacks[2].value / stacks[0].value == pytest.approx(kept, abs=5e-4)


def test_the_joules_say_their_numbers(audit: Audit, pictures: Pictures) -> None:
    assert pictures.joules is not None
    for name in ("potential_energy", "rolling_loss", "drag_loss", "unaccounted"):
        assert value_with_u(name, single(audit, name)) in pictures.joules.sentence
    assert interval_text("unaccounted", single(audit, "unaccounted")) in pictures.joules.sentence
    words = words_in(pictures.joules.svg)
    for text in (
        "At release",
        "At the apex",
        "After bounce 2",
        "kinetic 0.1414 J",
        "potential 0.1385 J",
        "unaccounted for −0.0003 J",
    ):
        assert text in words


def test_bars_are_as_long_as_their_joules(audit: Audit, pictures: Pictures) -> None:
    assert pictures.joules is not None
    bars = [r for r in ET.fromstring(pictures.joules.svg).iter(f"{SVG}rect") if r.get("height") == "20"]
    kinetic, potential = single(audit, "kinetic_energy").value, single(audit, "potential_energy").value
    widths = {r.get("fill"): float(r.get("width", "nan")) for r in reversed(bars)}
    assert widths[PALETTE["kinetic"].light] / widths[PALETTE["potential"].light] == pytest.approx(kinetic / potential, rel=1e-3)


def test_a_gain_is_drawn_as_a_dashed_part_over_the_others(audit: Audit) -> None:
    potential = single(audit, "potential_energy")
    quantities = dict(audit.quantities)
    quantities["potential_energy"] = replace(
        potential, value=potential.value * 1.2, low=potential.low * 1.2, high=potential.high * 1.2
    )
    quantities["unaccounted"] = replace(
        single(audit, "unaccounted"), value=single(audit, "unaccounted").value - 0.2 * potential.value
    )
    picture = draw_pictures(replace(audit, quantities=quantities)).joules
    assert picture is not None
    dashed = [float(r.get("width", "nan")) for r in ET.fromstring(picture.svg).iter(f"{SVG}rect") if r.get("stroke-dasharray")]
    assert max(dashed) > 80


# ---- the budget


def test_the_budget_is_sorted_and_in_proportion(audit: Audit, pictures: Pictures) -> None:
    assert pictures.budget is not None
    lines = sorted(audit.budgets["relative_difference"], key=lambda line: -line.contribution)
    assert pictures.budget.sentence.startswith(
        "Stated slope is the largest influence on the relative difference: 79 % of the variance"
    )
    assert [row[0] for row in pictures.budget.table_rows][:2] == ["stated slope", "scatter of the samples"]
    widths = [float(r.get("width", "nan")) for r in ET.fromstring(pictures.budget.svg).iter(f"{SVG}rect")]
    for width, line in zip(widths, lines, strict=False):
        assert width / widths[0] == pytest.approx(line.contribution / lines[0].contribution, abs=0.01)
    assert len(widths) == 5
    assert "gravity, drag area and mass of the cart" in pictures.budget.listed[0]


def test_nothing_is_drawn_of_an_audit_without_a_ledger() -> None:
    assert all_of(draw_pictures(sample_stopped())) == []
