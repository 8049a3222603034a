"""Contacts: how long the stop holds the cart between two hops, and how far above the rest level it lets go.

Seen from the rest level, where stop and weight balance, a cart on a spring swings harmonically: it stays below that level for
π/ω however fast it comes in, and the spring reaches its free length δ = a/ω² higher, with a = g·sinθ/(1+κ) (DESIGN §4). A stop
that pushes at a distance, like a pair of magnets, holds fast carts for a shorter time than slow ones; its push is taken to
fall off as a·exp(−x/λ), which makes the cart a Toda oscillator (M. Toda, J. Phys. Soc. Jpn 22 (1967) 431), and never quite ends.
Which of the two a bench has is judged by how the contact times vary from rebound to rebound, and by the restitution.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from joulebook.uncertainty.distributions import standard_uncertainty
from joulebook.uncertainty.robust import median

__all__ = ["LIMITS", "LIMITS_SHAPE", "LONGEST", "Contacts", "find_contacts"]

FloatArray = npt.NDArray[np.float64]

_INSTANT = 0.008
"""s: a contact shorter than this is a hard stop, which lets go where the cart stands."""

LONGEST = 1.0
"""s: a contact longer than this is no stop of this bench."""

LIMITS, LIMITS_SHAPE = "curvilinear-trapezoidal", 0.3
"""How the offset is distributed: somewhere between limits that are known to about three tenths of the half-width."""

_FADED = 3.5
"""A push that fades as exp(−x/λ) is taken to have ended at 3.5 λ, where it is a thirtieth of the weight along the slope."""

_FADED_DOUBT = 3.0
"""Half-width of that, in λ: from six tenths of the weight on, and for a push that fades more slowly, like a power of distance."""

_LEAST_OF_MAGNETS = 0.86
"""Restitution below which a stop does not push at a distance: magnets give back 0.9 to 0.98 (BENCH_FACTS, common practice)."""

_MOST = 5
"""Contacts that are looked at: later ones are slow and short of samples."""


@dataclass(frozen=True, slots=True, eq=False)
class Contacts:
    """The contacts between the hops of one launch.

    offset: m, release level above the rest level, best estimate. half_width: m, limits of what it may be.
    starts, ends: s, when each contact begins and ends at the release level, shape (hops − 1,).
    duration: s, typical time below the rest level, NaN when nothing rebounds.
    restitution: speed out over speed in of the first contact, NaN when there is none.
    clear: m above the rest level from which on the cart is looked for in free motion; what the stop still does there is trimmed.
    kind: "hard", "spring", "distant" (pushes at a distance), "unclear" (spring or distant) or "unseen" (no rebound).
    """

    offset: float
    half_width: float
    starts: FloatArray
    ends: FloatArray
    duration: float
    restitution: float
    kind: str
    clear: float

    @property
    def u(self) -> float:
        """Standard uncertainty of the offset, m, from limits that are themselves a judgement (JCGM 101, 6.4.3.3)."""
        return standard_uncertainty(LIMITS, self.half_width, shape=LIMITS_SHAPE)

    def released_at(self, offset: float, half_width: float | None = None) -> Contacts:
        """Return the same contacts with the release put at this offset (m), as a person or a hand has it."""
        return replace(self, offset=offset, half_width=self.half_width if half_width is None else half_width)


def find_contacts(
    climb: float,
    descent: float,
    apex_times: FloatArray,
    apexes: FloatArray,
    level: float,
    *,
    still_level: float = float("nan"),
    covariance: FloatArray | None = None,
    u_level: float = 0.0,
    u_still: float = 0.0,
    bounce: float = float("nan"),
) -> Contacts:
    """Work out contacts and release level from the fitted hops and the rest level.

    climb, descent: a_u and a_d, m/s². apex_times: s, apexes: m, of each hop, shape (hops,). level: m, rest level, with standard
    uncertainty u_level. still_level: m, where the cart stood cocked, NaN when it is not known, with standard uncertainty u_still.
    covariance: of (climb, descent, apex_time_1, apex_1, …), shape (2 + 2·hops, 2 + 2·hops); without it times count for exact to
    2 ms. bounce: restitution as far as the samples show a rebound that is too low or too short to be fitted, NaN where there is none.
    """
    mean = 0.5 * (climb + descent)
    launch_speed = float(np.sqrt(2.0 * climb * max(apexes[0] - level, 1e-6)))
    times, speeds, restitution, spread = _below(climb, descent, apex_times, apexes, level, covariance, u_level)
    empty = np.empty(0)
    if times.size == 0:
        offset, half = _from_the_push(level - still_level, mean, launch_speed, bounce)
        return Contacts(offset, half, empty, empty, np.nan, np.nan, "unseen", max(offset - half, 0.0))
    duration = median(times)
    if duration <= _INSTANT:
        offset, half = _hard(duration, restitution, launch_speed)
        kind = "hard"
    elif duration > LONGEST:
        offset, half, kind = 0.5 * min(mean * (LONGEST / np.pi) ** 2, 0.06), min(mean * (LONGEST / np.pi) ** 2, 0.06), "unclear"
    else:
        offset, half, kind = _soft(
            times, speeds, spread, mean, restitution, launch_speed, level - still_level, float(np.hypot(u_level, u_still))
        )  # fmt: skip
    starts, ends = _crossings(climb, descent, apex_times, apexes, level + offset)
    return Contacts(offset, half, starts, ends, duration, restitution, kind, max(offset, 0.0))


def _below(
    climb: float,
    descent: float,
    apex_times: FloatArray,
    apexes: FloatArray,
    level: float,
    covariance: FloatArray | None,
    u_level: float,
) -> tuple[FloatArray, FloatArray, float, FloatArray]:
    """Return times below the rest level, mean speeds there, the first restitution, and the times' covariance (k contacts)."""
    rises = apexes[: _MOST + 1] - level
    count = 0
    while count + 1 < rises.size and rises[count] > 0.004 and rises[count + 1] > 0.004:
        count += 1
    if count == 0:
        return np.empty(0), np.empty(0), float("nan"), np.empty((0, 0))
    down, up = np.sqrt(2.0 * rises[:count] / descent), np.sqrt(2.0 * rises[1 : count + 1] / climb)
    times = apex_times[1 : count + 1] - up - apex_times[:count] - down
    fast, slow = descent * down, climb * up
    if covariance is None:
        spread = np.diag(np.full(count, 0.002**2))
    else:
        gradient = np.zeros((count, 2 + 2 * apexes.size))
        rows = np.arange(count)
        gradient[:, 0], gradient[:, 1] = up / (2.0 * climb), down / (2.0 * descent)
        gradient[rows, 2 + 2 * rows], gradient[rows, 4 + 2 * rows] = -1.0, 1.0
        gradient[rows, 3 + 2 * rows], gradient[rows, 5 + 2 * rows] = -1.0 / fast, -1.0 / slow
        by_level = 1.0 / fast + 1.0 / slow
        spread = gradient @ covariance @ gradient.T + u_level**2 * np.outer(by_level, by_level)
    # No stop is as simple as its model: two parts in a hundred, and half a millisecond.
    spread = spread + np.diag((0.02 * times) ** 2 + 0.0005**2)
    return times, 0.5 * (fast + slow), float(slow[0] / fast[0]), spread


