"""Findings as they are told: one entry a code and severity, though several launches of a bench show the same."""

from __future__ import annotations

import re
from collections.abc import Sequence

from joulebook.engine.report import Audit, Finding
from joulebook.render.plain import sorted_findings

__all__ = ["grouped_findings"]

_NUMBER = re.compile(r"(?<![\w.])[−-]?\d+(?:\.\d+)?")


def grouped_findings(audit: Audit) -> list[Finding]:
    """Return the findings, the worst first, with those of one code and severity about several records put together.

    "a.csv: 3 readings are …" and "b.csv: 7 readings are …" become "a.csv and b.csv: 3 to 7 readings are …"; what is said in other
    words follows after it. The evidence of a joint finding holds the names of its records. The audit keeps one for each record.
    """
    groups: dict[object, list[Finding]] = {}
    for place, finding in enumerate(sorted_findings(audit)):
        own = str(finding.evidence.get("record", ""))
        about_record = bool(own) and finding.message.startswith(f"{own}: ")
        groups.setdefault((finding.severity, finding.code) if about_record else place, []).append(finding)
    return [_joint(group) if len(group) > 1 else group[0] for group in groups.values()]


def _joint(group: Sequence[Finding]) -> Finding:
    """Return one finding for several about different records."""
    alike: dict[str, list[tuple[str, str]]] = {}
    for finding in group:
        record = str(finding.evidence["record"])
        body = finding.message[len(record) + 2 :]
        alike.setdefault(_NUMBER.sub("0", body), []).append((record, body))
    told = [f"{_listed([record for record, _ in each])}: {_ranged([body for _, body in each])}" for each in alike.values()]
    records = [str(finding.evidence["record"]) for finding in group]
    return Finding(group[0].code, group[0].severity, " ".join(told), group[0].remedy, {"records": records})


def _listed(names: Sequence[str]) -> str:
    names = list(dict.fromkeys(names))
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _ranged(bodies: Sequence[str]) -> str:
    """Return the one sentence that these are, with ranges where their numbers differ."""
    columns = zip(*(_NUMBER.findall(body) for body in bodies), strict=True)
    ranges = iter([_range(column) for column in columns])
    return _NUMBER.sub(lambda _: next(ranges), bodies[0])


def _range(numbers: Sequence[str]) -> str:
    low, high = (bound(numbers, key=lambda text: float(text.replace("−", "-"))) for bound in (min, max))
    return low if float(low.replace("−", "-")) == float(high.replace("−", "-")) else f"{low} to {high}"
