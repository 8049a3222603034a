"""What a person should know about a ramp launch's bench as a whole: its stated values against its own motion."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from joulebook.engine.bench import Bench
from joulebook.engine.datum import RestLevel
from joulebook.engine.ledger import Ledger
from joulebook.engine.report import Finding
from joulebook.engine.run import Run
from joulebook.experiments.ramp_codes import finding
from joulebook.experiments.ramp_effects import length, percent, travel

__all__ = ["CARTS", "SLOPES", "inspect_bench"]

CARTS = (0.1, 3.0)
"""kg: lab carts weigh this much (BENCH_FACTS)."""

SLOPES = (0.8, 40.0)
"""deg: tracks of this lab are tilted by 3 to 18; beyond these limits it is another number (common practice, no source)."""

_FAR_OFF = 3.0
"""Standard uncertainties by which the energies may fail to balance before the stated slope is doubted."""

_GRAVITY = 9.81
"""m/s², to tell wrong units by: nothing here needs it better."""

_ALIKE = 0.2
"""deg: a smaller difference between stated and seen slope is not worth a second measurement."""


def inspect_bench(bench: Bench, runs: Sequence[Run], rest: RestLevel | None, ledger: Ledger | None) -> list[Finding]:
    """Return the findings about mass, slope and rest record; ledger: the bench's pooled one, None when there is none."""
    return [*_mass(bench), *_no_rest(bench, runs, rest), *_slope(bench, ledger)]


def _mass(bench: Bench) -> list[Finding]:
    mass = bench.inputs["cart.mass"].value
    if CARTS[0] <= mass <= CARTS[1]:
        return []
    other = mass / 1000.0 if mass > CARTS[1] else mass * 1000.0
    meant = ""
    if CARTS[0] <= other <= CARTS[1]:
        meant = f" {1000.0 * other:.4g} g, that is {other:.4g} kg, would fit."
    message = (
        f"The mass is given as {mass:.4g} kg, and lab carts weigh {CARTS[0]:g} to {CARTS[1]:g} kg.{meant} Every energy in joules "
        "goes with the mass, so all of them are wrong by the same factor; the comparison of the energies hardly changes."
    )
    return [finding("mass-suspect", "look", message, mass_kg=mass)]


def _no_rest(bench: Bench, runs: Sequence[Run], rest: RestLevel | None) -> list[Finding]:
    if rest is not None:
        return []
    motions = [run.motion for run in runs if run.motion]
    if bench.rest is None:
        why = "There is no rest record of the cart at the stop, plunger out"
    elif bench.rest.velocity_only:
        why = f"{bench.rest.file} has a velocity column but no positions"
    else:
        why = f"In {bench.rest.file} the cart never stands still"
    if not motions:
        return [finding("no-rest", "note", f"{why}. Nothing rests on it here, for no launch could be analysed.")]
    u = max(motion.datum.u for motion in motions)
    share = max(motion.datum.u / travel(motion) for motion in motions)
    effect = (
        f"The level is known to ± {length(u)} (standard uncertainty), which is {percent(share)} of the climb and of both "
        "energies."
    )
    if {motion.datum.source for motion in motions} == {"tail"}:
        message = f"{why}, so the level to count from is taken from where the cart settles at the end of the launch. {effect}"
        return [finding("no-rest", "note", message, u_m=u, share=share)]
    message = (
        f"{why}, and the cart does not settle at the end of the launch, so the level to count from is worked out from rebounds "
        f"and push. {effect}"
    )
    return [finding("no-rest", "look", message, u_m=u, share=share)]


