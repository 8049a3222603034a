"""How far a step of the bench page is: a shape and a word, never colour alone."""

from __future__ import annotations

from joulebook.web.bench_contexts import Status

__all__ = ["BEGUN", "DONE", "FIXED", "LOOK", "TODO", "at_the_end", "called"]

TODO = Status("todo", "○", "to do")
BEGUN = Status("begun", "◔", "begun")
LOOK = Status("look", "▲", "look again")
DONE = Status("done", "✓", "done")
FIXED = Status("fixed", "◆", "committed")


def called(status: Status, word: str) -> Status:
    """Return the same status with a word of its own."""
    return Status(status.name, status.mark, word)


def at_the_end(status: Status) -> Status:
    """Return the same status for a page that can only be read: what was not done is no longer to do."""
    return Status("todo", "–", "left open") if status.name == "todo" else status
