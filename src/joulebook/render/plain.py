"""What the reports in plain text share: text that is safe to print, and the order in which things are told."""

from __future__ import annotations

import unicodedata

from joulebook.engine.report import Audit, Finding
from joulebook.uncertainty import Quantity

__all__ = ["SEVERITY_ORDER", "clean_text", "first_sentence", "quantities_in_order", "sorted_findings", "spreadsheet_text"]

SEVERITY_ORDER = ("stop", "look", "note")


def clean_text(text: str) -> str:
    """Return text without characters that could steer a terminal or turn the reading direction; line ends become spaces."""
    spaced = "".join(" " if character in "\n\r\t\v\f\x85\u2028\u2029" else character for character in text)
    return "".join(character for character in spaced if unicodedata.category(character) not in ("Cc", "Cf", "Cs"))


def first_sentence(text: str) -> str:
    """Return the first sentence of a text, with its full stop; "" of an empty one."""
    first = text.split(". ")[0].rstrip(".")
    return f"{first}." if first else ""


def spreadsheet_text(text: str) -> str:
    """Return text that a spreadsheet shows and never runs: what it would take for a formula is preceded by an apostrophe.

    Common practice against formula injection (OWASP, CSV Injection).
    """
    text = clean_text(text)
    return f"'{text}" if text.lstrip().startswith(("=", "+", "-", "@")) else text


def quantities_in_order(audit: Audit, names: tuple[str, ...]) -> list[tuple[str, Quantity]]:
    """Return (name, quantity) for those of `names` that the audit holds as single quantities, in that order."""
    found = ((name, audit.quantities.get(name)) for name in names)
    return [(name, quantity) for name, quantity in found if isinstance(quantity, Quantity)]


def sorted_findings(audit: Audit) -> list[Finding]:
    """Return the findings by severity, the worst first, in the audit's order within each."""
    return sorted(audit.findings, key=lambda finding: SEVERITY_ORDER.index(finding.severity))
