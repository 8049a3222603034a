"""What docs/accuracy.md says of the maps over the operating region (benchmarks/maps.py)."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from itertools import groupby, product
from typing import Any

from benchmarks.goals import unless
from benchmarks.maps import ANGLES, CELLS, NOISES, RATES, STOPS, MapCell
from benchmarks.scores import wilson_interval

__all__ = ["map_goals", "map_section"]

LOWEST, HIGHEST, MEDIAN, RMS = 0.90, 0.99, 1.2, 1.5
_MEDIAN_OF_NORMAL = 0.67449
_FEWEST = 200
_NAMED = 6

Results = Mapping[str, Any]
WORDS = {"kinetic_energy": "the release energy", "relative_difference": "the relative difference"}


def map_section(results: Sequence[Results], short: list[str]) -> str:
    """Return the section for the lines of maps.jsonl, and add what falls short; "" when there are none."""
    cells = {each["cell"]: each for each in results if each["cell"] in CELLS}
    if not cells:
        return ""
    benches = [each["benches"] for each in cells.values()]
    many = f"{min(benches)}" if min(benches) == max(benches) else f"{min(benches)} to {max(benches)}"
    seed = next(iter(cells.values()))["settings"]["first_seed"]
    parts = [_HEAD.format(cells=len(cells), of=len(CELLS), benches=many, seed=seed)]
    parts.append(_PICTURE)
    if min(benches) < _FEWEST:
        parts.append(f"The goal is stated for cells of {_FEWEST} benches or more; these have fewer, and chance has its share in them.\n")
    for name, words in WORDS.items():
        parts += [f"### Coverage of {words}, `{name}`\n", _table(cells, partial(_share, name=name))]
        parts.append(_extremes(cells, name, short))
    parts += ["### The error of the release energy over its bound\n", _EFFICIENCY, _table(cells, _efficiency), _worst(cells, short)]
    failed = sum(len(each["failed"]) for each in cells.values())
    alarmed = sum(each["alarmed"] for each in cells.values())
    parts.append(
        f"Of {sum(benches)} benches, {alarmed} had a finding of severity `stop` or `look`, and {failed} ended in an error or a "
        "warning of Python.\n"
    )
    unless(failed == 0, short, f"Of {sum(benches)} benches of the maps, {failed} ended in an error or a warning of Python.")
    return "\n".join(parts)


def map_goals(results: Sequence[Results]) -> list[tuple[str, str, str, bool]]:
    """Return the goals as (what, goal, measured, whether it is met)."""
    found = []
    for name, words in WORDS.items() if results else ():
        shares = [each["covered"][name] / each["given"][name] for each in results if each["given"][name]]
        low, high = sum(share < LOWEST for share in shares), sum(share > HIGHEST for share in shares)
        whole = len(shares) == len(CELLS) and min(each["benches"] for each in results) >= _FEWEST
        measured = f"{low} and {high} of {len(shares)}"
        found.append((f"cells where the interval of {words} covers below 90 %, above 99 %", "none", measured, low + high == 0 and whole))
    return found


_WHY_WIDE = (
    "how far above the rest level a stop lets go is known within limits, not by counting: a magnets' push never quite ends, and its limits "
    "allow for every sensible meaning of the release, which a second simulator with another law of force does need"
)

_HEAD = """## Maps of the region

The ends and the middle of the region in four directions at once: the track's angle, the rate, the ranger's noise and the kind of stop
({cells} of {of} cells, {benches} benches of one launch in each, the rest drawn as ever; `benchmarks/maps.py`). Audits are the
default ones, with Monte Carlo where the linear interval is not validated. Coverage is in per cent,
with Wilson's 95 % interval for it in brackets: two cells whose brackets overlap need not differ.
**Low** marks a cell below 90 %, **high** one above 99 %; the goal is that there are none. Bench *i* of cell *c* comes from
`numpy.random.default_rng({seed} + 10000 c + i)`, cells counted from 0 by stop, angle, rate and noise, the last one quickest.
"""

_PICTURE = """![The three maps as pictures; the tables below hold the same numbers](maps.svg)

