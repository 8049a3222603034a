"""The slips that write-ups show, each as the rule that was used in the place of the right one (common practice, no source).

What a slip does to a number is worked out from the write-up's own numbers, so that slips which agree there are named together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from joulebook.classroom.chain import Numbers, Rule

__all__ = ["SLIPS", "Slip"]


@dataclass(frozen=True, slots=True)
class Slip:
    """One slip of calculation.

    code: its short name. line: the line whose rule it replaces. uses: what its rule needs. rule: the one used.
    words: what was done, to go on after "as if". ask: what to ask the student. harmless: a house's choice rather than a mistake.
    common: how often it is seen, relative to the others of its line.
    """

    code: str
    line: str
    uses: tuple[str, ...]
    rule: Rule
    words: str
    ask: str
    touches: str = "rule"
    harmless: bool = False
    common: float = 1.0


def _radians(n: Numbers) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return n["travel"] * np.sin(n["angle"])


_ALL: tuple[Slip, ...] = (
    # The way along the track.
    Slip("start-for-travel", "travel", ("start_distance",), lambda n: n["start_distance"],
         "the distance at release were the way along the track", "Which two readings is the way along the track between?"),
    Slip("apex-for-travel", "travel", ("apex_distance",), lambda n: n["apex_distance"],
         "the distance at the highest point were the way along the track",
         "Which two readings is the way along the track between?"),
    Slip("sum-for-travel", "travel", ("start_distance", "apex_distance"), lambda n: n["start_distance"] + n["apex_distance"],
         "the two distances were added instead of subtracted", "Can the way be longer than the larger reading?", common=0.3),
    Slip("negative-travel", "travel", ("start_distance", "apex_distance"),
         lambda n: -np.abs(n["start_distance"] - n["apex_distance"]), "the difference were taken the other way round",
         "Can a way along the track be negative?", common=0.5),
    Slip("travel-in-centimetres", "travel", ("start_distance", "apex_distance"),
         lambda n: 100.0 * np.abs(n["start_distance"] - n["apex_distance"]), "centimetres were written as metres",
         "In which unit is this way?", common=0.5, touches="unit"),
    # The height.
    Slip("cosine", "height", ("travel", "sine"), lambda n: n["travel"] * np.sqrt(1.0 - n["sine"] ** 2),
         "the cosine were taken for the sine", "Which side of the triangle is the height, seen from the angle?"),
    Slip("travel-for-height", "height", ("travel",), lambda n: n["travel"],
         "the way along the track were the height", "How high would the cart be on a track that lies flat?"),
    Slip("angle-from-vertical", "height", ("travel", "sine"), lambda n: n["travel"] * np.sqrt(1.0 - n["sine"] ** 2),
         "the angle were counted from the vertical", "From which line is the angle counted?", common=0.5),
    Slip("tangent", "height", ("travel", "sine"), lambda n: n["travel"] * n["sine"] / np.sqrt(1.0 - n["sine"] ** 2),
         "the tangent were taken for the sine", "Which two sides did you divide?", harmless=True, common=0.3),
    Slip("radians", "height", ("travel", "angle"), _radians,
         "the calculator took the degrees for radians", "What does your calculator show for the sine of 90?"),
    Slip("divided-by-sine", "height", ("travel", "sine"), lambda n: n["travel"] / n["sine"],
         "the way were divided by the sine", "Can the height be larger than the way?", common=0.3),
    Slip("rise-for-height", "height", ("rise",), lambda n: n["rise"],
         "the rise between the two marks were the height", "How far did the cart go, and how far apart are the marks?",
         common=0.5),
    Slip("height-in-centimetres", "height", ("travel", "sine"), lambda n: 100.0 * n["travel"] * n["sine"],
         "centimetres were written as metres", "In which unit is this height?", common=0.5, touches="unit"),
    # The energy of motion.
    Slip("half-forgotten", "kinetic_energy", ("mass", "release_speed"), lambda n: n["mass"] * n["release_speed"] ** 2,
         "the half were left out", "Write the formula first: what stands in front of m?", touches="half"),
    Slip("square-forgotten", "kinetic_energy", ("mass", "release_speed"), lambda n: 0.5 * n["mass"] * n["release_speed"],
         "the speed were not squared", "Write the formula first: what is done to the speed?", touches="square"),
    Slip("half-and-square-forgotten", "kinetic_energy", ("mass", "release_speed"), lambda n: n["mass"] * n["release_speed"],
         "mass times speed were the energy", "What is mass times speed called?", common=0.5, touches="half square"),
    Slip("kinetic-in-grams", "kinetic_energy", ("mass", "release_speed"), lambda n: 500.0 * n["mass"] * n["release_speed"] ** 2,
         "the mass were taken in grams", "In which unit must the mass be, for joules?", touches="unit"),
    Slip("half-squared", "kinetic_energy", ("mass", "release_speed"), lambda n: 0.25 * n["mass"] * n["release_speed"] ** 2,
         "half of the speed were squared, or a half taken twice: the average speed in the place of that at release",
         "Which speed is this: at release, or on the average?", touches="half"),
    # The energy of height.
    Slip("g-is-ten", "potential_energy", ("mass", "height"), lambda n: 10.0 * n["mass"] * n["height"],
         "g were 10 m/s²", "Which g does the class use?", harmless=True, touches="g"),
    Slip("g-forgotten", "potential_energy", ("mass", "height"), lambda n: n["mass"] * n["height"],
         "g were left out", "Write the formula first: what stands between m and h?", touches="g"),
    Slip("potential-in-grams", "potential_energy", ("mass", "gravity", "height"),
         lambda n: 1000.0 * n["mass"] * n["gravity"] * n["height"], "the mass were taken in grams",
         "In which unit must the mass be, for joules?", touches="unit"),
    Slip("potential-of-travel", "potential_energy", ("mass", "gravity", "travel"),
         lambda n: n["mass"] * n["gravity"] * n["travel"], "the way along the track were put in the place of the height",
         "Which length does the energy of height go with?", touches="length"),
    Slip("potential-halved", "potential_energy", ("mass", "gravity", "height"),
         lambda n: 0.5 * n["mass"] * n["gravity"] * n["height"], "the half of the other formula were put in here",
         "Write the formula first: is there a half in it?", common=0.5, touches="half"),
)  # fmt: skip

SLIPS: Mapping[str, Slip] = MappingProxyType({slip.code: slip for slip in _ALL})
"""Every slip by its code, in the order of the lines."""
