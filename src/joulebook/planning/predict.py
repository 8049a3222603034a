"""Predict: what every combination of mass, slope, launch, rate, angle method and number of launches would let a bench say.

The samples' information gives the covariance of the fit, the audit's own model (`ledger_model`) carries it and every input to the
energies, all set-ups in one call, by complex step. That is the linear propagation of `uncertainty.propagate`, factored (`combine`);
a test holds the two equal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from joulebook.engine.contacts import find_contacts
from joulebook.experiments.ramp_kit import Kit
from joulebook.experiments.ramp_launch import ledger_model
from joulebook.planning.combine import OUTPUTS, SCALARS, combine, stated_constants
from joulebook.planning.expected import Expected, expected_motion, plunger_speed
from joulebook.planning.information import Information, gather

__all__ = [
    "LEAST_ON_CLIMB", "LEAST_SAMPLES", "MARGIN", "OUTPUTS", "PLACING", "SCALARS", "Grid", "predict", "predict_at",
]  # fmt: skip

Floats = npt.NDArray[np.float64]
Booleans = npt.NDArray[np.bool_]

_FITTED = ("fit.climb", "fit.descent", "fit.apex_time", "fit.apex_1")
_STEP = 1e-30
PLACING = 0.0002
"""m: how well a cart comes to stand in the same place again, as the engine's datum takes it."""
MARGIN = 0.05
"""m: room to be kept before the blind zone and the track's end (common practice, no source)."""
LEAST_ON_CLIMB = 6.0
LEAST_SAMPLES = 14.0
"""Samples that a fit of eight values wants at least."""


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """A prediction for p motions (mass, slope, launch, rate), m angle methods and n numbers of launches.

    mass, angle (deg), speed, stroke, rate: shape (p,). launch: index of the speed or stroke, shape (p,).
    expected: the motions, (p,). on_climb, samples: (p,). nearest, farthest: m between ranger and cart, (p,). room: m left beyond
    the apex of the strongest launch, (p,); negative where it does not fit. energy: J at release, rotation included, (p,).
    values: of OUTPUTS, shape (outputs, p). parts: |contribution| of each of SCALARS and of the fit for one launch, shape
    (outputs, scalars + 1, p); the slope's is for an uncertainty of one degree. offset_u, level_u: m, (p,).
    u: combined standard uncertainty of OUTPUTS, as audits will state it, shape (outputs, p, m, n). scatter: standard deviation of
    their errors from bench to bench of one kind of stop, same shape: u without what is not known of the stop, which is the same on
    every bench. expanded: U of the difference and of what is
    unaccounted for, over the energy, shape (2, p, m, n). loss: expected relative loss, (p,).
    mechanical: probabilities of gain, loss, conserved, undecided, shape (4, p, m, n). account: of closed, open, undecided (3, …).
    fits: whether the cart stays on the track and outside the blind zone, (p,). enough: whether there are samples enough, (p,).
    """

    kit: Kit
    tolerance: float
    mass: Floats
    angle: Floats
    speed: Floats
    rate: Floats
    launch: npt.NDArray[np.intp]
    expected: Expected
    on_climb: Floats
    samples: Floats
    nearest: Floats
    farthest: Floats
    room: Floats
    energy: Floats
    values: Floats
    parts: Floats
    block: Floats
    by_drag: Floats
    offset_u: Floats
    level_u: Floats
    dof: Floats
    u: Floats
    scatter: Floats
    expanded: Floats
    loss: Floats
    mechanical: Floats
    account: Floats
    fits: Booleans
    enough: Booleans

    @property
    def size(self) -> int:
        """Number of set-ups."""
        return int(self.u[0].size)

    @property
    def comes_back(self) -> Booleans:
        """Where the slope is steep enough for the cart to come back down, whatever its friction; shape (p,)."""
        return np.asarray(np.tan(self.expected.angle) > 1.5 * self.kit.rolling_resistance.value)

    @property
    def feasible(self) -> Booleans:
        """Which motions fit the track, the ranger and the fit, and come back, shape (p,)."""
        return self.fits & self.enough & self.comes_back


