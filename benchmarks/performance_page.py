"""Writes docs/performance.md from the raw results of the speed benchmarks, with what falls short of the goals said last."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from benchmarks.cost_page import cost_goals, cost_section
from benchmarks.goals import falls_short, goal_table, unless
from benchmarks.profile_page import profile_section
from benchmarks.room_page import room_section, room_short

__all__ = ["performance_page"]

OVER_CURVE_FIT, OVER_METROLOPY, HELP_SECONDS = 3.0, 3.0, 0.5
BENCHES_PER_SECOND = {"auto": 100.0, "linear": 200.0}

SWEEPS = (("at-20", "20 samples a second"), ("region", "the whole region"))
STARTS = (
    ("bare_python", "Python alone, as a process"),
    ("help", "`joulebook --help`, as a process"),
    ("import_joulebook", "`import joulebook`"),
    ("import_analysis", "`import joulebook.analysis`, NumPy and SciPy with it"),
)


def performance_page(
    results: Mapping[str, Any],
    load: Mapping[str, Any],
    faults: Mapping[str, Any] | None = None,
    *,
    cost: Sequence[Mapping[str, Any]] = (),
    profile: Mapping[str, Any] | None = None,
) -> str:
    """Return docs/performance.md for the results of benchmarks/speed.py, room_load.py and faults.py.

    cost: the lines of benchmarks/cost.py. profile: the results of benchmarks/profile_pages.py. A section without results is left out.
    """
    short = [*_short(results), *room_short(load)]
    parts = [
        _HEAD.format(version=results["version"], **results["machine"]),
        goal_table([*_goals(results), *cost_goals(cost)]),
        _ONE_AUDIT.format(**results["bench"]),
        _audit_table(results["times"]),
        _monte_carlo(results["monte_carlo"]),
        _sweep_table(results["sweep"]),
        f"A process that audits one bench folder needs {results['memory_kB'] / 1024:.0f} MB of memory at its peak.\n",
        "## Starting\n\n| | median, ms | least | most |\n| --- | ---: | ---: | ---: |",
        "\n".join(f"| {words} | {_milliseconds(results['start'][name])} |" for name, words in STARTS) + "\n",
        "## The least-squares core\n",
        "How many times as long SciPy takes for the same fit (`benchmarks/fit_core.py`); least times.\n",
        _core_table(results["fit_core"]),
        cost_section(cost, short),
        room_section(load, faults),
        profile_section(profile),
        falls_short(short),
    ]
    return "\n".join(part for part in parts if part)


_HEAD = """# How fast it is

<!-- written by `make bench` (benchmarks/run_all.py); do not edit -->

What is measured here: how long an audit takes beside what a physicist would otherwise run, how many benches a sweep audits in a
second, and how soon the program starts. `make bench` does it, everything in one run; joulebook {version} on {system},
{processor}, {cores} cores, Python {python}, NumPy {numpy}, SciPy {scipy}. Times depend on the machine and on what else it does:
read the ratios.
"""

_ONE_AUDIT = """## One audit

A bench that was read already: one launch of {samples} samples at {rate_Hz:g} a second with {hops} hops, and a rest record.
joulebook cleans, finds the phases and the release level, fits, propagates, draws up the budgets and looks for faults. The peers
are handed the {handed_samples} free samples, the release level and good starting values; they fit parabolas and compute the same
quantities, uncertainties and budgets. Goals: at most 3 times as long as (a), and faster than (b).
"""


def _goals(results: Mapping[str, Any]) -> list[tuple[str, str, str, bool]]:
    over = results["times"]["audit_linear"]["median"] / results["times"]["curve_fit"]["median"]
    start = results["start"]["help"]["median"]
    return [
        ("an audit over `curve_fit` with `uncertainties`", f"≤ {OVER_CURVE_FIT:g}", f"{over:.1f}", over <= OVER_CURVE_FIT),
        ("`joulebook --help`, s", f"well under {HELP_SECONDS:g}", f"{start:.2f}", start < HELP_SECONDS),
    ]


def _audit_table(times: Mapping[str, Any]) -> str:
    audit = times["audit_linear"]["median"]
    rows = (
        ("audit, linear propagation, all budgets", "audit_linear"),
        ("audit with the Monte Carlo check of every interval (the default)", "audit_auto"),
        ("(a) `scipy.optimize.curve_fit` and `uncertainties`", "curve_fit"),
        ("(b) lmfit and `uncertainties`", "lmfit"),
    )
    lines = ["| | median, ms | least | most | linear audit takes, times as long |", "| --- | ---: | ---: | ---: | ---: |"]
    for words, name in rows:
        lines.append(f"| {words} | {_milliseconds(times[name])} | {audit / times[name]['median']:.2f} |")
    return "\n".join(lines) + "\n"


def _monte_carlo(carlo: Mapping[str, float]) -> str:
    ratios = {name: f"{carlo[name]:.1f} times" for name in ("ratio", "ratio_plain", "ratio_adaptive")}
    apart = carlo["largest_difference_over_tolerance"]
    return f"""## Monte Carlo

