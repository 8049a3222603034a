"""What was found in a line or a reading, as sentences: one for the teacher with the numbers, one for the student without them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from math import floor, log10

from joulebook.classroom.line_check import LineResult
from joulebook.classroom.reading_check import ReadingResult
from joulebook.classroom.slip_catalogue import SLIPS

__all__ = ["LINE_WORDS", "line_advice", "line_sentence", "reading_advice", "reading_sentence"]

LINE_WORDS: Mapping[str, str] = {
    "start_distance": "distance at release",
    "apex_distance": "distance at the highest point",
    "release_speed": "speed at release",
    "slope": "slope of the track",
    "travel": "way along the track",
    "height": "height gained",
    "kinetic_energy": "energy of motion",
    "potential_energy": "energy of height",
    "claim": "claim",
}
"""What each line is called."""

_UNITS = {"start_distance": "m", "apex_distance": "m", "release_speed": "m/s", "slope": "°", "travel": "m", "height": "m"}
_MOST_NAMED = 3
_SURE = 0.9


def line_sentence(line: LineResult) -> str:
    """Return what was found in a line, for the teacher, with the numbers."""
    name = LINE_WORDS[line.line].capitalize()
    if line.kind == "blank" or line.written is None:
        return f"{name}: not given."
    shown = f"{line.written.text.strip()} {_UNITS.get(line.line, 'J')}".replace(" J J", " J").replace(" m m", " m")
    if line.by_audit:
        return f"{name} {shown}: right by the record; the numbers before it are not given."
    if line.kind == "cannot tell" and line.low is None:
        return f"{name} {shown}: the numbers before it are not given; ask to see this line."
    if line.kind == "right":
        how = "right from own numbers, rounded on the way" if line.loosely else "right from own numbers"
        if line.explanations:
            how = f"right from own numbers, as if {line.explanations[0].words}: a choice of the house, no mistake"
        return f"{name} {shown}: {how}." if line.low is not None else f"{name} {shown}: the numbers before it are not given."
    follows = "" if line.low is None or line.high is None else f", where own numbers give {_range(line.low, line.high)}"
    if line.kind == "cannot tell":
        return f"{name} {shown}{follows}: no usual slip explains it; ask to see this line."
    return f"{name} {shown}{follows}: {_explained(line)}"


def line_advice(line: LineResult) -> str:
    """Return what a student is told about a line that is not right: where it stops following, and what to ask oneself."""
    name = LINE_WORDS[line.line]
    if line.low is None and not line.explanations:
        return f"Show how you came to the line “{name}”: the numbers before it are missing."
    if line.kind == "cannot tell" or not line.explanations:
        return f"The line “{name}” does not follow from your own numbers. Work it out again, one step to a line."
    codes = list(dict.fromkeys(code for each in line.explanations[:_MOST_NAMED] for code in each.slips))
    questions = list(dict.fromkeys(SLIPS[code].ask for code in codes))
    return f"The line “{name}” does not follow from your own numbers. {' '.join(questions[:2])}"


def reading_sentence(reading: ReadingResult) -> str:
    """Return what was found in a reading, for the teacher, with the numbers."""
    name, unit = LINE_WORDS[reading.reading].capitalize(), _UNITS[reading.reading]
    if reading.kind == "blank" or reading.written is None:
        return f"{name}: not given."
    shown = reading.written.text.strip()
    shown = shown if any(sign.isalpha() and sign not in "eE" for sign in shown) else f"{shown} {unit}"
    if reading.kind == "no audit":
        return f"{name} {shown}: there is no audit to hold it against."
    there, gap = _range(reading.low, reading.high), "" if unit == "°" else " "
    if reading.kind == "right":
        return f"{name} {shown}: right (the record shows {there}{gap}{unit})."
    if reading.kind == "other feature":
        named = " or ".join(feature.words for feature in reading.features[:_MOST_NAMED])
        return f"{name} {shown}, where the record shows {there}{gap}{unit}: it is {named}."
    off = f"{_number(reading.off)}{gap}{unit}"
    return f"{name} {shown}, where the record shows {there}{gap}{unit}: off by {off}, and no feature explains it."


def reading_advice(reading: ReadingResult) -> str:
    """Return what a student is told about a reading that is off: where to look, not what to find."""
    name = LINE_WORDS[reading.reading]
    if reading.reading == "slope":
        return "The slope in your set-up table is not the one that your cart's motion shows. Measure it again, as height over length."
    if reading.kind == "other feature":
        return f"Your “{name}” belongs to another place of the graph: {reading.features[0].words}. Look where it should be read."
    return f"Your “{name}” is not what your graph shows there. Read it again."


def _explained(line: LineResult) -> str:
    named = line.explanations[:_MOST_NAMED]
    first = named[0]
    if len(line.explanations) == 1:
        return f"as if {first.words}." + (" A choice of the house, no mistake." if first.harmless else "")
    if first.share >= _SURE:
        return f"most likely as if {first.words}; {len(line.explanations) - 1} rarer explanations fit as well."
    choices = "; or as if ".join(each.words for each in named)
    more = len(line.explanations) - len(named)
    rest = "" if not more else ", or one rarer explanation" if more == 1 else f", or {more} rarer ones"
    return f"either as if {choices}{rest}: these cannot be told apart by number, so ask to see this line."


def _range(low: float, high: float) -> str:
    if not (math.isfinite(low) and math.isfinite(high)):
        return "nothing"
    width = high - low
    if width <= 0.0:
        return _number(low)
    # Both ends with the digits that tell them apart.
    places = min(max(1 - floor(log10(width)), 0), 6)
    return f"{low:.{places}f} to {high:.{places}f}"


def _number(value: float) -> str:
    return f"{value:.3g}"
