"""The notebook card: well-formed, without anything active, and with the audit's numbers."""

from __future__ import annotations

from dataclasses import replace
from html.parser import HTMLParser

import pytest
from tests.render.exact_audit import exact_audit
from tests.render.sample_audit import sample_audit, sample_stopped

from joulebook.engine.report import Audit, Finding
from joulebook.render.notebook import display_bundle, display_html
from joulebook.render.numbers import value_with_u


class Card(HTMLParser):
    """Collects elements, attributes and text, and notices what is not closed."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[str] = []
        self.attributes: list[str] = []
        self.texts: list[str] = []
        self._open: list[str] = []
        self.feed(html)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append(tag)
        self.attributes += [name for name, _ in attrs]
        self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    @property
    def text(self) -> str:
        return " ".join("".join(self.texts).split())


@pytest.mark.parametrize(
    "audit", [sample_audit(), exact_audit(descent=False, restitution=()), sample_stopped()], ids=["full", "bare", "stopped"]
)
def test_nothing_active_and_well_formed(audit: Audit) -> None:
    card = Card(display_html(audit))
    assert set(card.elements) <= {
        "section",
        "p",
        "strong",
        "ul",
        "li",
        "span",
        "table",
        "caption",
        "thead",
        "tbody",
        "tr",
        "th",
        "td",
    }
    assert set(card.attributes) <= {"lang", "style", "scope", "aria-hidden"}
    assert audit.verdict.sentence in card.text


def test_the_ledger_and_the_findings_are_told() -> None:
    audit = sample_audit()
    card = Card(display_html(audit))
    for name in ("kinetic_energy", "relative_difference", "unaccounted"):
        assert value_with_u(name, audit.quantity(name)) in card.texts
    assert card.elements.count("tr") == 9
    assert "Stop: too-close. launch-3.csv: the cart came within 0.14 m" in card.text
    assert card.text.index("Stop: too-close") < card.text.index("Look first: angle-suspect")
    assert "2 notes more in the full report." in card.text and "ghost-echo" not in card.text
    assert "Largest influence: stated slope, 79 % of the variance." in card.text


@pytest.mark.parametrize(
    "text", ["<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "&lt;b&gt;", "[bold]", "=cmd()", "</section>"]
)
def test_hostile_text_is_shown_as_text(text: str) -> None:
    audit = sample_audit()
    finding = Finding(text, "look", text, text)
    hostile = replace(audit, title=text, verdict=replace(audit.verdict, sentence=text), findings=(finding,))
    card = Card(display_html(hostile))
    assert "script" not in card.elements and "img" not in card.elements and "onerror" not in card.attributes
    assert card.texts.count(text) >= 2
    assert card.elements.count("section") == 1


def test_no_ledger_no_table() -> None:
    card = Card(display_html(sample_stopped()))
    assert "table" not in card.elements and "Stop: cut-short." in card.text
    assert "nan" not in card.text


def test_the_bundle_has_both_forms_and_gives_what_is_asked_for() -> None:
    audit = sample_audit()
    bundle = display_bundle(audit)
    assert set(bundle) == {"text/html", "text/plain"}
    assert bundle["text/html"] == display_html(audit)
    assert bundle["text/plain"].startswith(audit.title) and "\x1b" not in bundle["text/plain"]
    assert set(display_bundle(audit, include=["text/plain"])) == {"text/plain"}
    assert set(display_bundle(audit, exclude=["text/plain"])) == {"text/html"}
    assert display_bundle(audit, include=["image/png"]) == {}


def test_one_note_is_singular() -> None:
    audit = replace(sample_audit(), findings=(Finding("no-rest", "note", "m", "r"),))
    assert "1 note more in the full report." in Card(display_html(audit)).text
