"""The sheets Shifted and Uncertainty: sensitivities, contributions, shares and combined uncertainties as formulas."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from statistics import NormalDist

from joulebook.engine.report import Audit
from joulebook.render.words import input_words, quantity_words
from joulebook.render.workbook_model import FIT, Influence, Model
from joulebook.render.workbook_sheets import Sheet, column_letters
from joulebook.uncertainty import Quantity

__all__ = ["write_shifted", "write_uncertainty"]

_MANY = 10_000_000
_FIT_ROW = "fit of the motion, with its correlations"


def write_shifted(sheet: Sheet, model: Model) -> None:
    """Write the ledger again for each input moved up and down by its step."""
    sheet.columns(24, 14)
    sheet.raw.set_column(2, 1 + 2 * len(model.influences), 14)
    sheet.text(0, 0, "Shifted ledgers", "title")
    sheet.text(
        1,
        0,
        "Each pair of columns moves one input by its step, up and down. The sheet Uncertainty takes its sensitivities from here.",
        "note",
    )
    sheet.header(3, ("Quantity", "unmoved"))
    sheet.raw.freeze_panes(5, 2)
    sheet.text(4, 0, "step", "label")
    symbols = [item.symbol for item in model.influences]
    for row, symbol in enumerate((*symbols, *(item.symbol for item in model.rows)), start=5):
        sheet.text(row, 0, symbol, "label")
    columns: list[tuple[Influence | None, float, int]] = [(None, 0.0, 1)]
    for index, influence in enumerate(model.influences):
        step = _step(influence)
        up, down = 2 + 2 * index, 3 + 2 * index
        largest = f"MAX(ABS({influence.symbol}),u_{influence.symbol})"
        sheet.formula(4, up, f"=IF({largest}=0,0.000001,0.0001*{largest})", step)
        sheet.formula(4, down, f"={column_letters(up)}5", step)
        sheet.raw.write_string(3, up, f"{influence.symbol} up", sheet.styles.named["header"])
        sheet.raw.write_string(3, down, f"{influence.symbol} down", sheet.styles.named["header"])
        columns += [(influence, step, up), (influence, -step, down)]
    for moved, step, column in columns:
        letters = column_letters(column)
        where = {name: name for name in model.constants}
        where |= {
            name: f"{letters}{row + 1}" for row, name in enumerate((*symbols, *(item.symbol for item in model.rows)), start=5)
        }
        inputs = model.estimates
        for row, item in enumerate(model.influences, start=5):
            sign = "" if item is not moved else f"{'+' if step > 0 else '-'}{letters}5"
            if item is moved:
                inputs[item.symbol] += step
            sheet.formula(row, column, f"={item.symbol}{sign}", inputs[item.symbol])
        values = model.evaluate(inputs)
        for row, line in enumerate(model.rows, start=5 + len(symbols)):
            sheet.formula(row, column, "=" + line.formula.format_map(where), values[line.symbol])


def write_uncertainty(sheet: Sheet, audit: Audit, model: Model) -> dict[str, float]:
    """Write sensitivities, contributions, shares and combined uncertainties; return the expanded ones by quantity."""
    shown = [(index, row) for index, row in enumerate(model.rows) if isinstance(audit.quantities.get(row.quantity), Quantity)]
    quantities = [row.quantity for _, row in shown]
    free = [item for item in model.influences if not item.fitted]
    fitted = [item for item in model.influences if item.fitted]
    known = {FIT, *(name for item in model.influences for name in item.inputs)}
    static = sorted({line.input for lines in audit.budgets.values() for line in lines} - known)
    sensitivities = _sensitivities(model, quantities)

    sheet.columns(44, 16, 16, 12)
    sheet.raw.set_column(4, 3 + len(quantities), 17)
    sheet.text(0, 0, "Uncertainty", "title")
    sheet.text(1, 0, "coverage probability", "label")
    sheet.number(
        1, 1, next((q.coverage for q in audit.quantities.values() if isinstance(q, Quantity)), 0.95), "input", name="coverage"
    )
    sheet.raw.freeze_panes(4, 1)
    sheet.header(3, ("", "Estimate", "Standard uncertainty", "Degrees of freedom", *(_heading(name) for name in quantities)))

    first = 5
    sheet.text(first - 1, 0, "Sensitivity coefficients", "title")
    place: dict[str, int] = {}
    for row, item in enumerate(model.influences, start=first):
        place[item.symbol] = row
        up = column_letters(2 + 2 * model.influences.index(item))
        down = column_letters(3 + 2 * model.influences.index(item))
        sheet.text(row, 0, _influence_label(item), "label")
        sheet.formula(row, 1, f"={item.symbol}", item.value)
        sheet.formula(row, 2, f"=u_{item.symbol}", item.u)
        _write_dof(sheet, row, item, model)
        for column, (index, line) in enumerate(shown, start=4):
            cell = 6 + len(model.influences) + index
            formula = f"=(Shifted!{up}{cell}-Shifted!{down}{cell})/(2*Shifted!{up}5)"
            sheet.formula(row, column, formula, sensitivities[line.quantity][item.symbol], "exponent")

    start = first + len(model.influences) + 2
    labels = (
        [_influence_label(item) for item in free]
        + [_FIT_ROW]
        + [f"{input_words(name).label} (from the audit)" for name in static]
    )
    sheet.text(start - 1, 0, "Contributions to the standard uncertainty", "title")
    end = start + len(labels) - 1
    share = end + 3
    sheet.text(share - 1, 0, "Shares of the variance", "title")
    total = share + len(labels) + 1
    for offset, label in enumerate(labels):
        sheet.text(start + offset, 0, label, "label")
        sheet.text(share + offset, 0, label, "label")
    for row, label in enumerate(
        (
            "combined standard uncertainty",
            "effective degrees of freedom",
            "coverage factor",
            "expanded uncertainty",
            "standard uncertainty in the audit",
            "this sheet over the audit",
        ),
        start=total,
    ):
        sheet.text(row, 0, label, "label")

    expanded: dict[str, float] = {}
    for column, name in enumerate(quantities, start=4):
        letters = column_letters(column)
        c = sensitivities[name]
        parts: list[tuple[float, float]] = []
        for offset, item in enumerate(free):
            value = abs(c[item.symbol] * item.u)
            parts.append((value, item.dof))
            sheet.formula(
                start + offset, column, f"=ABS({letters}{place[item.symbol] + 1}*$C{place[item.symbol] + 1})", value, "exponent"
            )
        formula, value = _fit_contribution(letters, place, fitted, model, c)
        parts.append((value, model.fit_dof))
        sheet.formula(start + len(free), column, formula, value, "exponent")
        for offset, source in enumerate(static, start=len(free) + 1):
            value = sum(line.contribution for line in audit.budgets.get(name, ()) if line.input == source)
            parts.append((value, math.inf))
            sheet.number(start + offset, column, value, "exponent")
        combined = math.sqrt(sum(value**2 for value, _ in parts))
        area = f"{letters}{start + 1}:{letters}{end + 1}"
        for offset, (value, _) in enumerate(parts):
            formula = f"=IF({letters}{total + 1}=0,0,({letters}{start + offset + 1}/{letters}{total + 1})^2)"
            sheet.formula(share + offset, column, formula, (value / combined) ** 2 if combined else 0.0, "percent")
        sheet.formula(total, column, f"=SQRT(SUMSQ({area}))", combined, "exponent", name=f"u_{name}")
        dof = _effective_dof(parts, combined)
        sheet.formula(
            total + 1, column, _dof_formula(letters, start, total, place, free), dof if math.isfinite(dof) else "infinite", "one"
        )
        coverage = _coverage(audit)
        factor = _coverage_factor(dof, coverage)
        dof_cell = f"{letters}{total + 2}"
        sheet.formula(
            total + 2,
            column,
            _factor_formula(dof_cell),
            factor,
            "small",
        )
        expanded[name] = factor * combined
        sheet.formula(
            total + 3, column, f"={letters}{total + 3}*{letters}{total + 1}", expanded[name], "exponent", name=f"expanded_{name}"
        )
        quantity = audit.quantities[name]
        assert isinstance(quantity, Quantity)
        sheet.number(total + 4, column, quantity.u, "exponent")
        ratio = combined / quantity.u if quantity.u > 0 else 1.0
        sheet.formula(
            total + 5, column, f"=IF({letters}{total + 5}=0,1,{letters}{total + 1}/{letters}{total + 5})", ratio, "small"
        )
    return expanded


def _heading(name: str) -> str:
    unit = {"relative_difference": "1"}.get(name, quantity_words(name).unit) or "1"
    return f"{quantity_words(name).label} ({unit})"


def _influence_label(item: Influence) -> str:
    if item.fitted:
        return item.symbol.replace("_", " ")
    if len(item.inputs) == 1:
        return input_words(item.inputs[0]).label
    return f"{item.symbol.replace('_', ' ')} (from {', '.join(input_words(name).label for name in item.inputs)})"


def _step(item: Influence) -> float:
    largest = max(abs(item.value), item.u)
    return 1e-4 * largest if largest else 1e-6


def _sensitivities(model: Model, quantities: Sequence[str]) -> dict[str, dict[str, float]]:
    symbols = {row.quantity: row.symbol for row in model.rows if row.quantity}
    found: dict[str, dict[str, float]] = {name: {} for name in quantities}
    for item in model.influences:
        step = _step(item)
        up = model.evaluate({**model.estimates, item.symbol: item.value + step})
        down = model.evaluate({**model.estimates, item.symbol: item.value - step})
        for name in quantities:
            found[name][item.symbol] = (up[symbols[name]] - down[symbols[name]]) / (2 * step)
    return found


def _write_dof(sheet: Sheet, row: int, item: Influence, model: Model) -> None:
    if item.fitted:
        sheet.formula(row, 3, "=fit_dof", model.fit_dof if math.isfinite(model.fit_dof) else "infinite", "one")
    elif math.isfinite(item.dof):
        sheet.number(row, 3, item.dof, "one")
    else:
        sheet.text(row, 3, "infinite")


def _fit_contribution(
    letters: str, place: Mapping[str, int], fitted: Sequence[Influence], model: Model, c: Mapping[str, float]
) -> tuple[str, float]:
    terms = [f"({letters}{place[item.symbol] + 1}*$C{place[item.symbol] + 1})" for item in fitted]
    each = {item.symbol: (term, c[item.symbol] * item.u) for item, term in zip(fitted, terms, strict=True)}
    formula = "+".join(f"{term}^2" for term in terms)
    variance = sum(value**2 for _, value in each.values())
    for (first, second), correlation in model.correlations.items():
        formula += f"+2*r_{first}_{second}*{each[first][0]}*{each[second][0]}"
        variance += 2 * correlation * each[first][1] * each[second][1]
    return f"=SQRT(MAX(0,{formula}))", math.sqrt(max(0.0, variance))


def _effective_dof(parts: Sequence[tuple[float, float]], combined: float) -> float:
    below = sum(value**4 / dof for value, dof in parts if math.isfinite(dof))
    return combined**4 / below if below > 0 else math.inf


def _dof_formula(letters: str, start: int, total: int, place: Mapping[str, int], free: Sequence[Influence]) -> str:
    cells = [(start + offset + 1, f"$D{place[item.symbol] + 1}") for offset, item in enumerate(free)]
    cells.append((start + len(free) + 1, "fit_dof"))
    below = "+".join(f"IF(ISNUMBER({dof}),{letters}{row}^4/{dof},0)" for row, dof in cells)
    return f'=IF(({below})=0,"infinite",{letters}{total + 1}^4/({below}))'


def _coverage(audit: Audit) -> float:
    return next((item.coverage for item in audit.quantities.values() if isinstance(item, Quantity)), 0.95)


def _factor_formula(cell: str) -> str:
    # Student's t by the beta distribution, because spreadsheets cut the degrees of freedom of their own t to a whole number.
    # From ten million degrees of freedom on, t and the normal distribution differ by under 2e-7.
    square = f"BETAINV(coverage,0.5,{cell}/2)"
    student = f"SQRT({cell}*{square}/(1-{square}))"
    return f"=IF(ISNUMBER({cell}),IF({cell}<{_MANY},{student},NORMSINV((1+coverage)/2)),NORMSINV((1+coverage)/2))"


def _coverage_factor(dof: float, coverage: float) -> float:
    if dof >= _MANY:
        return NormalDist().inv_cdf(0.5 * (1 + coverage))
    from scipy.special import stdtrit

    return float(stdtrit(dof, 0.5 * (1 + coverage)))
