"""What the pages say of marking, and of the room under load and in trouble."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchmarks.goals import unless

__all__ = ["marking_section", "room_section", "room_short"]


def marking_section(results: Mapping[str, Any]) -> str:
    """Return the section of docs/accuracy.md for the results of benchmarks/marking.py."""
    right, one, two = results["right"], results["one"], results["two"]
    wrong = right["slip"] + right["cannot_tell"]
    alone = [100.0 * each["named_alone"] / each["write_ups"] for each in (one, two)]
    named = [100.0 * each["share_named"] for each in (one, two)]
    return f"""## Write-ups marked

Write-ups of a student of ours who rounds honestly to two to four figures, now and then leaves a line out, and makes the slips that are
asked for (`benchmarks/marking.py`). A slip counts as named when it, or the pair, is among the explanations; a slip that changes nothing
within the rounding of what was written is right and not counted.

| write-ups | lines called wrong, or slips named | goal |
| --- | ---: | ---: |
| {right["write_ups"]:,} right ones, {right["lines"]:,} lines | {wrong} called wrong | 0 |
| {one["write_ups"]:,} with one slip | {named[0]:.2f} % named, {alone[0]:.0f} % as the only explanation | 98 % |
| {two["write_ups"]:,} with two slips | {named[1]:.2f} % named, {alone[1]:.0f} % as the only ones | 95 % |

Explanations that no number tells apart are named together; that is why not every slip stands alone. {one["within_rounding"]:,} more
write-ups with one slip were right within their rounding. 150 write-ups take {results["seconds_for_150"]:.2f} s, on one core, with the
bench's audit at hand.
"""


def room_short(load: Mapping[str, Any]) -> list[str]:
    """Return what of the room falls short of its goals, for the results of benchmarks/room_load.py."""
    short: list[str] = []
    before, after = load["memory_before_mb"], load["memory_after_mb"]
    told = (
        f"The memory of server and judges grows from {before:.0f} to {after:.0f} MB while {load['kept']} launches come in, "
        f"{(after - before) / max(load['kept'], 1):.2f} MB for each: they are kept so that a bench's next launch is judged without "
        "following the others again. A bench holds 60 records at most, and a judge remembers 360 launches"
    )
    unless(after <= 1.1 * before, short, f"{told}; the goal is flat.")
    for name, words in (("checked_p95_s", "a record is judged"), ("board_p95_s", "the board is told")):
        unless(load[name] <= 1.0, short, f"Until {words} it takes {load[name]:.2f} s (95 %); the goal is 1 s.")
    return short


def room_section(load: Mapping[str, Any], faults: Mapping[str, Any] | None) -> str:
    """Return the section of docs/performance.md for the results of benchmarks/room_load.py and benchmarks/faults.py."""
    lost = load["acknowledged"] - load["kept"]
    told = f"""## The room under load

{load["benches"]} benches each save a record every {load["every_s"]:g} s for {load["seconds"]:g} s, with the board open, server, benches and
board on the same two cores (`benchmarks/room_load.py`). Of {load["sent"]} records {load["acknowledged"]} were acknowledged and {lost} of
these lost.

| | goal | measured |
| --- | ---: | ---: |
| from sending a record until its bench knows how it was judged, 95 % | 1 s | {load["checked_p95_s"]:.2f} s |
| the same, median and longest | – | {load["checked_p50_s"]:.2f} and {load["checked_max_s"]:.2f} s |
| from sending it until the board is told, 95 % | 1 s | {load["board_p95_s"]:.2f} s |
| memory of server and judges, before and after | flat | {load["memory_before_mb"]:.0f} and {load["memory_after_mb"]:.0f} MB |
"""
    if faults is None:
        return told
    rows = "\n".join(
        f"| {words} | {each['kills']} | {each['acknowledged_changes']:,} | {each['acknowledged_files']:,} | {len(each['wrong'])} |"
        for name, words in (("sqlite", "SQLite"), ("postgresql", "PostgreSQL"))
        for each in [faults[name]]
    )
    return f"""{told}
Killed (SIGKILL) at random moments of saving files and edits, on PostgreSQL every fifth time the database server itself, and opened
again (`benchmarks/faults.py`):

| database | kills | acknowledged changes | of these files | lost or half-written |
| --- | ---: | ---: | ---: | ---: |
{rows}
"""
