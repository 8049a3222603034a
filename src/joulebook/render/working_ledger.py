"""The lines of the working: each a formula, the numbers put in, and the result that those very numbers give."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from joulebook.render.arithmetic import evaluate, figure
from joulebook.render.words import unit_text
from joulebook.render.workbook_model import Model

__all__ = ["SYMBOLS", "Paper", "write_ledger_lines", "write_sensitivities"]

# The model's inputs, as they are written in formulas.
SYMBOLS: Mapping[str, str] = {
    "cart_mass": "m", "rotating_fraction": "κ", "drag_area": "CA", "track_angle": "θ", "track_rise": "H", "track_along": "L",
    "distance_scale": "s", "gravity": "g", "air_density": "ρ", "datum_level": "s₀", "datum_offset": "δ",
    "assumed_rolling_resistance": "μ", "climb_as_read": "aᵤ′", "descent_as_read": "a_d′", "apex_as_read": "sₚ′",
}  # fmt: skip
_SERIES_BELOW = 0.02
_WIDTH = 110


@dataclass(slots=True, eq=False)
class Paper:
    """A sheet of paper: what has been written, and every number on it as it can be read there.

    decimal: the decimal sign. shown: by symbol, the number as it was written, so that later lines start from what a reader sees.
    """

    decimal: str = "."
    shown: dict[str, str] = field(default_factory=dict)
    lines: list[str] = field(default_factory=list)

    def value(self, symbol: str) -> float:
        """Return a written number."""
        return evaluate(self.shown[symbol])

    def say(self, text: str) -> None:
        """Write a paragraph."""
        self.lines += [text, ""]

    def heading(self, text: str) -> None:
        """Write a heading."""
        self.lines += [f"## {text}", ""]

    def put(self, symbol: str, value: float, digits: int = 8) -> None:
        """Take a number over from elsewhere, with enough figures to calculate with."""
        self.shown[symbol] = figure(value, digits, decimal=self.decimal)

    def quote(self, symbol: str, unit: str = "") -> None:
        """Write a number that was taken over."""
        self.lines.append(f"    {symbol} = {self.shown[symbol]} {unit}".rstrip())

    def work(self, symbol: str, formula: str, unit: str = "", *, digits: int = 6) -> float:
        """Write one line: symbol = formula = numbers put in = result; return the result as it can be read there.

        formula: with the symbols of earlier lines in braces.
        """
        numbers = re.sub(r"\{([^}]*)\}", lambda match: self._inserted(match[1]), formula)
        self.shown[symbol] = figure(evaluate(numbers), digits, decimal=self.decimal)
        named = re.sub(r"[{}]", "", formula)
        # What is said twice is written once: a formula without symbols, numbers that are the result.
        steps = list(dict.fromkeys((named, numbers, self.shown[symbol])))
        steps[-1] = f"{steps[-1]} {unit}".rstrip() if unit != "°" else steps[-1] + unit
        line = f"    {symbol} = {' = '.join(steps)}"
        if len(line) > _WIDTH:
            line = f"    {symbol} = " + f"\n{' ' * (5 + len(symbol))}= ".join(steps)
        self.lines += line.split("\n")
        return self.value(symbol)

    def end(self) -> None:
        """End a block of lines."""
        self.lines.append("")

    def _inserted(self, symbol: str) -> str:
        text = self.shown[symbol]
        return f"({text})" if "×" in text or text.startswith("−") else text


def write_ledger_lines(paper: Paper, model: Model) -> None:
    """Write the ledger, from the readings to what is left over, in an order that can be followed."""
    known = {item.symbol for item in model.influences}
    paper.heading("From the readings to the motion")
    if "track_rise" in known:
        paper.work("sinθ", "{H} / {L}")
    else:
        paper.work("sinθ", "sin({θ}°)")
    paper.work("cosθ", "√(1 − {sinθ}²)")
    paper.work("aᵤ", "{aᵤ′} × {s}", "m/s²")
    if "descent_as_read" in known:
        paper.work("a_d", "{a_d′} × {s}", "m/s²")
    paper.work("d", "({sₚ′} − {s₀} − {δ}) × {s}", "m")
    paper.work("h", "{d} × {sinθ}", "m")
    paper.end()
    paper.heading("Air drag")
    paper.say(
        "Drag changes the speed a little along the way. f₁ and f₂ carry that; without air f₁ = 1 and f₂ = ½, and the "
        "speed follows from v₀² = 2 aᵤ d."
    )
    x = abs(paper.work("k", "½ × {ρ} × {CA} / ({m} × (1 + {κ}))", "1/m"))
    x = abs(paper.work("x", "2 × {k} × {d}"))
    if x < _SERIES_BELOW:
        paper.work("f₁", "1 + {x} / 2 + {x}² / 6", digits=8)
        paper.work("f₂", "½ + {x} / 6 + {x}² / 24", digits=8)
    else:
        paper.work("f₁", "(exp({x}) − 1) / {x}", digits=8)
        paper.work("f₂", "({f₁} − 1) / {x}", digits=8)
    paper.end()
    paper.heading("Energies")
    paper.work("v₀", "√(2 × {aᵤ} × {d} × {f₁})", "m/s", digits=7)
    paper.work("Eₖ", "½ × {m} × {v₀}²", "J", digits=7)
    paper.work("E_r", "{κ} × {Eₖ}", "J")
    paper.work("E", "{Eₖ} + {E_r}", "J", digits=7)
    paper.work("E_p", "{m} × {g} × {h}", "J", digits=7)
    paper.work("Δ", "{E} − {E_p}", "J")
    paper.work("Δ/E", "{Δ} / {E}")
    paper.end()
    paper.heading("Known losses and what is left over")
    if "descent_as_read" in known:
        paper.work("μ", "(1 + {κ}) × ({aᵤ} − {a_d}) / (2 × {g} × {cosθ})")
    else:
        paper.say("The descent was not recorded, so the rolling resistance μ is an assumption from the inputs.")
    paper.work("W_r", "{μ} × {m} × {g} × {cosθ} × {d}", "J")
    paper.work("W_d", "{ρ} × {CA} × {aᵤ} × {d}² × {f₂}", "J")
    paper.work("R", "{Δ} − {W_r} − {W_d}", "J")
    paper.end()


def write_sensitivities(paper: Paper, model: Model) -> dict[str, dict[str, float]]:
    """Write how much each of E, E_p, W_r and W_d changes with each input.

    Returns the sensitivities by the input's symbol and by energy; those that are nothing are left out.
    """
    seen = any(item.symbol == "descent_as_read" for item in model.influences)
    drag = bool(model.constants)
    paper.heading("Sensitivities")
    paper.say(
        "c(E; m) is how much E changes when m changes by one unit (GUM 5.1.3). p and q say how f₁ and f₂ change with x, G how an "
        "energy changes with k. Sensitivities that are nothing are left out."
    )
    if abs(paper.value("x")) < _SERIES_BELOW:
        paper.work("p", "½ + {x} / 12")
        paper.work("q", "1 / 3 + {x} / 18")
    else:
        paper.work("p", "({x} + 1 / {f₁} − 1) / {x}")
        paper.work("q", "({p} × {f₁} / {f₂} − 1) / {x}")
    through_fit = ""
    if drag:
        scale = model.estimates["distance_scale"]
        for symbol, stem in (("Dᵤ", "climb"), ("D_d", "descent"), ("Dₚ", "apex")):
            if f"{stem}_by_drag" in model.constants:
                paper.put(symbol, model.constants[f"{stem}_by_drag"] * scale**2)
        paper.end()
        paper.say("With another k the fit would have found slightly different values. How aᵤ, a_d and d change with it:")
        for symbol, unit in (("Dᵤ", "m²/s²"), ("D_d", "m²/s²"), ("Dₚ", "m²")):
            if symbol in paper.shown:
                paper.quote(symbol, unit)
        paper.end()
        through_fit = " + {Dᵤ} / {aᵤ}"
    paper.work("G(E)", "{E} × (2 × {d} × {p}" + (through_fit + " + (1 + {x} × {p}) × {Dₚ} / {d})" if drag else ")"), "J m")
    paper.work("G(W_d)", "{W_d} × (2 × {d} × {q}" + (through_fit + " + (2 + {x} × {q}) × {Dₚ} / {d})" if drag else ")"), "J m")
    if drag:
        paper.work("G(E_p)", "{E_p} × {Dₚ} / {d}", "J m")
        own = "½ × {m} × (1 + {κ}) × {d} × ({Dᵤ} − {D_d}) + " if seen else ""
        paper.work("G(W_r)", own + "{W_r} × {Dₚ} / {d}", "J m")
    paper.end()
    written: dict[str, dict[str, float]] = {}
    for item in model.influences:
        symbol = _TRUE.get(item.symbol, SYMBOLS[item.symbol])
        if item.u <= 0 or symbol in ("s₀", "δ"):
            continue
        written[symbol] = {}
        for quantity, formula in _formulas(symbol, seen=seen, drag=drag).items():
            unit = "J" if item.unit == "1" else f"J per {unit_text(item.unit)}"
            value = paper.work(f"c({quantity}; {symbol})", formula, unit)
            written[symbol][quantity] = value
        paper.end()
    return written


_TRUE = {"climb_as_read": "aᵤ", "descent_as_read": "a_d", "apex_as_read": "d"}


def _formulas(symbol: str, *, seen: bool, drag: bool) -> dict[str, str]:
    """Return the partial derivatives of E, E_p, W_r and W_d by one input, those that are nothing left out."""
    through = ("E", "E_p", "W_r", "W_d") if drag else ("E", "W_d")

    def by_drag(sign: str, quantity: str) -> str:
        return f" {sign} {{G({quantity})}} × {{k}}" if quantity in through else ""

    def spread(factors: Sequence[int], sign: str, divisor: str) -> dict[str, str]:
        found = {}
        for quantity, factor in zip(("E", "E_p", "W_r", "W_d"), factors, strict=True):
            own = {0: "", 1: f"{{{quantity}}}"}.get(factor, f"{factor} × {{{quantity}}}")
            rest = by_drag(sign, quantity)
            if own or rest:
                inner = (own + rest).strip().removeprefix("+ ")
                inner = inner.replace("− ", "−", 1) if inner.startswith("−") else inner
                found[quantity] = f"({inner}) / {divisor}"
        return found

    loss = "{ρ} × {CA} × {aᵤ} × {d}² × {f₂}"
    change = "{{G({0})}} × {1} / (2 × {{m}} × (1 + {{κ}}))"
    tilt = {"θ": "{sinθ} / {cosθ} × π / 180", "H": "{sinθ}² / ({cosθ}² × {H})", "L": "{sinθ}² / ({cosθ}² × {L})"}
    match symbol:
        case "m":
            return spread((1, 1, 1, 0), "−", "{m}")
        case "κ":
            return spread((1, 0, 1 if seen else 0, 0), "−", "(1 + {κ})")
        case "s":
            return spread((2, 1, 2 if seen else 1, 3), "+", "{s}")
        case "CA" | "ρ":
            other = "{ρ}" if symbol == "CA" else "{CA}"
            found = {quantity: change.format(quantity, other) for quantity in through}
            found["W_d"] += " + " + loss.replace(f"{{{symbol}}} × ", "")
            return found
        case "g":
            return {"E_p": "{E_p} / {g}"} | ({} if seen else {"W_r": "{W_r} / {g}"})
        case "θ":
            return {"E_p": "{E_p} × {cosθ} / {sinθ} × π / 180"} | ({} if seen else {"W_r": "−{W_r} × " + tilt["θ"]})
        case "H":
            return {"E_p": "{E_p} / {H}"} | ({} if seen else {"W_r": "−{W_r} × " + tilt["H"]})
        case "L":
            return {"E_p": "−{E_p} / {L}"} | ({} if seen else {"W_r": "{W_r} × " + tilt["L"]})
        case "μ":
            return {"W_r": "{m} × {g} × {cosθ} × {d}"}
        case "aᵤ":
            own = {"W_r": "½ × {m} × (1 + {κ}) × {d}"} if seen else {}
            return {"E": "{E} / {aᵤ}"} | own | {"W_d": "{W_d} / {aᵤ}"}
        case "a_d":
            return {"W_r": "−½ × {m} × (1 + {κ}) × {d}"}
        case "d":
            return {
                "E": "{E} × (1 + {x} × {p}) / {d}",
                "E_p": "{E_p} / {d}",
                "W_r": "{W_r} / {d}",
                "W_d": "{W_d} × (2 + {x} × {q}) / {d}",
            }
    raise KeyError(symbol)
