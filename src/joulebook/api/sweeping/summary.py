"""What came of a sweep as a whole: benches by verdict, by finding and by what kept them from being audited."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

__all__ = ["FORMAT", "SweepSummary"]

FORMAT = "joulebook/sweep-summary-1"

_VERDICTS = ("conserved", "loss", "gain", "undecided")
_NAMED = 5


@dataclass(slots=True)
class SweepSummary:
    """Counts of benches, filled row by row.

    benches: all of them. verdicts, accounts: audited ones by word. findings: by code, a bench once for each code.
    severities: by the gravest finding. errors: benches without an audit by code. refused: the first few of these by name.
    """

    benches: int = 0
    verdicts: Counter[str] = field(default_factory=Counter)
    accounts: Counter[str] = field(default_factory=Counter)
    findings: Counter[str] = field(default_factory=Counter)
    severities: Counter[str] = field(default_factory=Counter)
    errors: Counter[str] = field(default_factory=Counter)
    refused: list[str] = field(default_factory=list)

    @property
    def not_audited(self) -> int:
        """The number of benches without an audit."""
        return self.errors.total()

    def add(self, row: Mapping[str, Any]) -> None:
        """Count a bench. row: its flat row (`rows.COLUMNS`)."""
        self.benches += 1
        if not row["audited"]:
            self.errors[row["error_code"]] += 1
            if len(self.refused) < _NAMED:
                self.refused.append(row["bench"])
            return
        self.verdicts[row["verdict"]] += 1
        self.accounts[row["account"]] += 1
        self.findings.update(row["findings"])
        if row["severity"] is not None:
            self.severities[row["severity"]] += 1

    def to_dict(self) -> dict[str, object]:
        """Return the summary as plain JSON types, the most frequent first."""
        return {
            "format": FORMAT,
            "benches": self.benches,
            "audited": self.benches - self.not_audited,
            "not_audited": self.not_audited,
            "verdicts": {word: self.verdicts[word] for word in _VERDICTS},
            "accounts": {word: self.accounts[word] for word in ("closed", "open", "undecided")},
            "severities": {word: self.severities[word] for word in ("stop", "look", "note")},
            "findings": _sorted(self.findings),
            "errors": _sorted(self.errors),
        }

    def sentences(self) -> list[str]:
        """Return the summary in a few lines: verdicts, findings, and what was not audited."""
        verdicts = ", ".join(f"{self.verdicts[word]:,} {word}" for word in _VERDICTS if self.verdicts[word])
        parts = [f"{self.benches:,} bench{'' if self.benches == 1 else 'es'}: {verdicts or 'none audited'}"]
        if look := self.severities["stop"] + self.severities["look"]:
            parts.append(f"{look:,} to look at first")
        if self.not_audited:
            more = ", …" if self.not_audited > len(self.refused) else ""
            parts.append(f"{self.not_audited:,} not audited ({', '.join(self.refused)}{more})")
        lines = ["; ".join(parts) + "."]
        for title, counts in (("Findings", self.findings), ("Not audited", self.errors)):
            if counts:
                lines.append(f"{title}: {', '.join(f'{code} {count:,}' for code, count in _sorted(counts).items())}.")
        return lines


def _sorted(counts: Counter[str]) -> dict[str, int]:
    """Return counts with the largest first, equal ones by name."""
    return dict(sorted(counts.items(), key=lambda each: (-each[1], each[0])))
