"""The working: every line is redone from the figures on the page by another evaluator, and the end agrees with the audit."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from functools import cache
from typing import Any

import pytest
from tests.render.exact_audit import exact_audit
from tests.render.sample_audit import sample_stopped

from joulebook.engine.report import Audit
from joulebook.errors import InputError, OutputError
from joulebook.render.working import write_working
from joulebook.uncertainty import Quantity

VARIANTS: dict[str, dict[str, Any]] = {
    "plain": {},
    "rise over stretch": {"rise": True},
    "scale from the air": {"air": True, "latitude": True},
    "no descent": {"descent": False},
    "no descent, rise": {"descent": False, "rise": True},
    "Monte Carlo": {"method": "monte-carlo", "other": 0.0005},
    "no drag": {"values": {"area": 0.0}, "spread": {"area": 0.0}},
    "no drag, not known": {"values": {"area": 0.0}},
    "much drag": {"values": {"area": 0.05, "mass": 0.1}},
    "a gain": {"values": {"angle": 11.0}},
    "one launch": {"launches": 1},
    "scale off": {"values": {"scale": 0.93}},
}
FUNCTIONS = {"sqrt": math.sqrt, "exp": math.exp, "sin": math.sin, "cos": math.cos, "abs": abs, "rad": math.radians, "pi": math.pi,
             "arcsin": lambda ratio: math.degrees(math.asin(ratio))}  # fmt: skip
RAISED = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", "0123456789-")


@cache
def variant_audit(variant: str) -> Audit:
    return exact_audit(**VARIANTS[variant])


def python_value(text: str) -> float:
    """Return the value of a line's numbers by Python itself; nothing of the package is used."""
    text = re.sub(r"([⁰¹²³⁴⁵⁶⁷⁸⁹⁻]+)", lambda match: f"**({match[1].translate(RAISED)})", text.replace(",", "."))
    text = re.sub(r"([\d.]+)°", r"rad(\1)", text)
    text = re.sub(r"\|([^|]*)\|", r"abs(\1)", text)
    for shown, meant in (("×", "*"), ("−", "-"), ("½", "0.5"), ("√", "sqrt"), ("π", "pi")):
        text = text.replace(shown, meant)
    assert re.fullmatch(r"[\d\s.+\-*/()]*", re.sub(r"sqrt|exp|arcsin|sin|cos|abs|rad|pi", "", text)), text
    return float(eval(text, {"__builtins__": {}}, FUNCTIONS))


def number_at_the_start(text: str) -> str:
    """Return the number that a result starts with, before its unit."""
    match = re.match(r"−?\d+(?:[.,]\d+)?(?: × 10[⁰¹²³⁴⁵⁶⁷⁸⁹⁻]+)?", text)
    assert match is not None, text
    return match[0]


def half_a_unit(number: str) -> float:
    """Return half a unit of the last place of a number as it stands there."""
    mantissa, _, power = number.partition(" × 10")
    places = len(re.split(r"[.,]", mantissa)[1]) if re.search(r"[.,]", mantissa) else 0
    return 0.5 * 10.0 ** (int(power.translate(RAISED) or 0) - places)


def lines_of(text: str) -> list[list[str]]:
    """Return the indented lines as their parts between equals signs, continued ones put together."""
    joined: list[str] = []
    for line in text.splitlines():
        if line.startswith("    ") and line.strip().startswith("= "):
            joined[-1] += " " + line.strip()
        elif line.startswith("    "):
            joined.append(line.strip())
    return [line.split(" = ") for line in joined]


def known_inputs(text: str) -> dict[str, str]:
    """Return the numbers of the list of inputs by symbol."""
    found = {}
    for line in text.splitlines():
        if line.startswith("- "):
            for symbol, number in re.findall(r"(?:^|[ :])([^\s:]*(?:\([^)]*\))?) = (−?[\d.,]*\d(?: × 10[⁰¹²³⁴⁵⁶⁷⁸⁹⁻]+)?)", line):
                found[symbol] = number
    return found


