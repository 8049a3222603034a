"""The pictures of a plan: what they say is what the plan holds, and they need no colour."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import pytest

from joulebook.experiments.ramp_plan import Plan
from joulebook.planning.plan import make_plan
from joulebook.readers.kit_file import make_kit
from joulebook.render.picture import Picture
from joulebook.render.plan_pictures import draw_path, draw_region, draw_trace

_SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def plan() -> Plan:
    return make_plan(make_kit())


def words(svg: str) -> list[str]:
    return [node.text or "" for node in ET.fromstring(svg).iter(f"{_SVG}text")]


@pytest.fixture(scope="module")
def pictures(plan: Plan) -> list[Picture]:
    return [draw_region(plan), draw_trace(plan), draw_path(plan)]


def test_each_has_a_name_a_sentence_and_a_table(pictures: list[Picture]) -> None:
    assert len({picture.name for picture in pictures}) == 3
    for picture in pictures:
        for svg in (picture.svg, picture.narrow):
            root = ET.fromstring(svg)
            titles = [node.text for node in root.iter(f"{_SVG}title")]
            assert titles == [picture.title]
            assert [node.text for node in root.iter(f"{_SVG}desc")] == [picture.sentence]
        assert picture.table_rows
        assert {len(row) for row in picture.table_rows} == {len(picture.table_headings)}


def test_nothing_leaves_its_frame(pictures: list[Picture]) -> None:
    for picture in pictures:
        for svg, width in ((picture.svg, 640.0), (picture.narrow, 330.0)):
            for node in ET.fromstring(svg).iter(f"{_SVG}text"):
                if "transform" in node.attrib:
                    continue
                room = 0.55 * 11 * len(node.text or "")
                left = float(node.attrib["x"]) - {"middle": 0.5 * room, "end": room}.get(
                    node.attrib.get("text-anchor", "start"), 0.0
                )
                assert left >= -8.0, (picture.name, node.text)
                assert left + room <= width + 12.0, (picture.name, width, node.text)


def test_the_region(plan: Plan) -> None:
    picture = draw_region(plan)
    good = sum(row.count("good") for row in plan.region.states)
    assert f"{good} can be used" in picture.sentence
    angle, speed = plan.region.chosen
    assert f"The recommended point, {angle:g}° and {speed:g} m/s" in picture.sentence
    cells = [cell for row in picture.table_rows for cell in row[1:]]
    assert sum("see the loss" in cell for cell in cells) == good
    assert cells.count("does not fit") == sum(row.count("off-track") for row in plan.region.states)
    assert cells.count("too few samples") == sum(row.count("few-samples") for row in plan.region.states)
    # What cannot be used is hatched, each kind in its own way, and stands in the legend: no colour is needed.
    assert {"url(#region-wide-stop)", "url(#region-wide-rolling)"} <= set(re.findall(r'fill="(url[^"]+)"', picture.svg))
    assert {"into the blind zone, or off the track", "too few samples to fit", "recommended"} <= set(words(picture.svg))
    frames = [node for node in ET.fromstring(picture.svg).iter(f"{_SVG}rect") if node.attrib.get("stroke-width") == "3"]
    assert len(frames) == 2  # the chosen cell, and the legend


def test_the_region_by_stroke() -> None:
    plan = make_plan(make_kit(stiffness="200 N/m", strokes=["3 cm", "4.5 cm"], angles=["5 deg", "8 deg", "9 deg"]))
    picture = draw_region(plan)
    assert picture.table_headings[1:] == ("3.0 cm", "4.5 cm")
    assert "stroke, cm" in words(picture.svg)


def test_the_trace(plan: Plan) -> None:
    picture = draw_trace(plan)
    assert f"{plan.trace.apex:.2f} s after the release" in picture.sentence
    assert f"{100 * plan.recommended.nearest:.0f} cm at the highest point" in picture.sentence
    assert "2 rebounds" in picture.sentence
    assert {"release", "highest point", "blind zone of the ranger"} <= set(words(picture.svg))
    assert 20 <= len(picture.table_rows) <= 41
    bottom = draw_trace(make_plan(make_kit(placed="bottom", flights=2)))
    assert "growing distances" in bottom.sentence
    assert "1 rebound." in bottom.sentence


def test_the_path(plan: Plan) -> None:
    picture = draw_path(plan)
    assert [row[3] for row in picture.table_rows] == [step.reading for step in plan.path]
    assert f"from {plan.path[0].ratio:.1f} to {plan.path[-1].ratio:.1f}" in picture.sentence
    shown = words(picture.svg)
    for number, step in enumerate(plan.path, 1):
        assert f"{number}. {step.what}" in shown
        assert any(text == f"{step.ratio:.1f}, {step.reading}" for text in shown)
