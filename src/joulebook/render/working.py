"""The whole calculation line by line, with the numbers put in, so that a teacher can follow it with a pocket calculator.

Every indented line reads symbol = formula = numbers put in = result. Each line starts from the figures that stand on the page, so
redoing it from those figures gives the result that stands there.
"""

from __future__ import annotations

import math

from joulebook.engine.report import Audit
from joulebook.errors import InputError
from joulebook.render.arithmetic import figure
from joulebook.render.numbers import value_with_u
from joulebook.render.plain import clean_text, quantities_in_order
from joulebook.render.words import DISTRIBUTION_WORDS, LEDGER_ORDER, ORIGIN_WORDS, input_words, quantity_words, unit_text
from joulebook.render.workbook_model import FIT, Influence, Model, build_model
from joulebook.render.working_ledger import SYMBOLS, Paper, write_ledger_lines, write_sensitivities
from joulebook.uncertainty import Quantity

__all__ = ["write_working"]

_FITTED = {
    "climb_as_read": "deceleration while climbing, drag taken out, as the ranger read it",
    "descent_as_read": "acceleration while descending, drag taken out, as the ranger read it",
    "apex_as_read": "highest point of the fitted motion, as the ranger read it",
}
_DERIVED = {"distance_scale": "distance scale", "gravity": "gravity"}
_TRUE = {"climb_as_read": "aᵤ", "descent_as_read": "a_d", "apex_as_read": "d"}
_LETTERS = {"climb_as_read": "A", "descent_as_read": "B", "apex_as_read": "C"}
# The three results whose uncertainty is worked out: symbol, quantity, unit.
_RESULTS = (("Δ", "difference", "J"), ("Δ/E", "relative_difference", ""), ("R", "unaccounted", "J"))


def write_working(audit: Audit, *, decimal: str = ".") -> str:
    """Return the calculation as plain text in Markdown.

    decimal: the decimal sign, "." or ",".
    InputError: another decimal sign. OutputError: the audit does not carry the fitted values.
    An audit without a ledger gives its title, verdict and the reason.
    """
    if decimal not in (".", ","):
        raise InputError(f"the decimal sign {decimal!r} is not known.", remedy="Choose a point or a comma.")
    paper = Paper(decimal)
    paper.lines += [f"# Working: {clean_text(audit.title)}", ""]
    paper.say(clean_text(audit.verdict.sentence))
    if not audit.quantities:
        paper.say("There is nothing to work out, because no ledger could be drawn up.")
        return "\n".join(paper.lines).rstrip() + "\n"
    model = build_model(audit)
    paper.say(
        "Each indented line reads: symbol = formula = numbers put in = result. Every number is used as it stands here, so "
        "each line can be redone on a pocket calculator. A prime (′) marks what the ranger read, before the distance scale is "
        "applied."
    )
    _write_inputs(paper, audit, model)
    write_ledger_lines(paper, model)
    written = write_sensitivities(paper, model)
    for symbol, name, unit in _RESULTS:
        quantity = audit.quantities.get(name)
        if isinstance(quantity, Quantity):
            _write_uncertainty(paper, audit, model, written, symbol, name, quantity, unit)
    _write_verdict(paper, audit)
    _write_cross_check(paper, audit, model)
    _write_audit_figures(paper, audit)
    return "\n".join(paper.lines).rstrip() + "\n"


def _write_inputs(paper: Paper, audit: Audit, model: Model) -> None:
    paper.heading("What goes in")
    paper.say("u is the standard uncertainty (GUM 2.3.1).")
    decimal = paper.decimal
    about = {item.name: item for item in audit.inputs}
    for item in model.influences:
        symbol = SYMBOLS[item.symbol]
        paper.put(symbol, item.value)
        paper.put(f"u({symbol})", item.u, 6)
        unit = unit_text(item.unit)
        label = _FITTED.get(item.symbol) or _DERIVED.get(item.symbol) or input_words(item.inputs[0]).label
        known = about.get(item.inputs[0])
        if item.fitted:
            source = "from the fit of the motion" + (", mean of the launches used" if len(audit.launches) > 1 else "")
        elif len(item.inputs) > 1:
            parts = (
                f"{input_words(name).label} {_with(figure(about[name].value, decimal=decimal), unit_text(about[name].unit))}"
                for name in item.inputs
            )
            source = "worked out from " + ", ".join(parts)
        elif known is None:
            source = "not in the audit"
        else:
            kind = f", {DISTRIBUTION_WORDS.get(known.distribution, known.distribution)}" if known.u else ""
            source = ORIGIN_WORDS.get(known.origin, known.origin) + kind
        spread = f", u({symbol}) = {_with(paper.shown[f'u({symbol})'], unit)}" if item.u else ""
        paper.lines.append(f"- {clean_text(label)}: {symbol} = {_with(paper.shown[symbol], unit)}{spread} ({source})")
    for (first, second), value in model.correlations.items():
        symbol = _correlation(first, second)
        paper.put(symbol, value, 6)
        paper.lines.append(
            f"- correlation of {SYMBOLS[first]} with {SYMBOLS[second]}: {symbol} = {paper.shown[symbol]} (from the fit)"
        )
    paper.end()


