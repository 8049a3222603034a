"""How much a fault changes the answer, and how the findings' messages count: the numbers and words that they share."""

from __future__ import annotations

import numpy as np

from joulebook.engine.fit import Motion

__all__ = ["counted", "kinetic_doubt", "known_to", "length", "percent", "rolling_doubt", "travel"]


def counted(number: int, one: str, more: str) -> str:
    """Return the words for one thing or for several, with the number in front: `counted(1, "reading is", "readings are")`."""
    return f"{number} {one if number == 1 else more}"


def percent(share: float) -> str:
    """Return the size of a share as a percentage that a person would say: whole from 10 % on, and never "0.0 %"."""
    value = 100.0 * abs(share)
    if not np.isfinite(value):
        return "an unknown part"
    if value < 0.05:
        return "less than 0.1 %"
    return f"{value:.0f} %" if value >= 9.95 else f"{value:.1f} %"


def known_to(doubt: float) -> str:
    """Return how well something is known, by its relative standard uncertainty: "to ± 0.3 % (standard uncertainty)"."""
    return "to better than 0.1 %" if doubt < 5e-4 else f"to ± {percent(doubt)} (standard uncertainty)"


def length(metres: float) -> str:
    """Return the size of a length in the unit that a person would say it in, to two or three digits."""
    size = abs(metres)
    if size >= 0.995:
        return f"{size:.2f} m"
    return f"{100.0 * size:.1f} cm" if size >= 0.00995 else f"{1000.0 * size:.1f} mm"


def travel(motion: Motion) -> float:
    """Return how far the cart climbs from the release to its highest point, m as read."""
    return max(float(motion.apexes[0]) - motion.release_level, 1e-6)


def kinetic_doubt(motion: Motion) -> float:
    """Return the relative standard uncertainty that the fit leaves to the kinetic energy at release, which goes with a_u·h."""
    places = [0, motion.names.index("apex_1")]
    sensitivity = np.array([1.0 / motion.climb, 1.0 / travel(motion)])
    return float(np.sqrt(max(sensitivity @ motion.covariance[np.ix_(places, places)] @ sensitivity, 0.0)))


def rolling_doubt(motion: Motion) -> float:
    """Return the standard uncertainty that the fit leaves to the rolling loss, as a share of the energy at release.

    That share is (a_u − a_d)/(2 a_u) (DESIGN §4). NaN when the descent is not on record.
    """
    if not motion.descent_seen:
        return float("nan")
    ratio = motion.descent / motion.climb
    sensitivity = np.array([-ratio / motion.climb, 1.0 / motion.climb])
    return float(0.5 * np.sqrt(max(sensitivity @ motion.covariance[:2, :2] @ sensitivity, 0.0)))
