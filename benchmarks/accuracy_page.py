"""Writes docs/accuracy.md from the raw results of the accuracy benchmarks, what falls short said last."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from benchmarks.goals import falls_short, goal_table, unless
from benchmarks.map_page import map_goals, map_section
from benchmarks.plan import section as plan_section
from benchmarks.robustness_page import robustness_goals, robustness_section
from benchmarks.room_page import marking_section
from benchmarks.scores import QUANTITIES, Outcome, QuantityScore, score

__all__ = ["accuracy_page"]

COVERAGE = (0.92, 0.98)
BOUND_MEDIAN, BOUND_RMS = 1.2, 1.5
CAUGHT = 0.95
FALSE_ALARMS = 0.02
MEDIAN_OF_NORMAL = 0.67449
"""The median of |x| for a standard normal x: an estimate at the bound has half of its errors within this many bounds."""

REGIONS: tuple[tuple[str, str, tuple[float, ...]], ...] = (
    ("stop", "stop", ()),
    ("placed", "ranger at the", ()),
    ("rate", "samples a second", ()),
    ("angle", "angle, degrees", (3.0, 6.0, 12.0, 18.0)),
    ("speed", "release speed, m/s", (0.5, 0.8, 1.2, 1.6)),
    ("noise_mm", "noise, mm", (0.2, 0.4, 0.8, 1.5)),
    ("noise_kind", "noise is", ()),
    ("step_mm", "printed step, mm", ()),
    ("launches", "launches", ()),
    ("rebounds", "rebounds on record", ()),
    ("hand", "hand on record", ()),
)
LEVELS = (("known_level", "known, as the bound has it (goals 1.2 and 1.5)"), ("own_level", "as the audit found it"))
SHOWN = ("release_speed", "travel", "kinetic_energy", "potential_energy", "rolling_resistance", "relative_difference")


def accuracy_page(
    results: Mapping[str, Any],
    plans: Mapping[str, Any],
    marking: Mapping[str, Any],
    *,
    maps: Sequence[Mapping[str, Any]] = (),
    robustness: Sequence[Mapping[str, Any]] = (),
) -> str:
    """Return docs/accuracy.md for the results of benchmarks/conformance.py, plan.py and marking.py.

    maps, robustness: the lines of benchmarks/maps.py and benchmarks/robustness.py; a section without lines is left out.
    """
    clean, plain = ([Outcome.from_dict(each) for each in results[part]] for part in ("clean", "plain"))
    short: list[str] = []
    parts = [
        _HEAD.format(version=results["version"], clean=len(clean), seed=results["first_seeds"]["clean"]),
        goal_table([*map_goals(maps), *robustness_goals(robustness)]),
        "## Stated intervals against the truth\n",
        _quantity_table(clean, short),
        _false_alarms(clean, short, "clean benches"),
        "## Where in the region\n\nCoverage in per cent, and false alarms, of the `n` benches of each row.\n",
        _region_table(clean),
        map_section(maps, short),
        _bound_section(clean, short),
        _FAULTS,
        _fault_table(results["faults"], short),
        robustness_section(robustness, short),
        _PLAIN,
        _plain_table(plain, short),
        _false_alarms(plain, short, "benches of the second simulator"),
        plan_section(plans, short),
        marking_section(marking),
        falls_short(short),
    ]
    return "\n".join(part for part in parts if part)


_HEAD = """# How true the results are

<!-- written by `make bench` (benchmarks/run_all.py); do not edit -->

What is measured here: whether joulebook's stated uncertainties hold, and whether it finds what is wrong with a bench. Benches
are simulated, so the truth is known: forces integrated step by step, then read by a ranger with all its habits. Each is
audited, and the audit is compared with what really happened. `make bench` does it; joulebook {version}.

- **Coverage**: of the stated 95 % intervals, how many hold the truth. The goal is 92 to 98 %.
- **Pull**: the error over the stated standard uncertainty. Its mean should be near 0, its standard deviation near 1; smaller
  means that joulebook is more careful than it need be.
- **Region**: angles 3–18°, launches at 0.5–1.6 m/s, 10–100 samples a second, the ranger at either end, spring, hard and magnetic
  stops, noise of 0.2–1.5 mm, printed in steps of 0.1–1 mm, one to five launches, hands at none, either or both ends of a record.
- {clean} clean benches. Bench *i* is drawn by `random_design` from `numpy.random.default_rng({seed} + i)`.
"""

_FAULTS = """## Faults found

