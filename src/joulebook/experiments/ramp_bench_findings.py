"""What a person should know about a ramp launch's bench as a whole: its stated values against its own motion."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from joulebook.engine.bench import Bench
from joulebook.engine.datum import RestLevel
from joulebook.engine.ledger import Ledger
from joulebook.engine.report import Finding
from joulebook.engine.run import Run
from joulebook.experiments.ramp_findings import finding

__all__ = ["CARTS", "inspect_bench"]

CARTS = (0.1, 3.0)
"""kg: lab carts weigh this much (BENCH_FACTS)."""

_SLOPES = (0.8, 40.0)
"""deg: tracks of this lab are tilted by 3 to 18; beyond these limits the number is something else (common practice, no source)."""

_FAR_OFF = 3.0
"""Standard uncertainties by which stated and seen slope may differ before a person is asked to look."""


def inspect_bench(bench: Bench, runs: Sequence[Run], rest: RestLevel | None, ledger: Ledger | None) -> list[Finding]:
    """Return the findings about mass, slope and rest record; ledger: the bench's pooled one, None when there is none."""
    return [*_mass(bench), *_no_rest(bench, runs, rest), *_slope(bench, ledger)]


def _mass(bench: Bench) -> list[Finding]:
    mass = bench.inputs["cart.mass"].value
    if CARTS[0] <= mass <= CARTS[1]:
        return []
    meant = f"; {mass / 1000.0:.4g} kg would be {mass:.4g} g" if mass > CARTS[1] else f"; {1000.0 * mass:.4g} kg would fit"
    message = (
        f"The mass is given as {mass:.4g} kg, and lab carts weigh {CARTS[0]:g} to {CARTS[1]:g} kg{meant}. All energies in joules go with "
        "it; the comparison does not."
    )
    return [finding("mass-suspect", "look", message, mass_kg=mass)]


def _no_rest(bench: Bench, runs: Sequence[Run], rest: RestLevel | None) -> list[Finding]:
    if rest is not None:
        return []
    sources = {run.motion.datum.source for run in runs if run.motion}
    why = "There is no rest record" if bench.rest is None else f"In {bench.rest.file} the cart never stands still"
    u = max((run.motion.datum.u for run in runs if run.motion), default=float("nan"))
    if sources == {"tail"}:
        message = f"{why}; the rest level is taken from where the cart settles at the end of the launch record, ± {1000.0 * u:.1f} mm."
        return [finding("no-rest", "note", message, u_m=u)]
    if not sources:
        return [finding("no-rest", "note", f"{why}.")]
    message = f"{why}, and the cart does not settle in the launch record; the rest level is worked out from the rebounds, ± {1000.0 * u:.0f} mm."
    return [finding("no-rest", "look", message, u_m=u)]


def _slope(bench: Bench, ledger: Ledger | None) -> list[Finding]:
    stated, u_stated = _stated(bench)
    found: list[Finding] = []
    seen = float("nan")
    if ledger is not None:
        motion, left = ledger.quantity("slope_from_motion"), ledger.quantity("unaccounted")
        seen = motion.value
        off = stated - seen
        if abs(left.value) > _FAR_OFF * left.u and abs(off) > 0.2:
            effect = 100.0 * (np.sin(np.radians(stated)) / np.sin(np.radians(seen)) - 1.0)
            message = (
                f"The slope is stated as {stated:.2f}° (u = {u_stated:.2f}°), the motion shows {seen:.2f}° (u = {motion.u:.2f}°). With the "
                f"stated slope the potential energy is {abs(effect):.0f} % {'larger' if effect > 0 else 'smaller'} than the motion says."
            )
            found.append(finding("angle-mismatch", "look", message, stated_deg=stated, seen_deg=seen, u_seen_deg=motion.u))
            found += _unit_factor(np.sin(np.radians(seen)) / np.sin(np.radians(stated)))
    meant = _other_reading(stated, seen)
    if not _SLOPES[0] <= stated <= _SLOPES[1] or (found and meant):
        guess = f" Read as {meant} it would fit." if meant else ""
        shown = f", and the motion shows {seen:.1f}°" if np.isfinite(seen) else ""
        message = f"The track's angle is stated as {stated:.2f}°{shown}.{guess}"
        found.append(finding("angle-suspect", "look", message, stated_deg=stated, meant=meant))
    return found


def _stated(bench: Bench) -> tuple[float, float]:
    """Return the stated slope and its standard uncertainty in degrees."""
    inputs = bench.inputs
    if "track.angle" in inputs:
        return inputs["track.angle"].value, inputs["track.angle"].u
    rise, along = inputs["track.rise"], inputs["track.along"]
    sine = min(rise.value / along.value, 1.0)
    angle = float(np.degrees(np.arcsin(sine)))
    relative = float(np.hypot(rise.u / rise.value if rise.value else 0.0, along.u / along.value))
    return angle, float(np.degrees(relative * np.tan(np.radians(angle))))


def _unit_factor(ratio: float) -> list[Finding]:
    """Say when the motion is too large or too small by the ratio of two units of length."""
    for factor in (100.0, 10.0, 0.1, 0.01):
        if abs(ratio / factor - 1.0) < 0.35:
            message = (
                f"The motion's deceleration is {ratio:.3g} times what the stated slope gives, as if the distances were in a unit {factor:g} times off."
            )
            return [finding("units-suspect", "look", message, ratio=float(ratio))]
    return []


def _other_reading(stated: float, seen: float) -> str:
    """Return what the stated number may have meant, given the slope that the motion shows; "" when nothing fits."""
    if not np.isfinite(seen):
        return "an angle from the vertical" if stated > 70.0 else ""
    readings = {
        "an angle from the vertical": 90.0 - stated,
        "radians": float(np.degrees(stated)) if stated < 0.6 else float("nan"),
        "per cent of slope": float(np.degrees(np.arctan(stated / 100.0))),
        "twice the angle": stated / 2.0,
    }
    for words, value in readings.items():
        if abs(value - seen) < 0.08 * seen + 0.3:
            return words
    return ""
