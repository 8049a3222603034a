"""Combine: from the contributions of single influences to u, to U and to the odds of each verdict.

The slope's uncertainty and the number of launches only weigh parts of the variance, so that every angle method and every number of
launches is had for the price of one.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from joulebook.experiments.ramp_kit import Kit
from joulebook.planning.odds import errors_of, guess_of, shares
from joulebook.uncertainty import Input

__all__ = ["OUTPUTS", "SCALARS", "combine", "stated_constants"]

Floats = npt.NDArray[np.float64]

OUTPUTS = ("kinetic_energy", "potential_energy", "relative_difference", "difference", "unaccounted", "travel", "release_speed")
SCALARS = (
    "cart.mass", "cart.rotating_fraction", "cart.drag_area", "sensor.scale", "place.gravity", "place.air_density", "datum.level",
    "datum.offset", "track.angle",
)  # fmt: skip
_PIECE = 256
"""Motions whose odds are worked out together: their tables fit into a processor's memory."""


def combine(
    kit: Kit, parts: Floats, values: Floats, energy: Floats, loss: Floats, dof: Floats, angle: Floats, tolerance: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """Put the parts together for every angle method and number of launches: return u of OUTPUTS, (outputs, p, m, n), U over the
    energy of the difference and of what is unaccounted for, (2, p, m, n), and the odds of the verdicts, (4, …) and (3, …).

    parts: |contribution| of each of SCALARS and of the fit for one launch, (outputs, scalars + 1, p); the slope's for an
    uncertainty of one degree. values: of OUTPUTS, (outputs, p). energy: J at release, loss: expected, dof: of the fit, angle:
    degrees, each (p,). tolerance: relative U up to which "no difference seen" may be called conserved.
    """
    slope = len(SCALARS) - 1
    numbers = np.array(kit.numbers, dtype=np.float64)
    gauge, along = _slope_u(kit, angle)
    n_out, _, p = parts.shape
    shape = (p, len(kit.methods), numbers.size)
    fixed = (parts[:, :slope] ** 2).sum(axis=1)[:, :, None, None]
    by_angle = (parts[:, slope, :, None] * np.hypot(gauge, along))[:, :, :, None]
    fit = parts[:, slope + 1, :, None, None] ** 2 / numbers
    u = np.sqrt(fixed + by_angle**2 + fit)
    assert u.shape == (n_out, *shape)
    expanded, odds = np.empty((2, *shape)), np.empty((2, 4, *shape))
    guessed = _guessed(kit, values, energy, angle)
    for first in range(0, p, _PIECE):
        piece = slice(first, first + _PIECE)
        for row, name in enumerate(("difference", "unaccounted")):
            found = _verdicts(
                kit, parts[OUTPUTS.index(name), :, piece], gauge[piece], along[piece], energy[piece], loss[piece],
                dof[piece], guessed[piece], tolerance, account=name == "unaccounted",
            )  # fmt: skip
            expanded[row, piece], odds[row, :, piece] = found[0], found[1:]
    gain, lost, closed, unsure = odds[1]
    return u, expanded, odds[0], np.stack([closed, gain + lost, unsure])


def stated_constants(kit: Kit) -> tuple[Input, ...]:
    """Return the inputs that the kit states once for all set-ups."""
    return (kit.rotating_fraction, kit.drag_area, kit.scale, kit.gravity, kit.air_density)


def _verdicts(
    kit: Kit, parts: Floats, gauge: Floats, along: Floats, energy: Floats, loss: Floats, dof: Floats, guessed: Floats,
    tolerance: float, *, account: bool,
) -> Floats:  # fmt: skip
    """Return U over the energy and the four shares, shape (5, p, m, n), from one output's parts, (scalars + 1, p)."""
    slope = len(SCALARS) - 1
    numbers = np.array(kit.numbers, dtype=np.float64)
    p, m = gauge.shape
    shape = (p, m, numbers.size)

    def flat(x: Floats) -> Floats:
        return np.broadcast_to(x, shape).ravel()

    relative = parts / energy
    rectangles, rest = [], [np.square(relative[slope + 1])[:, None, None] / numbers]
    for name, part in zip(SCALARS[:slope], relative[:slope], strict=True):
        if _distribution(kit, name) == "rectangular":
            rectangles.append(flat(part[:, None, None]))
        else:
            rest.append(np.square(part)[:, None, None])
    steep = np.array([method.distribution == "rectangular" or method.over > 0.0 for method in kit.methods])
    by_gauge, by_length = relative[slope][:, None] * gauge, relative[slope][:, None] * along
    rectangles += [flat(np.where(steep, by_gauge, 0.0)[:, :, None]), flat(by_length[:, :, None])]
    rest.append(np.square(np.where(steep, 0.0, by_gauge))[:, :, None])
    errors = errors_of(np.stack(rectangles), np.sqrt(sum(flat(each) for each in rest)))
    variance = np.maximum(errors.u**2, 1e-300)
    share = flat(rest[0]) / variance
    ways = flat(dof[:, None, None] * numbers)
    factor = stdtrit(np.minimum(ways / np.maximum(share, 1e-3) ** 2, 1e6), 0.975) / 1.959963984540054
    expanded = errors.reach() * factor
    # The slope's part and that of g go with the potential energy as it was found.
    gravity = relative[SCALARS.index("place.gravity")][:, None, None] ** 2
    carried = (flat(np.square(by_gauge)[:, :, None]) + flat(np.square(by_length)[:, :, None]) + flat(gravity)) / variance
    found = shares(
        errors, expanded, tolerance, loss=flat(loss[:, None, None]), guess=guess_of(kit.rolling_resistance.distribution),
        guess_u=flat(guessed[:, None, None]), carried=carried, relative_spread=share / np.sqrt(2.0 * ways), account=account,
    )  # fmt: skip
    return np.stack([expanded, found.below, found.above, found.within, found.beyond]).reshape(5, *shape)


def _distribution(kit: Kit, name: str) -> str:
    """Return how an influence is distributed: as the kit states it, the rest level normal, the release level within limits."""
    known = {item.name: item.distribution for item in (*stated_constants(kit), kit.masses[0])}
    return known.get(name, "rectangular" if name == "datum.offset" else "normal")


def _slope_u(kit: Kit, angle: Floats) -> tuple[Floats, Floats]:
    """Return u of the slope (degrees) from the gauge or the height readings, and from the length they are taken over, each
    (p, m)."""
    sine, cosine = np.sin(np.radians(angle))[:, None], np.cos(np.radians(angle))[:, None]
    over = np.array([method.over or 1.0 for method in kit.methods])
    by_height = np.array([bool(method.over) for method in kit.methods])
    reading = np.sqrt(2.0) * np.array([method.reading_u for method in kit.methods])
    length = np.array([method.over_u for method in kit.methods])
    first = np.where(by_height, np.degrees(reading / over / cosine), np.array([method.u for method in kit.methods]))
    second = np.where(by_height, np.degrees(sine * length / over / cosine), 0.0)
    return first, second


def _guessed(kit: Kit, values: Floats, energy: Floats, angle: Floats) -> Floats:
    """Return u of the relative loss from the rolling resistance alone, which is a guess: (P/E)²·u(μ)/tanθ, shape (p,)."""
    ratio = values[OUTPUTS.index("potential_energy")] / energy
    return np.asarray(ratio**2 * kit.rolling_resistance.u / np.tan(np.radians(angle)))