def _with(text: str, unit: str) -> str:
    return f"{text}{unit}" if unit == "°" else f"{text} {unit}".rstrip()


def _correlation(first: str, second: str) -> str:
    return f"r({_TRUE[first]}, {_TRUE[second]})"


def _write_uncertainty(
    paper: Paper,
    audit: Audit,
    model: Model,
    written: dict[str, dict[str, float]],
    result: str,
    name: str,
    quantity: Quantity,
    unit: str,
) -> None:
    label = quantity_words(name).label
    paper.heading(f"Uncertainty of {result}, the {label}")
    paper.say(f"u({result}; m) is what m alone brings into {result}: sensitivity times standard uncertainty (GUM 5.1.3).")
    parts: list[str] = []
    for item in model.influences:
        if item.fitted or item.u <= 0 or item.symbol in ("datum_level", "datum_offset"):
            continue
        symbol = SYMBOLS[item.symbol]
        if _write_sensitivity(paper, written, result, symbol, unit, item):
            part = f"u({result}; {symbol})"
            paper.work(part, f"|{{c({result}; {symbol})}}| × {{u({symbol})}}", unit)
            parts.append(part)
    _write_fit_part(paper, model, written, result, unit, parts)
    known = {FIT, *(source for item in model.influences for source in item.inputs)}
    for line in audit.budgets.get(name, ()):
        if line.input not in known:
            part = f"u({result}; {input_words(line.input).label})"
            paper.put(part, line.contribution, 6)
            parts.append(part)
            paper.end()
            paper.say("From the audit:")
            paper.quote(part, unit)
    paper.end()
    paper.say("The root of the sum of squares (GUM 5.1.2):")
    total = " + ".join(f"{{{part}}}²" for part in parts) or "0"
    paper.work(f"u({result})", f"√({total})", unit)
    paper.end()


def _write_sensitivity(
    paper: Paper, written: dict[str, dict[str, float]], result: str, symbol: str, unit: str, item: Influence
) -> bool:
    """Put together the sensitivity of one result from those of the energies; False where it is nothing."""
    of = written.get(symbol, {})
    energy, potential = f"{{c(E; {symbol})}}", f"{{c(E_p; {symbol})}}"
    if result == "Δ/E":
        inner = ("{E_p} / {E} × " + energy if "E" in of else "") + (" − " + potential if "E_p" in of else "")
        formula = f"({inner.strip().replace('− ', '−', 1) if 'E' not in of else inner}) / {{E}}" if inner else ""
    else:
        signs = (("E", "+"), ("E_p", "−")) + ((("W_r", "−"), ("W_d", "−")) if result == "R" else ())
        terms = [f"{sign} {{c({quantity}; {symbol})}}" for quantity, sign in signs if quantity in of]
        formula = " ".join(terms).removeprefix("+ ")
        formula = formula.replace("− ", "−", 1) if formula.startswith("− ") else formula
    if not formula:
        return False
    per = "" if item.unit == "1" else f" per {unit_text(item.unit)}"
    paper.work(f"c({result}; {symbol})", formula, f"{unit or '1'}{per}" if per else unit)
    return True


def _write_fit_part(
    paper: Paper, model: Model, written: dict[str, dict[str, float]], result: str, unit: str, parts: list[str]
) -> None:
    fitted = [item for item in model.influences if item.fitted]
    datum = [item for item in model.influences if item.symbol in ("datum_level", "datum_offset") and item.u > 0]
    signed: dict[str, str] = {}
    for item in fitted:
        symbol, read = _TRUE[item.symbol], SYMBOLS[item.symbol]
        if not _write_sensitivity(paper, written, result, symbol, unit, item):
            continue
        if item.symbol == "apex_as_read":
            for level in datum:
                part = f"u({result}; {SYMBOLS[level.symbol]})"
                paper.work(part, f"|{{c({result}; {symbol})}}| × {{s}} × {{u({SYMBOLS[level.symbol]})}}", unit)
                parts.append(part)
        if item.u > 0:
            signed[item.symbol] = f"{_LETTERS[item.symbol]}({result})"
            paper.work(signed[item.symbol], f"{{c({result}; {symbol})}} × {{s}} × {{u({read})}}", unit)
    if not signed:
        return
    paper.end()
    paper.say("The fitted values come from the same samples, so their parts are added with their correlations (GUM 5.2.2):")
    terms = [f"{{{part}}}²" for part in signed.values()]
    for first, second in model.correlations:
        if first in signed and second in signed:
            terms.append(f"2 × {{{_correlation(first, second)}}} × {{{signed[first]}}} × {{{signed[second]}}}")
    part = f"u({result}; fit)"
    paper.work(part, f"√({' + '.join(terms)})", unit)
    parts.append(part)


