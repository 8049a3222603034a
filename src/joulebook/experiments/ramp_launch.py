"""The ramp launch: a cart is fired up a tilted track by its spring plunger (DESIGN §4).

κ is the rotating fraction, c = ½ρ·drag_area/m and k = c/(1+κ). Free motion after release, s up-slope:
climb (1+κ)v̇ = −g(sinθ + μcosθ) − cv², descent (1+κ)v̇ = −g(sinθ − μcosθ) + cv². With the magnitudes a_u and a_d of the two
accelerations at vanishing speed the motion has closed forms about each apex, and every energy follows from a_u, a_d and the
travel h. All of it is written once, in NumPy, and evaluated for propagation, for draws and for the fit.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from joulebook.engine.experiment import Experiment, Model, Values
from joulebook.errors import InputError
from joulebook.experiments.environment import distance_scale, normal_gravity
from joulebook.experiments.ramp_bench_findings import inspect_bench
from joulebook.experiments.ramp_codes import CODES
from joulebook.experiments.ramp_findings import inspect_run
from joulebook.experiments.ramp_inputs import INPUTS, SETTINGS
from joulebook.uncertainty import Input

__all__ = ["RAMP_LAUNCH", "UNITS", "arc", "expected_fall", "gravity", "ledger_model", "scale"]

FloatArray = npt.NDArray[np.float64]
Array = npt.NDArray[Any]

UNITS: Mapping[str, str] = {
    "release_time": "s",
    "release_speed": "m/s",
    "apex_time": "s",
    "travel": "m",
    "height": "m",
    "climb_acceleration": "m/s^2",
    "descent_acceleration": "m/s^2",
    "slope_from_motion": "deg",
    "rolling_resistance": "1",
    "kinetic_energy": "J",
    "rotational_energy": "J",
    "potential_energy": "J",
    "rolling_loss": "J",
    "drag_loss": "J",
    "difference": "J",
    "relative_difference": "1",
    "unaccounted": "J",
    "restitution": "1",
}

_SMALL = 0.02
"""Below this |a·k·τ²| the closed forms are summed as series: the exact ones lose digits as k → 0."""


def arc(
    tau: FloatArray, climb: FloatArray | float, descent: FloatArray | float, drag: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return the position below the apex and its derivatives by acceleration, time and drag (DESIGN §4).

    tau: s from the apex, shape (n,). climb, descent: a_u and a_d, m/s². drag: k, 1/m.
    Climb (1/k) ln cos(√(a_u k) τ), descent −(1/k) ln cosh(√(a_d k) τ); both tend to −½aτ² as k → 0.
    Where the climb's argument passes π/2 there is no such motion, and the position stays where it was at π/2, far below.
    """
    rising = tau < 0.0
    a = np.where(rising, climb, descent)
    square = tau * tau
    signed = np.where(rising, a, -a) * square
    q = signed * drag
    if np.abs(q).max(initial=0.0) < _SMALL:
        f = 1.0 + q * (1.0 / 6.0 + q * (2.0 / 45.0 + q * (17.0 / 1260.0)))
        g = 1.0 / 6.0 + q * (4.0 / 45.0 + q * (17.0 / 420.0))
        h = f + q * g
        fall = -0.5 * square
        position = a * fall
        return position * f, fall * h, -a * tau * h, position * g * signed
    root = np.sqrt(a * drag)
    x = root * np.abs(tau)
    with np.errstate(all="ignore"):
        bounded = np.minimum(x, 0.5 * np.pi)
        log = np.where(rising, np.log(np.cos(bounded)), -np.log(np.cosh(x)))
        tangent = np.where(rising, np.tan(bounded), np.tanh(x))
        position = log / drag
        by_tau = -np.sign(tau) * np.sqrt(a / drag) * tangent
        by_a = -np.abs(tau) * tangent / (2.0 * np.sqrt(a * drag))
        by_drag = -log / drag**2 - np.abs(tau) * tangent * np.sqrt(a / drag) / (2.0 * drag)
    return position, by_a, by_tau, by_drag


def ledger_model(*, hops: int, descent_seen: bool, drag: float, by_drag: Mapping[str, float]) -> Model:
    """Return the function from inputs and fitted values to every quantity of the ledger.

    hops: number of hops whose apex is in the fitted block ("fit.apex_1" …). descent_seen: False where the descent was not
    recorded; the rolling resistance is then an input ("cart.rolling_resistance") and the descent's acceleration follows from it.
    drag: 1/m, the constant at which the fit was made; by_drag: derivative of each fitted value by it, by the value's name.
    The model takes, beside the bench's inputs: fit.climb and fit.descent (m/s²), fit.apex_time (s), fit.apex_j (m), datum.level
    and datum.offset (m), all lengths as the ranger reads them, up-slope.
    """

    def model(v: Values) -> dict[str, Array]:
        return _ledger(v, hops, descent_seen, drag, by_drag)

    return model