A ledger's interval ends to the numerical tolerance of JCGM 101, 7.9.2, for two digits of each standard uncertainty
(`benchmarks/monte_carlo.py`). joulebook needs {carlo["ours_draws"]} Sobol points and {1e3 * carlo["ours_s"]:.1f} ms.
metrolopy needs {carlo["plain_draws"]} plain draws and {1e3 * carlo["peer_s"]:.0f} ms, **{ratios["ratio"]} as long** (goal 3).
With plain draws on our side too it takes {ratios["ratio_plain"]} as long, and beside our adaptive procedure, which finds the
number of draws itself, {ratios["ratio_adaptive"]}. Ours and theirs agree to {apart:.2f} of the tolerance.
"""


def _sweep_table(sweeps: Mapping[str, Any]) -> str:
    lines = [
        "## Many benches\n",
        f"`joulebook.sweep` in one process over {sweeps['folders']} bench folders, from files to finished audits; the goals are",
        "100 benches a second, and 200 with linear propagation.\n",
        "| folders | method | benches a second | least | most |",
        "| --- | --- | ---: | ---: | ---: |",
    ]
    for name, words in SWEEPS:
        for method in ("auto", "linear"):
            each = sweeps[f"{name}-{method}"]
            lines.append(f"| {words} | {method} | {each['median']:.0f} | {each['min']:.0f} | {each['max']:.0f} |")
    return "\n".join(lines) + "\n"


def _core_table(rows: Sequence[Mapping[str, Any]]) -> str:
    peers = list(rows[0]["times_as_long"])
    lines = ["| samples | parameters | joulebook, µs | " + " | ".join(peers) + " |", "|" + " ---: |" * (3 + len(peers))]
    for row in rows:
        ratios = " | ".join(f"{row['times_as_long'][peer]:.1f}" for peer in peers)
        lines.append(f"| {row['samples']} | {row['parameters']} | {row['joulebook_us']:.0f} | {ratios} |")
    return "\n".join(lines) + "\n"


_HANDED = (
    "Either script is handed what an audit spends most of its time on: cleaning the readings, finding the hops and where the stop lets go, "
    "deciding which samples are free, testing the motion for what it does not fit, and looking for every fault that has a finding"
)


def _short(results: Mapping[str, Any]) -> list[str]:
    short: list[str] = []
    times, start = results["times"], results["start"]["help"]["median"]
    over = {name: times["audit_linear"]["median"] / times[name]["median"] for name in ("curve_fit", "lmfit")}
    told = "An audit with linear propagation takes {:.1f} times as long as {} with `uncertainties`; the goal is {}."
    goal = f"{OVER_CURVE_FIT:g} at most"
    unless(over["curve_fit"] <= OVER_CURVE_FIT, short, told.format(over["curve_fit"], "`curve_fit`", goal))
    unless(over["lmfit"] < 1.0, short, told.format(over["lmfit"], "lmfit", f"to be faster. {_HANDED}"))
    ratio = results["monte_carlo"]["ratio"]
    told = f"Monte Carlo to the same tolerance is {ratio:.1f} times as fast as metrolopy's; the goal is {OVER_METROLOPY:g}."
    unless(ratio >= OVER_METROLOPY, short, told)
    for name, words in SWEEPS:
        for method in ("auto", "linear"):
            rate = results["sweep"][f"{name}-{method}"]["median"]
            told = f"A sweep over {words}, method {method}, audits {rate:.0f} benches a second on a core"
            asked = BENCHES_PER_SECOND[method]
            why = "why is said below, at the demo mix" if method == "linear" else "the draws that check the intervals come on top of that"
            unless(rate >= asked, short, f"{told}; the goal is {asked:g}: {why}.")
    unless(start < HELP_SECONDS, short, f"`joulebook --help` takes {start:.2f} s; the goal is well under {HELP_SECONDS:g} s.")
    return short


def _milliseconds(each: Mapping[str, float]) -> str:
    return " | ".join(f"{1e3 * each[name]:.1f}" for name in ("median", "min", "max"))
