"""The ledger as a list of rows, each a spreadsheet formula and the same step in Python.

With x = 2kd and k = ½ρCA/(m(1+κ)), the closed forms of DESIGN §4, v² = (a/k)(e^x − 1) and ½ρCA(a/k)[(e^x − 1)/(2k) − d], are
written v² = 2ad·f₁ and ρCA·a·d²·f₂ with f₁ = (e^x − 1)/x and f₂ = (e^x − 1 − x)/x², which keep their digits as the drag goes to
nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

__all__ = ["Row", "Values", "ledger_rows"]

Values = Mapping[str, float]

# Series to the eighth power of x: below 0.1 the first term left out is under 3e-14 of the sum.
_SERIES_1 = "1+{x}/2*(1+{x}/3*(1+{x}/4*(1+{x}/5*(1+{x}/6*(1+{x}/7*(1+{x}/8*(1+{x}/9)))))))"
_SERIES_2 = "0.5*(1+{x}/3*(1+{x}/4*(1+{x}/5*(1+{x}/6*(1+{x}/7*(1+{x}/8*(1+{x}/9*(1+{x}/10))))))))"


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the ledger. formula: a spreadsheet expression with symbols in braces; compute: the same from a mapping."""

    symbol: str
    unit: str
    formula: str
    compute: Callable[[Values], float]
    quantity: str = ""
    """The audit's quantity of that row, "" for a step on the way."""


def ledger_rows(*, rise: bool, descent: bool, by_drag: bool) -> tuple[Row, ...]:
    """Return the rows in the order of calculation.

    rise: the slope is given as rise over stretch. descent: False where it was not recorded. by_drag: the fitted values are
    carried over when the drag changes.
    """
    return (*_motion_rows(rise=rise, descent=descent, by_drag=by_drag), *_energy_rows(), *_loss_rows())


def _motion_rows(*, rise: bool, descent: bool, by_drag: bool) -> list[Row]:
    rows = [
        Row("sin_slope", "1", "{track_rise}/{track_along}", lambda v: v["track_rise"] / v["track_along"])
        if rise
        else Row("sin_slope", "1", "SIN(RADIANS({track_angle}))", lambda v: math.sin(math.radians(v["track_angle"]))),
        Row("cos_slope", "1", "SQRT(1-{sin_slope}^2)", lambda v: math.sqrt(1 - v["sin_slope"] ** 2)),
        Row(
            "drag_constant",
            "1/m",
            "0.5*{air_density}*{drag_area}/({cart_mass}*(1+{rotating_fraction}))",
            lambda v: 0.5 * v["air_density"] * v["drag_area"] / (v["cart_mass"] * (1 + v["rotating_fraction"])),
        ),
        _scaled("climb_acceleration", "m/s^2", "climb", by_drag=by_drag),
        _scaled("travel", "m", "apex", by_drag=by_drag),
    ]
    if descent:
        rows.append(_scaled("descent_acceleration", "m/s^2", "descent", by_drag=by_drag))
        rows.append(
            Row(
                "rolling_resistance",
                "1",
                "(1+{rotating_fraction})*({climb_acceleration}-{descent_acceleration})/(2*{gravity}*{cos_slope})",
                lambda v: (
                    (1 + v["rotating_fraction"])
                    * (v["climb_acceleration"] - v["descent_acceleration"])
                    / (2 * v["gravity"] * v["cos_slope"])
                ),
                "rolling_resistance",
            )
        )
    else:
        rows.append(
            Row(
                "rolling_resistance",
                "1",
                "{assumed_rolling_resistance}",
                lambda v: v["assumed_rolling_resistance"],
                "rolling_resistance",
            )
        )
        rows.append(
            Row(
                "descent_acceleration",
                "m/s^2",
                "{climb_acceleration}-2*{gravity}*{cos_slope}*{rolling_resistance}/(1+{rotating_fraction})",
                lambda v: (
                    v["climb_acceleration"]
                    - 2 * v["gravity"] * v["cos_slope"] * v["rolling_resistance"] / (1 + v["rotating_fraction"])
                ),
                "descent_acceleration",
            )
        )
    rows += [
        Row("slope_from_motion", "deg",
            "DEGREES(ASIN((1+{rotating_fraction})*({climb_acceleration}+{descent_acceleration})/(2*{gravity})))",
            lambda v: math.degrees(math.asin((1 + v["rotating_fraction"])
                                             * (v["climb_acceleration"] + v["descent_acceleration"]) / (2 * v["gravity"]))),
            "slope_from_motion"),
        Row("drag_exponent", "1", "2*{drag_constant}*{travel}", lambda v: 2 * v["drag_constant"] * v["travel"]),
        Row("speed_factor", "1", _branch(_SERIES_1, "(EXP({x})-1)/{x}"), lambda v: _factor_1(v["drag_exponent"])),
        Row("loss_factor", "1", _branch(_SERIES_2, "(EXP({x})-1-{x})/{x}^2"), lambda v: _factor_2(v["drag_exponent"])),
        Row("release_speed", "m/s", "SQRT(2*{climb_acceleration}*{travel}*{speed_factor})",
            lambda v: math.sqrt(2 * v["climb_acceleration"] * v["travel"] * v["speed_factor"]), "release_speed"),
        Row("height", "m", "{travel}*{sin_slope}", lambda v: v["travel"] * v["sin_slope"], "height"),
    ]  # fmt: skip
    return rows


