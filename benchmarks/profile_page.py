"""What docs/performance.md says of each command and each page (benchmarks/profile_pages.py)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchmarks.slow_things import DONE

from joulebook.cli.main import COMMANDS

__all__ = ["profile_section", "slowest"]

SLOWEST = 10


def profile_section(results: Mapping[str, Any] | None) -> str:
    """Return the section for profile.json; "" when there is none."""
    if results is None:
        return ""
    numpy, bare, empty = results["peer"]["numpy"], results["peer"]["bare"], results["peer_s"]
    commands, pages = slowest(results)
    return "\n".join([
        _HEAD.format(repeats=results["repeats"], numpy=1e3 * numpy, bare=1e3 * bare),
        _command_table(results),
        _PAGES.format(empty=1e3 * empty),
        _page_table(results),
        "### The slowest of them, and what was done about it\n",
        "Commands by the time to their first output, pages by the time to their first byte when asked again.\n",
        "| | ratio to its peer | what was done about it |",
        "| --- | ---: | --- |",
        *(f"| `joulebook {name}` | {results['commands'][name]['first'] / numpy:.1f} | {DONE[name]} |" for name in commands),
        *(f"| `{route}` | {results['pages'][route]['again_s'] / empty:.0f} | {DONE[route]} |" for route in pages),
        "",
    ])  # fmt: skip


def slowest(results: Mapping[str, Any]) -> tuple[list[str], list[str]]:
    """Return the ten slowest commands, by their first output, and the ten slowest pages, by their first byte when asked again."""
    commands = sorted(results["commands"], key=lambda name: -results["commands"][name]["first"])
    pages = sorted(results["pages"], key=lambda route: -results["pages"][route]["again_s"])
    return commands[:SLOWEST], pages[:SLOWEST]


_HEAD = """## Each command

A small use of each on the demo's section, as a process (`benchmarks/profile_commands.py`; medians of {repeats}). Times are multiples of the
peer, `python -c "import numpy"` as a process in the same turns, which takes {numpy:.0f} ms; Python alone takes {bare:.0f} ms. Most of what
a command that audits takes before it says anything is the import of NumPy and SciPy.

| command | its import | to the end of `--help` | to the first output | to the end |
| --- | ---: | ---: | ---: | ---: |"""

_PAGES = """## Each page of the room

Every GET route of a room filled with the demo's section, on a server of its own. Times to the first byte are multiples of the peer, an
empty Starlette route under the same server program in the same turns, which takes {empty:.1f} ms. **First**: the first time that anybody
asks since the server started, so that whoever is first pays for what is kept from then on; **again**: the median of later times.
**Requests** and **all bytes** are those of a first visit with styles and scripts, without what a browser has kept and without the stream
of news that a page may open. A 303 leads on to another page; the two streams of news have no end, and no bytes are counted.

| page | answer | first | again | bytes | requests | all bytes |
| --- | ---: | ---: | ---: | ---: | ---: | ---: |"""


def _command_table(results: Mapping[str, Any]) -> str:
    numpy = results["peer"]["numpy"]
    lines = []
    for name in COMMANDS:
        if name in results["commands"]:
            each = results["commands"][name]
            end = "–" if name == "serve" else f"{each['end'] / numpy:.1f}"
            ratios = " | ".join(f"{each[key] / numpy:.1f}" for key in ("import", "help", "first"))
            lines.append(f"| `{name}` | {ratios} | {end} |")
    return "\n".join(lines) + "\n"


def _page_table(results: Mapping[str, Any]) -> str:
    empty = results["peer_s"]
    lines = []
    for route, each in sorted(results["pages"].items()):
        times = " | ".join(f"{each[key] / empty:.0f}" for key in ("first_s", "again_s"))
        lines.append(f"| `{route}` | {each['status']} | {times} | {each['bytes']:,} | {each['requests']} | {each['all_bytes']:,} |")
    return "\n".join(lines) + "\n"
