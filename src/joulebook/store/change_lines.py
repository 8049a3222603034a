"""A section's changes as text, a JSON object a line: everything that a section is, apart from the bytes of its records."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import get_args

from joulebook.classroom.changes import KINDS, Actor, Change, Draft, check_draft
from joulebook.classroom.section import MOST_BENCHES, Section, play
from joulebook.errors import InputError, JoulebookError

__all__ = ["MOST_CHANGES", "read_changes", "record_hashes", "write_changes"]

MOST_CHANGES = 100_000
"""Changes of one section; a lesson of twelve benches makes about a thousand."""

_TIME = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(?:\.\d{1,6})?Z")
_SHA256 = re.compile(r"[0-9a-f]{64}")
_KEYS = {"seq", "at", "kind", "actor", "bench", "body"}
_REMEDY = "Take another copy of the file, or write it again."


def write_changes(changes: Sequence[Change]) -> bytes:
    """Return the lines; in ASCII, so that every text comes back the same whatever it holds."""
    return "".join(json.dumps(change.to_dict(), separators=(",", ":")) + "\n" for change in changes).encode()


def read_changes(content: bytes, *, source: str) -> tuple[tuple[Change, ...], Section]:
    """Return the changes of such lines, and the section that they add up to.

    A kind that this version does not know is kept as it is. Raises InputError (code "package") with the line when one is no
    change, is out of order, or does not fit its kind, and when they do not add up to a section. source: for messages.
    """
    lines = content.split(b"\n")
    if lines and not lines[-1]:
        lines.pop()
    if not 1 <= len(lines) <= MOST_CHANGES:
        raise _faulty(f"it holds {len(lines):,} changes, and a section has 1 to {MOST_CHANGES:,}", source)
    changes: list[Change] = []
    for number, line in enumerate(lines, 1):
        try:
            changes.append(_change(json.loads(line), number))
        except (ValueError, RecursionError) as error:
            raise _faulty(f"change {number} is not understood ({str(error)[:120]})", source) from None
        except JoulebookError as error:
            told = "; ".join(str(fault) for fault in error.faults) or error.message
            raise _faulty(f"change {number} does not fit its kind ({told[:200]})", source) from None
    try:
        section = play(changes)
    except (JoulebookError, ArithmeticError, AssertionError, AttributeError, LookupError, TypeError, ValueError) as error:
        raise _faulty(f"its changes do not play ({type(error).__name__}: {str(error)[:120]})", source) from None
    if not section.benches or any(not 1 <= bench <= MOST_BENCHES for bench in section.benches):
        raise _faulty(f"a section has benches 1 to {MOST_BENCHES}", source)
    return tuple(changes), section


def record_hashes(changes: Sequence[Change]) -> list[str]:
    """Return the SHA-256 of every record that was ever added, undone ones too: an undoing may itself be undone."""
    return list(dict.fromkeys(str(change.body["sha256"]) for change in changes if change.kind == "record-added"))


def _change(found: object, number: int) -> Change:
    """Return one change. Raises ValueError, or InputError where it does not fit its kind."""
    if not isinstance(found, Mapping) or set(found) != _KEYS:
        raise ValueError(f"it must have {', '.join(sorted(_KEYS))}")
    seq, at, kind, actor, bench, body = (found[key] for key in ("seq", "at", "kind", "actor", "bench", "body"))
    if type(seq) is not int or seq != number:
        raise ValueError(f"its number is {str(seq)[:20]}")
    if not isinstance(at, str) or not _TIME.fullmatch(at):
        raise ValueError(f"its time is {str(at)[:40]!r}")
    if not isinstance(kind, str) or not 1 <= len(kind) <= 40 or "\0" in kind:
        raise ValueError(f"its kind is {str(kind)[:50]!r}")
    if actor not in get_args(Actor):
        raise ValueError(f"it was made by {str(actor)[:40]!r}")
    if bench is not None and (type(bench) is not int or not 1 <= bench <= MOST_BENCHES):
        raise ValueError(f"its bench is {str(bench)[:20]!r}")
    if not isinstance(body, dict):
        raise ValueError("its body is no table")
    if (number == 1) != (kind == "section-made"):
        raise ValueError("a section is made by its first change and by no other")
    if kind in KINDS:
        check_draft(Draft(kind, actor, bench, body))
    if kind == "section-made" and not 1 <= body["benches"] <= MOST_BENCHES:
        raise ValueError(f"it makes {str(body['benches'])[:20]} benches")
    if kind == "record-added" and not _SHA256.fullmatch(body["sha256"]):
        raise ValueError("its SHA-256 is none")
    return Change(seq, at, kind, actor, bench, body)


def _faulty(what: str, source: str) -> InputError:
    return InputError(f"These changes are no section: {what}.", remedy=_REMEDY, source=source, code="package")