def _energy_rows() -> list[Row]:
    return [
        Row("kinetic_energy", "J", "0.5*{cart_mass}*{release_speed}^2",
            lambda v: 0.5 * v["cart_mass"] * v["release_speed"] ** 2, "kinetic_energy"),
        Row("rotational_energy", "J", "{rotating_fraction}*{kinetic_energy}",
            lambda v: v["rotating_fraction"] * v["kinetic_energy"], "rotational_energy"),
        Row("release_energy", "J", "{kinetic_energy}+{rotational_energy}",
            lambda v: v["kinetic_energy"] + v["rotational_energy"]),
        Row("potential_energy", "J", "{cart_mass}*{gravity}*{height}",
            lambda v: v["cart_mass"] * v["gravity"] * v["height"], "potential_energy"),
        Row("difference", "J", "{release_energy}-{potential_energy}",
            lambda v: v["release_energy"] - v["potential_energy"], "difference"),
        Row("relative_difference", "1", "{difference}/{release_energy}",
            lambda v: v["difference"] / v["release_energy"], "relative_difference"),
    ]  # fmt: skip


def _loss_rows() -> list[Row]:
    return [
        Row("rolling_loss", "J", "{rolling_resistance}*{cart_mass}*{gravity}*{cos_slope}*{travel}",
            lambda v: v["rolling_resistance"] * v["cart_mass"] * v["gravity"] * v["cos_slope"] * v["travel"], "rolling_loss"),
        Row("drag_loss", "J", "{air_density}*{drag_area}*{climb_acceleration}*{travel}^2*{loss_factor}",
            lambda v: v["air_density"] * v["drag_area"] * v["climb_acceleration"] * v["travel"] ** 2 * v["loss_factor"],
            "drag_loss"),
        Row("unaccounted", "J", "{difference}-{rolling_loss}-{drag_loss}",
            lambda v: v["difference"] - v["rolling_loss"] - v["drag_loss"], "unaccounted"),
    ]  # fmt: skip


def _scaled(symbol: str, unit: str, stem: str, *, by_drag: bool) -> Row:
    """Return the row of a fitted value in true metres, carried over to another drag where its slope is known."""
    read, slope = f"{stem}_as_read", f"{stem}_by_drag"
    level = stem == "apex"
    inner = f"{{{read}}}" + ("-{datum_level}-{datum_offset}" if level else "")
    if by_drag:
        inner += f"+{{{slope}}}*({{drag_constant}}*{{distance_scale}}-{{fit_drag}})"

    def compute(v: Values) -> float:
        value = v[read] - (v["datum_level"] + v["datum_offset"] if level else 0.0)
        if by_drag:
            value += v[slope] * (v["drag_constant"] * v["distance_scale"] - v["fit_drag"])
        return value * v["distance_scale"]

    return Row(symbol, unit, f"({inner})*{{distance_scale}}", compute, symbol)


def _branch(series: str, closed: str) -> str:
    return f"IF(ABS({{x}})<0.1,{series},{closed})".replace("{x}", "{drag_exponent}")


def _factor_1(x: float) -> float:
    if abs(x) >= 0.1:
        return math.expm1(x) / x
    return 1 + x * _factor_2(x)


def _factor_2(x: float) -> float:
    if abs(x) >= 0.1:
        return (math.expm1(x) - x) / x**2
    total = 1.0
    for divisor in range(10, 2, -1):
        total = 1 + x / divisor * total
    return 0.5 * total