def _slope(bench: Bench, ledger: Ledger | None) -> list[Finding]:
    stated, u_stated = _stated(bench)
    seen = float("nan") if ledger is None else ledger.quantity("slope_from_motion").value
    found: list[Finding] = []
    meant = _other_reading(stated, seen)
    if ledger is not None and _disagree(stated, ledger):
        u_seen = ledger.quantity("slope_from_motion").u
        fall = 0.5 * (ledger.quantity("climb_acceleration").value + ledger.quantity("descent_acceleration").value)
        ratio = fall / (_GRAVITY * math.sin(math.radians(max(stated, 1e-3))))
        if fall >= _GRAVITY:
            message = (
                f"The cart slows by {fall:.3g} m/s every second, more than in free fall: the distances or the times are in "
                "another unit. With distances 10 times too large the kinetic energy is 100 times too large."
            )
            return [finding("units-suspect", "look", message, ratio=ratio)]
        effect = float(np.sin(np.radians(stated)) / np.sin(np.radians(seen))) - 1.0
        message = (
            f"The slope is stated as {stated:.2f}° (u = {u_stated:.2f}°), and the motion shows {seen:.2f}° (u = {u_seen:.2f}°). "
            f"With the stated slope the potential energy is {percent(effect)} {'larger' if effect > 0.0 else 'smaller'} than "
            "with that of the motion, and the difference of the energies is off by as much."
        )
        found.append(finding("angle-mismatch", "look", message, stated_deg=stated, seen_deg=seen, u_seen_deg=u_seen))
        # An angle that is none of a track explains any ratio: the units are not to be doubted as well.
        if not meant and SLOPES[0] <= stated <= SLOPES[1]:
            found += _unit_factor(ratio)
    if not SLOPES[0] <= stated <= SLOPES[1] or (found and meant):
        shown = f", and the motion shows {seen:.1f}°" if np.isfinite(seen) else ""
        guess = f" Read as {meant} it would fit." if meant else ""
        message = (
            f"The track's angle to the horizontal is stated as {stated:.2f}°{shown}.{guess} The potential energy goes with the "
            "sine of the angle, so no comparison of the energies holds until it is right."
        )
        evidence: dict[str, object] = {"stated_deg": stated, "meant": meant}
        if np.isfinite(seen):
            evidence["seen_deg"] = seen
        found.append(finding("angle-suspect", "look", message, None, **evidence))
    return found


def _disagree(stated: float, ledger: Ledger) -> bool:
    """Say whether the stated slope differs from that of the motion by more than the whole account leaves room for."""
    left = ledger.quantity("unaccounted")
    apart = abs(stated - ledger.quantity("slope_from_motion").value)
    return abs(left.value) > _FAR_OFF * left.u and apart > _ALIKE


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
    """Return a finding when the motion is too large or too small by the ratio of two units of length."""
    for factor, half in ((100.0, False), (10.0, False), (10.0, True), (100.0, True)):
        if abs(ratio * factor - 1.0 if half else ratio / factor - 1.0) < 0.35:
            times = 1.0 / ratio if half else ratio
            pace, size = ("more slowly than", "small") if half else ("as fast as", "large")
            message = (
                f"The cart slows {times:.3g} times {pace} the stated slope makes it, as if every distance were written {factor:g} "
                f"times too {size}: in another unit than its heading says. The kinetic energy then comes out "
                f"{factor * factor:g} times too {size}, the potential energy {factor:g} times."
            )
            return [finding("units-suspect", "look", message, ratio=ratio)]
    return []


def _other_reading(stated: float, seen: float) -> str:
    """Return what the stated number may have meant, given the slope that the motion shows; "" when nothing fits."""
    if not seen <= SLOPES[1]:
        return "an angle from the vertical" if stated > 70.0 else ""
    # What it would be in degrees, and how coarsely such a number is usually written.
    readings = {
        "an angle from the vertical": (90.0 - stated, 0.6),
        "radians": (math.degrees(stated), 0.35),
        "per cent of slope": (math.degrees(math.atan(stated / 100.0)), 0.15),
        "twice the angle": (stated / 2.0, 0.3),
    }
    for words, (value, coarse) in readings.items():
        if abs(value - seen) < 0.04 * seen + coarse:
            return words
    return ""