@pytest.mark.parametrize(("variant", "decimal"), [*((variant, ".") for variant in VARIANTS), ("plain", ",")])
def test_every_line_gives_its_result(variant: str, decimal: str) -> None:
    text = write_working(variant_audit(variant), decimal=decimal)
    checked = 0
    for parts in lines_of(text):
        if len(parts) < 3:
            continue
        numbers, result = parts[-2], number_at_the_start(parts[-1])
        try:
            value = python_value(numbers)
        except AssertionError:  # a line that only takes a number over: symbol = other symbol = number
            assert len(parts) == 3
            continue
        line = " = ".join(parts)
        assert abs(python_value(result) - value) <= 1.0001 * half_a_unit(result), line
        # Zeros at the end are not written; the figures behind them still count.
        figures = 4 if parts[0] == "Eₙ" or parts[0].endswith(")/E") else 6
        assert python_value(result) == pytest.approx(value, rel=5.01 * 10.0**-figures), line
        checked += 1
    assert checked >= 60


@pytest.mark.parametrize("variant", ["plain", "rise over stretch", "no descent", "Monte Carlo", "much drag"])
def test_every_number_put_in_stands_earlier_on_the_page(variant: str) -> None:
    text = write_working(variant_audit(variant))
    known = known_inputs(text)
    assert {"m", "u(m)", "κ", "aᵤ′", "sₚ′"} <= set(known)
    for parts in lines_of(text):
        symbol, result = parts[0], number_at_the_start(parts[-1])
        if len(parts) >= 3:
            names = sorted(known, key=len, reverse=True)
            pattern = "|".join(["arcsin|exp|sin(?=\\()|cos(?=\\()", *map(re.escape, names)])

            def put_in(match: re.Match[str], known: dict[str, str] = known) -> str:
                number = known.get(match[0], match[0])
                return f"({number})" if "×" in number or number.startswith("−") else number

            expected = re.sub(pattern, put_in, parts[1])
            written = parts[2] if len(parts) == 4 else number_at_the_start(parts[2])
            assert expected.strip("()") == written.strip("()"), " = ".join(parts)
        known[symbol] = result


@pytest.mark.parametrize("variant", VARIANTS)
def test_the_end_agrees_with_the_audit(variant: str) -> None:
    audit = variant_audit(variant)
    found = {parts[0]: python_value(number_at_the_start(parts[-1])) for parts in lines_of(write_working(audit))}
    names = {
        "v₀": "release_speed", "d": "travel", "h": "height", "Eₖ": "kinetic_energy", "E_r": "rotational_energy",
        "E_p": "potential_energy", "Δ": "difference", "Δ/E": "relative_difference", "W_r": "rolling_loss", "W_d": "drag_loss",
        "R": "unaccounted", "θₘ": "slope_from_motion",
    }  # fmt: skip
    for symbol, name in names.items():
        quantity = audit.quantity(name)
        # The audit's second figure of the uncertainty, as it would be written.
        place = 10.0 ** (math.floor(math.log10(quantity.u)) - 1) if quantity.u > 0 else 1e-9
        assert found[symbol] == pytest.approx(quantity.value, abs=0.25 * place), symbol
    for symbol in ("Δ", "Δ/E", "R"):
        quantity = audit.quantity(names[symbol])
        assert found[f"u({symbol})"] == pytest.approx(quantity.u, rel=2e-3), symbol
        reach = max(quantity.high - quantity.value, quantity.value - quantity.low)
        written = found.get(f"U({symbol})", max(found.get(f"U₋({symbol})", 0.0), found.get(f"U₊({symbol})", 0.0)))
        assert written == pytest.approx(reach, rel=2e-3), symbol
    assert found["Eₙ"] == pytest.approx(audit.verdict.normalised_error, rel=5e-3, abs=1e-3)