def _crossings(
    climb: float, descent: float, apex_times: FloatArray, apexes: FloatArray, level: float
) -> tuple[FloatArray, FloatArray]:
    """Return when each contact starts and ends at `level`, each of shape (hops − 1,)."""
    with np.errstate(invalid="ignore"):
        down = np.sqrt(2.0 * (apexes[:-1] - level) / descent)
        up = np.sqrt(2.0 * (apexes[1:] - level) / climb)
    return apex_times[:-1] + down, apex_times[1:] - up


def _hard(duration: float, restitution: float, speed: float) -> tuple[float, float]:
    """Return offset and half-width for a hard stop, which hardly gives way but may lose its energy as a damper does.

    A damped buffer lets go within 2ζv/ω of its free length (`_early`), with π/ω the contact; it is not known whether this one does.
    """
    zeta = _damping(restitution)
    early = 2.0 * zeta * speed * min(max(duration, 0.002) + 0.0015, _INSTANT) / np.pi
    return -0.5 * early, 0.001 + 0.5 * early + min(max(-duration, 0.0) * speed, 0.01)


def _from_the_push(depth: float, mean: float, speed: float, bounce: float) -> tuple[float, float]:
    """Return offset and half-width for a cart whose rebounds could not be fitted, from how deep it was cocked.

    A spring gives δ ≈ a·depth²/v²; a push that fades over λ gives depth ≈ λ·ln(v²/(2aλ)). Nothing tells which it was, so both are
    inside the limits, unless the cart came back up less than magnets throw it (`bounce`). A damped plunger lets go below its free
    length. Without a cocked cart on record: a push of at most 0.15 s, a quarter of a spring's period (common practice, no source).
    """
    pushes = not bounce < _LEAST_OF_MAGNETS
    if np.isfinite(depth) and 0.005 < depth < 0.3:
        spring = min(mean * (depth / max(speed, 0.05)) ** 2, 0.05)
        reach = depth / 4.0
        for _ in range(20):
            reach = depth / max(float(np.log(max(speed**2 / (2.0 * mean * reach), 1.0))), 1.0)
        high = max(1.5 * spring, min(_FADED * reach, 0.03) if pushes else 0.0) + 0.001
        low = -0.002 - 0.05 * depth
    else:
        high = mean * (2.0 * 0.15 / np.pi) ** 2 + 0.001
        low = -0.002 if pushes else -0.003
    return 0.5 * (low + high), 0.5 * (high - low)


