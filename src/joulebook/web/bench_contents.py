"""What the teacher's page of a bench says, as texts and tables: the audit, the students' numbers, records, hints, set-up."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from joulebook.classroom.comparing import SideBySide, side_by_side
from joulebook.classroom.judging import Judgement
from joulebook.classroom.own_work import FIELDS
from joulebook.classroom.section import BenchState
from joulebook.engine.bench import Override
from joulebook.engine.house import House
from joulebook.engine.report import Audit, Finding
from joulebook.experiments.ramp_hints import CLEAN, GRADES, HINTS
from joulebook.render.contents import FindingText, compose
from joulebook.render.numbers import number, percent, value_with_u
from joulebook.render.pictures import Pictures
from joulebook.render.plain import clean_text
from joulebook.render.words import SEVERITY_WORDS, input_words, quantity_words
from joulebook.web.bench_steps import HEADINGS
from joulebook.web.board_contexts import HintOffer, RecordRow, WorkLine

__all__ = ["finding_texts", "told_of"]

_NONE = "–"
_NO_PICTURES = Pictures(None, None, None, None)
_ORDER = ("stop", "look", "note")


def told_of(bench: BenchState, judged: Judgement | None, house: House) -> dict[str, Any]:
    """Return the fields of a TeacherBenchPage that follow from a bench and its judgement.

    judged: None while it is being judged.
    """
    audit = None if judged is None else judged.ledger
    report = None if audit is None or judged is None else compose(replace(audit, findings=judged.findings), pictures=_NO_PICTURES)
    findings = report.findings if report else finding_texts(judged)
    numbers = side_by_side(bench, audit, decimal=house.decimal)
    return {
        "verdict": report.verdict if report else "", "claims": report.claims if report else (),
        "ledger": report.ledger if report else None, "motion": report.motion if report else None,
        "influences": report.influences if report else None, "findings": findings,
        "findings_sentence": report.findings_sentence if report else _findings_sentence(findings, judged),
        "stood_in": judged is not None and judged.stood_in, "checking": judged is None,
        "problem": judged.problem if judged else "", "remedy": judged.remedy if judged else "",
        "faults": tuple(str(fault) for fault in judged.faults) if judged else (),
        "missing": tuple(input_words(name).label for name in judged.missing) if judged else (),
        "pictures": _pictures(audit), "launches": tuple((held.id, held.name) for held in bench.launches),
        "work": tuple(_work_line(line) for line in numbers), "work_note": _work_note(bench, numbers),
        "own_words": _own_words(bench), "hints": _hints(bench, judged), "records": _records(bench, judged),
        "readings": _readings(bench),
    }  # fmt: skip


def finding_texts(judged: Judgement | None) -> tuple[FindingText, ...]:
    """Return the findings of a judgement as they are shown, the worst first."""
    listed = () if judged is None else judged.findings
    return tuple(_finding(each) for each in sorted(listed, key=lambda each: _ORDER.index(each.severity)))


def _finding(each: Finding) -> FindingText:
    words = SEVERITY_WORDS[each.severity]
    return FindingText(each.severity, words.word, words.mark, each.code, clean_text(each.message), clean_text(each.remedy))


def _findings_sentence(findings: tuple[FindingText, ...], judged: Judgement | None) -> str:
    if findings:
        return ""
    if judged is None:
        return "The records are being checked."
    return "Nothing stood out in the records." if judged.audit is not None else ""


def _pictures(audit: Audit | None) -> tuple[Any, ...]:
    from joulebook.render.budget_picture import draw_budget
    from joulebook.render.energy_pictures import draw_joules

    if audit is None:
        return ()
    drawn = (draw_joules(audit, name="joules"), draw_budget(audit, name="budget"))
    return tuple(each for each in drawn if each is not None)


def _work_line(line: SideBySide) -> WorkLine:
    words = quantity_words(line.name)
    label = f"{words.label[:1].upper()}{words.label[1:]}, {words.unit}"
    theirs = line.written or _NONE
    if line.written and line.give_or_take:
        theirs += f", u = {line.give_or_take}" if line.name.endswith("_energy") else f" ± {line.give_or_take} at most"
    launches = _NONE if line.low is None or line.high is None else f"{number(line.low, 3)} to {number(line.high, 3)}"
    difference, apart = _NONE, _NONE
    if line.difference is not None and line.relative is not None:
        more = "more" if line.difference > 0 else "less"
        same = abs(line.relative) < 0.0005
        difference = (
            "the same" if same else f"{number(abs(line.difference), 2)} {words.unit} {more} ({percent(abs(line.relative))})"
        )
    if line.apart is not None:
        apart = f"{number(line.apart, 2)} ×"
    return WorkLine(label, theirs, value_with_u(line.name, line.audit) if line.audit else _NONE, launches, difference, apart)


def _work_note(bench: BenchState, numbers: tuple[SideBySide, ...]) -> str:
    if not bench.work:
        return "The group has saved nothing of its own work yet."
    late = ", ".join(HEADINGS[step] for step, saved in bench.work.items() if saved.late)
    after = f" Sent after the bell: {late}." if late else ""
    if not any(line.written for line in numbers):
        return f"The group has not come to its numbers yet.{after}"
    told = (
        "Uncertainties and claim are committed." if bench.committed_at else "Not committed yet: the group may still change them."
    )
    return f"{told}{after} The audit's values are means over the launches; a group may rightly have worked on one of them."


def _own_words(bench: BenchState) -> tuple[tuple[str, str], ...]:
    """Return what else the group wrote, the numbers of the table left out."""
    compared = ("release_speed", "release_speed_u", "travel", "height", "kinetic_energy", "potential_energy", "kinetic_energy_u",
                "potential_energy_u")  # fmt: skip
    told = []
    for step, fields in FIELDS.items():
        saved = bench.work.get(step)
        for field in fields if saved else ():
            text = saved.fields.get(field.name, "").strip() if saved else ""
            if text and field.name not in compared:
                shown = dict(field.choices).get(text, text)
                told.append((field.label, f"{shown} {field.unit}".rstrip() if field.shape == "number" else shown))
    return tuple(told)


def _hints(bench: BenchState, judged: Judgement | None) -> tuple[HintOffer, ...]:
    """Return the hints that may be released: on what was found, and on what hints were given before."""
    found = [each.code for each in judged.findings if each.severity in ("stop", "look")] if judged else []
    codes = list(dict.fromkeys([*found, *(code for code, _ in bench.hints)]))
    if not codes and judged is not None and judged.audit is not None:
        codes = ["clean"]
    offers = []
    for code in codes:
        hint = HINTS.get(code, CLEAN)
        grades = tuple(
            (grade, called, str(getattr(hint, grade)), (code, grade) in bench.hints)
            for grade, called in GRADES.items()
            if grade != "teacher"
        )
        about = "a bench with nothing to find" if code == "clean" else code.replace("-", " ")
        offers.append(HintOffer(code, about, grades, hint.teacher))
    return tuple(offers)


def _records(bench: BenchState, judged: Judgement | None) -> tuple[RecordRow, ...]:
    news = {} if judged is None else {each.record: each for each in judged.news}
    counts = {record.id for record in (bench.rest, *bench.launches) if record is not None}
    rows = []
    for held in bench.records:
        told = news.get(held.id)
        rows.append(
            RecordRow(
                held, told.read_as if told else "", told.notices if told else (),
                f"{told.problem} {told.remedy}".strip() if told and told.problem else "", held.override != Override(),
                held.id in counts,
            )
        )  # fmt: skip
    return tuple(rows)


def _readings(bench: BenchState) -> tuple[tuple[str, str, str, str], ...]:
    """Return the set-up: what it is called, as measured, how, and as planned."""
    names = list(dict.fromkeys([*bench.values, *bench.planned]))
    rows = []
    for name in names:
        label = input_words(name).label
        rows.append((f"{label[:1].upper()}{label[1:]}", bench.values.get(name, ""), bench.how.get(name, ""),
                     bench.planned.get(name, "")))  # fmt: skip
    return tuple(rows)
