"""A whole section, one line a bench: what was found, why, and who needs a person."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from joulebook.engine.report import Audit, Severity
from joulebook.errors import JoulebookError
from joulebook.render.numbers import common_places
from joulebook.render.plain import SEVERITY_ORDER
from joulebook.uncertainty import Quantity

__all__ = ["SectionLine", "SectionRow", "section_lines", "section_sentence"]

SectionRow = Audit | Mapping[str, Any] | tuple[str, JoulebookError]

_VERDICTS = {"gain": "gain", "loss": "loss", "conserved": "conserved", "undecided": "cannot tell"}


@dataclass(frozen=True, slots=True)
class SectionLine:
    """One bench of a section.

    title: the bench's title, or its folder where there is none. verdict: a word or two. reason: the relative difference with its
    standard uncertainty, to the same place in all lines, or why there is no ledger. severity: of the worst finding, "note" where
    nobody needs to look. finding: the codes of the findings of that severity, or "" where there are none.
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
    lines, found = [], []
    for row in rows:
        line, quantity = _line(row)
        lines.append(line)
        found.append(quantity)
    shown = iter(_below_each_other(_with_limits([each for each in found if each is not None])))
    return [line if each is None else replace(line, reason=next(shown)) for line, each in zip(lines, found, strict=True)]


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


def _with_limits(quantities: list[Quantity]) -> list[str]:
    """Return each relative difference with half of its coverage interval, in percent, all to the same decimal place."""
    halves = [50.0 * (each.high - each.low) for each in quantities]
    places = min(max(common_places(halves) or 0, 0), 3)
    return [
        f"{100.0 * each.value:.{places}f} ± {half:.{places}f} %".replace("-", "\u2212") if math.isfinite(half) else "–"
        for each, half in zip(quantities, halves, strict=True)
    ]


def _below_each_other(texts: list[str]) -> list[str]:
    """Return numbers with figure spaces in front, so that their points stand below each other."""
    before = [len(re.split(r"[. ]", text, maxsplit=1)[0]) for text in texts]
    return ["\u2007" * (max(before) - count) + text for text, count in zip(texts, before, strict=True)]


def _line(row: SectionRow) -> tuple[SectionLine, Quantity | None]:
    """Return a line, and the relative difference that it is still to show, None where it shows something else."""
    if isinstance(row, Audit):
        return _audited(row.to_dict(), "")
    if isinstance(row, tuple):
        return _failed(row[0], row[1].to_dict()), None
    folder = str(row.get("folder", ""))
    if "audit" in row or "verdict" in row:
        return _audited(row.get("audit", row), folder)
    return _failed(folder, row.get("error", {})), None


def _failed(folder: str, error: Mapping[str, Any]) -> SectionLine:
    return SectionLine(folder, "no ledger", str(error.get("message", "")), "stop", "")


def _audited(audit: Mapping[str, Any], folder: str) -> tuple[SectionLine, Quantity | None]:
    findings = audit["findings"]
    severity: Severity = min((finding["severity"] for finding in findings), key=SEVERITY_ORDER.index, default="note")
    codes = list(dict.fromkeys(finding["code"] for finding in findings if finding["severity"] == severity))
    found = audit["quantities"].get("relative_difference")
    reason, quantity = "", None
    verdict = _VERDICTS[audit["verdict"]["mechanical"]]
    if isinstance(found, Mapping) and audit["verdict"]["resolution"] is None:
        verdict, reason = "do not use", "–"  # every launch is stopped: what the ledger shows is not to be read off a table
    elif isinstance(found, Mapping):
        quantity = Quantity(**{**found, "dof": math.inf if found["dof"] is None else found["dof"]})
    else:
        verdict = "no ledger"
        reason = str(audit["verdict"]["sentence"])
    return SectionLine(str(audit["bench"]["title"]) or folder, verdict, reason, severity, ", ".join(codes)), quantity