def gravity(v: Values) -> Array:
    """Return g in m/s² from the inputs of either alternative."""
    if "place.gravity" in v:
        return v["place.gravity"]
    return normal_gravity(v["place.latitude"], v["place.altitude"])


def scale(v: Values) -> Array:
    """Return true distance over reading from the inputs of either alternative."""
    if "sensor.scale" in v:
        return v["sensor.scale"]
    return distance_scale(v["sensor.air_temperature"], v["sensor.humidity"], v["sensor.assumed_temperature"])


def _sine(v: Values) -> Array:
    """Return the sine of the stated slope from the inputs of either alternative."""
    if "track.angle" in v:
        return np.sin(v["track.angle"] * (np.pi / 180.0))
    return v["track.rise"] / v["track.along"]


def _drag_constant(v: Values) -> Array:
    """Return k = ½ρ·drag_area/(m(1+κ)) in 1/m."""
    return 0.5 * v["place.air_density"] * v["cart.drag_area"] / (v["cart.mass"] * (1.0 + v["cart.rotating_fraction"]))


def _ledger(v: Values, hops: int, descent_seen: bool, drag_then: float, by_drag: Mapping[str, float]) -> dict[str, Array]:
    g, ratio, sin = gravity(v), scale(v), _sine(v)
    cos = np.sqrt(1.0 - sin * sin)
    mass, kappa = v["cart.mass"], v["cart.rotating_fraction"]
    k = _drag_constant(v)
    # The fit was made at one drag and in the ranger's own metres: carry both over.
    shift = k * ratio - drag_then
    a_up = ratio * (v["fit.climb"] + by_drag["fit.climb"] * shift)
    level = v["datum.level"] + v["datum.offset"]
    rise = [ratio * (v[f"fit.apex_{j}"] + by_drag[f"fit.apex_{j}"] * shift - level) for j in range(1, hops + 1)]
    h = rise[0]
    apex_time = v["fit.apex_time"] + by_drag["fit.apex_time"] * shift
    if descent_seen:
        a_down = ratio * (v["fit.descent"] + by_drag["fit.descent"] * shift)
        mu = (1.0 + kappa) * (a_up - a_down) / (2.0 * g * cos)
        motion_sine = (1.0 + kappa) * (a_up + a_down) / (2.0 * g)
    else:
        mu = v["cart.rolling_resistance"]
        a_down = a_up - 2.0 * g * cos * mu / (1.0 + kappa)
        motion_sine = (1.0 + kappa) * a_up / g - mu * cos
    x = 2.0 * k * h
    speed_squared = 2.0 * a_up * h * _growth(x)
    kinetic = 0.5 * mass * speed_squared
    rotational = kappa * kinetic
    potential = mass * g * h * sin
    rolling = mu * mass * g * cos * h
    drag = v["place.air_density"] * v["cart.drag_area"] * a_up * h * h * _excess(x)
    difference = kinetic + rotational - potential
    result: dict[str, Array] = {
        "release_time": apex_time - _climb_time(a_up, h, k),
        "release_speed": _root(speed_squared),
        "apex_time": apex_time,
        "travel": h,
        "height": h * sin,
        "climb_acceleration": a_up,
        "descent_acceleration": a_down,
        "slope_from_motion": np.arcsin(_bounded(motion_sine)) * (180.0 / np.pi),
        "rolling_resistance": mu + 0.0 * h,
        "kinetic_energy": kinetic,
        "rotational_energy": rotational,
        "potential_energy": potential,
        "rolling_loss": rolling,
        "drag_loss": drag,
        "difference": difference,
        "relative_difference": difference / (kinetic + rotational),
        "unaccounted": difference - rolling - drag,
    }
    for j in range(1, hops):
        # Speeds at the release level on either side of the contact: friction and drag are taken out (BENCH_FACTS).
        fast = a_down * rise[j - 1] * _growth(-2.0 * k * rise[j - 1])
        slow = a_up * rise[j] * _growth(2.0 * k * rise[j])
        result[f"restitution_{j}"] = _root(slow / fast)
    return result


def _root(x: Array) -> Array:
    """Return √x, and 0 where x is negative: a cart that a far-out draw lets rest has no speed."""
    return np.sqrt(np.where(x.real < 0.0, 0.0, x)) if np.iscomplexobj(x) else np.sqrt(np.maximum(x, 0.0))


