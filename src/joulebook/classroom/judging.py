"""From what a bench holds to its audit: read the records, fill in the set-up, judge.

Whatever is wrong becomes part of the answer: while a class is in the room, nothing that a bench saves may end in a bare error.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field

from joulebook.analysis import audit_bench
from joulebook.classroom.followed import follow_once
from joulebook.classroom.section import BenchState, HeldRecord
from joulebook.engine.bench import Bench, Override
from joulebook.engine.house import House
from joulebook.engine.record import Record
from joulebook.engine.report import Audit, Finding
from joulebook.errors import AnalysisError, BenchFileError, Fault, JoulebookError
from joulebook.readers.bench_file import make_bench
from joulebook.readers.records import read_record
from joulebook.version import VERSION

__all__ = ["Judgement", "RecordNews", "judge_bench", "judgement_key", "reading_of", "values_in_force"]

# While set-up readings are missing the records are judged all the same: with anything that a bench of this kind may be, so wide
# that no energy follows from it. Findings that rest on these are left out.
_STAND_IN: Mapping[str, str] = {"cart.mass": "0.5 kg ± 0.3 kg", "track.angle": "8 deg ± 7 deg"}
_SET_UP_CODES = ("angle-mismatch", "angle-suspect", "mass-suspect", "units-suspect")
# Monte Carlo draws for each launch of a bench that made more than this take longer than a lesson lets one wait; its ledger is
# propagated linearly, and `joulebook audit` on the exported folder checks it.
_MOST_DRAWN = 6
_SLOPE = ("track.angle", "track.rise", "track.along")


@dataclass(frozen=True, slots=True)
class RecordNews:
    """What became of one record. read_as: one sentence, "" when it could not be read. notices: what a person should know.
    problem, remedy: why it could not be read, and what to do, "" when it was. faults: the single places."""

    record: str
    name: str
    read_as: str = ""
    notices: tuple[str, ...] = ()
    problem: str = ""
    remedy: str = ""
    faults: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Judgement:
    """What is known of a bench's data.

    key: changes when anything that it rests on does. news: of every record that counts, in order.
    audit: None when there is nothing to audit or it could not be done. findings: what a person should know, the audit's or, while
    set-up readings are missing, those that rest on the records alone. problem, remedy: why there is no audit, "" when there is.
    faults: set-up readings that are not understood, by input. missing: set-up readings still needed. stood_in: whether the audit
    was made with stand-ins, so that no energy of it may be shown.
    names: the record's id by the file name that the audit knows it under.
    """

    key: str
    news: tuple[RecordNews, ...] = ()
    audit: Audit | None = None
    findings: tuple[Finding, ...] = ()
    problem: str = ""
    remedy: str = ""
    faults: tuple[Fault, ...] = ()
    missing: tuple[str, ...] = ()
    stood_in: bool = False
    names: Mapping[str, str] = field(default_factory=dict)

    @property
    def ledger(self) -> Audit | None:
        """The audit if its energies may be used: made without stand-ins, from at least one usable launch."""
        return self.audit if self.audit is not None and not self.stood_in and self.audit.quantities else None

    @property
    def worst(self) -> str:
        """The worst severity found: "stop", "look", "note" or ""."""
        found = [finding.severity for finding in self.findings]
        return next((severity for severity in ("stop", "look", "note") if severity in found), "")


def judge_bench(bench: BenchState, contents: Mapping[str, bytes], house: House) -> Judgement:
    """Judge a bench as it stands.

    contents: the bytes of its records by SHA-256. house: the section's rules. Never raises for what a bench entered or uploaded.
    """
    key = judgement_key(bench, house)
    records, news = {}, []
    counted = [record for record in (bench.rest, *bench.launches) if record is not None]
    names = _names(counted)
    for held in counted:
        found, told = _read(held, names[held.id], contents.get(held.sha256))
        news.append(told)
        if found is not None:
            records[held.id] = found
    values, missing = values_in_force(bench)
    launches = [records[held.id] for held in bench.launches if held.id in records]
    by_name = {name: id_ for id_, name in names.items()}
    if not launches:
        faults = _value_faults(values, house)
        return Judgement(key, tuple(news), faults=faults, missing=missing, names=by_name)
    rest = records.get(bench.rest.id) if bench.rest else None
    overrides = {names[held.id]: held.override for held in bench.launches if held.override != Override() and held.id in records}
    faults = _value_faults(values, house)
    stand_in = bool(missing or faults)
    if stand_in:
        sound = {name: text for name, text in values.items() if name not in [fault.where for fault in faults]}
        if any(name in missing or name in [fault.where for fault in faults] for name in _SLOPE):
            sound = {name: text for name, text in sound.items() if name not in _SLOPE}
        needed = {n: t for n, t in _STAND_IN.items() if n not in sound and not (n in _SLOPE and set(_SLOPE) & sound.keys())}
        values = {**sound, **needed}
    try:
        made = make_bench(values=values, launches=launches, rest=rest, title=bench.title, overrides=overrides, house=house)
        audit = _audited(made)
    except JoulebookError as error:
        told_faults = error.faults if isinstance(error, BenchFileError) else ()
        return Judgement(
            key, tuple(news), problem=error.message, remedy=error.remedy, faults=(*faults, *told_faults), missing=missing,
            names=by_name,
        )  # fmt: skip
    findings = tuple(each for each in audit.findings if not (stand_in and each.code in _SET_UP_CODES))
    return Judgement(key, tuple(news), audit, findings, faults=faults, missing=missing, stood_in=stand_in, names=by_name)


def judgement_key(bench: BenchState, house: House) -> str:
    """Return a key that changes when anything does that the judgement of this bench rests on."""
    counted = [record for record in (bench.rest, *bench.launches) if record is not None]
    rests_on = [
        VERSION, bench.title, dict(bench.planned), dict(bench.values), repr(house.gravity), house.tolerance,
        [(each.id, each.name, each.sha256, each.role, each.run, repr(each.override)) for each in counted],
    ]  # fmt: skip
    return hashlib.sha256(json.dumps(rests_on, sort_keys=True).encode()).hexdigest()


def reading_of(held: HeldRecord, content: bytes) -> Record:
    """Return the record that a bench holds, read from its bytes. Raises RecordError."""
    return read_record(content, name=held.name, run=held.run or None)


def _audited(made: Bench) -> Audit:
    """Return the audit of a bench; where a person set times at which draws of the Monte Carlo leave the model's reach (a release
    above the apex), the linear propagation alone, so that the ledger still follows what is set."""
    try:
        return audit_bench(made, method="auto" if len(made.launches) <= _MOST_DRAWN else "linear", follower=follow_once)
    except AnalysisError as error:
        if not made.overrides or error.code != "not-finite":
            raise
        return audit_bench(made, method="linear", follower=follow_once)


def values_in_force(bench: BenchState) -> tuple[dict[str, str], tuple[str, ...]]:
    """Return the set-up values that count, and the required ones that are missing; the group's own win over planned ones."""
    planned = dict(bench.planned)
    if any(name in bench.values for name in _SLOPE):
        planned = {name: text for name, text in planned.items() if name not in _SLOPE}
    # Planned values tell where the ranger stands; what must be measured is measured.
    values = {**{name: text for name, text in planned.items() if name not in (*_SLOPE, "cart.mass")}, **bench.values}
    missing = [] if "cart.mass" in values else ["cart.mass"]
    if "track.angle" not in values:
        pair = [name for name in ("track.rise", "track.along") if name not in values]
        missing += ["track.angle"] if len(pair) == 2 else pair
    return values, tuple(missing)


