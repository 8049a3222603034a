"""Checking one line of a write-up against the lines before it: right, or which slip explains it.

The order is: what rounding allows is right; then one slip; then two together. Everything that fits is named, the likelier first,
and where nothing fits the answer is that the line must be seen.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from math import floor, log10
from typing import Literal

from joulebook.classroom.chain import CHAIN, Rule, interval_of, needed
from joulebook.classroom.slip_catalogue import SLIPS, Slip
from joulebook.classroom.written import Written

__all__ = ["Explanation", "LineResult", "check_line", "widened"]

Kind = Literal["blank", "right", "slip", "cannot tell"]

# A pair of slips is that much rarer than one of them alone (common practice, no source).
_PAIR = 0.04
# Numbers that stand in no line are rounded on the way as their owner likes, but to no less than two figures.
_ROUNDED_ON_THE_WAY = ("mass", "sine", "gravity")


@dataclass(frozen=True, slots=True)
class Explanation:
    """What may have happened to a line. slips: codes, one or two. share: how likely, among all that fit equally well, 0 to 1."""

    slips: tuple[str, ...]
    share: float

    @property
    def words(self) -> str:
        """What was done, to go on after "as if"."""
        return " and ".join(SLIPS[code].words for code in self.slips)

    @property
    def harmless(self) -> bool:
        """Whether it is a choice of the house rather than a mistake."""
        return all(SLIPS[code].harmless for code in self.slips)


@dataclass(frozen=True, slots=True)
class LineResult:
    """What a line is, going by the write-up's own numbers.

    line: its name. kind: "blank", "right", "slip" or "cannot tell". written: what stands there. low, high: what it must be, going
    by the lines before it; None when they are missing. loosely: right only if numbers were rounded or cut off on the way.
    by_audit: right by the bench's audit, where the numbers before it are missing. explanations: what may have happened, likeliest
    first.
    """

    line: str
    kind: Kind
    written: Written | None = None
    low: float | None = None
    high: float | None = None
    loosely: bool = False
    by_audit: bool = False
    explanations: tuple[Explanation, ...] = ()

    @property
    def wrong(self) -> bool:
        """Whether it does not follow from the lines before it; one whose earlier numbers are missing is to be asked for."""
        return self.kind == "slip" or (self.kind == "cannot tell" and self.low is not None)

    @property
    def harmless(self) -> bool:
        """Whether what was found is a choice of the house."""
        return bool(self.explanations) and self.explanations[0].harmless


def check_line(line: str, written: Mapping[str, Written]) -> LineResult:
    """Check one line of the chain.

    line: one of CHAIN. written: the write-up's numbers by name, lines and readings; the line itself may be missing.
    """
    own = written.get(line)
    expected = interval_of(line, written)
    low, high = expected or (None, None)
    if own is None:
        return LineResult(line, "blank", None, low, high)
    result = LineResult(line, "right", own, low, high)
    if expected is not None:
        if own.holds(*expected):
            return result
        loose = widened(written)
        wider = interval_of(line, loose)
        if wider is not None and own.holds(*wider, steps=2.0):
            # A choice of the house fits better than a rounding on the way, and is worth a word; neither is a mistake.
            fits = [each for each in _explanations(line, own, written) if each.harmless]
            return replace(result, loosely=True, explanations=tuple(fits))
    found = _explanations(line, own, written)
    if not found and expected is not None:
        found = _explanations(line, own, widened(written))
    if not found and expected is None and needed(line, written) is None:
        return replace(result, kind="cannot tell")
    return replace(result, kind="slip" if found else "cannot tell", explanations=found)


def widened(written: Mapping[str, Written]) -> dict[str, Written]:
    """Return the numbers as they may have been rounded on the way: what stands in no line, to two figures at least."""
    return {name: _to_two_figures(each) if name in _ROUNDED_ON_THE_WAY else each for name, each in written.items()}


def _to_two_figures(number: Written) -> Written:
    if number.value == 0.0:
        return number
    step = 10.0 ** (floor(log10(abs(number.value))) - 1)
    return replace(number, half=max(number.half, 0.5 * step))


def _explanations(line: str, own: Written, written: Mapping[str, Written]) -> tuple[Explanation, ...]:
    """Return every slip, and every pair, that makes the line what it is."""
    usable = [slip for slip in SLIPS.values() if slip.line in _open_lines(line, written)]
    weights: dict[tuple[str, ...], float] = {}
    for chosen in (*((slip,) for slip in usable), *combinations(usable, 2)):
        weight = _weight(chosen)
        if weight == 0.0:
            continue
        found = interval_of(line, written, _rules(chosen))
        if found is not None and own.holds(*found):
            weights[tuple(slip.code for slip in chosen)] = weight
    weights = _plainest(weights)
    total = sum(weights.values())
    ordered = sorted(weights.items(), key=lambda item: -item[1])
    return tuple(Explanation(codes, weight / total) for codes, weight in ordered)


def _open_lines(line: str, written: Mapping[str, Written]) -> tuple[str, ...]:
    """Return the lines whose rules make this one: itself, and those before it that were not written down."""
    found = [line]
    for name in found:
        found += [used for used in CHAIN[name].uses if used in CHAIN and used not in written and used not in found]
    # A rule put in place may reach further back than physics' own.
    if "potential_energy" in found and "travel" not in written and "travel" not in found:
        found.append("travel")
    return tuple(found)


def _weight(chosen: tuple[Slip, ...]) -> float:
    """Return how common this is; 0 where two slips exclude each other."""
    if len(chosen) == 1:
        return chosen[0].common
    one, other = chosen
    if one.line == other.line and ("rule" in (one.touches, other.touches) and one.touches == other.touches):
        return 0.0
    if one.line == other.line and set(one.touches.split()) & set(other.touches.split()):
        return 0.0
    return _PAIR * one.common * other.common


def _rules(chosen: Iterable[Slip]) -> dict[str, tuple[tuple[str, ...], Rule]]:
    """Return the rules that these slips put in place; two on one line multiply what each does to it."""
    rules: dict[str, tuple[tuple[str, ...], Rule]] = {}
    for slip in chosen:
        if slip.line not in rules:
            rules[slip.line] = (slip.uses, slip.rule)
            continue
        uses, first = rules[slip.line]
        right = CHAIN[slip.line]
        rules[slip.line] = (
            tuple(dict.fromkeys((*uses, *slip.uses, *right.uses))),
            lambda n, first=first, second=slip.rule, right=right.rule: first(n) * second(n) / right(n),  # type: ignore[misc]
        )
    return rules


def _plainest(weights: dict[tuple[str, ...], float]) -> dict[tuple[str, ...], float]:
    """Leave out a pair that one of its slips alone explains as well: the other then does nothing that could be seen."""
    singles = {codes[0] for codes in weights if len(codes) == 1}
    return {codes: weight for codes, weight in weights.items() if len(codes) == 1 or not singles & set(codes)}
