"""The sheets Inputs and Fit: the cells that the workbook's formulas start from."""

from __future__ import annotations

import math

from joulebook.engine.report import Audit
from joulebook.render.words import DISTRIBUTION_WORDS, ORIGIN_WORDS, input_words, unit_text
from joulebook.render.workbook_model import FIT, Influence, Model
from joulebook.render.workbook_sheets import Sheet, cell_text
from joulebook.uncertainty import Quantity

__all__ = ["write_fit", "write_inputs"]

_FIT_LABELS = {
    "climb_as_read": "deceleration while climbing, as read",
    "descent_as_read": "acceleration while descending, as read",
    "apex_as_read": "apex, as read",
}
_DRAG_LABELS = {
    "fit_drag": ("drag constant at which the motion was fitted", "1/m"),
    "climb_by_drag": ("change of the climb's deceleration with it", "m²/s²"),
    "descent_by_drag": ("change of the descent's acceleration with it", "m²/s²"),
    "apex_by_drag": ("change of the apex with it", "m²"),
}


def write_inputs(sheet: Sheet, audit: Audit, model: Model | None) -> None:
    """Write every input of the audit; those that the formulas use get a name and a frame."""
    sheet.columns(28, 28, 15, 15, 10, 22, 10, 12, 70)
    sheet.text(0, 0, "Inputs", "title")
    sheet.text(1, 0, "Framed cells are used by the formulas: change them to see what follows.", "note")
    sheet.header(
        3,
        (
            "Input",
            "Name in the bench file",
            "Value",
            "Standard uncertainty",
            "Unit",
            "Distribution",
            "Origin",
            "Degrees of freedom",
            "Where it comes from",
        ),
    )
    sheet.raw.freeze_panes(4, 1)
    live = (
        {}
        if model is None
        else {name: item for item in model.influences for name in item.inputs if len(item.inputs) == 1 and name != FIT}
    )
    row = 3
    written: set[str] = set()
    for item in audit.inputs:
        row += 1
        sheet.text(row, 0, cell_text(input_words(item.name).label), "label")
        sheet.text(row, 1, cell_text(item.name))
        influence = live.get(item.name)
        if influence is not None and influence.symbol not in written:
            _input_cells(sheet, row, influence)
            written.add(influence.symbol)
        else:
            sheet.number(row, 2, item.value)
            sheet.number(row, 3, item.u)
        sheet.text(row, 4, unit_text(item.unit))
        sheet.text(row, 5, DISTRIBUTION_WORDS.get(item.distribution, item.distribution))
        sheet.text(row, 6, ORIGIN_WORDS.get(item.origin, item.origin))
        _dof(sheet, row, 7, item.dof)
        sheet.text(row, 8, cell_text(item.note), "wrap")
    if model is None:
        return
    for influence in model.influences:
        if influence.symbol in written or influence.fitted:
            continue
        row += 1
        sheet.text(
            row,
            0,
            {"distance_scale": "distance scale", "gravity": "gravity"}.get(influence.symbol, influence.symbol.replace("_", " ")),
            "label",
        )
        _input_cells(sheet, row, influence)
        sheet.text(row, 4, unit_text(influence.unit))
        sheet.text(row, 6, "derived" if len(influence.inputs) > 1 or influence.inputs[0] not in live else "default")
        _dof(sheet, row, 7, influence.dof)
        known = ", ".join(name for name in influence.inputs if name in {item.name for item in audit.inputs})
        sheet.text(
            row,
            8,
            f"Worked out by the audit from {known}; the formulas use this value." if known else "Not in the audit: a constant.",
            "wrap",
        )


def write_fit(sheet: Sheet, audit: Audit, model: Model) -> None:
    """Write the fitted values with their correlations, and each launch's own beside them."""
    fitted = [item for item in model.influences if item.fitted]
    sheet.columns(42, 16, 20, 12, 16, 16, 16, 16)
    sheet.text(0, 0, "Fit of the motion", "title")
    sheet.text(1, 0, "As the ranger read the distances; the distance scale is applied in the sheet Ledger.", "note")
    sheet.header(3, ("Fitted value", "Value", "Standard uncertainty", "Unit"))
    sheet.raw.freeze_panes(4, 1)
    row = 3
    for item in fitted:
        row += 1
        sheet.text(row, 0, _FIT_LABELS[item.symbol], "label")
        sheet.number(row, 1, item.value, "input", name=item.symbol)
        sheet.number(row, 2, item.u, "input", name=f"u_{item.symbol}")
        sheet.text(row, 3, unit_text(item.unit))
    row += 1
    sheet.text(row, 0, "degrees of freedom of the fit", "label")
    sheet.names["fit_dof"] = f"$B${row + 1}"
    if math.isfinite(model.fit_dof):
        sheet.number(row, 1, model.fit_dof, "input")
    else:
        sheet.text(row, 1, "infinite", "input")
    row += 2
    sheet.header(row, ("Correlation coefficients", "Value"))
    for (first, second), value in model.correlations.items():
        row += 1
        sheet.text(row, 0, f"{_short(first)} with {_short(second)}", "label")
        sheet.number(row, 1, value, "input", name=f"r_{first}_{second}")
    if model.constants:
        row += 2
        sheet.header(row, ("Air drag in the fit", "Value", "", "Unit"))
        for symbol, (label, unit) in _DRAG_LABELS.items():
            if symbol in model.constants:
                row += 1
                sheet.text(row, 0, label, "label")
                sheet.number(row, 1, model.constants[symbol], name=symbol)
                sheet.text(row, 3, unit)
    row += 2
    sheet.header(
        row, ("Each launch (from the audit)", "Climb m/s²", "u", "Descent m/s²", "u", "Travel m", "u", "Release speed m/s")
    )
    for launch in audit.launches:
        row += 1
        sheet.text(row, 0, cell_text(launch.file), "label")
        for column, name in enumerate(("a_u", "u_a_u", "a_d", "u_a_d", "travel", "u_travel"), start=1):
            found = launch.facts.get(name)
            if found is not None and math.isfinite(found):
                sheet.number(row, column, found)
        speed = launch.quantities.get("release_speed")
        if isinstance(speed, Quantity):
            sheet.number(row, 7, speed.value, sheet.styles.by_uncertainty(speed.expanded))


def _input_cells(sheet: Sheet, row: int, influence: Influence) -> None:
    sheet.number(row, 2, influence.value, "input", name=influence.symbol)
    sheet.number(row, 3, influence.u, "input", name=f"u_{influence.symbol}")


def _dof(sheet: Sheet, row: int, column: int, dof: float) -> None:
    if math.isfinite(dof):
        sheet.number(row, column, dof, "one")
    else:
        sheet.text(row, column, "infinite")


def _short(symbol: str) -> str:
    return symbol.removesuffix("_as_read")
