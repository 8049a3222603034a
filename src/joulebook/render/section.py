"""A whole section, one line a bench: what was found, why, and who needs a person."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from joulebook.engine.report import Audit, Severity
from joulebook.errors import JoulebookError
from joulebook.render.numbers import interval_text
from joulebook.render.plain import SEVERITY_ORDER
from joulebook.uncertainty import Quantity

__all__ = ["SectionLine", "SectionRow", "section_lines", "section_sentence"]

SectionRow = Audit | Mapping[str, Any] | tuple[str, JoulebookError]

_VERDICTS = {"gain": "gain", "loss": "loss", "conserved": "conserved", "undecided": "cannot tell"}


@dataclass(frozen=True, slots=True)
class SectionLine:
    """One bench of a section.

    title: the bench's title, or its folder where there is none. verdict: a word or two. reason: the interval of the relative
    difference, or why there is no ledger. severity: of the worst finding, "note" where nobody needs to look. finding: the codes
    of the findings of that severity, or "" where there are none.
    """

    title: str
    verdict: str
    reason: str
    severity: Severity
    finding: str


def section_lines(rows: Iterable[SectionRow]) -> list[SectionLine]:
    """Return a line a bench, in the order given.

    rows: audits, lines of `joulebook sweep` as mappings, or (folder, error) for a bench that could not be analysed.
    """
    return [_line(row) for row in rows]


def section_sentence(lines: list[SectionLine]) -> str:
    """Return one sentence that says how many benches there are and which of them need a person."""
    benches = "1 bench" if len(lines) == 1 else f"{len(lines)} benches"
    first = [line.title for line in lines if line.severity == "stop"]
    then = [line.title for line in lines if line.severity == "look"]
    if not lines:
        return "No benches."
    if not first and not then:
        return f"{benches}; nobody needs to be visited first."
    parts = []
    if first:
        parts.append(f"go first to {_list(first)}")
    if then:
        parts.append(f"{'then ' if first else ''}look at {_list(then)}")
    return f"{benches}: {', '.join(parts)}."


def _list(titles: list[str]) -> str:
    return titles[0] if len(titles) == 1 else f"{', '.join(titles[:-1])} and {titles[-1]}"


def _line(row: SectionRow) -> SectionLine:
    if isinstance(row, Audit):
        return _audited(row.to_dict(), "")
    if isinstance(row, tuple):
        return _failed(row[0], row[1].to_dict())
    folder = str(row.get("folder", ""))
    if "audit" in row or "verdict" in row:
        return _audited(row.get("audit", row), folder)
    return _failed(folder, row.get("error", {}))


def _failed(folder: str, error: Mapping[str, Any]) -> SectionLine:
    return SectionLine(folder, "no ledger", str(error.get("message", "")), "stop", "")


def _audited(audit: Mapping[str, Any], folder: str) -> SectionLine:
    findings = audit["findings"]
    severity: Severity = min((finding["severity"] for finding in findings), key=SEVERITY_ORDER.index, default="note")
    codes = list(dict.fromkeys(finding["code"] for finding in findings if finding["severity"] == severity))
    found = audit["quantities"].get("relative_difference")
    reason = "no ledger"
    verdict = _VERDICTS[audit["verdict"]["mechanical"]]
    if isinstance(found, Mapping) and audit["verdict"]["resolution"] is None:
        verdict, reason = "do not use", "–"  # every launch is stopped: what the ledger shows is not to be read off a table
    elif isinstance(found, Mapping):
        known = {**found, "dof": math.inf if found["dof"] is None else found["dof"]}
        reason = interval_text("relative_difference", Quantity(**known))
    else:
        verdict = "no ledger"
        reason = str(audit["verdict"]["sentence"])
    return SectionLine(str(audit["bench"]["title"]) or folder, verdict, reason, severity, ", ".join(codes))
