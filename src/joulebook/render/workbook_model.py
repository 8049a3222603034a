"""What the live workbook and the working calculate from: the inputs, the fitted values and the rows of the ledger.

The workbook writes every row twice over: once with defined names (the ledger) and once for each input moved a little up and a
little down (the shifted ledgers, from which the sensitivities follow). The Python side only fills in the cached values, so that
a viewer that does not recalculate shows numbers; a test recalculates the formulas and compares.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from joulebook.engine.report import Audit
from joulebook.errors import OutputError
from joulebook.render.workbook_rows import Row, Values, ledger_rows
from joulebook.uncertainty import Input, Quantity

__all__ = ["FIT", "Influence", "Model", "build_model"]

FIT = "fit of the motion"
_SCALE_FROM = ("sensor.air_temperature", "sensor.humidity", "sensor.assumed_temperature")
_GRAVITY_FROM = ("place.latitude", "place.altitude")


@dataclass(frozen=True, slots=True)
class Influence:
    """One input cell of the workbook.

    symbol: its name in the formulas and, being a defined name, in the workbook.
    inputs: the audit's inputs that it stands for (several where the scale or gravity was derived from them).
    value, unit, u, dof: estimate, unit, standard uncertainty and its degrees of freedom.
    fitted: True for a parameter of the fit, whose uncertainties are correlated.
    """

    symbol: str
    inputs: tuple[str, ...]
    value: float
    unit: str
    u: float
    dof: float = math.inf
    fitted: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Model:
    """Inputs, correlations and rows for one audit.

    correlations: by pair of symbols of the fit. constants: by symbol, numbers without uncertainty: the drag at which the motion
    was fitted, and how the fitted values change with it. fit_dof: degrees of freedom of the fitted values.
    """

    influences: tuple[Influence, ...]
    correlations: Mapping[tuple[str, str], float]
    rows: tuple[Row, ...]
    constants: Mapping[str, float]
    fit_dof: float

    def evaluate(self, values: Values) -> dict[str, float]:
        """Return inputs and rows by symbol, for inputs by symbol."""
        known = {**self.constants, **values}
        for row in self.rows:
            known[row.symbol] = row.compute(known)
        return known

    @property
    def estimates(self) -> dict[str, float]:
        """The inputs' estimates by symbol."""
        return {item.symbol: item.value for item in self.influences}


def build_model(audit: Audit) -> Model:
    """Return the ledger's model over the inputs and the fitted values of an audit.

    OutputError: the audit does not carry the fitted values (`facts`), so there is nothing to write live formulas over.
    """
    facts = audit.facts
    given = {item.name: item for item in audit.inputs}
    needed = ("a_u", "travel", "u_a_u", "u_travel", *(() if "cart.rolling_resistance" in given else ("a_d", "u_a_d")))
    lacking = [name for name in needed if not _finite(facts.get(name))]
    if lacking:
        raise OutputError(
            f"the audit of {audit.title!r} holds no {', '.join(lacking)}: the workbook has no fitted values to calculate with.",
            remedy="Write the workbook from an audit made by joulebook.audit(), or use the JSON form instead.",
        )
    influences = [
        _one(given, "cart.mass", "cart_mass", "kg"),
        _one(given, "cart.rotating_fraction", "rotating_fraction", "1"),
        _one(given, "cart.drag_area", "drag_area", "m^2"),
        *_slope(given),
        _derived(given, "sensor.scale", "distance_scale", "1", 1.0, _SCALE_FROM, _scale),
        _derived(given, "place.gravity", "gravity", "m/s^2", 9.80665, _GRAVITY_FROM, _gravity),
        _one(given, "place.air_density", "air_density", "kg/m^3", 1.2),
        _one(given, "datum.level", "datum_level", "m"),
        _one(given, "datum.offset", "datum_offset", "m"),
    ]
    # Where the descent was not recorded, the rolling resistance is an input instead of a result.
    descent = "cart.rolling_resistance" not in given
    if not descent:
        influences.append(_one(given, "cart.rolling_resistance", "assumed_rolling_resistance", "1"))
    scale = next(item.value for item in influences if item.symbol == "distance_scale")
    level, offset = (item for item in influences if item.symbol in ("datum_level", "datum_offset"))
    fitted, correlations = _fitted(facts, scale, level, offset, descent)
    influences += fitted
    constants = _constants(facts, scale, descent=descent)
    rows = ledger_rows(rise="track_rise" in {item.symbol for item in influences}, descent=descent, by_drag=bool(constants))
    return Model(tuple(influences), correlations, rows, constants, _fit_dof(audit))


