"""A workbook whose ledger, uncertainties and comparison are live formulas over the inputs and the fitted values.

No macros and no links to anything outside; text from files and bench descriptions is always written as text, so that none of it
can become a formula. Every formula carries its value, so that a viewer that does not recalculate shows the audit's numbers.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from datetime import UTC, datetime

from joulebook.engine.report import Audit
from joulebook.render.plain import sorted_findings
from joulebook.render.words import (
    ACCOUNT_WORDS,
    FLAG_WORDS,
    LEDGER_ORDER,
    MECHANICAL_WORDS,
    PHASE_WORDS,
    SEVERITY_WORDS,
    quantity_words,
)
from joulebook.render.workbook_inputs import write_fit, write_inputs
from joulebook.render.workbook_ledger import write_comparison, write_ledger
from joulebook.render.workbook_model import build_model
from joulebook.render.workbook_sheets import Sheet, Styles, cell_text
from joulebook.render.workbook_uncertainty import write_shifted, write_uncertainty
from joulebook.uncertainty import Quantity

__all__ = ["write_workbook"]

_READ_ME = (
    "This workbook holds one audit. The sheets Ledger, Shifted, Uncertainty and Comparison are formulas: change a value or a "
    "standard uncertainty in a framed cell of the sheets Inputs or Fit, and everything that follows from it changes.",
    "Inputs: what was given, taken by default or inferred, each with its standard uncertainty.",
    "Fit: the values that the fit of the motion found in the raw samples, their standard uncertainties and their correlations. "
    "They stand as the ranger read them; the distance scale of the sheet Inputs is applied to them in the sheet Ledger.",
    "Ledger: energies at release and at the apex, the losses in between, and what is left over.",
    "Shifted: the same ledger with each input moved a little up and a little down, one at a time.",
    "Uncertainty: sensitivities from the shifted ledgers, contributions, shares, combined standard uncertainty (GUM 5), "
    "effective degrees of freedom (GUM G.4), coverage factor and expanded uncertainty. Rows marked 'from the audit' are numbers.",
    "Comparison: the normalised error, the percent difference and the verdict, by formula.",
    "Trace: every sample of every launch with its flag and phase. No sample was altered.",
    "Findings: what a person should know about the data and the set-up.",
    "The names in the formulas (cart_mass, release_speed and so on) are the workbook's defined names.",
    "What the workbook does not do: it does not fit the motion again, and it does not repeat the Monte Carlo calculation. Where "
    "the audit took its interval from Monte Carlo, that interval stands in the sheet Comparison as a number.",
)
_ROW_LIMIT = 1_048_000


def write_workbook(audit: Audit) -> bytes:
    """Return the workbook of one audit as the bytes of an .xlsx file.

    An audit without a ledger gives a workbook without the calculating sheets. OutputError: a ledger is there, but not the fitted
    values to calculate it from.
    """
    import xlsxwriter

    model = build_model(audit) if audit.quantities else None
    stream = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(stream, options) as book:
        # A fixed date, so that the same audit gives the same bytes.
        book.set_properties(
            {"title": cell_text(audit.title), "comments": "Written by joulebook.", "created": datetime(2000, 1, 1, tzinfo=UTC)}
        )
        styles = Styles.for_book(book)
        names = ["Summary", "Inputs", "Fit", "Ledger", "Uncertainty", "Comparison", "Trace", "Findings", "Read me", "Shifted"]
        if model is None:
            names = ["Summary", "Inputs", "Trace", "Findings", "Read me"]
        sheets = {name: Sheet(book.add_worksheet(name), name, styles) for name in names}
        write_inputs(sheets["Inputs"], audit, model)
        if model is not None:
            write_fit(sheets["Fit"], audit, model)
            values = write_ledger(sheets["Ledger"], audit, model)
            write_shifted(sheets["Shifted"], model)
            expanded = write_uncertainty(sheets["Uncertainty"], audit, model)
            write_comparison(sheets["Comparison"], audit, values, expanded)
            _write_results(sheets["Summary"], audit, values, expanded)
        else:
            _write_heading(sheets["Summary"], audit)
        _write_trace(sheets["Trace"], audit)
        _write_findings(sheets["Findings"], audit)
        _write_read_me(sheets["Read me"])
        for sheet in sheets.values():
            for name, reference in sheet.names.items():
                book.define_name(name, f"='{sheet.name}'!{reference}")
        sheets["Summary"].raw.activate()
    return stream.getvalue()


def _write_heading(sheet: Sheet, audit: Audit) -> int:
    sheet.columns(34, 15, 15, 10, 60)
    sheet.text(0, 0, cell_text(audit.title), "title")
    sheet.merged(1, 0, 4, cell_text(audit.verdict.sentence), "verdict", height=50)
    sheet.text(3, 0, "Mechanical energy", "label")
    sheet.text(3, 1, MECHANICAL_WORDS[audit.verdict.mechanical])
    sheet.text(4, 0, "Account of the losses", "label")
    sheet.text(4, 1, ACCOUNT_WORDS[audit.verdict.account])
    sheet.text(5, 0, "Smallest loss that would show", "label")
    if math.isfinite(audit.verdict.resolution):
        sheet.number(5, 1, audit.verdict.resolution, "percent")
        sheet.text(5, 4, "as a part of the energy at release")
    else:
        sheet.text(5, 1, "not known")
    worst = [finding for finding in sorted_findings(audit) if finding.severity != "note"]
    sheet.text(6, 0, "Findings to look at first", "label")
    sheet.text(6, 1, ", ".join(dict.fromkeys(finding.code for finding in worst)) if worst else "none")
    return 8


def _write_results(sheet: Sheet, audit: Audit, values: dict[str, float], expanded: dict[str, float]) -> None:
    row = _write_heading(sheet, audit)
    sheet.header(row, ("Result", "Value", "± (95 %)", "Unit", "Meaning"))
    for name in ("release_speed", "travel", "height", *LEDGER_ORDER, "rolling_resistance", "slope_from_motion"):
        if name not in values or name not in expanded:
            continue
        row += 1
        words = quantity_words(name)
        sheet.text(row, 0, words.label, "label")
        style = sheet.styles.by_uncertainty(expanded[name], percent=words.unit == "%")
        sheet.formula(row, 1, f"={name}", values[name], style)
        sheet.formula(row, 2, f"=expanded_{name}", expanded[name], style)
        sheet.text(row, 3, "" if words.unit == "%" else words.unit)
        sheet.text(row, 4, words.meaning, "wrap")
    for name in ("release_time", "apex_time", "restitution"):
        item = audit.quantities.get(name, ())
        for index, quantity in enumerate((item,) if isinstance(item, Quantity) else item, start=1):
            row += 1
            words = quantity_words(name)
            several = not isinstance(item, Quantity)
            sheet.text(row, 0, f"{words.label}, bounce {index}" if several else words.label, "label")
            style = sheet.styles.by_uncertainty(quantity.expanded)
            sheet.number(row, 1, quantity.value, style)
            sheet.number(row, 2, quantity.expanded, style)
            sheet.text(row, 3, words.unit)
            sheet.text(row, 4, words.meaning + " (from the audit, not a formula)", "wrap")
    sheet.text(
        row + 2,
        0,
        "Numbers above are formulas where not marked. The sentence at the top is the audit's own and does not change with them.",
        "note",
    )


def _write_trace(sheet: Sheet, audit: Audit) -> None:
    sheet.columns(22, 9, 12, 12, 14, 34, 13, 9, 12, 12)
    sheet.header(
        0,
        (
            "Launch record",
            "Sample",
            "Time s",
            "Distance m",
            "Up-slope m",
            "Flag",
            "Phase",
            "In the fit",
            "Fitted m",
            "Residual m",
        ),
    )
    sheet.raw.freeze_panes(1, 2)
    row = 0
    for launch in audit.launches:
        series = launch.series
        if series is None:
            continue
        phase = [""] * series.time.size
        for stretch in launch.phases:
            for index in range(max(stretch.first, 0), min(stretch.last, series.time.size - 1) + 1):
                phase[index] = PHASE_WORDS[stretch.kind].label
        file = cell_text(launch.file)
        for index in range(series.time.size):
            row += 1
            if row > _ROW_LIMIT:
                sheet.text(row, 0, "A sheet holds no more rows. The whole trace is in the CSV form of the audit.", "note")
                return
            sheet.text(row, 0, file)
            sheet.number(row, 1, index, "whole")
            for column, values in (
                (2, series.time),
                (3, series.distance),
                (4, series.position),
                (8, series.fitted),
                (9, series.residual),
            ):
                if math.isfinite(values[index]):
                    sheet.number(row, column, float(values[index]), "trace")
            flag = str(series.flags[index])
            sheet.text(row, 5, f"{flag}: {FLAG_WORDS[flag]}" if flag in FLAG_WORDS else cell_text(flag))
            sheet.text(row, 6, phase[index])
            sheet.text(row, 7, "yes" if series.used[index] else "no")
    if row:
        sheet.raw.autofilter(0, 0, row, 9)
    else:
        sheet.text(1, 0, "The audit holds no trace.", "note")


def _write_findings(sheet: Sheet, audit: Audit) -> None:
    sheet.columns(12, 18, 70, 60, 40)
    sheet.header(0, ("Severity", "Code", "What was seen", "What to do", "Numbers"))
    sheet.raw.freeze_panes(1, 0)
    for row, finding in enumerate(sorted_findings(audit), start=1):
        words = SEVERITY_WORDS[finding.severity]
        sheet.text(row, 0, f"{words.mark} {words.word}", "label")
        sheet.text(row, 1, finding.code, "wrap")
        sheet.text(row, 2, cell_text(finding.message), "wrap")
        sheet.text(row, 3, cell_text(finding.remedy), "wrap")
        sheet.text(row, 4, cell_text("; ".join(f"{key} = {value}" for key, value in finding.evidence.items())), "wrap")
    if not audit.findings:
        sheet.text(1, 0, "Nothing was found that a person needs to know.", "note")


def _write_read_me(sheet: Sheet, lines: Sequence[str] = _READ_ME) -> None:
    sheet.columns(110)
    sheet.text(0, 0, "How to read this workbook", "title")
    for row, line in enumerate(lines, start=2):
        sheet.text(row, 0, line, "wrap")