Benches with one fault each, of a size that a teacher meets (`joulebook.planning.faults`): how often the audit has the finding of
that code. The goal is 95 %.
"""

_PLAIN = """## A second simulator

So that joulebook is not tuned to one picture of a bench, the same is measured on benches of a second simulator, which shares no
code with the first and takes the stops to be something else (`benchmarks/plain_benches.py`): "sine", a spring that loses its
energy at the end of the contact; "damped", a spring with a damper beside it, which lets go before its free length; "instant", a
hard buffer; "magnets", two dipoles. Its ranger has plain Gaussian noise and prints millimetres. Coverage in per cent, and the
standard deviation of the pulls.
"""


def _quantity_table(outcomes: Sequence[Outcome], short: list[str]) -> str:
    lines = [
        "| quantity | benches | coverage, % | ± | pull, mean | pull, s.d. | median relative error, % |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    for name in QUANTITIES:
        each = score(outcomes, name)
        if each.n == 0:
            continue
        relative = f"{100.0 * each.relative_error:.2f}" if np.isfinite(each.relative_error) else "–"
        cells = (f"{each.n}", *_coverage(each), f"{each.pull_mean:+.2f}", f"{each.pull_sd:.2f}", relative)
        lines.append(f"| `{name}` | " + " | ".join(cells) + " |")
        how = "too seldom" if each.coverage < COVERAGE[0] else "more often than it need be"
        told = f"The 95 % interval of `{name}` holds the truth {how}: on {' ± '.join(_coverage(each))} % of the benches."
        unless(COVERAGE[0] <= each.coverage <= COVERAGE[1], short, told)
    return "\n".join(lines) + "\n"


def _false_alarms(outcomes: Sequence[Outcome], short: list[str], where: str) -> str:
    alarmed = [each for each in outcomes if each.alarms]
    failed = sum(bool(each.failure) for each in outcomes)
    empty = sum(not each.pulls and not each.failure for each in outcomes)
    share = len(alarmed) / max(len(outcomes), 1)
    kinds = Counter(code for each in alarmed for code in each.alarms)
    told = ", ".join(f"`{code}` {count}" for code, count in kinds.most_common()) or "none"
    wrongly = f"Of 100 {where}, {100.0 * share:.1f} get a `stop` or `look` without cause (goal 2): {told}."
    unless(share <= FALSE_ALARMS, short, wrongly)
    ended = f"Of {len(outcomes)} {where}, {failed} ended in an error or a warning of Python, and {empty} without quantities."
    unless(failed + empty == 0, short, ended)
    return (
        f"False alarms, a finding of severity `stop` or `look`: {len(alarmed)} of {len(outcomes)} {where}, "
        f"{100.0 * share:.1f} in 100 (goal: 2 at most): {told}. "
        f"Audits that ended in an error or a warning of Python: {failed}; without quantities: {empty}.\n"
    )


def _region_table(outcomes: Sequence[Outcome]) -> str:
    lines = [
        "| | | n | " + " | ".join(f"`{name}`" for name in SHOWN) + " | false alarms |",
        "| --- | --- | ---: | " + " | ".join("---:" for _ in SHOWN) + " | ---: |",
    ]
    for key, words, edges in REGIONS:
        for label, belongs in _bins(outcomes, key, edges):
            those = [each for each in outcomes if belongs(each)]
            if those:
                shares = " | ".join(_percent(score(those, name).coverage) for name in SHOWN)
                alarmed = sum(bool(each.alarms) for each in those)
                lines.append(f"| {words} | {label} | {len(those)} | {shares} | {alarmed} |")
    return "\n".join(lines) + "\n"


def _bins(outcomes: Sequence[Outcome], key: str, edges: tuple[float, ...]) -> list[tuple[str, Callable[[Outcome], bool]]]:
    """Return the rows that one property gives: its values, or its ranges between edges, the outermost taken open."""

    def between(low: float, high: float) -> Callable[[Outcome], bool]:
        return lambda each: key in each.region and low <= float(each.region[key]) < high

    def equal(value: object) -> Callable[[Outcome], bool]:
        return lambda each: each.region.get(key) == value

    if edges:
        ends = (float("-inf"), *edges[1:-1], float("inf"))
        labels = [f"{low:g}–{high:g}" for low, high in pairwise(edges)]
        return [(label, between(*ends[place : place + 2])) for place, label in enumerate(labels)]
    values = {each.region[key] for each in outcomes if key in each.region}
    ordered = sorted(values, key=lambda value: (isinstance(value, str), value))
    return [(value if isinstance(value, str) else f"{value:g}", equal(value)) for value in ordered]


def _bound_section(outcomes: Sequence[Outcome], short: list[str]) -> str:
    energies = [each for outcome in outcomes for each in outcome.extra.get("energy", ())]
    if not energies:
        return ""
    rows = []
    for name, words in LEVELS:
        errors = np.abs([each[name] for each in energies])
        median, rms = float(np.median(errors)) / MEDIAN_OF_NORMAL, float(np.sqrt(np.mean(errors**2)))
        rows.append(f"| release level {words} | {median:.2f} | {rms:.2f} | {errors.max():.1f} |")
        if name == "known_level":
            told = "The error of the release energy is {} Cramér–Rao bounds (goal {}); the largest of {} is {:.1f}."
            unless(median <= BOUND_MEDIAN, short, told.format(f"{median:.2f} in the median", 1.2, errors.size, errors.max()))
            unless(rms <= BOUND_RMS, short, told.format(f"{rms:.2f} in rms", 1.5, errors.size, errors.max()))
    table = "\n".join(rows)
    return f"""## The release energy beside its Cramér–Rao bound

