"""Goals: a table of what was asked for and measured, and what falls short, collected as sentences while a page is written."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["falls_short", "goal_table", "unless"]


def unless(met: bool, short: list[str], sentence: str) -> None:
    """Add the sentence to what falls short, unless the goal is met."""
    if not met:
        short.append(sentence)


def falls_short(short: Sequence[str]) -> str:
    """Return the last section of a page."""
    lines = "\n".join(f"- {line}" for line in short) if short else "Nothing, of what is measured here."
    return f"## What falls short\n\n{lines}\n"


def goal_table(rows: Sequence[tuple[str, str, str, bool]]) -> str:
    """Return the section of the goals for (what, goal, measured, whether it is met); "" for none."""
    if not rows:
        return ""
    lines = "\n".join(f"| {what} | {goal} | {measured} | {'yes' if met else 'no'} |" for what, goal, measured, met in rows)
    return f"## Goals\n\n| | goal | measured | met |\n| --- | ---: | ---: | --- |\n{lines}\n"
