"""What the cart rests on and bounces from: a spring plunger, a hard buffer, or a pair of repelling magnets.

Every stop pushes up the slope only, and only at s < 0.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

__all__ = ["MagneticStop", "SpringStop", "Stop"]


class Stop(Protocol):
    """What the integrator asks of a stop."""

    def push(self, s: float, v: float) -> float:
        """Return the push up the slope, N, while the stop is touched."""
        ...

    def edge(self, s: float, v: float) -> float:
        """Return a number that is positive exactly where the stop pushes, and continuous."""
        ...

    def depth(self, force: float) -> float:
        """Return how far (m) the stop gives way under a steady force, N."""
        ...

    def stiffness_at(self, s: float) -> float:
        """Return the growth of the push with depth, N/m, at s."""
        ...

    def rate_at(self, s: float, v: float, inertia: float) -> float:
        """Return the fastest rate, rad/s, at which the push changes near s at this velocity."""
        ...

    def stroke(self, *, speed: float, inertia: float, load: float) -> float:
        """Return about how deep (m) to cock it for a release speed (m/s) against a steady load (N)."""
        ...


@dataclass(frozen=True, slots=True)
class SpringStop:
    """A spring that cannot pull: −stiffness·s·(1 − hysteresis·v) − damping·v, for s < 0 and as long as that is positive.

    stiffness: N/m. hysteresis: s/m, loss that grows with the load (Hunt and Crossley 1975), so that the push starts and ends
    at the free length. damping: N·s/m, a damper beside the spring (Kelvin–Voigt): the push starts with a jump and ends
    short of the free length, by damping·v/stiffness. A stiff spring with a damper is a hard buffer.
    """

    stiffness: float
    damping: float = 0.0
    hysteresis: float = 0.0

    @classmethod
    def damped(cls, *, stiffness: float, inertia: float, restitution: float) -> SpringStop:
        """Return the spring with a damper that gives a body of this inertia (kg) this restitution at any speed, weight aside.

        From the damped oscillation that ends when the force vanishes: e = exp(−ζ(π − 2 asin ζ)/√(1 − ζ²)).
        Raises ValueError for a restitution outside (0.15, 1].
        """
        _check_restitution(restitution)

        def excess(zeta: float) -> float:
            return math.exp(-zeta * (math.pi - 2.0 * math.asin(zeta)) / math.sqrt(1.0 - zeta * zeta)) - restitution

        return cls(stiffness, damping=2.0 * _falling_root(excess, 0.0, 0.999) * math.sqrt(stiffness * inertia))

    @classmethod
    def hysteretic(cls, *, stiffness: float, speed: float, restitution: float) -> SpringStop:
        """Return the spring whose loss grows with the load, for this restitution at this approach speed (m/s), weight aside.

        Raises ValueError for a restitution outside (0.15, 1].
        """
        return cls(stiffness, hysteresis=_hysteresis(restitution) / speed)

    def push(self, s: float, v: float) -> float:
        """Return the push, N."""
        return -self.stiffness * s * max(1.0 - self.hysteresis * v, 0.0) - self.damping * v

    def edge(self, s: float, v: float) -> float:
        """Positive where the spring is short of its free length and its push is not yet zero."""
        return min(-self.stiffness * s, -self.stiffness * s - self.damping * v)

    def depth(self, force: float) -> float:
        """Return force over stiffness, m."""
        return force / self.stiffness

    def stiffness_at(self, s: float) -> float:
        """Return the stiffness, N/m."""
        return self.stiffness

    def rate_at(self, s: float, v: float, inertia: float) -> float:
        """Return √(k/m), rad/s."""
        return math.sqrt(self.stiffness / inertia)

    def stroke(self, *, speed: float, inertia: float, load: float) -> float:
        """Return the stroke from the energy of the spring without its losses."""
        return (load + math.sqrt(load * load + self.stiffness * inertia * speed * speed)) / self.stiffness


@dataclass(frozen=True, slots=True)
class MagneticStop:
    """Two magnets that repel with a force growing exponentially towards the stop.

    The push is force·(exp(−s/reach) − 1)·(1 − hysteresis·v) for s < 0. Real magnets push at any distance; here what would be
    left at s = 0, `force` (N), is taken off everywhere, so that "the last instant at which the stop pushes" has a meaning.
    reach: the length in which the push grows by e, m. hysteresis: s/m, the loss (eddy currents).
    """

    force: float
    reach: float
    hysteresis: float = 0.0

    @classmethod
    def with_restitution(cls, *, force: float, reach: float, speed: float, restitution: float) -> MagneticStop:
        """Return the magnets that give this restitution at this approach speed (m/s), weight aside.

        Raises ValueError for a restitution outside (0.15, 1].
        """
        return cls(force, reach, _hysteresis(restitution) / speed)

    def push(self, s: float, v: float) -> float:
        """Return the push, N."""
        return self.force * math.expm1(min(-s / self.reach, 60.0)) * max(1.0 - self.hysteresis * v, 0.0)

    def edge(self, s: float, v: float) -> float:
        """Positive within the magnets' reach."""
        return -s

    def depth(self, force: float) -> float:
        """Return reach·ln(1 + F/force), m."""
        return self.reach * math.log1p(force / self.force)

    def stiffness_at(self, s: float) -> float:
        """Return the growth of the push with depth, N/m."""
        return self.force / self.reach * math.exp(min(-s / self.reach, 60.0))

    def rate_at(self, s: float, v: float, inertia: float) -> float:
        """Return √(k/m), or the passage through the reach where that is quicker, rad/s."""
        return math.sqrt(self.stiffness_at(s) / inertia) + 0.5 * abs(v) / self.reach

    def stroke(self, *, speed: float, inertia: float, load: float) -> float:
        """Return the depth from the energy that the magnets store, by a few steps of substitution."""
        wanted = 0.5 * inertia * speed * speed * (1.0 + 0.67 * self.hysteresis * speed)
        depth = 4.0 * self.reach
        for _ in range(60):
            energy = wanted + (load + self.force) * depth
            depth = self.reach * math.log1p(energy / (self.force * self.reach))
        return depth


def _check_restitution(restitution: float) -> None:
    if not 0.15 < restitution <= 1.0:
        raise ValueError(f"a restitution lies between 0.15 and 1, got {restitution}")


def _hysteresis(restitution: float) -> float:
    """Return hysteresis times approach speed for a restitution.

    For any push p(s)(1 − hv) the work integral ∫ v dv/(1 − hv) is the same on the way in and out, whatever p is;
    with d = hv: d(1 + e) = ln((1 + d)/(1 − e·d)).
    """
    _check_restitution(restitution)
    if restitution > 1.0 - 1e-9:
        return 0.0

    def excess(d: float) -> float:
        return d * (1.0 + restitution) - math.log((1.0 + d) / (1.0 - restitution * d))

    return _falling_root(excess, 1e-3 * (1.0 - restitution), (1.0 - 1e-12) / restitution)


def _falling_root(excess: Callable[[float], float], low: float, high: float) -> float:
    """Return where a function that is positive before its root and negative after it vanishes, by halving."""
    for _ in range(60):
        middle = 0.5 * (low + high)
        if excess(middle) > 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
