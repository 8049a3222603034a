"""The kit check: what a preparation run on every bench says, what has changed, which bench stands out, and which needs service.

    check = check_benches([(folder, bench, audit), …], date=date(2031, 9, 1), against=last_check(history))
    print(check.sentence)

A bench needs service for one of four reasons, each said in words: a value beyond what such kit does, a change since the last
check that is significant and large enough to matter, a value that stands out from the class, or a finding of the audit.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from statistics import median
from typing import Literal

from joulebook.engine.bench import Bench
from joulebook.engine.report import Audit, Finding
from joulebook.errors import InputError, JoulebookError
from joulebook.planning.kit_history import FORMAT, StoredBench, StoredCheck
from joulebook.planning.kit_measures import Measure, measure_kit
from joulebook.planning.kit_reasons import Reason, bounds_reason, change_reason, class_reason, finding_reason, slope_reason
from joulebook.planning.kit_statistics import Standing, change_probability, holm, standings
from joulebook.planning.kit_table import KIT_MEASURES
from joulebook.planning.kit_words import check_sentence, shown_value

__all__ = ["FAMILY", "NEEDS", "BenchCheck", "Change", "KitCheck", "check_benches"]

Need = Literal["service", "unknown", "watch", "fine"]
NEEDS: tuple[Need, ...] = ("service", "unknown", "watch", "fine")

FAMILY = 0.05
"""How often a check in which nothing has changed may name a change, and a class of equal benches one that stands out."""

_OUT_OF_RANGE = ("too-close", "too-far")
"""Findings that explain lost readings better than their share does."""

CheckedBench = tuple[str, Bench, Audit] | tuple[str, JoulebookError]


@dataclass(frozen=True, slots=True)
class Change:
    """One measure against the last check. before: its value then. difference: now less then; of a scatter, the ratio now to then.

    probability: of such a change by chance, by itself; adjusted: among all comparisons of this check (Holm). NaN: not compared.
    """

    before: Measure
    difference: float
    probability: float
    adjusted: float = math.nan


@dataclass(frozen=True, slots=True)
class BenchCheck:
    """One bench of a kit check.

    title, folder: which bench. measures: by name. missing: why a measure is not there, by name. changes: against the last check.
    scores: z′ in the class, by measure. findings: of the audit. need: "service", "unknown" (the run cannot be judged), "watch" or
    "fine". reasons: why, the weightiest first. error: why the bench could not be audited, "" where it was.
    """

    title: str
    folder: str
    measures: Mapping[str, Measure] = field(default_factory=dict)
    missing: Mapping[str, str] = field(default_factory=dict)
    changes: Mapping[str, Change] = field(default_factory=dict)
    scores: Mapping[str, float] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    need: Need = "fine"
    reasons: tuple[Reason, ...] = ()
    error: str = ""

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object of one bench."""
        specs = {spec.name: spec for spec in KIT_MEASURES}
        return {
            "bench": self.title,
            "folder": self.folder,
            "need": self.need,
            "reasons": [reason.to_dict() for reason in self.reasons],
            "measures": {
                name: {**measure.to_dict(), "shown": shown_value(specs[name], measure)} for name, measure in self.measures.items()
            },
            "missing": dict(self.missing),
            "changes": {
                name: {
                    "before": change.before.value,
                    "before_shown": shown_value(specs[name], change.before),
                    "difference": change.difference,
                    "probability": _known(change.probability),
                    "adjusted": _known(change.adjusted),
                }
                for name, change in self.changes.items()
            },
            "scores": dict(self.scores),
            "findings": [finding.to_dict() for finding in self.findings],
            "error": self.error,
        }