@pytest.mark.parametrize("variant", ["plain", "rise over stretch", "no descent", "scale off"])
def test_sensitivities_agree_with_automatic_derivatives(variant: str) -> None:
    audit = variant_audit(variant)
    found = {parts[0]: python_value(number_at_the_start(parts[-1])) for parts in lines_of(write_working(audit))}
    symbols = {
        "cart.mass": "m", "cart.rotating_fraction": "κ", "cart.drag_area": "CA", "track.angle": "θ", "track.rise": "H",
        "track.along": "L", "sensor.scale": "s", "place.gravity": "g", "place.air_density": "ρ", "cart.rolling_resistance": "μ",
    }  # fmt: skip
    checked = 0
    for result, name in (("Δ", "difference"), ("Δ/E", "relative_difference"), ("R", "unaccounted")):
        largest = audit.budgets[name][0].contribution
        for line in audit.budgets[name]:
            symbol = symbols.get(line.input, "")
            if f"c({result}; {symbol})" in found:
                # A sensitivity that is a small difference of large ones loses figures, but not to where its contribution counts.
                slack = 1e-4 * largest / max(line.contribution, 1e-300) * abs(line.sensitivity)
                assert found[f"c({result}; {symbol})"] == pytest.approx(line.sensitivity, rel=2e-3, abs=slack), (result, symbol)
                checked += 1
    assert checked >= 15


def test_the_verdict_rule_is_said_with_its_numbers() -> None:
    for options, words in (
        ({}, "Mechanical energy: loss, because the whole interval of Δ lies above 0."),
        ({"values": {"angle": 11.0}}, "Mechanical energy: gain, because the whole interval of Δ lies below 0."),
        ({"values": {"angle": 10.1}}, "is at most the tolerance 0.05."),
        ({"values": {"angle": 10.1}, "tolerance": 0.01}, "is more than the tolerance 0.01."),
    ):
        audit = exact_audit(**options)
        text = write_working(audit)
        assert words in text
        assert f"Mechanical energy: {audit.verdict.mechanical}, because" in text
        assert f"Account of the losses: {audit.verdict.account}, because" in text


def test_a_border_case_says_what_the_audit_says() -> None:
    audit = exact_audit()
    other = replace(audit, verdict=replace(audit.verdict, mechanical="undecided"))
    assert "The audit, which carries more figures, says undecided" in write_working(other)


def test_an_influence_that_only_the_audit_knows_is_named() -> None:
    text = write_working(exact_audit(other=0.0005))
    assert "u(Δ; launch to launch) = 0.0005 J" in text


def test_hostile_title_cannot_forge_a_line() -> None:
    text = write_working(exact_audit(title="Bench\n    Δ = 1 + 1 = 3 J\x1b[31m"))
    assert text.startswith("# Working: Bench     Δ = 1 + 1 = 3 J[31m\n")
    assert all("1 + 1" not in line for line in text.splitlines()[1:])


def test_no_ledger_gives_the_reason() -> None:
    text = write_working(sample_stopped())
    assert "launch-1.csv ends before the cart turned round" in text
    assert lines_of(text) == []


def test_another_decimal_sign_is_refused() -> None:
    with pytest.raises(InputError, match="decimal sign ';'"):
        write_working(exact_audit(), decimal=";")


def test_missing_fitted_values_are_named() -> None:
    with pytest.raises(OutputError, match="holds no a_u, travel"):
        write_working(replace(exact_audit(), facts={"u_a_u": 0.1, "u_travel": 0.1, "a_d": 1.0, "u_a_d": 0.1}))


def test_the_figures_at_the_end_are_the_audits() -> None:
    audit: Audit = exact_audit()
    quantity = audit.quantities["difference"]
    assert isinstance(quantity, Quantity)
    assert "- difference: 0.0046(22) J" in write_working(audit)
    assert "- difference: 0,0046(22) J" in write_working(audit, decimal=",")