No unbiased estimate from the same samples has a smaller standard deviation than the bound, which `benchmarks/bound.py` works out
from the true motion, the true noise and the true free samples of each launch. It is the statistical part alone: drag, scale, mass
and the level at which the stop let go are known exactly, to the bound and to the estimate. An estimate at the bound has 1 in
both columns ({len(energies)} launches); the median is over {MEDIAN_OF_NORMAL:.3f}, that of a normal error.

| error of the release energy over the bound | median | rms | largest |
| --- | ---: | ---: | ---: |
{table}
"""


def _fault_table(faults: Mapping[str, Any], short: list[str]) -> str:
    lines = ["| finding | benches | found, % | seeds of the benches where it was not |", "| --- | ---: | ---: | --- |"]
    for code, each in sorted(faults.items()):
        share = each["caught"] / max(each["benches"], 1)
        missed = [str(one["seed"]) for one in each["missed"]]
        told = ", ".join(missed[:6]) + (f" and {len(missed) - 6} more" if len(missed) > 6 else "")
        lines.append(f"| `{code}` | {each['benches']} | {100.0 * share:.0f} | {told} |")
        unless(share >= CAUGHT, short, f"`{code}` is found on {100.0 * share:.0f} % of the benches that have it (goal 95 %).")
        failed = sum("failure" in one for one in each["missed"])
        ended = f"Of {each['benches']} benches with `{code}`, {failed} ended in an error or a warning of Python."
        unless(failed == 0, short, ended)
    return "\n".join(lines) + "\n"


def _plain_table(outcomes: Sequence[Outcome], short: list[str]) -> str:
    kinds = sorted({str(each.region.get("stop", "")) for each in outcomes})
    heads = " | ".join(f"{kind}, % | s.d." for kind in kinds)
    lines = [f"| quantity | {heads} |", "| --- |" + " ---: |" * (2 * len(kinds))]
    low: dict[str, list[str]] = {kind: [] for kind in kinds}
    for name in QUANTITIES:
        scores = [score([each for each in outcomes if each.region.get("stop") == kind], name) for kind in kinds]
        if not any(each.n for each in scores):
            continue
        cells = " | ".join(f"{_percent(each.coverage)} | {each.pull_sd:.2f}" for each in scores)
        lines.append(f"| `{name}` | {cells} |")
        for kind, each in zip(kinds, scores, strict=True):
            if _too_low(each):
                low[kind].append(f"`{name}` ({_percent(each.coverage)} %)")
    for kind, names in low.items():
        seldom = f'In the second simulator, stop "{kind}", these intervals hold the truth too seldom: {", ".join(names)}.'
        unless(not names, short, seldom)
    return "\n".join(lines) + "\n"


def _too_low(each: QuantityScore) -> bool:
    """Whether a coverage from few benches is below the goal by more than twice its standard error there."""
    allowed = 2.0 * float(np.sqrt(COVERAGE[0] * (1.0 - COVERAGE[0]) / each.n)) if each.n else 0.0
    return each.n > 0 and each.coverage < COVERAGE[0] - allowed


def _coverage(each: QuantityScore) -> tuple[str, str]:
    return f"{100.0 * each.coverage:.1f}", f"{100.0 * each.error:.1f}"


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f}" if np.isfinite(share) else "–"
