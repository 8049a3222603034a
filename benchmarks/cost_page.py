"""What docs/performance.md says of the cost of a sweep (benchmarks/cost.py)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from benchmarks.cost import exponent
from benchmarks.goals import unless

__all__ = ["cost_goals", "cost_section"]

EXPONENT, WITHIN, WORKERS, RATE, FLAT, SCRIPT = 1.0, 0.05, 1.8, 200.0, 1.1, 3.0
_GOAL_SIZE = 90_000
_LONG = 3000
"""Samples from which the time of an audit is that of its samples, not of what it does once."""

Results = Mapping[str, Any]


def cost_section(results: Sequence[Results], short: list[str]) -> str:
    """Return the section for the lines of cost.jsonl, and add what falls short; "" when there are none."""
    if not results:
        return ""
    benches = [each for each in results if each["cell"].startswith("benches")]
    samples = [each for each in results if each["cell"].startswith("samples")]
    parts = ["## Cost\n"]
    if benches:
        parts += [_BENCHES, _bench_table(benches), _bench_words(benches, short)]
        parts += [_script_words(each, short) for each in results if each["cell"] == "script"]
    if samples:
        parts += [_SAMPLES, _sample_table(samples), _sample_words(samples)]
    parts += [_worker_words(each, short) for each in results if each["cell"] == "workers"]
    return "\n".join(parts)


_BENCHES = """### Against the number of benches

Folders with the records of the demo's six benches, again and again, swept by a process of its own from files to finished audits: linear
propagation, one worker (`benchmarks/cost.py`). Processor time, so that what else the machine does counts less; medians where a size was
swept more than once. Memory is the peak of that process, imports included. Each row was measured; nothing is extrapolated.

| benches | launches | processor time, s | audits a second | a bench, as many times as in the first row | peak memory, MB |
| ---: | ---: | ---: | ---: | ---: | ---: |"""

_SAMPLES = """### Against the number of samples

One launch of four hops and its rest record, read at ever higher rates: the motion stays the same and every sample counts. Least processor
times. The peer is `numpy.loadtxt`, which reads the launch's file and no more.

| samples of the launch | audit from files, ms | audit of records in memory, ms | from files, times `numpy.loadtxt` |
| ---: | ---: | ---: | ---: |"""


def _bench_table(rows: Sequence[Results]) -> str:
    first = _processor(rows[0]) / rows[0]["benches"]
    lines = []
    for each in rows:
        took = _processor(each)
        rate, over = each["benches"] / took, took / each["benches"] / first
        lines.append(f"| {each['benches']:,} | {each['launches']:,} | {took:.1f} | {rate:.0f} | {over:.2f} | {_peak(each):.0f} |")
    return "\n".join(lines) + "\n"


_WHY = (
    "An audit makes some five thousand small array calls for each launch, and no function takes more than a fifteenth of its time: what "
    "could be taken out of loops was, and what is left is the number of calls. Only many launches in one array calculation would be five "
    "times as quick, and launches differ in length, hops and faults at every step."
)


_NAMES = (
    "What grows is the list of the benches' names: it is made and put into order before the first audit, so that the order of the results "
    "is the same on every machine, and takes about 0.2 kB for each bench while it is sorted. Audits leave nothing behind."
)


def _bench_words(rows: Sequence[Results], short: list[str]) -> str:
    told = []
    refused = sum(each["refused"] for each in rows)
    unless(refused == 0, short, f"{refused} benches of the sweeps could not be audited.")
    rate, power, over = _rate(rows), _power(rows), _growth(rows)
    what = f"A sweep of the demo mix with linear propagation audits {rate:.0f} benches a second on a core"
    unless(rate >= RATE, short, f"{what}; the goal is {RATE:g}. {_WHY}")
    if power:
        grows = f"The time of a sweep grows as the number of benches to the power {power[0]:.3f} ± {power[1]:.3f}"
        span = f"from {rows[0]['benches']:,} to {rows[-1]['benches']:,} benches"
        told.append(f"{grows} (least squares on the logarithms, standard error; goal {EXPONENT:.2f} ± {WITHIN:g}), {span}.")
        unless(abs(power[0] - EXPONENT) <= WITHIN, short, f"{grows}; the goal is {EXPONENT:.2f} ± {WITHIN:g}.")
    if over:
        small, large = _large(rows)[0]["benches"], rows[-1]["benches"]
        told.append(
            f"From {small:,} to {large:,} benches the peak memory becomes {over:.2f} times as large (goal: flat, {FLAT:g} at most)."
        )
        grows = f"The peak memory of a sweep grows {over:.2f}-fold from {small:,} to {large:,} benches"
        unless(over <= FLAT, short, f"{grows}; the goal is flat, {FLAT:g} at most. {_NAMES}")
    if rows[-1]["benches"] < _GOAL_SIZE:
        # What was not measured is not met.
        short.append(f"Cost and memory are measured up to {rows[-1]['benches']:,} benches, and the goals speak of 100,000.")
    return "\n".join(told) + "\n"


def _script_words(each: Results, short: list[str]) -> str:
    over = _over_script(each)
    told = f"A sweep from files takes {over:.1f} times as long for a launch as `curve_fit` with `uncertainties`"
    unless(over <= SCRIPT, short, f"{told}, which is handed the phases; the goal is {SCRIPT:g} at most.")
    return f"""{told} (goal {SCRIPT:g} at most). That script is
