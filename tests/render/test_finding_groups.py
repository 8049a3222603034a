"""What several launches of a bench show alike is told once, and nothing that was found is left out of it."""

from __future__ import annotations

import io
from dataclasses import replace

from rich.console import Console
from tests.render.sample_audit import sample_audit

from joulebook.engine.report import Audit, Finding
from joulebook.render.contents import compose
from joulebook.render.finding_groups import grouped_findings
from joulebook.render.notebook import display_html
from joulebook.render.terminal import show


def found(code: str, severity: str, record: str, body: str) -> Finding:
    message, evidence = (f"{record}: {body}", {"record": record}) if record else (body, {})
    return Finding(code, severity, message, f"Mend {code}.", evidence)  # type: ignore[arg-type]


def audit_with(*findings: Finding) -> Audit:
    return replace(sample_audit(), findings=findings)


GHOSTS = (
    found("ghost-echo", "look", "launch-1.csv", "39 readings are not the cart, the first at 0.28 s."),
    found("wrong-side", "look", "launch-1.csv", "the ranger stands at the top."),
    found("ghost-echo", "look", "launch-2.csv", "7 readings are not the cart, the first at 1.04 s."),
    found("wrong-side", "look", "launch-2.csv", "the ranger stands at the top."),
    found("ghost-echo", "look", "launch-3.csv", "39 readings are not the cart, the first at −0.10 s."),
    found("no-rest", "note", "", "There is no rest record."),
)


def test_launches_that_show_the_same_are_told_of_once() -> None:
    ghost, side, rest = grouped_findings(audit_with(*GHOSTS))
    assert ghost.message == (
        "launch-1.csv, launch-2.csv and launch-3.csv: 7 to 39 readings are not the cart, the first at −0.10 to 1.04 s."
    )
    assert ghost.remedy == "Mend ghost-echo."
    assert ghost.evidence == {"records": ["launch-1.csv", "launch-2.csv", "launch-3.csv"]}
    assert side.message == "launch-1.csv and launch-2.csv: the ranger stands at the top."
    assert rest is GHOSTS[-1]


def test_other_words_follow_and_other_severities_stay_apart() -> None:
    one = found("ghost-echo", "look", "launch-4.csv", "1 reading is not the cart, at 0.50 s.")
    mild = found("ghost-echo", "note", "launch-5.csv", "1 reading is not the cart, at 0.70 s.")
    first, second = grouped_findings(audit_with(mild, *GHOSTS[::2], one))[:2], grouped_findings(audit_with(mild, one))
    assert first[0].message.endswith("to 1.04 s. launch-4.csv: 1 reading is not the cart, at 0.50 s.")
    assert [item.severity for item in second] == ["look", "note"]
    assert second == [one, mild]


def test_findings_about_the_bench_are_never_joined() -> None:
    twice = (found("units-suspect", "look", "", "10 times off."), found("units-suspect", "look", "", "100 times off."))
    assert grouped_findings(audit_with(*twice)) == list(twice)


def test_a_record_named_like_a_number_keeps_its_name() -> None:
    both = (found("clock", "look", "1.csv", "2 of 50 times repeat."), found("clock", "look", "10.csv", "3 of 50 times repeat."))
    (joint,) = grouped_findings(audit_with(*both))
    assert joint.message == "1.csv and 10.csv: 2 to 3 of 50 times repeat."


def test_terminal_page_and_notebook_tell_it_once_and_the_json_for_each_record() -> None:
    audit = audit_with(*GHOSTS)
    stream = io.StringIO()
    show(audit, Console(file=stream, width=100))
    assert stream.getvalue().count("Mend ghost-echo.") == 1
    told = compose(audit)
    assert [item.code for item in told.findings] == ["ghost-echo", "wrong-side", "no-rest"]
    assert told.findings_sentence.startswith("2 ×")
    assert display_html(audit).count("Mend ghost-echo.") == 1
    assert [item["code"] for item in audit.to_dict()["findings"]].count("ghost-echo") == 3  # type: ignore[attr-defined]