def _write_verdict(paper: Paper, audit: Audit) -> None:
    paper.heading("Expanded uncertainty and verdict")
    worked: set[str] = set()
    for result, name, unit in _RESULTS:
        quantity = audit.quantities.get(name)
        if isinstance(quantity, Quantity) and f"u({result})" in paper.shown:
            _write_expanded(paper, result, quantity, unit)
            worked.add(result)
    if "Δ/E" in worked and paper.value("U(Δ/E)") > 0:
        paper.say("The normalised error: beyond 1 or −1, a difference is seen.")
        paper.work("Eₙ", "{Δ/E} / {U(Δ/E)}", digits=4)
        paper.end()
    for result, own, title, words in (
        ("Δ", audit.verdict.mechanical, "Mechanical energy", ("gain", "loss", "conserved", "undecided")),
        ("R", audit.verdict.account, "Account of the losses", ("open", "open", "closed", "undecided")),
    ):
        if result not in worked:
            continue
        below, above = (f"{name}({result})" if f"{name}({result})" in paper.shown else f"U({result})" for name in ("U₋", "U₊"))
        low = paper.work(f"lower end of {result}", f"{{{result}}} − {{{below}}}", "J")
        high = paper.work(f"upper end of {result}", f"{{{result}}} + {{{above}}}", "J")
        share = paper.work(f"U({result})/E", f"{{U({result})}} / {{E}}", digits=4)
        paper.end()
        allowed = figure(audit.tolerance, 4, decimal=paper.decimal)
        if high < 0:
            found, why = words[0], f"the whole interval of {result} lies below 0"
        elif low > 0:
            found, why = words[1], f"the whole interval of {result} lies above 0"
        elif share <= audit.tolerance:
            found, why = words[2], f"0 lies in the interval of {result}, and U({result})/E is at most the tolerance {allowed}"
        else:
            found, why = words[3], f"0 lies in the interval of {result}, and U({result})/E is more than the tolerance {allowed}"
        paper.say(f"{title}: {found}, because {why}.")
        if found != own:
            paper.say(f"The audit, which carries more figures, says {own}: the numbers lie on the border.")


def _write_expanded(paper: Paper, result: str, quantity: Quantity, unit: str) -> None:
    coverage = f"{100 * quantity.coverage:g} %"
    dof = "infinitely many" if math.isinf(quantity.dof) or quantity.dof >= 1e6 else figure(quantity.dof, 4, decimal=paper.decimal)
    if quantity.method == "gum":
        factor = quantity.expanded / quantity.u if quantity.u > 0 else 1.96
        paper.put(f"k({result})", factor, 5)
        paper.say(f"The coverage factor for {coverage}, from Student's t with {dof} effective degrees of freedom (GUM G.4):")
        paper.quote(f"k({result})")
        paper.work(f"U({result})", f"{{k({result})}} × {{u({result})}}", unit)
        paper.end()
    else:
        paper.put(f"low({result})", quantity.low, 6)
        paper.put(f"high({result})", quantity.high, 6)
        paper.put(f"{result} in full", quantity.value, 6)
        paper.say(
            f"Linear propagation does not give a {coverage} interval that is good enough here; the audit took it from Monte "
            "Carlo (GUM Supplement 1). Its ends, and the value with all figures:"
        )
        for symbol in (f"low({result})", f"high({result})", f"{result} in full"):
            paper.quote(symbol, unit)
        below = paper.work(f"U₋({result})", f"{{{result} in full}} − {{low({result})}}", unit)
        above = paper.work(f"U₊({result})", f"{{high({result})}} − {{{result} in full}}", unit)
        paper.shown[f"U({result})"] = paper.shown[f"U₋({result})" if below >= above else f"U₊({result})"]
        paper.end()
        paper.say("The longer reach counts:")
        paper.quote(f"U({result})", unit)
        paper.end()


def _write_cross_check(paper: Paper, audit: Audit, model: Model) -> None:
    quantity = audit.quantities.get("slope_from_motion")
    if not isinstance(quantity, Quantity):
        return
    paper.heading("Cross-check: the slope from the motion")
    if "a_d" in paper.shown:
        paper.work("θₘ", "arcsin((1 + {κ}) × ({aᵤ} + {a_d}) / (2 × {g}))", "°")
    else:
        paper.work("θₘ", "arcsin((1 + {κ}) × {aᵤ} / {g} − {μ} × {cosθ})", "°")
    paper.end()
    paper.say(
        "It comes from the same samples as the energies; a ledger that used it would agree with itself whatever the bench did."
    )


def _write_audit_figures(paper: Paper, audit: Audit) -> None:
    paper.heading("What the audit says, carrying all its figures")
    paper.say("In brackets the standard uncertainty of the last digits.")
    for name, quantity in quantities_in_order(
        audit, ("release_speed", "travel", "height", *LEDGER_ORDER, "rolling_resistance", "slope_from_motion")
    ):
        text = value_with_u(name, quantity).replace(".", paper.decimal)
        paper.lines.append(f"- {quantity_words(name).label}: {text}")
    paper.end()
