"""The sheets Ledger and Comparison: energies, losses and verdicts as formulas over the cells of the inputs and of the fit."""

from __future__ import annotations

from collections.abc import Mapping

from joulebook.engine.report import Audit
from joulebook.render.words import METHOD_WORDS, quantity_words, unit_text
from joulebook.render.workbook_model import Model
from joulebook.render.workbook_sheets import Sheet
from joulebook.uncertainty import Quantity

__all__ = ["write_comparison", "write_ledger"]

_STEP_LABELS = {
    "sin_slope": "sine of the slope",
    "cos_slope": "cosine of the slope",
    "drag_constant": "drag constant k = ½ρCA/(m(1+κ))",
    "drag_exponent": "x = 2 k times travel",
    "speed_factor": "(exp(x) − 1)/x",
    "loss_factor": "(exp(x) − 1 − x)/x²",
    "release_energy": "energy at release",
}


def write_ledger(sheet: Sheet, audit: Audit, model: Model) -> dict[str, float]:
    """Write the ledger over the defined names of the inputs; return its values by symbol."""
    values = model.evaluate(model.estimates)
    sheet.columns(40, 18, 10, 26, 60)
    sheet.text(0, 0, "Ledger", "title")
    sheet.text(1, 0, "From release to apex, over the cells of the sheets Inputs and Fit.", "note")
    sheet.header(3, ("Quantity", "Value", "Unit", "Name", "Meaning"))
    sheet.raw.freeze_panes(4, 1)
    names = {name: name for name in values}
    for row, item in enumerate(model.rows, start=4):
        words = quantity_words(item.quantity)
        sheet.text(row, 0, _label(item.symbol, item.quantity), "label")
        quantity = audit.quantities.get(item.quantity)
        percent = words.unit == "%"
        style = sheet.styles.by_uncertainty(quantity.u / 10, percent=percent) if isinstance(quantity, Quantity) else "number"
        sheet.formula(row, 1, "=" + item.formula.format_map(names), values[item.symbol], style, name=item.symbol)
        sheet.text(row, 2, "" if percent else unit_text(item.unit))
        sheet.text(row, 3, item.symbol)
        sheet.text(row, 4, words.meaning if item.quantity else "", "wrap")
    return values