@dataclass(frozen=True, slots=True)
class KitCheck:
    """A kit check. benches: sorted by need. standings: how the class lies, by measure. against: the check it is compared with.

    sentence: which benches need service, in one sentence.
    """

    date: datetime.date
    benches: tuple[BenchCheck, ...]
    standings: Mapping[str, Standing]
    sentence: str
    against: datetime.date | None = None

    def to_dict(self) -> dict[str, object]:
        """Return the JSON form `joulebook/kit-check-1`; it holds all that a page needs, words included."""
        return {
            "format": FORMAT,
            "date": self.date.isoformat(),
            "compared_with": None if self.against is None else self.against.isoformat(),
            "sentence": self.sentence,
            "measures": [
                {"name": spec.name, "label": spec.label, "unit": spec.unit, "factor": spec.factor, "meaning": spec.meaning}
                for spec in KIT_MEASURES
            ],
            "class": {
                name: {
                    "median": standing.median,
                    "made": standing.made,
                    "u": standing.u,
                    "benches": standing.benches,
                    "limit": standing.limit,
                    "logarithmic": standing.logarithmic,
                }
                for name, standing in self.standings.items()
            },
            "benches": [bench.to_dict() for bench in self.benches],
        }


def check_benches(benches: Sequence[CheckedBench], *, date: datetime.date, against: StoredCheck | None = None) -> KitCheck:
    """Return the kit check of these benches, sorted by need.

    benches: (folder, bench, audit) each, or (folder, error) for one that could not be audited. date: the day of the run.
    against: an earlier check. Raises InputError when there is no bench, or the earlier check is not earlier.
    """
    if not benches:
        raise InputError("There is no bench to check.", remedy="Name the folder that holds the bench folders.")
    if against is not None and against.date >= date:
        raise InputError(
            f"The check to compare with is of {against.date.isoformat()}, and this one of {date.isoformat()}.",
            remedy="Give this check's own day with --date, or an earlier check.",
        )
    measured = [_measured(each) for each in benches]
    if against is not None:
        measured = _compared(measured, against)
    placed, class_standings = _placed(measured)
    impacts = [bench.measures["impact_speed"].value for bench in placed if "impact_speed" in bench.measures]
    usual = median(impacts) if impacts else None
    judged = [_judged(bench, class_standings, against, usual) for bench in placed]
    ranks = {need: rank for rank, need in enumerate(NEEDS)}
    ordered = sorted(judged, key=lambda bench: (ranks[bench.need], -sum(reason.weight for reason in bench.reasons)))
    sentence = check_sentence([(bench.title, bench.need) for bench in ordered])
    return KitCheck(date, tuple(ordered), class_standings, sentence, None if against is None else against.date)


def _measured(each: CheckedBench) -> BenchCheck:
    if len(each) == 2:
        folder, error = each
        return BenchCheck(folder, folder, error=str(error.to_dict()["message"]))
    folder, bench, audit = each
    measures, missing = measure_kit(bench, audit)
    order = [spec.name for spec in KIT_MEASURES if spec.name in measures]
    return BenchCheck(bench.title, folder, {name: measures[name] for name in order}, missing, findings=audit.findings)


def _compared(benches: Sequence[BenchCheck], against: StoredCheck) -> list[BenchCheck]:
    """Compare every measure with the last check's; the probabilities are adjusted for all comparisons of the check together."""
    specs = {spec.name: spec for spec in KIT_MEASURES}
    titles = [bench.title for bench in benches]
    changes: list[dict[str, Change]] = []
    for bench in benches:
        before = _earlier(bench, against, unique=titles.count(bench.title) == 1)
        found = {}
        for name, measure in bench.measures.items():
            if before is not None and name in before.measures and specs[name].compared:
                then = before.measures[name]
                scatter = specs[name].kind == "scatter"
                difference = (measure.value / then.value if then.value else math.nan) if scatter else measure.value - then.value
                found[name] = Change(then, difference, change_probability(then, measure, specs[name]))
        changes.append(found)
    adjusted = iter(holm([change.probability for found in changes for change in found.values()]))
    return [
        replace(bench, changes={name: replace(change, adjusted=next(adjusted)) for name, change in found.items()})
        for bench, found in zip(benches, changes, strict=True)
    ]


def _earlier(bench: BenchCheck, against: StoredCheck, *, unique: bool) -> StoredBench | None:
    """Return the same bench in an earlier check: by its title where that names one bench in both, else by its folder."""
    same = [each for each in against.benches if each.title == bench.title]
    if unique and len(same) == 1:
        return same[0]
    return next((each for each in against.benches if each.folder == bench.folder and each.title == bench.title), None)