def _soft(
    times: FloatArray, speeds: FloatArray, spread: FloatArray, mean: float, restitution: float, launch_speed: float, depth: float,
    u_depth: float,
) -> tuple[float, float, str]:  # fmt: skip
    """Return offset, half-width and kind of a stop that gives way.

    depth: m of the cocked cart below rest, NaN if unknown, with standard uncertainty u_depth.
    """
    inverse = np.linalg.inv(spread)
    ones = inverse.sum(axis=1)
    duration = float(ones @ times / ones.sum())
    if not _INSTANT < duration < LONGEST:  # strongly correlated times can pull their weighted mean out of their own range
        duration = median(times)
    rest = times - duration
    misfit_spring = float(rest @ inverse @ rest)
    reaches = _reaches()
    predicted = _time_below(mean, reaches[:, None], speeds[None, :])
    errors = predicted - times
    misfits = np.einsum("ij,jk,ik->i", errors, inverse, errors)
    best = int(np.argmin(misfits))
    reach = float(reaches[best])
    offset = mean * (duration / np.pi) ** 2
    early, doubt = _early(duration, restitution, launch_speed, depth, mean)
    spring = (offset - early, 0.001 + 0.2 * offset + doubt)
    distant = (_FADED * reach, _FADED_DOUBT * reach + 0.001)
    # Restitutions of magnets are 0.9 to 0.98, of springs 0.6 to 0.95 (BENCH_FACTS, common practice, no source).
    weight = min(0.0, (restitution - 0.88) / 0.015) + 0.5 * (misfit_spring - float(misfits[best]))
    weight += _by_depth(depth, u_depth, launch_speed, mean, duration, reach)
    if weight < -3.0:
        return *spring, "spring"
    if weight > 3.0:
        return *distant, "distant"
    low, high = min(spring[0] - spring[1], distant[0] - distant[1]), max(spring[0] + spring[1], distant[0] + distant[1])
    return 0.5 * (low + high), 0.5 * (high - low), "unclear"


