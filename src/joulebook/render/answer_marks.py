"""Which numbers of a bench the answer sheet marks, and with which words: a finding seldom touches all of them."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

from joulebook.engine.report import Audit
from joulebook.render.plain import sorted_findings
from joulebook.render.words import SEVERITY_WORDS

__all__ = ["DOUBTS", "LOOK", "STOPPED", "Touched", "doubts", "marked"]

Touched = Literal["kinetic", "potential", "ratio"]
"""An energy, or what is concluded from both energies together."""

LOOK = SEVERITY_WORDS["look"].mark
STOPPED = f"{SEVERITY_WORDS['stop'].mark} do not use: repeat"

_ALL: tuple[Touched, ...] = ("kinetic", "potential", "ratio")
_HEIGHT: tuple[Touched, ...] = ("potential", "ratio")

# The slope and the rest level enter through the height; the mass enters both energies alike and cancels in their ratio.
DOUBTS: Mapping[str, tuple[str, tuple[Touched, ...]]] = MappingProxyType(
    {
        "angle-mismatch": ("slope", _HEIGHT),
        "angle-suspect": ("slope", _HEIGHT),
        "mass-suspect": ("mass", ("kinetic", "potential")),
        "no-rest": ("rest level", _HEIGHT),
        "rest-mismatch": ("rest level", _HEIGHT),
        "rest-cocked": ("rest level", _HEIGHT),
        "wrong-side": ("ranger’s end", _ALL),
        "ghost-echo": ("odd readings", _ALL),
        "pushed-by-hand": ("hand push", _ALL),
        "second-launch": ("second launch", _ALL),
        "misfit": ("motion", _ALL),
    }
)
"""For each finding that asks for a look: the word for what is in doubt, and the numbers that it touches."""


def doubts(audit: Audit, touched: Touched | None = None) -> tuple[str, ...]:
    """Return the words for what is in doubt at a bench, each once. touched: only those that touch this; None for all."""
    found = []
    for finding in sorted_findings(audit):
        if finding.severity == "look":
            word, numbers = DOUBTS.get(finding.code, (finding.code.replace("-", " "), _ALL))
            if touched is None or touched in numbers:
                found.append(word)
    return tuple(dict.fromkeys(found))


def marked(text: str, audit: Audit, touched: Touched) -> str:
    """Return a number as text, with the sign and the words for what is in doubt about it."""
    words = doubts(audit, touched)
    # The sign never stands at the end of a line without its word.
    return f"{text} {LOOK}\u00a0{', '.join(words)}" if words else text