def _earlier_impact(bench: BenchCheck, against: StoredCheck | None) -> float | None:
    """Return the speed into the stop at the last check, m/s; None where it is not known."""
    if against is None or not bench.changes:
        return None
    before = _earlier(bench, against, unique=True)
    then = None if before is None else before.measures.get("impact_speed")
    return None if then is None else then.value


def _placed(benches: Sequence[BenchCheck]) -> tuple[list[BenchCheck], dict[str, Standing]]:
    """Place every bench in its class, measure by measure."""
    specs = [spec for spec in KIT_MEASURES if spec.in_class]
    found: dict[str, Standing] = {}
    scores: list[dict[str, float]] = [{} for _ in benches]
    for spec in specs:
        holders = [i for i, bench in enumerate(benches) if spec.name in bench.measures]
        standing = standings([benches[i].measures[spec.name] for i in holders], spec, alpha=FAMILY / len(specs))
        if standing is None:
            continue
        found[spec.name] = standing
        for i, z in zip(holders, standing.z, strict=True):
            scores[i][spec.name] = z
    return [replace(bench, scores=score) for bench, score in zip(benches, scores, strict=True)], found


def _judged(
    bench: BenchCheck, class_standings: Mapping[str, Standing], against: StoredCheck | None, usual: float | None
) -> BenchCheck:
    """Say what a bench needs, and why. usual: the class's median speed into the stop, m/s."""
    if bench.error:
        reason = Reason("", "error", f"It could not be audited: {bench.error}", "Correct what is named and check it again.", 10.0)
        return replace(bench, need="unknown", reasons=(reason,))
    reasons: list[Reason | None] = []
    here = bench.measures.get("impact_speed")
    earlier = _earlier_impact(bench, against)
    for spec in KIT_MEASURES:
        measure = bench.measures.get(spec.name)
        if measure is None:
            continue
        reasons.append(bounds_reason(spec, measure))
        change = bench.changes.get(spec.name)
        if change is not None and against is not None:
            reasons.append(
                change_reason(
                    spec, change.before, measure, change.difference, change.probability, change.adjusted,
                    family=FAMILY, day=against.date,
                    impacts=(earlier, here.value) if earlier and here else None,
                )
            )  # fmt: skip
        if spec.name in class_standings:
            impacts = (usual, here.value) if usual and here else None
            reasons.append(class_reason(spec, measure, class_standings[spec.name], bench.scores[spec.name], impacts=impacts))
    slope = slope_reason(bench.measures, bench.missing)
    told = {"angle-mismatch"} if slope is not None else set()
    if any(finding.code in _OUT_OF_RANGE for finding in bench.findings):
        # The cart went where the ranger cannot measure: the finding says what to do, and nothing is wrong with the aim.
        reasons = [
            replace(reason, remedy="", weight=0.2 * reason.weight) if reason and reason.measure == "lost" else reason
            for reason in reasons
        ]
    reasons.append(slope)
    for code in dict.fromkeys(finding.code for finding in bench.findings if finding.code not in told):
        reasons.append(finding_reason([finding for finding in bench.findings if finding.code == code]))
    found = sorted(_once(reasons), key=lambda reason: -reason.weight)
    stopped = any(finding.severity == "stop" for finding in bench.findings) and "friction" not in bench.measures
    need: Need = "fine"
    if found:
        need = "service" if found[0].weight >= 3.0 else "watch" if found[0].weight >= 1.0 else "fine"
    if stopped or not bench.measures.keys() - {"noise_still", "rate", "lost"}:
        need = "unknown"
    return replace(bench, need=need, reasons=tuple(found))


def _once(reasons: Sequence[Reason | None]) -> list[Reason]:
    """Keep every reason, but say what to do only once."""
    kept: list[Reason] = []
    for reason in sorted((each for each in reasons if each is not None), key=lambda reason: -reason.weight):
        again = any(reason.remedy == other.remedy for other in kept)
        kept.append(replace(reason, remedy="") if again else reason)
    return kept


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value
