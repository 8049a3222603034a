"""Reports say of planned inputs that nobody measured them."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from rich.console import Console
from tests.render.sample_audit import sample_audit, sample_stopped

from joulebook.engine.report import Audit
from joulebook.render.contents import compose
from joulebook.render.notebook import display_html
from joulebook.render.planned import PLANNED_QUESTION, planned_inputs, planned_notice
from joulebook.render.terminal import show


def planned(audit: Audit, *names: str) -> Audit:
    """Return an audit of which these inputs are planned."""
    inputs = tuple(replace(item, origin="planned") if item.name in names else item for item in audit.inputs)
    assert {item.name for item in inputs if item.origin == "planned"} == set(names)
    return replace(audit, inputs=inputs)


def printed(audit: Audit) -> str:
    stream = io.StringIO()
    show(audit, Console(file=stream, width=100, color_system=None), verbose=True)
    return " ".join(stream.getvalue().split())


def test_what_a_bench_has_to_measure_is_named_at_the_head_of_every_report() -> None:
    audit = planned(sample_audit(), "cart.mass", "track.angle")
    notice = planned_notice(audit)
    assert notice.startswith("Mass of the cart and stated slope: from the plan.") and "measure them" in notice
    contents = compose(audit)
    assert contents.claims[0] == (PLANNED_QUESTION, notice)
    assert ("Stated slope", "planned, not measured") in {(row[0], row[3]) for row in contents.inputs.rows}
    assert contents.inputs.caption.endswith("inferred or planned")
    text = printed(audit)
    assert f"{PLANNED_QUESTION}: {notice}" in text
    assert text.count("planned, not measured") == 2
    assert notice in display_html(audit)
    assert [item["origin"] for item in audit.to_dict()["bench"]["inputs"] if item["name"] == "cart.mass"] == ["planned"]  # type: ignore[index]


def test_one_planned_input_is_one() -> None:
    assert "measure it and write it" in planned_notice(planned(sample_audit(), "cart.mass"))


def test_a_default_of_the_plan_is_told_among_the_inputs_alone() -> None:
    audit = planned(sample_audit(), "place.gravity")
    assert planned_inputs(audit) == () and planned_notice(audit) == ""
    assert PLANNED_QUESTION not in dict(compose(audit).claims)
    assert "planned, not measured" in printed(audit)


def test_an_experiment_that_is_not_known_has_all_its_planned_inputs_named() -> None:
    audit = replace(planned(sample_audit(), "place.gravity"), experiment="another")
    assert planned_inputs(audit) == ("place.gravity",)


@pytest.mark.parametrize("audit", [sample_audit(), sample_stopped()])
def test_a_measured_bench_is_told_nothing(audit: Audit) -> None:
    assert planned_notice(audit) == ""
    assert PLANNED_QUESTION not in dict(compose(audit).claims) and PLANNED_QUESTION not in display_html(audit)


def test_a_stopped_bench_is_told_too() -> None:
    audit = planned(sample_stopped(), "cart.mass")
    assert PLANNED_QUESTION in dict(compose(audit).claims)
