"""A plan as page, paper and terminal text: the same words everywhere, tagged, and safe."""

from __future__ import annotations

import io
from dataclasses import replace

import pikepdf
import pytest
from rich.console import Console

from joulebook.errors import OutputError
from joulebook.experiments.ramp_plan import Plan
from joulebook.planning.plan import make_plan
from joulebook.readers.kit_file import make_kit
from joulebook.render.plan_document import plan_document, write_plan_page, write_plan_paper
from joulebook.render.plan_tables import (
    bench_table,
    budget_table,
    change_table,
    check_sentence,
    class_sentence,
    kit_table,
    odds,
    odds_table,
    prediction_table,
    slope_table,
    weak_sentence,
)
from joulebook.render.plan_terminal import show_plan


@pytest.fixture(scope="module")
def plan() -> Plan:
    return make_plan(make_kit(title="Room <12> & #[the blue] *kit*"), check=3)


def printed(plan: Plan, *, width: int = 100, verbose: bool = False, decimal: str = ".") -> str:
    stream = io.StringIO()
    console = Console(file=stream, width=width, highlight=False, markup=False, color_system=None)
    show_plan(plan, console, verbose=verbose, decimal=decimal)
    return stream.getvalue()


def test_the_document_says_it_all(plan: Plan) -> None:
    document = plan_document(plan)
    assert document.lead == plan.sentence
    assert document.title == "Plan for the ramp lab"
    assert document.subtitle.startswith("For the teacher only") and plan.title in document.subtitle
    assert [part.heading for part in document.parts][:3] == ["Why", "Where a launch can be made", "What to avoid"]
    assert document.parts[-1].heading == "Cautions"
    bare = plan_document(replace(plan, cautions=(), class_result=None, check=None))
    assert "Nothing in particular." in str(bare)


def test_the_page(plan: Plan) -> None:
    page = write_plan_page(plan)
    assert "Room &lt;12&gt; &amp; #[the blue] *kit*" in page
    assert "<12>" not in page
    assert "<script" not in page
    assert page.count("<svg") == 6  # three pictures, for a desk and for a phone
    for reason in plan.reasons:
        assert reason.split(":")[0][:30] in page.replace("\u00a0", " ")
    assert write_plan_page(plan) == page


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_the_paper_is_tagged(plan: Plan, paper: str) -> None:
    """Typst refuses to write a PDF that breaks PDF/UA-1; the identification and the tags are there (ISO 14289-1, 5 and 7.1)."""
    content = write_plan_paper(plan, paper=paper)
    assert write_plan_paper(plan, paper=paper) == content
    with pikepdf.open(io.BytesIO(content)) as pdf:
        assert bool(pdf.Root.MarkInfo.Marked) is True
        with pdf.open_metadata() as metadata:
            assert metadata["pdfuaid:part"] == "1"
        width = float(pdf.pages[0].MediaBox[2])
        assert width == pytest.approx(595.3 if paper == "a4" else 612.0, abs=0.5)
        assert 3 <= len(pdf.pages) <= 6


def test_another_paper(plan: Plan) -> None:
    with pytest.raises(OutputError, match="no paper size"):
        write_plan_paper(plan, paper="a5")


def test_a_decimal_comma(plan: Plan) -> None:
    page = write_plan_page(plan, decimal=",")
    speed = f"{plan.recommended.set_up.speed:.2f}"
    assert speed.replace(".", ",") in page
    assert f"launch at {speed}" not in page.replace("\u00a0", " ")
    assert speed.replace(".", ",") in printed(plan, decimal=",")


@pytest.mark.parametrize("width", [100, 60])
def test_the_terminal(plan: Plan, width: int) -> None:
    text = printed(plan, width=width)
    flat = " ".join(text.split())
    assert plan.sentence in flat
    assert flat.startswith(f"Plan for the ramp lab: {plan.title} For the teacher only")
    assert plan.best_change in flat
    for caution in plan.cautions:
        assert caution.message in flat
    assert max(map(len, text.splitlines())) <= width
    assert "Bench 6" in text
    assert "The kit, as the plan takes it" not in text
    full = printed(plan, width=width, verbose=True)
    assert "The kit, as the plan takes it" in full
    assert "length of the track" in full
    assert max(map(len, full.splitlines())) <= width


def test_the_tables_hold_together(plan: Plan) -> None:
    for table in (
        bench_table(plan), budget_table(plan), change_table(plan), kit_table(plan), odds_table(plan), prediction_table(plan),
        slope_table(plan),
    ):  # fmt: skip
        assert table.rows
        assert {len(row) for row in table.rows} == {len(table.headings)}
        assert all(column < len(table.headings) for column in table.right)
    slopes = dict((row[0], row[1:]) for row in slope_table(plan).rows)
    assert slopes["5°"] == ("± 10 %", "± 4 %", "± 1.6 %")
    kit = {row[0]: row[1:] for row in kit_table(plan).rows}
    assert kit["length of the track"] == ("1.2 m", "default")
    assert kit["rolling resistance, a guess"][0] == "0.005 ± 0.003"


def test_a_kit_with_strokes_shows_them() -> None:
    kit = make_kit(stiffness="200 N/m", strokes=["3 cm", "4 cm"])
    rows = {row[0]: row[1:] for row in kit_table(make_plan(kit)).rows}
    assert rows["stiffness of the plunger's spring"] == ("200 N/m", "given")
    assert rows["how deep the plunger can be cocked"] == ("3, 4 cm", "given")
    assert not any("release speeds" in entry for entry in rows)


def test_what_the_class_and_the_check_say(plan: Plan) -> None:
    assert plan.class_result is not None
    assert "fits no other bench" in class_sentence(plan)
    close = replace(plan, class_result=replace(plan.class_result, separation=0.4))
    assert "could be exchanged unseen" in class_sentence(close)
    assert class_sentence(replace(plan, class_result=None)) == ""
    assert "3 such benches were simulated" in check_sentence(plan)
    assert plan.check is not None
    failed = replace(plan, check=replace(plan.check, failed=1))
    assert "1 gave no ledger" in check_sentence(failed)
    assert check_sentence(replace(plan, check=None)) == ""


def test_a_bench_that_may_well_miss_its_loss_is_named(plan: Plan) -> None:
    first, *others = plan.assignments
    chances = {"loss": 0.53, "conserved": 0.40, "undecided": 0.07, "gain": 0.0}
    weak = replace(plan, assignments=(replace(first, forecast=replace(first.forecast, mechanical=chances)), *others))
    told = weak_sentence(weak)
    assert f"{first.title} ({first.forecast.set_up.angle:g}°) sees its loss in 53 % of cases" in told
    assert "conserved within 5 % in 40 %, and cannot tell in 7 %" in told
    assert bench_table(weak).rows[0][-1] == "53 %, low"
    assert told in str(plan_document(weak)) and told in " ".join(printed(weak).split())
    sure = {"loss": 0.8, "conserved": 0.2, "undecided": 0.0, "gain": 0.0}
    strong = tuple(replace(item, forecast=replace(item.forecast, mechanical=sure)) for item in plan.assignments)
    assert weak_sentence(replace(plan, assignments=strong)) == ""
    assert bench_table(replace(plan, assignments=strong)).rows[0][-1] == "80 %"


def test_odds_in_words() -> None:
    assert [odds(each) for each in (0.0, 0.004, 0.31, 0.997)] == ["hardly any", "hardly any", "31 %", "nearly all"]