def predict(kit: Kit, *, tolerance: float = 0.05) -> Grid:
    """Predict every combination of the kit's masses, angles, launches, rates, angle methods and numbers of launches.

    tolerance: relative U up to which "no difference seen" may be called conserved.
    """
    rows = []
    for item in kit.masses:
        for angle in kit.angles:
            for number, speed in enumerate(_speeds(kit, item.value, angle)):
                rows += [(item.value, angle, speed, rate, number) for rate in kit.rates]
    masses, angles, speeds, rates, launches = (np.array(column) for column in zip(*rows, strict=True))
    return predict_at(kit, mass=masses, angle=angles, speed=speeds, rate=rates, launch=launches, tolerance=tolerance)


def _speeds(kit: Kit, mass: float, angle: float) -> list[float]:
    if not kit.strokes:
        return list(kit.speeds)
    inertia = mass * (1.0 + kit.rotating_fraction.value)
    found = plunger_speed(
        np.array(kit.strokes), stiffness=kit.spring(mass), mass=mass, inertia=inertia,
        angle=np.radians(np.full(len(kit.strokes), angle)), gravity=kit.gravity.value,
    )  # fmt: skip
    return [max(float(each), 1e-3) for each in found]


def predict_at(
    kit: Kit, *, mass: Floats, angle: Floats, speed: Floats, rate: Floats, launch: npt.NDArray[np.intp] | None = None,
    tolerance: float = 0.05,
) -> Grid:  # fmt: skip
    """Predict p motions: masses (kg), angles (degrees), release speeds (m/s) and rates (1/s), all of shape (p,)."""
    expected = expected_motion(kit, mass=mass, angle=angle, speed=speed)
    told = _told(kit, expected, rate)
    offset_u, level_u, dof, sigma = _around(kit, expected, told, rate)
    block = told.covariance[:, :4, :4] * (sigma * sigma)[:, None, None]
    values, gradients = _differentiate(kit, expected, told)
    u_scalar = {item.name: item.u for item in stated_constants(kit)}
    scalar_u = np.stack([
        {"cart.mass": _mass_u(kit, mass),
        "datum.level": level_u, "datum.offset": offset_u, "track.angle": np.ones(mass.shape)}.get(
            name, np.full(mass.shape, u_scalar.get(name, 0.0)))
        for name in SCALARS
    ])  # fmt: skip
    count = len(SCALARS)
    with np.errstate(invalid="ignore"):
        fit_part = np.sqrt(
            np.einsum("oip,pij,ojp->op", gradients[:, count:], np.where(np.isfinite(block), block, 1e6), gradients[:, count:])
        )
    parts = np.concatenate([np.abs(gradients[:, :count]) * scalar_u, fit_part[:, None]], axis=1)
    energy = values[0] * (1.0 + kit.rotating_fraction.value)
    loss = values[OUTPUTS.index("relative_difference")]
    strongest = expected_motion(kit, mass=mass, angle=angle, speed=speed * (1.0 + 2.5 * kit.repeat))
    nearest, farthest, room = _geometry(kit, expected, strongest)
    enough = (
        (told.on_climb >= LEAST_ON_CLIMB)
        & (told.samples >= LEAST_SAMPLES)
        & np.isfinite(told.covariance[:, 0, 0])
        & (expected.travel > 0.05)
    )
    u, expanded, mechanical, account = combine(kit, parts, values, energy, loss, dof, angle, tolerance)
    of_the_stop = parts[:, SCALARS.index("datum.offset"), :, None, None]
    scatter = np.sqrt(np.maximum(u**2 - of_the_stop**2, 0.0))
    return Grid(
        kit, tolerance, mass, angle, speed, rate,
        np.zeros(mass.shape, dtype=np.intp) if launch is None else launch.astype(np.intp),
        expected, told.on_climb, told.samples, nearest, farthest, room, energy, values,
        parts, block, told.by_drag[:, :4], offset_u,
        level_u, dof, u, scatter, expanded, loss, mechanical, account, room >= 0.0, enough,
    )  # fmt: skip


