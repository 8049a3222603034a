"""The motion that a set-up should give: its accelerations, its flights and where it leads, for many set-ups at once.

The closed forms are those of the audit's own model (experiments.ramp_launch, DESIGN §4); between two flights stands a contact
with a spring that carries the cart's weight.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from joulebook.experiments.ramp_kit import Kit

__all__ = ["Expected", "expected_motion", "plunger_speed"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Expected:
    """The expected motion of p set-ups with h flights each; times from the first release, s counted from the rest level.

    mass: kg; angle: rad; speed: m/s at release; climb, descent: m/s²; drag: k, 1/m; all of shape (p,).
    offset: release level above the rest level, m. travel, height: release to apex, m. time_up: s. All (p,).
    releases, apexes, landings: s, shape (p, h). apex_levels: m above the rest level, shape (p, h). stroke: m, how deep it is
    cocked, below the release level, shape (p,).
    """

    mass: Floats
    angle: Floats
    speed: Floats
    climb: Floats
    descent: Floats
    drag: Floats
    offset: Floats
    travel: Floats
    time_up: Floats
    releases: Floats
    apexes: Floats
    landings: Floats
    apex_levels: Floats
    stroke: Floats

    @property
    def height(self) -> Floats:
        """m, gained from release to apex."""
        return np.asarray(self.travel * np.sin(self.angle))


def plunger_speed(stroke: Floats, *, stiffness: float, mass: float, inertia: float, angle: Floats, gravity: float) -> Floats:
    """Return the release speed, m/s, of a cart fired by a spring: ½kx² − m·g·x·sinθ = ½·inertia·v²; 0 where it does not get away.

    stroke: x, m. inertia: m(1 + κ), kg. angle: rad.
    """
    energy = stiffness * stroke * stroke - 2.0 * mass * gravity * stroke * np.sin(angle)
    return np.asarray(np.sqrt(np.maximum(energy, 0.0) / inertia))


def expected_motion(kit: Kit, *, mass: Floats, angle: Floats, speed: Floats, slack: float = 1.0) -> Expected:
    """Return the motion of set-ups with these masses (kg), angles (degrees) and release speeds (m/s), all of shape (p,).

    slack: factor on the rolling resistance guess.
    """
    theta = np.radians(angle)
    g, kappa = kit.gravity.value, kit.rotating_fraction.value
    grip = slack * kit.rolling_resistance.value * np.cos(theta)
    climb = g * (np.sin(theta) + grip) / (1.0 + kappa)
    descent = np.maximum(g * (np.sin(theta) - grip), 1e-3) / (1.0 + kappa)
    drag = 0.5 * kit.air_density.value * kit.drag_area.value / (mass * (1.0 + kappa))
    spring = np.array([kit.spring(float(each)) for each in mass])
    offset = mass * g * np.sin(theta) / spring
    omega = np.sqrt(spring / (mass * (1.0 + kappa)))
    now, pace = np.zeros(mass.shape), speed.copy()
    releases, apexes, landings, levels = [], [], [], []
    for _ in range(kit.flights):
        rise = _rise(pace, climb, drag)
        up = np.arctan(pace * np.sqrt(drag / climb)) / np.sqrt(climb * drag) if np.all(drag > 0.0) else pace / climb
        back = np.sqrt(2.0 * descent * rise * _growth(-2.0 * drag * rise))
        down = (
            np.arctanh(np.minimum(back * np.sqrt(drag / descent), 1.0 - 1e-12)) / np.sqrt(descent * drag)
            if np.all(drag > 0.0)
            else back / descent
        )
        releases.append(now)
        apexes.append(now + up)
        landings.append(now + up + down)
        levels.append(offset + rise)
        # Half an oscillation about the loaded spring's rest, and what its preload adds at either end.
        contact = (np.pi + 2.0 * np.arcsin(offset / np.hypot(offset, back / omega))) / omega
        now, pace = now + up + down + contact, kit.restitution * back
    stroke = _stroke(speed, spring, mass, mass * (1.0 + kappa), theta, g)
    return Expected(
        mass, theta, speed, climb, descent, drag, offset, levels[0] - offset, apexes[0] - releases[0],
        np.stack(releases, axis=-1), np.stack(apexes, axis=-1), np.stack(landings, axis=-1), np.stack(levels, axis=-1), stroke,
    )  # fmt: skip


def _rise(speed: Floats, climb: Floats, drag: Floats) -> Floats:
    """Return how far the cart climbs: ln(1 + k v²/a)/(2k), which tends to v²/(2a)."""
    x = drag * speed * speed / climb
    return np.asarray(0.5 * speed * speed / climb * np.where(x > 1e-9, np.log1p(x) / np.where(x > 1e-9, x, 1.0), 1.0))


def _growth(x: Floats) -> Floats:
    """Return (eˣ − 1)/x."""
    return np.asarray(np.where(np.abs(x) > 1e-9, np.expm1(x) / np.where(np.abs(x) > 1e-9, x, 1.0), 1.0))


def _stroke(speed: Floats, spring: Floats, mass: Floats, inertia: Floats, theta: Floats, g: float) -> Floats:
    """Return x of ½kx² − m·g·x·sinθ = ½·inertia·v², the inverse of `plunger_speed`."""
    load = mass * g * np.sin(theta) / spring
    return np.asarray(load + np.sqrt(load * load + inertia * speed * speed / spring))
