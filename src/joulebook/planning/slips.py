"""What the usual slips of calculation would do at a set-up, and which of them could not be told from each other, or seen at all.

Every factor is computed from the slip itself at the set-up's own angle and speed, so that a plan can choose values that keep the
slips apart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

__all__ = ["Pair", "Slip", "alike", "slips_at"]


@dataclass(frozen=True, slots=True)
class Slip:
    """One slip. name: in words. quantity: whose number it spoils. factor: what it multiplies that number by."""

    name: str
    quantity: Literal["kinetic", "potential"]
    factor: float


@dataclass(frozen=True, slots=True)
class Pair:
    """Two slips whose factors agree in size at an angle. same_sign: False where the one is the negative of the other."""

    first: Slip
    second: Slip
    angle: float
    gap: float
    same_sign: bool


def slips_at(*, angle: float, speed: float, climb: float, descent: float, gravity: float = 9.81) -> tuple[Slip, ...]:
    """Return the slips with their factors on ½mv² and m·g·d·sinθ.

    angle: degrees. speed: m/s at release. climb, descent: m/s². gravity: m/s².
    """
    theta = math.radians(angle)
    sine = math.sin(theta)
    return (
        Slip("half forgotten", "kinetic", 2.0),
        Slip("square forgotten", "kinetic", 1.0 / speed),
        Slip("half and square forgotten", "kinetic", 2.0 / speed),
        Slip("average speed for the release speed", "kinetic", 0.25),
        Slip("return speed for the release speed", "kinetic", descent / climb),
        Slip("cosine for sine", "potential", math.cos(theta) / sine),
        Slip("distance along the track for the height", "potential", 1.0 / sine),
        Slip("tangent for sine", "potential", 1.0 / math.cos(theta)),
        Slip("calculator in radians", "potential", math.sin(angle) / sine),
        Slip("angle read 1° too large", "potential", math.sin(math.radians(angle + 1.0)) / sine),
        Slip("angle read 1° too small", "potential", math.sin(math.radians(angle - 1.0)) / sine),
        Slip("g forgotten", "potential", 1.0 / gravity),
        Slip("g taken as 10 m/s²", "potential", 10.0 / gravity),
    )


def alike(slips: Sequence[Slip], *, angle: float, within: float = 0.03) -> tuple[Pair, ...]:
    """Return the pairs of slips on one quantity whose factors agree to `within`, and which differ from 1 by more than that.

    Cosine for sine and the distance for the height agree at every small angle, so that no choice of angle parts them: they are
    left out as a pair, and count once.
    """
    seen = [slip for slip in slips if abs(slip.factor - 1.0) > within and slip.name != "distance along the track for the height"]
    found = []
    for one, other in combinations(seen, 2):
        sizes = abs(one.factor), abs(other.factor)
        gap = 1.0 - min(sizes) / max(sizes)
        if one.quantity == other.quantity and gap <= within:
            found.append(Pair(one, other, angle, gap, one.factor * other.factor > 0.0))
    return tuple(found)