def write_comparison(sheet: Sheet, audit: Audit, values: Mapping[str, float], expanded: Mapping[str, float]) -> None:
    """Write the normalised error, the percent difference and both verdicts as formulas, beside the audit's own."""
    sheet.columns(52, 20, 14, 70)
    sheet.text(0, 0, "Comparison", "title")
    sheet.header(2, ("", "Value", "Unit", "How"))
    row = 3

    def line(label: str, formula: str, value: float | str, unit: str, how: str, style: str = "number", name: str = "") -> None:
        nonlocal row
        sheet.text(row, 0, label, "label")
        sheet.formula(row, 1, formula, value, style, name=name)
        sheet.text(row, 2, unit)
        sheet.text(row, 3, how, "wrap")
        row += 1

    energy, potential = values["release_energy"], values["potential_energy"]
    sheet.text(row, 0, "tolerance set by the teacher", "label")
    sheet.number(row, 1, audit.tolerance, "input", name="tolerance")
    sheet.text(row, 3, "below this, U over the energy at release, 'no difference seen' may be called conserved", "wrap")
    row += 1
    line("energy at release", "=release_energy", energy, "J", "kinetic plus rotational")
    line("potential energy at the apex", "=potential_energy", potential, "J", "m g times the height gained")
    line(
        "percent difference",
        "=ABS(release_energy-potential_energy)/((release_energy+potential_energy)/2)",
        abs(energy - potential) / ((energy + potential) / 2),
        "",
        "the difference over the mean of the two",
        "percent",
        "percent_difference",
    )

    def reach_lines(symbol: str) -> tuple[float, float]:
        """Write how far the interval reaches below and above the value; return both."""
        nonlocal row
        quantity = audit.quantities[symbol]
        assert isinstance(quantity, Quantity)
        line(
            "expanded uncertainty, linear propagation", f"=expanded_{symbol}", expanded[symbol], "", "from the sheet Uncertainty"
        )
        sheet.text(row, 0, "interval in the audit", "label")
        sheet.number(row, 1, quantity.low)
        sheet.number(row, 2, quantity.high)
        sheet.text(row, 3, f"low and high end, {METHOD_WORDS[quantity.method]}; numbers, not formulas", "wrap")
        row += 1
        linear = quantity.method == "gum"
        below = expanded[symbol] if linear else quantity.value - quantity.low
        above = expanded[symbol] if linear else quantity.high - quantity.value
        how = (
            "the linear one"
            if linear
            else "from the audit's Monte Carlo interval, which linear propagation does not reproduce well enough"
        )
        for word, name, value in (("down", "below", below), ("up", "above", above)):
            if linear:
                line(f"reach of the interval {word}", f"=expanded_{symbol}", value, "", how, name=f"{name}_{symbol}")
            else:
                sheet.text(row, 0, f"reach of the interval {word}", "label")
                sheet.number(row, 1, value, name=f"{name}_{symbol}")
                sheet.text(row, 3, how, "wrap")
                row += 1
        line(
            "expanded uncertainty U used",
            f"=MAX(below_{symbol},above_{symbol})",
            max(below, above),
            "",
            "the longer reach",
            name=f"used_{symbol}",
        )
        return below, above

    for symbol, own, title, words in (
        ("difference", audit.verdict.mechanical, "Mechanical energy", ("gain", "loss", "conserved", "undecided")),
        ("unaccounted", audit.verdict.account, "Account of the losses", ("open", "open", "closed", "undecided")),
    ):
        if symbol not in expanded:
            continue
        row += 1
        sheet.text(row, 0, title, "title")
        row += 1
        value = values[symbol]
        line(quantity_words(symbol).label, f"={symbol}", value, "J", quantity_words(symbol).meaning)
        below, above = reach_lines(symbol)
        used = max(below, above)
        line(
            "U over the energy at release",
            f"=used_{symbol}/release_energy",
            used / energy,
            "",
            "compared with the tolerance",
            "percent",
            f"resolution_{symbol}",
        )
        negative, positive, inside, unsure = words
        formula = (
            f'=IF({symbol}+above_{symbol}<0,"{negative}",IF({symbol}-below_{symbol}>0,"{positive}",'
            f'IF(resolution_{symbol}<=tolerance,"{inside}","{unsure}")))'
        )
        found = (
            negative
            if value + above < 0
            else positive
            if value - below > 0
            else inside
            if used / energy <= audit.tolerance
            else unsure
        )
        line("verdict", formula, found, "", "by the rule above, from the cells", "label", f"verdict_{symbol}")
        sheet.text(row, 0, "verdict in the audit", "label")
        sheet.text(row, 1, own)
        row += 1
    if "relative_difference" in expanded:
        row += 1
        sheet.text(row, 0, "Normalised error", "title")
        row += 1
        value = values["relative_difference"]
        line("relative difference", "=relative_difference", value, "", quantity_words("relative_difference").meaning, "percent")
        used = max(reach_lines("relative_difference"))
        line(
            "normalised error",
            "=IF(used_relative_difference>0,relative_difference/used_relative_difference,0)",
            value / used if used > 0 else 0.0,
            "",
            "the relative difference over its expanded uncertainty; beyond ±1 a difference is seen",
            "small",
            "normalised_error",
        )
        sheet.text(row, 0, "normalised error in the audit", "label")
        sheet.number(row, 1, audit.verdict.normalised_error, "small")
        row += 1
    row += 1
    sheet.text(
        row,
        0,
        "Every loss makes the difference larger. A difference below −U cannot come from the physics: a reading is wrong.",
        "note",
    )


def _label(symbol: str, quantity: str) -> str:
    return quantity_words(quantity).label if quantity else _STEP_LABELS.get(symbol, symbol.replace("_", " "))
