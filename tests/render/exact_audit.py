"""An audit whose every number follows from its inputs, for the reports that calculate (workbook, working).

The numbers come from the closed forms of DESIGN §4 as they stand there, propagated by the general-purpose library `uncertainties`
(automatic derivatives, its own treatment of correlated values), so that a report that finds the same numbers by its own formulas
has been checked by something that shares no code with it. The bench is invented.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from scipy.stats import t as student
from uncertainties import UFloat, correlated_values, covariance_matrix, nominal_value, ufloat, umath

from joulebook.engine.report import Audit, BudgetLine, Finding, LaunchAudit, Phase, RecordSummary, Series, Verdict
from joulebook.experiments.environment import distance_scale, normal_gravity
from joulebook.uncertainty import Input, Quantity

__all__ = ["DEFAULTS", "exact_audit", "results"]

FIT_DOF = 41.0
LEVEL_DOF = 12.0
# How the fitted values would change with the drag constant: m²/s², m²/s², m².
BY_DRAG = {"climb": -0.45, "descent": 0.4, "apex": -0.002}
DEFAULTS: Mapping[str, float] = {
    "mass": 0.2513, "kappa": 0.015, "area": 0.003, "angle": 9.8, "rise": 0.1702, "along": 1.0, "scale": 1.0,
    "gravity": 9.80665, "density": 1.2, "climb": 1.70347, "descent": 1.58723, "level": 0.00213, "offset": 0.0041,
    "apex": 0.296801, "mu": 0.006,
}  # fmt: skip
SPREAD: Mapping[str, float] = {
    "mass": 0.0005 / math.sqrt(3), "kappa": 0.015 / math.sqrt(3), "area": 0.003 / math.sqrt(3), "angle": 0.25 / math.sqrt(3),
    "rise": 0.001 / math.sqrt(3), "along": 0.001 / math.sqrt(3), "scale": 0.007 / math.sqrt(3), "gravity": 0.0003,
    "density": 0.06 / math.sqrt(3), "climb": 0.0031, "descent": 0.0024, "level": 0.00015,
    "offset": 0.0008 / math.sqrt(3), "apex": 0.00042, "mu": 0.004 / math.sqrt(3),
}  # fmt: skip
NAMES: Mapping[str, tuple[str, str]] = {
    "mass": ("cart.mass", "kg"), "kappa": ("cart.rotating_fraction", "1"), "area": ("cart.drag_area", "m^2"),
    "angle": ("track.angle", "deg"), "rise": ("track.rise", "m"), "along": ("track.along", "m"), "scale": ("sensor.scale", "1"),
    "gravity": ("place.gravity", "m/s^2"), "density": ("place.air_density", "kg/m^3"), "mu": ("cart.rolling_resistance", "1"),
    "level": ("datum.level", "m"), "offset": ("datum.offset", "m"),
}  # fmt: skip
AIR = (
    Input("sensor.air_temperature", 27.0, "degC", 1.15, "rectangular", "given"),
    Input("sensor.humidity", 0.5, "1", 0.17, "rectangular", "default"),
    Input("sensor.assumed_temperature", 20.0, "degC", 1.15, "rectangular", "default"),
)
PLACE = (
    Input("place.latitude", 47.0, "deg", 0.29, "rectangular", "given"),
    Input("place.altitude", 430.0, "m", 29.0, "rectangular", "given"),
)
CORRELATION = np.array([[1.0, 0.35, 0.62], [0.35, 1.0, -0.21], [0.62, -0.21, 1.0]])
UNITS = {
    "release_speed": "m/s", "travel": "m", "height": "m", "climb_acceleration": "m/s^2", "descent_acceleration": "m/s^2",
    "slope_from_motion": "deg", "rolling_resistance": "1", "kinetic_energy": "J", "rotational_energy": "J",
    "potential_energy": "J",
    "rolling_loss": "J", "drag_loss": "J", "difference": "J", "relative_difference": "1", "unaccounted": "J",
}  # fmt: skip


def results(v: Mapping[str, Any], *, rise: bool = False, descent: bool = True) -> dict[str, Any]:
    """Return every quantity from the inputs, numbers or uncertain numbers, by the closed forms of DESIGN §4."""
    scale, fitted_scale = v["scale"], nominal_value(v["scale"])
    sine = v["rise"] / v["along"] if rise else umath.sin(v["angle"] * math.pi / 180)
    cosine = umath.sqrt(1 - sine**2)
    # The fitted values stand as the ranger read them, for the drag at the estimates.
    k = 0.5 * v["density"] * v["area"] / (v["mass"] * (1 + v["kappa"]))
    shift = k * scale - nominal_value(k) * fitted_scale
    climb = (v["climb"] + BY_DRAG["climb"] * shift) * scale
    travel = (v["apex"] + BY_DRAG["apex"] * shift - v["level"] - v["offset"]) * scale
    if nominal_value(k) > 0:
        growth = (umath.exp(2 * k * travel) - 1) / (2 * k)
        speed = umath.sqrt(2 * climb * growth)
        drag = 0.5 * v["density"] * v["area"] * climb / k * (growth - travel)
    else:
        speed = umath.sqrt(2 * climb * (travel + k * travel**2))
        drag = 0.5 * v["density"] * v["area"] * climb * travel**2
    if descent:
        down = (v["descent"] + BY_DRAG["descent"] * shift) * scale
        mu = (1 + v["kappa"]) * (climb - down) / (2 * v["gravity"] * cosine)
    else:
        mu = v["mu"]
        down = climb - 2 * v["gravity"] * cosine * mu / (1 + v["kappa"])
    kinetic = 0.5 * v["mass"] * speed**2
    rotational = v["kappa"] * kinetic
    potential = v["mass"] * v["gravity"] * travel * sine
    rolling = mu * v["mass"] * v["gravity"] * cosine * travel
    difference = kinetic + rotational - potential
    return {
        "release_speed": speed, "travel": travel, "height": travel * sine, "climb_acceleration": climb,
        "descent_acceleration": down,
        "slope_from_motion": umath.asin((1 + v["kappa"]) * (climb + down) / (2 * v["gravity"])) * 180 / math.pi,
        "rolling_resistance": mu, "kinetic_energy": kinetic, "rotational_energy": rotational, "potential_energy": potential,
        "rolling_loss": rolling, "drag_loss": drag, "difference": difference,
        "relative_difference": difference / (kinetic + rotational), "unaccounted": difference - rolling - drag,
    }  # fmt: skip


def exact_audit(
    *,
    title: str = "Bench 3, the blue trolley",
    rise: bool = False,
    air: bool = False,
    latitude: bool = False,
    descent: bool = True,
    method: str = "gum",
    launches: int = 2,
    findings: Sequence[Finding] = (),
    restitution: Sequence[float] = (0.79, 0.775),
    tolerance: float = 0.05,
    values: Mapping[str, float] | None = None,
    spread: Mapping[str, float] | None = None,
    other: float = 0.0,
) -> Audit:
    """Return a consistent audit.

    rise: slope as rise over along. air: the scale derived from air temperatures. latitude: gravity derived from the place.
    descent: False where it was not recorded. other: standard uncertainty of the difference, J, from an influence that only the
    engine knows ("between launches"). values, spread: estimates and standard uncertainties to use instead of the usual ones.
    """
    v = {**DEFAULTS, **(values or {})}
    u = {**SPREAD, **(spread or {})}
    if air:
        v["scale"], u["scale"] = _derived(distance_scale, AIR)
    if latitude:
        v["gravity"], u["gravity"] = _derived(normal_gravity, PLACE)
    names = [name for name in NAMES if name not in (("angle",) if rise else ("rise", "along")) and (name != "mu" or not descent)]
    uncertain: dict[str, Any] = {name: ufloat(v[name], u[name]) if u[name] > 0 else v[name] for name in names}
    block = ["climb", "descent", "apex"] if descent else ["climb", "apex"]
    keep = [("climb", "descent", "apex").index(name) for name in block]
    spreads = np.array([u[name] for name in block])
    covariance = CORRELATION[np.ix_(keep, keep)] * np.outer(spreads, spreads)
    uncertain.update(zip(block, correlated_values([v[name] for name in block], covariance), strict=True))
    computed = results(uncertain, rise=rise, descent=descent)
    inputs = _inputs(v, u, names, air=air, latitude=latitude)
    budgets = {
        name: _budget(uncertain, computed[name], names, block, air, latitude, other if name == "difference" else 0.0)
        for name in computed
    }
    quantities: dict[str, Quantity | tuple[Quantity, ...]] = {}
    for name, value in computed.items():
        lines = budgets[name]
        total = math.sqrt(sum(line.contribution**2 for line in lines))
        # Welch–Satterthwaite, GUM G.4.1.
        known = {"fit of the motion": FIT_DOF, "datum.level": LEVEL_DOF}
        below = sum(line.share**2 / known[line.input] for line in lines if line.input in known)
        dof = 1 / below if below > 1e-12 else math.inf
        quantities[name] = _quantity(name, float(nominal_value(value)), total, dof, method)
    quantities["release_time"] = Quantity(1.134, "s", 0.0021, FIT_DOF, 1.1298, 1.1382)
    quantities["apex_time"] = Quantity(1.719, "s", 0.0009, FIT_DOF, 1.7172, 1.7208)
    quantities["restitution"] = tuple(Quantity(e, "1", 0.008, 40.0, e - 0.016, e + 0.016) for e in restitution)
    parts = tuple(
        _launch(f"launch-{number}.csv", number, v, quantities, budgets, _facts(v, u, descent))
        for number in range(1, launches + 1)
    )
    records = tuple(
        RecordSummary(part.file, "0" * 64, 40, 20.0, 30, 1, 1, 0.0007, "40 samples of time in s and distance in m.")
        for part in parts
    )
    facts = _facts(v, u, descent)
    return Audit(
        "ramp-launch", title, inputs, records, parts[0].phases if parts else (), quantities, budgets,
        _verdict(quantities, tolerance), tuple(findings), parts, tolerance, facts,
    )  # fmt: skip


def _derived(function: Callable[..., Any], sources: Sequence[Input]) -> tuple[float, float]:
    """Return value and standard uncertainty of what follows from several inputs, its slopes by five-point differences."""
    values = [item.value for item in sources]
    variance = 0.0
    for place, item in enumerate(sources):
        step = item.u / 10
        near, far = (
            float(function(*values[:place], values[place] + n * step, *values[place + 1 :]))
            - float(function(*values[:place], values[place] - n * step, *values[place + 1 :]))
            for n in (1, 2)
        )
        variance += ((8 * near - far) / (12 * step) * item.u) ** 2
    return float(function(*values)), math.sqrt(variance)


def _facts(v: Mapping[str, float], u: Mapping[str, float], descent: bool) -> dict[str, float]:
    scale = v["scale"]
    u_travel = math.sqrt(u["apex"] ** 2 + u["level"] ** 2 + u["offset"] ** 2)
    facts = {
        "a_u": v["climb"] * scale, "u_a_u": u["climb"] * scale, "travel": (v["apex"] - v["level"] - v["offset"]) * scale,
        "u_travel": u_travel * scale, "r_au_travel": float(CORRELATION[0, 2]) * u["apex"] / u_travel,
        "k": 0.5 * v["density"] * v["area"] / (v["mass"] * (1 + v["kappa"])),
        "da_u_dk": BY_DRAG["climb"] * scale**2, "dtravel_dk": BY_DRAG["apex"] * scale**2,
    }  # fmt: skip
    if descent:
        facts |= {
            "a_d": v["descent"] * scale, "u_a_d": u["descent"] * scale, "r_au_ad": float(CORRELATION[0, 1]),
            "r_ad_travel": float(CORRELATION[1, 2]) * u["apex"] / u_travel, "da_d_dk": BY_DRAG["descent"] * scale**2,
        }  # fmt: skip
    return facts


def _inputs(
    v: Mapping[str, float], u: Mapping[str, float], names: Sequence[str], *, air: bool, latitude: bool
) -> tuple[Input, ...]:
    found: list[Input] = []
    for name in names:
        if name == "scale" and air:
            found += AIR
        elif name == "gravity" and latitude:
            found += PLACE
        else:
            known, unit = NAMES[name]
            dof = LEVEL_DOF if name == "level" else math.inf
            kind = "rectangular" if u[name] > 0 else "constant"
            found.append(
                Input(known, v[name], unit, u[name], kind, "default" if name in ("area", "density", "mu") else "given", dof)
            )
    return tuple(found)


def _budget(
    uncertain: Mapping[str, Any], result: Any, names: Sequence[str], block: Sequence[str], air: bool, latitude: bool, other: float
) -> tuple[BudgetLine, ...]:
    if not isinstance(result, UFloat):
        return ()
    lines: list[tuple[str, float, float]] = []
    for name in names:
        variable = uncertain[name]
        if not isinstance(variable, UFloat):
            continue
        slope = float(result.derivatives.get(variable, 0.0))
        known = NAMES[name][0]
        parts: tuple[tuple[str, float], ...] = ((known, 1.0),)
        if name == "scale" and air:  # how much each of the three brings in does not matter here, as long as they add up
            parts = (
                ("sensor.air_temperature", math.sqrt(0.6)),
                ("sensor.assumed_temperature", math.sqrt(0.4)),
                ("sensor.humidity", 0.0),
            )
        if name == "gravity" and latitude:
            parts = (("place.latitude", math.sqrt(0.9)), ("place.altitude", math.sqrt(0.1)))
        lines += [(label, slope * part, abs(slope * part) * variable.std_dev) for label, part in parts]
    # Covariances between the result and each member of the block, solved for the sensitivities, give the block's part.
    members = [uncertain[name] for name in block]
    covariance = np.array(covariance_matrix([*members, result]))
    inner, outer = covariance[:-1, :-1], covariance[:-1, -1]
    scales = np.sqrt(np.diag(inner))
    slopes = np.linalg.solve(inner / np.outer(scales, scales), outer / scales) / scales
    lines.append(("fit of the motion", 0.0, math.sqrt(max(0.0, float(slopes @ inner @ slopes)))))
    if other:
        lines.append(("between launches", 0.0, other))
    total = sum(line[2] ** 2 for line in lines)
    made = [BudgetLine(name, slope, part, part**2 / total if total else 0.0) for name, slope, part in lines]
    return tuple(sorted(made, key=lambda line: -line.share))


def _quantity(name: str, value: float, u: float, dof: float, method: str) -> Quantity:
    factor = float(student.ppf(0.975, dof)) if math.isfinite(dof) else 1.959963984540054
    half = factor * u
    if method == "monte-carlo":
        return Quantity(value, UNITS[name], u, dof, value - 0.97 * half, value + 1.05 * half, 0.95, "monte-carlo")
    return Quantity(value, UNITS[name], u, dof, value - half, value + half)


def _verdict(quantities: Mapping[str, Quantity | tuple[Quantity, ...]], tolerance: float) -> Verdict:
    kinetic, rotational = quantities["kinetic_energy"], quantities["rotational_energy"]
    difference, unaccounted = quantities["difference"], quantities["unaccounted"]
    assert isinstance(kinetic, Quantity) and isinstance(rotational, Quantity)
    assert isinstance(difference, Quantity) and isinstance(unaccounted, Quantity)
    energy = kinetic.value + rotational.value
    mechanical = "conserved" if _reach(difference) / energy <= tolerance else "undecided"
    if difference.high < 0:
        mechanical = "gain"
    if difference.low > 0:
        mechanical = "loss"
    account = "closed" if _reach(unaccounted) / energy <= tolerance else "undecided"
    if unaccounted.low > 0 or unaccounted.high < 0:
        account = "open"
    relative = quantities["relative_difference"]
    assert isinstance(relative, Quantity)
    return Verdict(
        mechanical,  # type: ignore[arg-type]
        account,  # type: ignore[arg-type]
        _reach(difference) / energy,
        relative.value / _reach(relative),
        f"The cart had {difference.value:.4f} J less at the top than at release, beside the {_reach(difference):.4f} J that this "
        "bench could mistake.",
    )


def _reach(quantity: Quantity) -> float:
    return max(quantity.high - quantity.value, quantity.value - quantity.low)


def _launch(
    file: str,
    number: int,
    v: Mapping[str, float],
    quantities: Mapping[str, Quantity | tuple[Quantity, ...]],
    budgets: Mapping[str, tuple[BudgetLine, ...]],
    facts: Mapping[str, float],
) -> LaunchAudit:
    time = 1.0 + 0.05 * np.arange(40)
    apex = 1.719 + 0.001 * number
    position = v["apex"] - v["level"] - v["offset"] - 0.5 * np.where(time < apex, v["climb"], v["descent"]) * (time - apex) ** 2
    fitted = np.where((time > 1.14) & (position > 0), position, np.nan)
    flags = np.full(time.size, "", dtype="<U12")
    flags[10], flags[12] = "missing", "slip"
    distance = 1.35 - position
    distance[10] = np.nan
    used = np.isfinite(fitted) & (flags == "")
    series = Series(time, distance, 1.35 - distance, flags, used, fitted, np.where(used, 0.0001, np.nan), 0.004)
    phases = (Phase("push", 1.0, 1.134, 0, 2), Phase("climb", 1.134, apex, 3, 14), Phase("descent", apex, 2.32, 15, 26))
    return LaunchAudit(file, phases, quantities, budgets, series, facts)