def _read(held: HeldRecord, name: str, content: bytes | None) -> tuple[Record | None, RecordNews]:
    if content is None:
        problem = "The bytes of this record are not in the store."
        return None, RecordNews(held.id, held.name, problem=problem, remedy="Upload the file again.")
    try:
        record = read_record(content, name=name, run=held.run or None)
    except JoulebookError as error:
        faults = tuple(str(fault) for fault in error.faults)
        return None, RecordNews(held.id, held.name, problem=error.message, remedy=error.remedy, faults=faults)
    return record, RecordNews(held.id, held.name, record.read_as, record.notices)


def _names(counted: list[HeldRecord]) -> dict[str, str]:
    """Return the name by which the audit knows each record: the file's own, with the record's id where two share one."""
    often = [held.name for held in counted]
    return {held.id: held.name if often.count(held.name) == 1 else f"{held.name} ({held.id})" for held in counted}


def _value_faults(values: Mapping[str, str], house: House) -> tuple[Fault, ...]:
    """Return the set-up readings that are not understood, by input."""
    from joulebook.experiments import get_experiment
    from joulebook.readers.bench_values import fill_inputs, fill_settings

    experiment = get_experiment("ramp-launch")
    faults: list[Fault] = []
    known = {spec.name for spec in experiment.inputs} | {spec.name for spec in experiment.settings}
    given = {name: text for name, text in values.items() if name in known}
    fill_inputs(given, experiment.inputs, faults)
    fill_settings(given, experiment.settings, faults)
    # Only what was written can be faulty here; what is missing is told apart.
    return tuple(fault for fault in faults if fault.where in given)