def _by_depth(depth: float, u_depth: float, speed: float, mean: float, duration: float, reach: float) -> float:
    """Return how much the cocked depth speaks for a push at a distance and against a spring, as a logarithm of odds.

    The launch speed needs √(v² + a²/ω²)/ω of a spring, and a depth with aλ(e^(depth/λ) − 1) − a·depth = v²/2 of a fading push.
    Where neither fits, the cart was launched by something else than the stop, and nothing is learnt.
    """
    if not 0.005 < depth < 0.3:
        return 0.0
    omega = np.pi / duration
    of_spring = float(np.sqrt(speed**2 + (mean / omega) ** 2) / omega)
    x = 3.0
    for _ in range(30):
        x = float(np.log1p(x + speed**2 / (2.0 * mean * reach)))
    off_spring, off_distant = (abs(depth / each - 1.0) / np.hypot(0.04, u_depth / each) for each in (of_spring, x * reach))
    if min(off_spring, off_distant) > 2.5:
        return 0.0
    return float(min(max(0.5 * (off_spring**2 - off_distant**2), -6.0), 6.0))


def _early(duration: float, restitution: float, speed: float, depth: float, mean: float) -> tuple[float, float]:
    """Return how much below its free length a plunger lets go, and how well that is known, m.

    A spring with viscous damping ζ pushes no more once it is within 2ζv/ω of its free length; one that loses its energy only
    when it is struck pushes to the end. The launch tells which: a damped plunger gives less speed, by about exp(−ζπ/2), than its
    depth and frequency would without loss. Where the cocked depth is not on record both are inside the limits.
    """
    damping = _damping(restitution)
    if damping == 0.0:
        return 0.0, 0.0
    omega = np.pi / duration
    whole = float(2.0 * damping * speed / omega)
    square = (omega * depth) ** 2 - (mean / omega) ** 2
    if not 0.005 < depth < 0.3 or square <= 0.0:
        return 0.5 * whole, 0.5 * whole
    lost = 1.0 - speed / float(np.sqrt(square))
    part = min(max((lost - 0.02) / (1.0 - float(np.exp(-0.5 * np.pi * damping))), 0.0), 1.0)
    return part * whole, (0.12 + 0.5 * part) * whole


def _damping(restitution: float) -> float:
    """Return the damping ratio ζ of a spring that gives back this share of the speed, 0 where there is no such share."""
    if not 0.0 < restitution < 1.0:
        return 0.0
    log = float(np.log(restitution))
    return float(-log / np.sqrt(np.pi**2 + log * log))


def _time_below(mean: float, reach: FloatArray, speed: FloatArray) -> FloatArray:
    """Return how long a cart that crosses the rest level at `speed` stays below it when the push fades over `reach`."""
    logs, values = _toda_table()
    pace = np.sqrt(reach / mean)
    return np.asarray(pace * np.interp(np.log(speed / np.sqrt(mean * reach)), logs, values))


@lru_cache(maxsize=1)
def _reaches() -> FloatArray:
    """Return the lengths over which a push may fade, m."""
    return np.geomspace(2e-4, 0.05, 60)


@lru_cache(maxsize=1)
def _toda_table() -> tuple[FloatArray, FloatArray]:
    """Return ln w and F(w): the time that y″ = e^(−y) − 1, started at y = 0 with y′ = −w, takes to come back to y = 0.

    F = 2·∫ dy/√(w² − 2(e^(−y) + y − 1)) from the turning point to 0, with y = y_turn·(1 − u²), which takes out the root's
    singularity; F → π as w → 0 (harmonic) and 2·ln(2w²)/w as w grows.
    """
    w = np.geomspace(0.01, 300.0, 160)
    energy = 0.5 * w * w
    turn = -np.minimum(w, np.log(energy + 2.0) + 1.0)
    for _ in range(80):  # Newton on e^(−y) + y − 1 = w²/2, from the side on which it converges
        turn = turn - (np.expm1(-turn) + turn - energy) / (1.0 - np.exp(-turn))
    nodes, weights = np.polynomial.legendre.leggauss(80)
    u = 0.5 * (nodes + 1.0)
    y = turn[:, None] * (1.0 - u * u)
    speed = np.sqrt(np.maximum(w[:, None] ** 2 - 2.0 * (np.expm1(-y) + y), 1e-300))
    time = 2.0 * np.sum(0.5 * weights * (-turn[:, None]) * 2.0 * u / speed, axis=1)
    return np.log(w), time