handed the free samples, the release level and good starting values of the same launches; it reads no file, looks for no phase and no
fault, and makes no report. The two were timed in turns, in one process; least processor times.
"""


def _sample_table(rows: Sequence[Results]) -> str:
    return "".join(
        f"| {each['samples']:,} | {1e3 * each['from_files_s']:.1f} | {1e3 * each['from_memory_s']:.1f} | "
        f"{each['from_files_s'] / each['loadtxt_s']:.0f} |\n"
        for each in rows
    )


def _sample_words(rows: Sequence[Results]) -> str:
    long = [each for each in rows if each["samples"] >= _LONG]
    if len(long) < 3:
        return "Too few long records were measured for an exponent.\n"
    told = []
    for key, words in (("from_files_s", "from files"), ("from_memory_s", "in memory")):
        power, error = exponent([each["samples"] for each in long], [each[key] for each in long])
        told.append(f"{power:.2f} ± {error:.2f} {words}")
    return (
        f"From {long[0]['samples']:,} samples on, the time grows as their number to the power {' and '.join(told)}. Below that, what an "
        "audit does once for each bench is most of its time.\n"
    )


def _worker_words(each: Results, short: list[str]) -> str:
    gain, bare = _gain(each, "one_s", "two_s"), _gain(each, "bare_one_s", "bare_two_s")
    told = f"Two workers sweep {each['benches']:,} benches {gain:.3f} times as fast as one"
    unless(gain >= WORKERS, short, f"{told}; the goal is {WORKERS:g}. A bare computation gains {bare:.2f} in the same turns.")
    return f"""### Two workers

{told}, their start included (goal {WORKERS:g}). The peer is a computation without any data, shared by two processes that run already: it
gains {bare:.2f} in the same turns, which is what this machine's second core is worth.
"""


def cost_goals(results: Sequence[Results]) -> list[tuple[str, str, str, bool]]:
    """Return the goals as (what, goal, measured, whether it is met), those alone of which something was measured."""
    rows = [each for each in results if each["cell"].startswith("benches")]
    found = []
    if rows:
        power, over = _power(rows), _growth(rows)
        largest, whole = f"at {rows[-1]['benches']:,}", rows[-1]["benches"] >= _GOAL_SIZE
        found.append(("audits a second on a core, demo mix", f"≥ {RATE:g}", f"{_rate(rows):.0f} {largest}", _rate(rows) >= RATE))
        for each in results:
            if each["cell"] == "script":
                script, what = _over_script(each), "a sweep from files over `curve_fit` with `uncertainties`"
                found.append((what, f"≤ {SCRIPT:g}", f"{script:.1f}", script <= SCRIPT))
        if power:
            told = f"{power[0]:.3f} ± {power[1]:.3f} {largest}"
            found.append(("exponent of the cost in benches", f"{EXPONENT:.2f} ± {WITHIN:g}", told, abs(power[0] - EXPONENT) <= WITHIN))
        if over:
            found.append(("memory of 100,000 benches over that of 1,000", f"≤ {FLAT:g}", f"{over:.2f} {largest}", over <= FLAT and whole))
    for each in results:
        if each["cell"] == "workers":
            gain = _gain(each, "one_s", "two_s")
            found.append(("two workers over one", f"≥ {WORKERS:g}", f"{gain:.3f}", gain >= WORKERS))
    return found


def _rate(rows: Sequence[Results]) -> float:
    return float(rows[-1]["benches"] / _processor(rows[-1]))


def _over_script(script: Results) -> float:
    """Return the time of a sweep of the demo's benches over that of the script for their launches, taken in turns."""
    return float(script["sweep_s"] / script["processor_s"])


def _power(rows: Sequence[Results]) -> tuple[float, float] | None:
    return exponent([each["benches"] for each in rows], [_processor(each) for each in rows]) if len(rows) >= 3 else None


def _growth(rows: Sequence[Results]) -> float | None:
    """Return the peak memory of the largest sweep over that of the smallest of about 1,000 benches or more."""
    large = _large(rows)
    return _peak(large[-1]) / _peak(large[0]) if len(large) >= 2 else None


def _large(rows: Sequence[Results]) -> list[Results]:
    return [each for each in rows if each["benches"] >= 900]


def _gain(each: Results, one: str, two: str) -> float:
    return float(np.median(each[one]) / np.median(each[two]))


def _processor(each: Results) -> float:
    return float(np.median(each["processor_s"]))


def _peak(each: Results) -> float:
    return float(np.median(each["peak_kB"])) / 1024.0
