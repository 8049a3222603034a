"""What docs/accuracy.md says of faults that the model does not know (benchmarks/robustness.py)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from benchmarks.goals import unless
from benchmarks.robustness import HELD, MODEL_FAULTS
from benchmarks.scores import wilson_interval

__all__ = ["robustness_goals", "robustness_section"]

GOAL = 0.85


def robustness_section(results: Sequence[Mapping[str, Any]], short: list[str]) -> str:
    """Return the section for the lines of robustness.jsonl, and add what falls short; "" when there are none."""
    lines = [each for each in results if each["fault"] in MODEL_FAULTS]
    if not lines:
        return ""
    benches = max(each["benches"] for each in lines)
    parts = [_HEAD.format(benches=benches, seed=lines[0]["settings"]["first_seed"]), _TABLE]
    parts += [_row(each) for each in lines]
    parts.append("")
    for fault in MODEL_FAULTS:
        sizes = [each for each in lines if each["fault"] == fault]
        if sizes:
            _tell(fault, sizes, short)
    failed = sum(len(each["failed"]) for each in lines)
    total = sum(each["benches"] for each in lines)
    unless(failed == 0, short, f"Of {total} benches with a fault of the model, {failed} ended in an error or a warning of Python.")
    return "\n".join(parts)


def robustness_goals(results: Sequence[Mapping[str, Any]]) -> list[tuple[str, str, str, bool]]:
    """Return the goals as (what, goal, measured, whether it is met)."""
    found = []
    for name, words in zip(HELD, ("the release energy", "the relative difference"), strict=True) if results else ():
        low = sum(each["held"][name] < GOAL * each["benches"] for each in results)
        what = f"faults of the model and sizes where the interval of {words} holds or a finding speaks on less than 85 %"
        found.append((what, "none", f"{low} of {len(results)}", low == 0))
    return found


_HEAD = """## Faults that the model does not know

Each at several sizes, on the same {benches} benches over the whole region (`benchmarks/robustness.py`; bench *i* comes from
`numpy.random.default_rng({seed} + i)`). The stated uncertainty should hold all the same, or a finding should speak. **holds**: how
often the stated 95 % interval holds the truth. **speaks**: `misfit`, or any finding of severity `look` or `stop`. **either**: the
interval holds the truth or a finding speaks, with Wilson's 95 % interval; the goal is 85 %. KE is the release energy, RD the relative
difference. All in per cent.
"""

_TABLE = """| what the model does not know | size | KE holds | RD holds | `misfit` | any speaks | KE, either | RD, either |
| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |"""


def _row(each: Mapping[str, Any]) -> str:
    n = each["benches"]
    fault = MODEL_FAULTS[each["fault"]]
    holds = [f"{100.0 * each['covered'][name] / n:.0f}" for name in HELD]
    speaks = [f"{100.0 * each[name] / n:.0f}" for name in ("misfit", "spoken")]
    either = [_either(each, name) for name in HELD]
    size = f"{each['size']:g}{'' if fault.unit == '°' else ' '}{fault.unit}".strip()
    return f"| {fault.words} | {size} | " + " | ".join([*holds, *speaks, *either]) + " |"


def _either(each: Mapping[str, Any], name: str) -> str:
    low, high = wilson_interval(each["held"][name], each["benches"])
    share = each["held"][name] / each["benches"]
    told = f"{100.0 * share:.0f} ({100.0 * low:.0f}–{100.0 * high:.0f})"
    return told if share >= GOAL else f"{told} **low**"


def _tell(fault: str, sizes: Sequence[Mapping[str, Any]], short: list[str]) -> None:
    unit = MODEL_FAULTS[fault].unit
    low = [
        f"`{name}` at {each['size']:g} {unit}".strip() + f" ({100.0 * each['held'][name] / each['benches']:.0f} %)"
        for name in HELD
        for each in sizes
        if each["held"][name] < GOAL * each["benches"]
    ]
    told = f"{fault.capitalize()}: neither the interval holds nor a finding speaks often enough for {', '.join(low)} (goal 85 %)"
    unless(not low, short, f"{told}; {MODEL_FAULTS[fault].why}.")
