"""A plan as a document for the page and the paper: the recommendation, why, what to avoid, and each bench's own set-up."""

from __future__ import annotations

from joulebook.experiments.ramp_plan import Plan
from joulebook.render.decimal_sign import signed
from joulebook.render.document import Block, Document, Drawing, Grid, Items, Labelled, Part, Text
from joulebook.render.document import write_document_page as _page
from joulebook.render.document import write_document_paper as _paper
from joulebook.render.plain import clean_text
from joulebook.render.plan_pictures import draw_path, draw_region, draw_trace
from joulebook.render.plan_tables import (
    PLAN_READER,
    PLAN_TITLE,
    bench_table,
    budget_table,
    change_table,
    check_sentence,
    class_sentence,
    kit_table,
    odds_table,
    prediction_table,
    slope_table,
    weak_sentence,
)
from joulebook.render.words import CAUTIONS, CAUTIONS_LABEL

__all__ = ["METHOD", "plan_document", "write_plan_page", "write_plan_paper"]

METHOD: tuple[tuple[str, str], ...] = (
    ("The motion", (
        "Climb and descent of every flight that the record is meant to hold, with rolling resistance, wheels and drag, in the "
        "closed forms that the audit fits; the flights after the first start with the kit's restitution."
    )),
    ("What the samples can tell", (
        "The Fisher information of that motion at the sample times, averaged over where the release falls between two samples, "
        "gives the covariance that the audit's least-squares fit will reach. What the audit adds, because it judges the noise "
        "from its own residuals, is added here too."
    )),
    ("The uncertainty", (
        "That covariance and every input with its distribution go through the audit's own energy model, linearly (GUM, "
        "clause 5), "
        "for all set-ups at once."
    )),
    ("The odds", (
        "The error of a bench is taken as the sum of its largest limits, rectangular, and a normal rest; the verdict follows by "
        "the audit's own rule. The rolling resistance of a bench is drawn from the kit's guess. The odds hold for benches with "
        "nothing wrong: no slipped clamp, no typing slip."
    )),
)  # fmt: skip


def write_plan_page(plan: Plan, *, decimal: str = ".") -> str:
    """Return a plan as one HTML file that loads nothing. decimal: the decimal sign, "." or ","."""
    return _page(signed(plan_document(plan), decimal))


def write_plan_paper(plan: Plan, *, paper: str = "a4", decimal: str = ".") -> bytes:
    """Return a plan as a tagged PDF (PDF/UA-1). paper: "a4" or "us-letter". decimal: the decimal sign.

    Raises OutputError for another paper.
    """
    return _paper(signed(plan_document(plan), decimal), paper=paper)


def plan_document(plan: Plan) -> Document:
    """Return everything that a plan says, in the order in which a teacher reads it."""
    benches: list[Block] = [Grid(bench_table(plan))]
    weak = weak_sentence(plan)
    if weak:
        benches.append(Text(weak))
    told = class_sentence(plan)
    if told:
        benches.insert(0, Text(told))
    check = check_sentence(plan)
    avoid: tuple[Block, ...] = (
        (Items(tuple(clean_text(each.message) for each in plan.cautions)),)
        if plan.cautions
        else (Text("Nothing in particular."),)
    )
    looked = f"{plan.points} set-ups were looked at; {plan.usable} of them fit the track, the ranger and the lesson."
    parts = [
        Part(
            "Why",
            (
                Items(tuple(map(clean_text, plan.reasons))),
                Labelled(
                    (
                        (
                            "What limits it",
                            clean_text(plan.limit).removeprefix("What limits it is ")[:1].upper()
                            + clean_text(plan.limit).removeprefix("What limits it is ")[1:],
                        ),
                        ("The one change that helps most", clean_text(plan.best_change)),
                    )
                ),
                Grid(odds_table(plan)),
            ),
        ),
        Part("Where a launch can be made", (Text(looked), Drawing(draw_region(plan)))),
        Part("What to avoid", avoid),
        Part("What to expect", (Drawing(draw_trace(plan)), Grid(prediction_table(plan)))),
        Part(
            "How a bench gets better",
            (Drawing(draw_path(plan)), Grid(change_table(plan)), Grid(slope_table(plan)), Grid(budget_table(plan))),
        ),
        Part("Each bench its own set-up", tuple(benches)),
        Part("The kit", (Grid(kit_table(plan)),)),
        Part("How we know", (Labelled(METHOD), *((Text(check),) if check else ()))),
        Part("Cautions", (Text(CAUTIONS_LABEL), Items(CAUTIONS))),
    ]
    return Document(PLAN_TITLE, f"{PLAN_READER} – {clean_text(plan.title)}", clean_text(plan.sentence), tuple(parts))
