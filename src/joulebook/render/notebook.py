"""A result as a notebook shows it: a short card with the verdict, the ledger and what needs a person.

To be attached to the audit by the public API. Either `_repr_html_` returns `display_html(self)`, or, better, `_repr_mimebundle_`
returns `display_bundle(self)`: a front end that shows no HTML then gets the plain text. A notebook cleans what it does not trust:
no scripts, no event handlers, no style sheets and no outside pictures are used, and the few inline styles can go without loss.
Colours are the notebook's own, so that dark themes work.
"""

from __future__ import annotations

import io
from collections.abc import Collection
from html import escape

from joulebook.engine.report import Audit
from joulebook.render.finding_groups import grouped_findings
from joulebook.render.numbers import interval_text, value_with_u
from joulebook.render.plain import clean_text, quantities_in_order
from joulebook.render.planned import PLANNED_QUESTION, planned_notice
from joulebook.render.several_runs import RUNS_QUESTION, runs_notice
from joulebook.render.words import LEDGER_ORDER, SEVERITY_WORDS, input_words, quantity_words

__all__ = ["display_bundle", "display_html"]

_CARD = "border:1px solid currentColor;border-radius:4px;padding:0.6em 1em;max-width:46em"
_LEFT = "text-align:left;padding:0.1em 1em 0.1em 0"
_RIGHT = "text-align:right;padding:0.1em 1em 0.1em 0;white-space:nowrap"
_TEXT_WIDTH = 80


def display_html(audit: Audit) -> str:
    """Return a short summary as a piece of HTML; all text from files and bench descriptions is escaped."""
    parts = [
        f'<section lang="en" style="{_CARD}">',
        f"<p>{_text(audit.title)}</p>",
        f"<p><strong>{_text(audit.verdict.sentence)}</strong></p>",
        *_planned(audit),
        *_findings(audit),
        *_ledger(audit),
        *_largest(audit),
        "</section>",
    ]
    return "\n".join(parts)


def display_bundle(
    audit: Audit, include: Collection[str] | None = None, exclude: Collection[str] | None = None
) -> dict[str, str]:
    """Return the audit by MIME type, as the notebook's `_repr_mimebundle_` protocol asks for it.

    include, exclude: MIME types that are wanted or not; None leaves the choice open.
    """
    makers = {"text/html": display_html, "text/plain": _plain}
    return {
        kind: make(audit)
        for kind, make in makers.items()
        if (include is None or kind in include) and (exclude is None or kind not in exclude)
    }


def _plain(audit: Audit) -> str:
    from rich.console import Console

    from joulebook.render.terminal import show

    stream = io.StringIO()
    show(audit, Console(file=stream, width=_TEXT_WIDTH, color_system=None, force_terminal=False, legacy_windows=False))
    return stream.getvalue()


def _text(text: str) -> str:
    return escape(clean_text(text))


def _planned(audit: Audit) -> list[str]:
    notice = planned_notice(audit)
    told = [(PLANNED_QUESTION, notice), (RUNS_QUESTION, runs_notice(audit))]
    return [f"<p><strong>{question}.</strong> {_text(answer)}</p>" for question, answer in told if answer]


def _findings(audit: Audit) -> list[str]:
    findings = grouped_findings(audit)
    first = [finding for finding in findings if finding.severity != "note"]
    notes = len(findings) - len(first)
    lines = []
    if first:
        lines.append("<ul>")
        for finding in first:
            words = SEVERITY_WORDS[finding.severity]
            head = f'<span aria-hidden="true">{words.mark}</span> <strong>{words.word}: {_text(finding.code)}.</strong>'
            lines.append(f"<li>{head} {_text(finding.message)} {_text(finding.remedy)}</li>")
        lines.append("</ul>")
    if notes:
        lines.append(f"<p>{notes} {'note' if notes == 1 else 'notes'} more in the full report.</p>")
    return lines


def _ledger(audit: Audit) -> list[str]:
    quantities = quantities_in_order(audit, LEDGER_ORDER)
    if not quantities:
        return []
    coverage = f"{100 * quantities[0][1].coverage:g} % interval"
    heads = "".join(
        f'<th scope="col" style="{style}">{head}</th>' for head, style in (("", _LEFT), ("value (u)", _RIGHT), (coverage, _LEFT))
    )
    lines = [
        "<table>",
        "<caption>Energy from release to apex; in brackets the standard uncertainty u of the last digits.</caption>",
        f"<thead><tr>{heads}</tr></thead>",
        "<tbody>",
    ]
    for name, quantity in quantities:
        lines.append(
            f'<tr><th scope="row" style="{_LEFT}">{escape(quantity_words(name).label)}</th>'
            f'<td style="{_RIGHT}">{escape(value_with_u(name, quantity))}</td>'
            f'<td style="{_LEFT}">{escape(interval_text(name, quantity))}</td></tr>'
        )
    return [*lines, "</tbody>", "</table>"]


def _largest(audit: Audit) -> list[str]:
    lines = audit.budgets.get("relative_difference", ())
    if not lines:
        return []
    largest = max(lines, key=lambda line: line.share)
    return [f"<p>Largest influence: {_text(input_words(largest.input).label)}, {100 * largest.share:.0f} % of the variance.</p>"]