In the picture, below 90 % (or above 1.5 bounds) is dark orange and bold, 90–92 % (1.2–1.5) pale orange, above 98 % pale blue, above
99 % blue.
"""

_EFFICIENCY = """Median over 0.674 / root mean square, the release level known, as the bound has it. 1 is as good as can be; the goals are
1.2 and 1.5. **Far** marks a cell whose root mean square is above 1.5: a few wild errors among many good ones do that.
"""


def _table(cells: Mapping[str, Results], told: Callable[[Results], str]) -> str:
    heads = " | ".join(f"{rate:g}/s" for rate in RATES)
    lines = [f"| stop | angle | noise | {heads} |", "| --- | ---: | ---: |" + " ---: |" * len(RATES)]
    for stop, angle, noise in product(STOPS, ANGLES, NOISES):
        row = [cells.get(MapCell(stop, angle, rate, noise).name) for rate in RATES]
        shown = " | ".join("–" if each is None else told(each) for each in row)
        lines.append(f"| {stop} | {angle:g}° | {noise:g} mm | {shown} |")
    return "\n".join(lines) + "\n"


def _share(each: Results, name: str) -> str:
    given = each["given"][name]
    if not given:
        return "–"
    share = each["covered"][name] / given
    mark = " **low**" if share < LOWEST else " **high**" if share > HIGHEST else ""
    return f"{100.0 * share:.0f} ({_limits(each, name)}){mark}"


def _limits(each: Results, name: str) -> str:
    low, high = wilson_interval(each["covered"][name], each["given"][name])
    return f"{100.0 * low:.0f}–{100.0 * high:.0f}"


def _extremes(cells: Mapping[str, Results], name: str, short: list[str]) -> str:
    """Say which cells lie outside the goal, the lowest and the highest named."""
    shares = {cell: each["covered"][name] / each["given"][name] for cell, each in cells.items() if each["given"][name]}
    if not shares:
        return "No bench of any cell gave it.\n"
    order = sorted(shares, key=lambda cell: shares[cell])
    told = f"Lowest: {', '.join(_named(cells[cell], name) for cell in order[:3])}. Highest: {_named(cells[order[-1]], name)}."
    low = [cell for cell in order if shares[cell] < LOWEST]
    high = [cell for cell in order if shares[cell] > HIGHEST]
    surely = [cell for cell in low if wilson_interval(cells[cell]["covered"][name], cells[cell]["given"][name])[1] < LOWEST]
    of = f"of {len(shares)} cells the interval of `{name}` holds the truth on"
    if low:
        some = ", ".join(_named(cells[cell], name) for cell in low[:_NAMED]) + (" and so on" if len(low) > _NAMED else "")
        unless(False, short, f"In {len(low)} {of} less than 90 % of the benches, in {len(surely)} by more than chance: {some}.")
    if high:
        by_stop = ", ".join(f"{len(list(those))} {stop}" for stop, those in groupby(sorted(high), key=lambda cell: cell.split(",")[0]))
        why = f"; {_WHY_WIDE}" if name == "kinetic_energy" else ""
        unless(False, short, f"In {len(high)} {of} more than 99 % of the benches, so it is wider than it need be ({by_stop}){why}.")
    counted = f"{len(low)} of {len(shares)} cells are below 90 %, {len(surely)} of them by more than chance; {len(high)} are above 99 %."
    return f"{told} {counted}\n"


def _named(each: Results, name: str) -> str:
    share = 100.0 * each["covered"][name] / each["given"][name]
    return f"{each['cell']} ({share:.0f} %, {_limits(each, name)})"


def _efficiency(each: Results) -> str:
    if not each["efficiency"]:
        return "–"
    median, rms = each["efficiency"]["known_level"]
    return f"{median / _MEDIAN_OF_NORMAL:.2f} / {rms:.2f}" + (" **far**" if rms > RMS else "")


def _worst(cells: Mapping[str, Results], short: list[str]) -> str:
    those = {cell: each["efficiency"]["known_level"] for cell, each in cells.items() if each["efficiency"]}
    if not those:
        return "No launch of any cell could be compared with its bound.\n"
    by_rms = sorted(those, key=lambda cell: -those[cell][1])
    by_median = sorted(those, key=lambda cell: -those[cell][0])
    far = [cell for cell in by_rms if those[cell][1] > RMS]
    wide = [cell for cell in by_median if those[cell][0] / _MEDIAN_OF_NORMAL > MEDIAN]
    surely = [cell for cell in wide if those[cell][0] / _MEDIAN_OF_NORMAL > MEDIAN + _by_chance(cells[cell]["launches"])]
    told = "In {} of {} cells the error of the release energy is above {} Cramér–Rao bounds in {}, at most {:.2f} ({})."
    if far:
        unless(False, short, told.format(len(far), len(those), RMS, "rms", those[far[0]][1], far[0]))
    if surely:
        largest = those[surely[0]][0] / _MEDIAN_OF_NORMAL
        unless(False, short, told.format(len(surely), len(those), MEDIAN, "the median by more than chance", largest, surely[0]))
    worst = ", ".join(f"{cell} ({those[cell][1]:.2f})" for cell in by_rms[:3])
    return (
        f"Largest root mean squares: {worst}. {len(far)} of {len(those)} cells are above 1.5; {len(wide)} are above 1.2 in the median, "
        f"{len(surely)} of them by more than two standard errors of a median.\n"
    )


def _by_chance(n: int) -> float:
    """Return two standard errors of the median of |x| over 0.674, for n normal x: √n times as small as 1/(2·f·0.674), f = 0.6356."""
    return float(2.0 * 0.5 / (0.6356 * _MEDIAN_OF_NORMAL * n**0.5))