def _bounded(x: Array) -> Array:
    """Return x, and ±1 for a draw beyond it."""
    return np.asarray(np.where(np.abs(x.real) > 1.0, np.sign(x.real), x) if np.iscomplexobj(x) else np.clip(x, -1.0, 1.0))


def _growth(x: Array) -> Array:
    """Return (eˣ − 1)/x, analytic at 0."""
    series = 1.0 + x * (0.5 + x * (1.0 / 6.0 + x * (1.0 / 24.0 + x * (1.0 / 120.0 + x / 720.0))))
    if np.max(np.abs(x), initial=0.0) < _SMALL:
        return series
    safe = np.where(np.abs(x) < _SMALL, 1.0, x)
    return np.where(np.abs(x) < _SMALL, series, np.expm1(safe) / safe)


def _excess(x: Array) -> Array:
    """Return ((eˣ − 1)/x − 1)/x, analytic at 0."""
    series = 0.5 + x * (1.0 / 6.0 + x * (1.0 / 24.0 + x * (1.0 / 120.0 + x / 720.0)))
    if np.max(np.abs(x), initial=0.0) < _SMALL:
        return series
    safe = np.where(np.abs(x) < _SMALL, 1.0, x)
    return np.where(np.abs(x) < _SMALL, series, (np.expm1(safe) / safe - 1.0) / safe)


def _climb_time(a: Array, h: Array, k: Array) -> Array:
    """Return the time from release to apex, arccos(e^(−kh))/√(ak), analytic at k = 0; 0 where a far-out draw puts h below 0."""
    y = k * h
    series = np.asarray(_root(2.0 * h / a) * np.sqrt(1.0 - y / 3.0 + 2.0 * y * y / 45.0))
    small = y.real < _SMALL
    if small.all():
        return series
    safe = np.where(small, 1.0, y)
    exact = _root(2.0 * h / a) * np.arccos(np.exp(-safe)) / np.sqrt(2.0 * safe)
    return np.where(small, series, exact)


def expected_fall(v: Mapping[str, float]) -> float:
    """Return the mean deceleration g·sinθ/(1+κ) that the stated slope would give, m/s².

    Raises InputError when the rise is not smaller than the stretch over which it was taken.
    """
    _check_rise(v)
    values = {name: np.asarray(value) for name, value in v.items()}
    return float(gravity(values) * _sine(values) / (1.0 + values["cart.rotating_fraction"]))


def _check_rise(v: Mapping[str, float]) -> None:
    """Refuse a rise that no slope has, before a root of 1 − sin²θ fails on it without naming either length."""
    if "track.rise" not in v or v["track.rise"] < v["track.along"]:
        return
    rise, along = v["track.rise"], v["track.along"]
    excess = rise - along
    compared = f"is {excess:.2g} m more than" if excess > 0.0 else "is as much as"
    raise InputError(
        f"track.rise ({rise:.4g} m) {compared} track.along ({along:.4g} m), and no track rises by as much as it is long.",
        remedy="track.rise is the height gained, track.along the length on the track over which it was taken. Look whether they "
        "are swapped or in different units.",
    )


def _drag(inputs: Mapping[str, Input]) -> tuple[float, float]:
    """Return k in 1/m and its standard uncertainty, true metres."""
    k = float(_drag_constant({name: np.asarray(item.value) for name, item in inputs.items()}))
    area, density, mass = inputs["cart.drag_area"], inputs["place.air_density"], inputs["cart.mass"]
    relative = [item.u / item.value for item in (density, mass)] + [area.u / area.value if area.value else 0.0]
    u = k * float(np.sqrt(sum(each * each for each in relative)))
    return k, u if area.value else float(0.5 * density.value * area.u / mass.value)


def _scale(v: Mapping[str, float]) -> float:
    return float(scale({name: np.asarray(value) for name, value in v.items()}))


_UNSEEN = (
    Input(
        "cart.rolling_resistance", 0.006, "1", 0.004 / np.sqrt(3.0), "rectangular", "default",
        note="the descent was not recorded, so the rolling resistance could not be measured",
    ),
)  # fmt: skip
"""Common practice, no source: rolling resistance coefficients of lab carts lie between 0.002 and 0.010."""

RAMP_LAUNCH = Experiment(
    name="ramp-launch",
    inputs=INPUTS,
    settings=SETTINGS,
    arc=arc,
    drag=_drag,
    scale=_scale,
    expected_fall=expected_fall,
    unseen=_UNSEEN,
    model=ledger_model,
    units=UNITS,
    inspect_run=inspect_run,
    inspect_bench=inspect_bench,
    codes=CODES,
)
