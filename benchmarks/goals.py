"""What falls short of a goal, collected as sentences while a page is written."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["falls_short", "unless"]


def unless(met: bool, short: list[str], sentence: str) -> None:
    """Add the sentence to what falls short, unless the goal is met."""
    if not met:
        short.append(sentence)


def falls_short(short: Sequence[str]) -> str:
    """Return the last section of a page."""
    lines = "\n".join(f"- {line}" for line in short) if short else "Nothing, of what is measured here."
    return f"## What falls short\n\n{lines}\n"