def _constants(facts: Values, scale: float, *, descent: bool) -> dict[str, float]:
    # The fit takes the drag as known. A different drag would have fitted slightly different values, which matters to the
    # uncertainty that the drag brings in.
    names = [("da_u_dk", "climb_by_drag"), ("dtravel_dk", "apex_by_drag")]
    if descent:
        names.append(("da_d_dk", "descent_by_drag"))
    if not all(_finite(facts.get(name)) for name, _ in (*names, ("k", ""))):
        return {}
    return {"fit_drag": facts["k"] * scale, **{symbol: facts[name] / scale**2 for name, symbol in names}}


def _finite(value: float | None) -> bool:
    return value is not None and math.isfinite(value)


def _one(given: Mapping[str, Input], name: str, symbol: str, unit: str, fallback: float = 0.0) -> Influence:
    item = given.get(name)
    if item is None:
        return Influence(symbol, (name,), fallback, unit, 0.0)
    return Influence(symbol, (name,), item.value, item.unit, item.u, item.dof)


def _slope(given: Mapping[str, Input]) -> tuple[Influence, ...]:
    if "track.rise" in given:
        return (_one(given, "track.rise", "track_rise", "m"), _one(given, "track.along", "track_along", "m", 1.0))
    return (_one(given, "track.angle", "track_angle", "deg"),)


def _derived(
    given: Mapping[str, Input],
    name: str,
    symbol: str,
    unit: str,
    fallback: float,
    sources: tuple[str, ...],
    function: Callable[[Sequence[float]], float],
) -> Influence:
    """Take an input, or work out value and standard uncertainty from the inputs that stand for it (GUM 5.1.2)."""
    present = tuple(source for source in sources if source in given)
    if name in given or len(present) < len(sources):
        return _one(given, name, symbol, unit, fallback)
    values = [given[source].value for source in sources]
    variance = 0.0
    for place, source in enumerate(sources):
        step = 1e-4 * max(abs(values[place]), given[source].u, 1e-3)
        up, down = ([*values[:place], values[place] + sign * step, *values[place + 1 :]] for sign in (1, -1))
        variance += ((function(up) - function(down)) / (2 * step) * given[source].u) ** 2
    return Influence(symbol, present, function(values), unit, math.sqrt(variance))


def _scale(values: Sequence[float]) -> float:
    from joulebook.experiments.environment import distance_scale

    temperature, humidity, assumed = values
    return float(distance_scale(temperature, humidity, assumed))


def _gravity(values: Sequence[float]) -> float:
    from joulebook.experiments.environment import normal_gravity

    latitude, altitude = values
    return float(normal_gravity(latitude, altitude))


def _fitted(
    facts: Values, scale: float, level: Influence, offset: Influence, descent: bool
) -> tuple[list[Influence], dict[tuple[str, str], float]]:
    # The audit's travel is apex less release level; here the apex alone belongs to the fit, so that the level stays an input.
    apex = facts["travel"] / scale + level.value + offset.value
    u_apex = math.sqrt(max(0.0, (facts["u_travel"] / scale) ** 2 - level.u**2 - offset.u**2))
    found = [Influence("climb_as_read", (FIT,), facts["a_u"] / scale, "m/s^2", facts["u_a_u"] / scale, fitted=True)]
    if descent:
        found.append(Influence("descent_as_read", (FIT,), facts["a_d"] / scale, "m/s^2", facts["u_a_d"] / scale, fitted=True))
    found.append(Influence("apex_as_read", (FIT,), apex, "m", u_apex, fitted=True))
    ratio = facts["u_travel"] / scale / u_apex if u_apex > 0 else 0.0
    correlations = {("climb_as_read", "apex_as_read"): ratio * facts.get("r_au_travel", 0.0)}
    if descent:
        correlations["climb_as_read", "descent_as_read"] = facts.get("r_au_ad", 0.0)
        correlations["descent_as_read", "apex_as_read"] = ratio * facts.get("r_ad_travel", 0.0)
    return found, correlations


def _fit_dof(audit: Audit) -> float:
    """Return the fit's degrees of freedom, from those of a result that rests on little else (GUM G.4.1, solved for one term)."""
    quantity = audit.quantities.get("climb_acceleration")
    if not isinstance(quantity, Quantity) or not math.isfinite(quantity.dof):
        return math.inf
    dof = {item.name: item.dof for item in audit.inputs}
    shares = {line.input: line.share for line in audit.budgets.get("climb_acceleration", ())}
    others = sum(share**2 / dof[name] for name, share in shares.items() if name in dof)
    left = 1 / quantity.dof - others
    return shares.get(FIT, 0.0) ** 2 / left if left > 0 and shares.get(FIT, 0.0) > 0 else math.inf
