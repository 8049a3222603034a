"""What a report says and in which order, as texts, tables and pictures; the page and the paper only lay it out."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from joulebook.engine.report import Audit
from joulebook.render.finding_groups import grouped_findings
from joulebook.render.method_text import method_paragraphs
from joulebook.render.numbers import (
    aligned,
    input_text,
    interval_text,
    number,
    percent,
    resolution_sentence,
    value_and_u,
    value_with_u,
)
from joulebook.render.pictures import Pictures, draw_pictures, main_launch
from joulebook.render.plain import clean_text
from joulebook.render.planned import PLANNED_QUESTION, planned_notice
from joulebook.render.several_runs import RUNS_QUESTION, runs_notice
from joulebook.render.words import (
    ACCOUNT_WORDS,
    CAUTIONS,
    CAUTIONS_LABEL,
    DISTRIBUTION_WORDS,
    LEDGER_ORDER,
    MECHANICAL_WORDS,
    ORIGIN_WORDS,
    QUANTITY_WORDS,
    SEVERITY_WORDS,
    SLOPE_NOTE,
    VELOCITY_NOTE,
    input_words,
    quantity_words,
)
from joulebook.uncertainty import Quantity

__all__ = ["Contents", "FindingText", "Table", "bind_units", "compose"]


_BEFORE_UNIT = re.compile(r"(?<=[\d)]) (?=(?:%|°C|J|kg|mm|cm|m/s²|m/s|m²|m|s)(?![\w/]))")
# Whose influences a person asks for; the JSON holds the budget of every quantity.
_BUDGETED = (
    "release_speed",
    "travel",
    "slope_from_motion",
    "rolling_resistance",
    "kinetic_energy",
    "potential_energy",
    "difference",
    "relative_difference",
    "unaccounted",
)
# Short for the notes under the tables; the method section says them in full.
_METHODS = {"gum": "linear propagation (GUM)", "monte-carlo": "Monte Carlo (GUM Supplement 1)"}
_MANY_DOF = 1000
"""From there on no coverage factor differs from the normal one in its third digit."""


@dataclass(frozen=True, slots=True)
class Table:
    """A table of texts. caption: what it holds. The first column heads its row. right: columns of numbers, set flush right.

    note: a sentence below it, "" for none.
    """

    caption: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class FindingText:
    """A finding as it is shown. severity: "stop", "look" or "note"; word and mark say it without colour."""

    severity: str
    word: str
    mark: str
    code: str
    message: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Contents:
    """The report, from the verdict to the cautions.

    verdict: the sentence. claims: (question, answer) pairs under it. findings: worst first, one for all launches that share it.
    ledger, motion: tables; None when there is no ledger. slope, velocity: paragraphs.
    influences: for each quantity its largest influences. launches: a row for each launch.
    inputs, records: tables. readings: (file, how it was read) with what was noticed.
    method: (heading, paragraph) pairs.
    """

    title: str
    subtitle: str
    verdict: str
    claims: tuple[tuple[str, str], ...]
    findings: tuple[FindingText, ...]
    findings_sentence: str
    pictures: Pictures
    shown_launch: str
    ledger: Table | None
    motion: Table | None
    slope: tuple[str, ...]
    velocity: tuple[str, ...]
    influences: Table | None
    launches: Table
    inputs: Table
    records: Table
    readings: tuple[tuple[str, tuple[str, ...]], ...]
    method: tuple[tuple[str, str], ...]
    cautions_label: str
    cautions: tuple[str, ...]


def compose(audit: Audit, *, pictures: Pictures | None = None) -> Contents:
    """Return everything that a report of this audit says. pictures: drawn already, or None to draw them."""
    first = main_launch(audit)
    findings = tuple(
        FindingText(
            item.severity,
            SEVERITY_WORDS[item.severity].word,
            SEVERITY_WORDS[item.severity].mark,
            item.code,
            clean_text(item.message),
            clean_text(item.remedy),
        )
        for item in grouped_findings(audit)
    )
    ledger = [(name, item) for name, item in _singles(audit) if name in LEDGER_ORDER]
    ledger.sort(key=lambda row: LEDGER_ORDER.index(row[0]))
    return Contents(
        title=clean_text(audit.title) or "A bench without a title",
        subtitle=f"Energy audit: {audit.experiment.replace('-', ' ')}",
        verdict=clean_text(audit.verdict.sentence),
        claims=_claims(audit),
        findings=findings,
        findings_sentence=_findings_sentence(findings),
        pictures=pictures or draw_pictures(audit),
        shown_launch=clean_text(first.file) if first else "",
        ledger=_quantity_table("The ledger: energy in, out, lost and left over", ledger, audit) if ledger else None,
        motion=_quantity_table("The motion", _motion(audit), audit, note=_interval_note(audit)) if audit.quantities else None,
        slope=_slope(audit),
        velocity=_velocity(audit),
        influences=_influences(audit),
        launches=_launch_table(audit),
        inputs=_input_table(audit),
        records=_record_table(audit),
        readings=tuple(
            (clean_text(r.file), tuple(clean_text(text) for text in (r.read_as, *r.notices) if text)) for r in audit.records
        ),
        method=method_paragraphs(audit),
        cautions_label=CAUTIONS_LABEL,
        cautions=CAUTIONS,
    )


def bind_units(text: str) -> str:
    """Return text whose numbers keep their units on the same line, by no-break spaces."""
    return _BEFORE_UNIT.sub("\u00a0", text)


def _singles(audit: Audit) -> list[tuple[str, Quantity]]:
    return [(name, item) for name, item in audit.quantities.items() if isinstance(item, Quantity)]


def _motion(audit: Audit) -> list[tuple[str, Quantity]]:
    """Return every quantity outside the ledger, in the order of the words; lists are numbered."""
    order = list(QUANTITY_WORDS)
    rows: list[tuple[str, Quantity]] = []
    for name, item in sorted(audit.quantities.items(), key=lambda pair: order.index(pair[0]) if pair[0] in order else len(order)):
        if isinstance(item, Quantity):
            rows += [] if name in LEDGER_ORDER else [(name, item)]
        else:
            rows += [(f"{name} {index}" if len(item) > 1 else name, each) for index, each in enumerate(item, start=1)]
    return rows


def _quantity_table(caption: str, rows: list[tuple[str, Quantity]], audit: Audit, *, note: str = "") -> Table:
    lines = []
    for numbered, quantity in rows:
        name, _, index = numbered.partition(" ")
        words = quantity_words(name)
        label = _upper(words.label) + (f", bounce {index}" if index else "")
        value, u = value_and_u(name, quantity)
        lines.append((label, value, u, interval_text(name, quantity)))
    headings = ("Quantity", "Value", "Standard uncertainty u", f"Interval, {_coverage(audit)}")
    return Table(caption, headings, tuple(lines), right=(1, 2, 3), note=note)


def _interval_note(audit: Audit) -> str:
    """Return how the intervals of both tables were found, and how well the worst known of the uncertainties is known."""
    rows = _singles(audit)

    def labels(names: list[str]) -> str:
        known = list(dict.fromkeys(quantity_words(name.partition(" ")[0]).label for name in names))
        return known[0] if len(known) == 1 else f"{', '.join(known[:-1])} and {known[-1]}"

    by_method = {method: [name for name, item in rows if item.method == method] for method in _METHODS}
    linear, drawn = by_method["gum"], by_method["monte-carlo"]
    if linear and drawn:
        fewer, more = (linear, drawn) if len(linear) < len(drawn) else (drawn, linear)
        ways = {id(linear): _METHODS["gum"], id(drawn): _METHODS["monte-carlo"]}
        text = f"Intervals of both tables by {ways[id(more)]}; for {labels(fewer)} by {ways[id(fewer)]}."
    else:
        text = f"Intervals of both tables by {_METHODS['gum' if linear else 'monte-carlo']}."
    known = [(item.dof, name) for name, item in rows if math.isfinite(item.dof) and item.dof <= _MANY_DOF]
    if known:
        fewest, name = min(known)
        text += (
            f" The uncertainties have {math.floor(fewest + 1e-9)} effective degrees of freedom ({labels([name])}) or more, and the "
            "intervals allow for that."
        )
    return text


def _coverage(audit: Audit) -> str:
    levels = {item.coverage for _, item in _singles(audit)}
    return " or ".join(percent(level) for level in sorted(levels)) or "95 %"


def _claims(audit: Audit) -> tuple[tuple[str, str], ...]:
    verdict, notice = audit.verdict, planned_notice(audit)
    planned = [(PLANNED_QUESTION, notice)] if notice else []
    planned += [(RUNS_QUESTION, runs)] if (runs := runs_notice(audit)) else []
    if not audit.quantities:
        return tuple(planned)
    if not math.isfinite(verdict.resolution):  # every launch is stopped: the ledger is shown, and nothing is concluded from it
        return (*planned, ("Top against release", "Not to be judged: what stops this bench comes first."))
    claims = [
        *planned,
        ("Top against release", f"{MECHANICAL_WORDS[verdict.mechanical]}."),
        ("After the known losses", f"{ACCOUNT_WORDS[verdict.account]}."),
    ]
    claims.append(("What this bench can see", f"{resolution_sentence(verdict.resolution)}."))
    if math.isfinite(verdict.normalised_error):
        ratio = abs(verdict.normalised_error)
        more = "more" if ratio > 1 else "not more"
        often = "than the uncertainties would make in 19 of 20 benches"
        told = f"It is {number(ratio, 2)} times its expanded uncertainty: {more} {often}."
        claims.append(("How clear the difference is", told))
    return tuple(claims)


def _findings_sentence(findings: tuple[FindingText, ...]) -> str:
    if not findings:
        return "Nothing stood out in the records or the set-up."
    counts = []
    for severity, words in SEVERITY_WORDS.items():
        count = sum(1 for item in findings if item.severity == severity)
        if count:
            counts.append(f"{count} × {words.mark} {words.word}: {words.meaning}")
    return "; ".join(counts) + "."


def _slope(audit: Audit) -> tuple[str, ...]:
    seen = audit.quantities.get("slope_from_motion")
    stated = _stated_slope(audit)
    if not isinstance(seen, Quantity):
        return ("The record does not show enough of the descent for a slope from the motion.",) if audit.quantities else ()
    interval = interval_text("slope_from_motion", seen)
    text = f"The motion shows a slope of {value_with_u('slope_from_motion', seen)} (interval {interval})."
    if stated is None:
        return (text, SLOPE_NOTE)
    value, u, words = stated
    gap = seen.value - value
    both = math.hypot(u, seen.u)
    if abs(gap) < 0.05 * both:
        return (f"{words} {text} The two agree.", SLOPE_NOTE)
    text = f"{words} " + text + f" It is {number(abs(gap), 2)}° {'steeper' if gap > 0 else 'flatter'} than stated"
    text += f", {number(abs(gap) / both, 2)} times the standard uncertainty of that difference." if both > 0 else "."
    return (text, SLOPE_NOTE)


def _stated_slope(audit: Audit) -> tuple[float, float, str] | None:
    """Return the stated slope and its standard uncertainty in degrees, and the sentence that says it."""
    given = {item.name: item for item in audit.inputs}
    if angle := given.get("track.angle"):
        return angle.value, angle.u, f"The stated slope is {input_text(angle)}."
    rise, along = given.get("track.rise"), given.get("track.along")
    if rise is None or along is None or not 0 < rise.value < along.value:
        return None
    sine = rise.value / along.value
    # sinθ = rise/along: u(θ) = u(sinθ)/cosθ (GUM 5.1.2).
    u = math.degrees(sine * math.hypot(rise.u / rise.value, along.u / along.value) / math.sqrt(1 - sine**2))
    angle_text = value_with_u("slope_from_motion", Quantity(math.degrees(math.asin(sine)), "deg", u, math.inf, 0.0, 0.0))
    return (
        math.degrees(math.asin(sine)),
        u,
        f"The stated slope is {angle_text}, from a rise of {input_text(rise)} along {input_text(along)}.",
    )


def _velocity(audit: Audit) -> tuple[str, ...]:
    tallest, energy = (audit.facts.get(name, math.nan) for name in ("tallest_velocity_sample", "tallest_velocity_energy"))
    speed, kinetic = audit.quantities.get("release_speed"), audit.quantities.get("kinetic_energy")
    if not math.isfinite(tallest) or not isinstance(speed, Quantity) or speed.value <= 0:
        return ()
    text = (
        f"The tallest value in a column of three-sample slopes would have been {number(tallest, 4)} m/s, "
        f"{_more_or_less(tallest / speed.value - 1)} the fitted release speed of {value_with_u('release_speed', speed)}."
    )
    if math.isfinite(energy) and isinstance(kinetic, Quantity) and kinetic.value > 0:
        text += (
            f" Taken for the release speed it would give {number(energy, 4)} J of kinetic energy, "
            f"{_more_or_less(energy / kinetic.value - 1)} the {value_with_u('kinetic_energy', kinetic)} of the ledger."
        )
    if len(audit.launches) > 1:
        text += " (Means over the launches.)"
    return (text, VELOCITY_NOTE)


def _more_or_less(ratio: float) -> str:
    if abs(ratio) < 5e-4:
        return "the same as"
    return f"{percent(abs(ratio))} {'above' if ratio > 0 else 'below'}"


def _influences(audit: Audit) -> Table | None:
    rows = []
    for name in _BUDGETED:
        lines = sorted(audit.budgets.get(name, ()), key=lambda line: line.share, reverse=True)[:3]
        told = [f"{input_words(line.input).label} {percent(line.share)}" for line in lines if line.share >= 5e-4]
        if told:
            rows.append((_upper(quantity_words(name).label), *told, *[""] * (3 - len(told))))
    headings = ("Quantity", "Largest influence", "Second", "Third")
    return (
        Table("The largest influences on the main quantities, by share of their variance", headings, tuple(rows))
        if rows
        else None
    )


def _launch_table(audit: Audit) -> Table:
    names = ("release_speed", "travel", "kinetic_energy", "potential_energy", "relative_difference")

    columns = [aligned(name, [launch.quantities.get(name) for launch in audit.launches]) for name in names]
    rows = tuple(
        (clean_text(launch.file), *(column[index] for column in columns)) for index, launch in enumerate(audit.launches)
    )
    headings = ("Launch", *(_upper(quantity_words(name).label) for name in names))
    return Table("Each launch by itself", headings, rows, right=(1, 2, 3, 4, 5))


def _input_table(audit: Audit) -> Table:
    rows = tuple(
        (
            _upper(words.label),
            input_text(item),
            DISTRIBUTION_WORDS.get(item.distribution, item.distribution),
            ORIGIN_WORDS.get(item.origin, item.origin),
            _upper(clean_text(item.note)),
        )
        for item in audit.inputs
        for words in (input_words(item.name),)
    )
    headings = ("Input", "Value with standard uncertainty", "Distribution", "Origin", "Where it comes from")
    origins = "given, default, inferred or planned" if any(item.origin == "planned" for item in audit.inputs) else (
        "given, default or inferred"
    )
    return Table(f"What went in: {origins}", headings, rows)


def _record_table(audit: Audit) -> Table:
    rows = tuple(
        (
            clean_text(record.file),
            str(record.samples),
            number(record.rate_Hz, 4),
            str(record.used),
            str(record.missing),
            str(record.rejected),
            "–" if record.noise_m is None else number(record.noise_m * 1000, 2),
        )
        for record in audit.records
    )
    headings = ("Record", "Samples", "Per second", "Used", "Missing", "Rejected", "Noise of one sample, mm")
    return Table("How many samples of each record were used", headings, rows, right=(1, 2, 3, 4, 5, 6))


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