def _told(kit: Kit, expected: Expected, rate: Floats) -> Information:
    """Gather the information of all motions, those of one rate together."""
    p, h = expected.apexes.shape
    q = 2 + 2 * h
    result = Information(np.zeros((p, q, q)), np.zeros((p, q)), np.zeros(p), np.zeros(p))
    for each in np.unique(rate):
        row = np.flatnonzero(rate == each)
        for some in np.array_split(row, max(1, row.size // 128)):
            found = gather(_take(expected, some), rate=float(each), last_flight=kit.LAST_FLIGHT)
            for target, part in zip(
                (result.covariance, result.by_drag, result.samples, result.on_climb),
                (found.covariance, found.by_drag, found.samples, found.on_climb), strict=True,
            ):  # fmt: skip
                target[some] = part
    return result


def _take(expected: Expected, rows: npt.NDArray[np.intp]) -> Expected:
    return Expected(*(getattr(expected, name)[rows] for name in Expected.__slots__))


def _around(kit: Kit, expected: Expected, told: Information, rate: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return u of the release level's offset and of the rest level (m), the fit's degrees of freedom, and the noise (m), as an
    audit will have them.

    An audit judges the noise from its residuals: it believes a positive autocorrelation, and never a negative one, so that chance
    alone widens the fit's part by about 0.4/√n.
    """
    noise = kit.reading_noise
    rest = np.floor(kit.REST_SECONDS * rate) + 1.0
    level_u = np.sqrt(noise**2 / rest + PLACING**2)
    dof = np.maximum(told.samples - told.covariance.shape[1], 1.0)
    sigma = noise * (1.0 + 0.4 / np.sqrt(np.maximum(told.samples, 4.0)))
    offset_u = np.zeros(rate.shape)
    for place in range(rate.size):
        covariance = told.covariance[place] * sigma[place] ** 2
        contacts = find_contacts(
            float(expected.climb[place]), float(expected.descent[place]),
            expected.apexes[place], expected.apex_levels[place], 0.0,
            still_level=float(expected.offset[place] - expected.stroke[place]),
            covariance=covariance if np.isfinite(covariance).all() else None, u_level=float(level_u[place]),
        )  # fmt: skip
        offset_u[place] = contacts.u
    return offset_u, level_u, dof, sigma


def _mass_u(kit: Kit, mass: Floats) -> Floats:
    known = {item.value: item.u for item in kit.masses}
    return np.array([known.get(float(each), kit.masses[0].u) for each in mass])


def _differentiate(kit: Kit, expected: Expected, told: Information) -> tuple[Floats, Floats]:
    """Return OUTPUTS at the expected motion, shape (o, p), and their derivatives by SCALARS and by the fitted values, (o, n,
    p)."""
    scale = kit.scale.value
    drag = expected.drag * scale
    by_drag = {name: told.by_drag[:, place] for place, name in enumerate(_FITTED)}
    model = ledger_model(hops=1, descent_seen=True, drag=drag, by_drag=by_drag)  # type: ignore[arg-type]  # arrays broadcast as numbers do
    size = expected.mass.size
    values = {
        "cart.mass": expected.mass,
        **{item.name: np.full(size, item.value) for item in stated_constants(kit)},
        "datum.level": np.zeros(size),
        "datum.offset": expected.offset / scale,
        "track.angle": np.degrees(expected.angle),
        "fit.climb": expected.climb / scale,
        "fit.descent": expected.descent / scale,
        "fit.apex_time": expected.apexes[:, 0],
        "fit.apex_1": expected.apex_levels[:, 0] / scale,
    }
    base = model(values)
    names = (*SCALARS, *_FITTED)
    gradients = np.zeros((len(OUTPUTS), len(names), size))
    for place, name in enumerate(names):
        shifted = model({**values, name: values[name] + 1j * _STEP})
        for row, output in enumerate(OUTPUTS):
            gradients[row, place] = np.imag(shifted[output]) / _STEP
    return np.stack([np.real(base[output]) + np.zeros(size) for output in OUTPUTS]), gradients


def _geometry(kit: Kit, expected: Expected, strongest: Expected) -> tuple[Floats, Floats, Floats]:
    """Return nearest and farthest distance from the ranger, and the room left beyond the apex of the strongest launch, m."""
    reach_ = expected.apex_levels[:, 0]
    most = strongest.apex_levels[:, 0]
    to_end = kit.track_length - kit.start
    cocked = strongest.stroke - strongest.offset
    if kit.placed == "top":
        nearest, farthest = to_end - reach_, to_end + cocked
        room = np.minimum(to_end - most - kit.min_range - MARGIN, kit.max_range - farthest)
        return nearest, farthest, np.asarray(room)
    nearest, farthest = kit.behind - cocked, kit.behind + reach_
    room = np.minimum.reduce([nearest - kit.min_range, to_end - most - MARGIN, kit.max_range - kit.behind - most])
    return nearest, farthest, np.asarray(room)
