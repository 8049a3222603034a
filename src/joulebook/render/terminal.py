"""An audit in the terminal: the verdict as a sentence, what needs a person, the ledger, the largest influences, the records.

Words and position carry the meaning; bold and colour only support it, and vanish when the output is piped or NO_COLOR is set.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from joulebook.engine.report import Audit, BudgetLine, Finding, LaunchAudit
from joulebook.render.decimal_sign import kept_names
from joulebook.render.finding_groups import grouped_findings
from joulebook.render.numbers import input_text, interval_text, number, resolution_sentence, value_with_u
from joulebook.render.plain import quantities_in_order
from joulebook.render.planned import PLANNED_QUESTION, planned_notice
from joulebook.render.screen import Screen
from joulebook.render.section import SectionLine, SectionRow, section_lines, section_sentence
from joulebook.render.several_runs import RUNS_QUESTION, runs_notice
from joulebook.render.words import (
    DISTRIBUTION_WORDS,
    LEDGER_ORDER,
    METHOD_WORDS,
    ORIGIN_WORDS,
    PHASE_WORDS,
    SEVERITY_WORDS,
    SLOPE_NOTE,
    VELOCITY_NOTE,
    input_words,
    quantity_words,
)
from joulebook.uncertainty import Quantity

if TYPE_CHECKING:
    from rich.console import Console

__all__ = ["show", "show_section"]

_MOTION_ORDER = (
    "release_time", "release_speed", "apex_time", "travel", "height", "climb_acceleration", "descent_acceleration",
    "slope_from_motion", "rolling_resistance",
)  # fmt: skip
_STYLES = {"stop": "bold red", "look": "bold yellow", "note": ""}
_INFLUENCES = 4
_WIDE = 72


def show(audit: Audit, console: Console | None = None, *, verbose: bool = False, decimal: str = ".") -> None:
    """Print an audit.

    console: where to; the standard output when None. verbose: also the motion, the inputs, the whole budget, the phases and the
    launches one by one. decimal: the decimal sign, "." or ",".
    """
    screen = Screen(console, decimal=decimal, keep=kept_names(audit))
    screen.paragraph(audit.title)
    screen.paragraph(audit.verdict.sentence, "bold")
    if audit.quantities:
        screen.paragraph(_rule(audit))
    if notice := planned_notice(audit):
        screen.paragraph(f"{PLANNED_QUESTION}: {notice}")
    if notice := runs_notice(audit):
        screen.paragraph(f"{RUNS_QUESTION}: {notice}")
    findings = grouped_findings(audit)
    _show_findings(screen, "What needs a person first", [item for item in findings if item.severity != "note"])
    _show_quantities(screen, "Energy from release to apex", quantities_in_order(audit, LEDGER_ORDER))
    if verbose:
        _show_quantities(screen, "Motion", [*quantities_in_order(audit, _MOTION_ORDER), *_restitution(audit)])
    _show_influences(screen, audit, verbose=verbose)
    _show_cross_checks(screen, audit, verbose=verbose)
    if verbose:
        _show_inputs(screen, audit)
        for launch in audit.launches:
            _show_launch(screen, launch)
    _show_records(screen, audit, verbose=verbose)
    _show_findings(screen, "Notes", [item for item in findings if item.severity == "note"])


def show_section(rows: Iterable[SectionRow], console: Console | None = None, *, decimal: str = ".") -> None:
    """Print one entry a bench, in the order given, and then who needs a person.

    rows: audits, lines of `joulebook sweep` as mappings, or (folder, error) for a bench that could not be analysed.
    decimal: the decimal sign, "." or ",".
    """
    lines = section_lines(rows)
    screen = Screen(console, decimal=decimal, keep=tuple(line.title for line in lines))
    if screen.width >= _WIDE:
        heads = [("Bench", "Verdict", "Look at", "Difference, 95 %")] if lines else []
        table = [*heads, *((line.title, line.verdict, _worst(line), line.reason) for line in lines)]
        screen.columns(table, styles=["italic"] * len(heads) + [""] * len(lines), indent=0, first=26)
    else:
        for line in lines:
            screen.line(line.title, "bold", indent=0)
            screen.line(f"{line.verdict}: {line.reason}")
            screen.line(_worst(line), _STYLES[line.severity])
    screen.paragraph(section_sentence(lines))


def _rule(audit: Audit) -> str:
    verdict = audit.verdict
    least = ""
    if math.isfinite(verdict.resolution):
        least = f" {resolution_sentence(verdict.resolution)}."
    return f"Mechanical energy: {verdict.mechanical}. Account of the losses: {verdict.account}.{least}"


def _show_findings(screen: Screen, heading: str, findings: Sequence[Finding]) -> None:
    if not findings:
        return
    screen.heading(heading)
    for finding in findings:
        words = SEVERITY_WORDS[finding.severity]
        screen.line(f"{words.mark} {words.word}: {finding.code}", _STYLES[finding.severity])
        screen.line(finding.message, indent=4)
        if finding.remedy:
            screen.line(f"What to do: {finding.remedy}", indent=4)


def _show_quantities(screen: Screen, heading: str, quantities: Sequence[tuple[str, Quantity]]) -> None:
    if not quantities:
        return
    screen.heading(heading)
    coverage = f"{100 * quantities[0][1].coverage:g} % interval"
    if screen.width >= _WIDE:
        rows = [("", "value (u)", coverage)]
        rows += [(_label(name), _value(name, quantity), interval_text(_bare(name), quantity)) for name, quantity in quantities]
        screen.columns(rows, right=(1,))
        return
    screen.line(f"value, in brackets the standard uncertainty u of its last digits; {coverage}")
    for name, quantity in quantities:
        screen.line(_label(name))
        screen.line(f"{_value(name, quantity)};  {interval_text(_bare(name), quantity)}", indent=4)


def _value(name: str, quantity: Quantity) -> str:
    return value_with_u(_bare(name), quantity)


def _label(name: str) -> str:
    _, _, bounce = name.partition("[")
    label = quantity_words(_bare(name)).label
    return f"{label}, bounce {bounce.rstrip(']')}" if bounce else label


def _bare(name: str) -> str:
    return name.partition("[")[0]


def _restitution(audit: Audit | LaunchAudit) -> list[tuple[str, Quantity]]:
    item = audit.quantities.get("restitution", ())
    each = (item,) if isinstance(item, Quantity) else item
    return [(f"restitution[{index}]", quantity) for index, quantity in enumerate(each, start=1)]


def _show_influences(screen: Screen, audit: Audit, *, verbose: bool) -> None:
    lines = audit.budgets.get("relative_difference", ())
    if not lines:
        return
    quantity = audit.quantities.get("relative_difference")
    method = f", {METHOD_WORDS[quantity.method]}" if isinstance(quantity, Quantity) and verbose else ""
    screen.heading(f"What the uncertainty of the relative difference comes from{method}")
    shown = lines if verbose else [line for line in lines if line.share >= 0.01][:_INFLUENCES]
    rows = [(_share(line), _influence(line)) for line in shown]
    rest = sum(line.share for line in lines) - sum(line.share for line in shown)
    if rest >= 0.005:
        rows.append((f"{100 * rest:.0f} %", "all others"))
    screen.columns(rows, right=(0,))


def _share(line: BudgetLine) -> str:
    return f"{100 * line.share:.0f} %" if line.share >= 0.005 else "under 1 %"


def _influence(line: BudgetLine) -> str:
    label = input_words(line.input).label
    return label if label == line.input else f"{label} ({line.input})"


def _show_cross_checks(screen: Screen, audit: Audit, *, verbose: bool) -> None:
    slope = audit.quantities.get("slope_from_motion")
    stated = next((item for item in audit.inputs if item.name == "track.angle"), None)
    tallest = audit.facts.get("tallest_velocity_sample")
    lines = []
    if isinstance(slope, Quantity):
        beside = f"; stated: {input_text(stated)}" if stated else ""
        lines.append(f"Slope from the motion: {value_with_u('slope_from_motion', slope)}{beside}.")
        lines += [SLOPE_NOTE] if verbose else []
    if verbose and tallest is not None and math.isfinite(tallest):
        energy = audit.facts.get("tallest_velocity_energy")
        joules = f" ({number(energy, 3)} J)" if energy is not None and math.isfinite(energy) else ""
        lines += [f"The tallest velocity sample would have said {number(tallest, 3)} m/s{joules}.", VELOCITY_NOTE]
    if lines:
        screen.heading("Cross-checks")
    for line in lines:
        screen.line(line)


def _show_inputs(screen: Screen, audit: Audit) -> None:
    screen.heading("Inputs")
    for item in audit.inputs:
        kind = "" if item.u == 0 else f", {DISTRIBUTION_WORDS.get(item.distribution, item.distribution)}"
        note = f". {item.note}" if item.note else ""
        origin = ORIGIN_WORDS.get(item.origin, item.origin)
        screen.line(f"{item.name} = {input_text(item)}, {origin}{kind}{note}", hang=2)


def _show_launch(screen: Screen, launch: LaunchAudit) -> None:
    screen.heading(launch.file)
    screen.columns(
        [
            (
                PHASE_WORDS[phase.kind].label,
                f"{phase.start_s:.3f} s to {phase.end_s:.3f} s",
                f"samples {phase.first} to {phase.last}",
            )
            for phase in launch.phases
        ],
        right=(1,),
    )
    names = ("release_speed", "travel", "difference", "relative_difference")
    found = [(name, launch.quantities.get(name)) for name in names]
    for name, quantity in [*found, *_restitution(launch)]:
        if isinstance(quantity, Quantity):
            screen.line(f"{_label(name)} {_value(name, quantity)}")


def _show_records(screen: Screen, audit: Audit, *, verbose: bool) -> None:
    if not audit.records:
        return
    screen.heading("Records")
    for record in audit.records:
        noise = "" if record.noise_m is None else f", noise {number(record.noise_m * 1000, 2)} mm"
        lost = "".join(
            f", {count} {word}" for count, word in ((record.missing, "missing"), (record.rejected, "rejected")) if count
        )
        rate = f"{number(record.rate_Hz, 3)} per second"
        screen.line(f"{record.file}: {record.samples} samples at {rate}, {record.used} used{lost}{noise}", hang=2)
        for notice in record.notices:
            screen.line(notice, indent=4)
        if verbose:
            screen.line(f"Read as: {record.read_as}", indent=4)
            screen.line(f"SHA-256 {record.sha256}", indent=4)


def _worst(line: SectionLine) -> str:
    # Only the first word of "Look first", so that a bench keeps to its line on a narrow terminal.
    word = SEVERITY_WORDS[line.severity].word.split()[0]
    if not line.finding:
        return "nothing" if line.severity == "note" else word
    return f"{word}: {line.finding}"
