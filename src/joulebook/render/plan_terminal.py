"""A plan in the terminal: the recommendation as a sentence, why, what to avoid, and each bench's set-up."""

from __future__ import annotations

from typing import TYPE_CHECKING

from joulebook.experiments.ramp_plan import Plan
from joulebook.render.contents import Table
from joulebook.render.decimal_sign import with_decimal
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
from joulebook.render.screen import Screen

if TYPE_CHECKING:
    from rich.console import Console

__all__ = ["show_plan"]


def show_plan(plan: Plan, console: Console | None = None, *, verbose: bool = False, decimal: str = ".") -> None:
    """Print a plan.

    console: where to; the standard output when None. verbose: also the predictions, the budget, the slopes, the kit. decimal: the
    decimal sign.
    """
    screen = Screen(console)

    def say(text: str) -> str:
        return with_decimal(text, decimal)

    screen.paragraph(f"{PLAN_TITLE}: {plan.title}")
    screen.paragraph(f"{PLAN_READER}.")
    screen.paragraph(say(plan.sentence), "bold")
    screen.heading("Why")
    for reason in (*plan.reasons, plan.limit):
        screen.line(say(reason), hang=2)
    screen.heading("The one change that helps most")
    screen.line(say(plan.best_change))
    if plan.cautions:
        screen.heading("What to avoid")
        for caution in plan.cautions:
            screen.line(say(caution.message), hang=2)
    screen.heading("How a bench gets better (expected loss over its standard uncertainty)")
    screen.columns([(say(f"{step.ratio:.1f}"), step.reading, step.what) for step in plan.path])
    screen.heading("Each bench its own set-up")
    table = bench_table(plan)
    _print(screen, Table(table.caption, tuple(table.headings), table.rows, table.right), say)
    for told in (weak_sentence(plan), class_sentence(plan)):
        if told:
            screen.line(say(told))
    tables = (
        odds_table(plan),
        prediction_table(plan),
        change_table(plan),
        slope_table(plan),
        budget_table(plan),
        kit_table(plan),
    )
    for extra in tables if verbose else ():
        screen.heading(extra.caption)
        _print(screen, extra, say)
    check = check_sentence(plan)
    if check:
        screen.heading("Checked")
        screen.line(say(check))
    left = f", {len(plan.kit.defaults)} entries of it left to the defaults" if plan.kit.defaults else ""
    screen.paragraph(f"{plan.points} set-ups of this kit{left} were looked at; {plan.usable} of them can be used.")


def _print(screen: Screen, table: Table, say: object) -> None:
    """Print a table; where the terminal is too narrow each row becomes a few lines."""
    assert callable(say)
    rows = [tuple(say(cell) for cell in row) for row in table.rows]
    widths = [max(len(row[column]) for row in (table.headings, *rows)) for column in range(len(table.headings))]
    if sum(widths) + 2 * len(widths) + 2 <= screen.width:
        screen.columns(
            [table.headings, *rows],
            right=[column for column in table.right if column < len(widths) - 1],
            first=max(widths[0], 12),
        )
        return
    for row in rows:
        cells = [f"{heading}: {cell}" for heading, cell in zip(table.headings[1:], row[1:], strict=True) if cell]
        screen.line(row[0])
        screen.line("; ".join(cells), indent=4)
