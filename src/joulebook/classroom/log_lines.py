"""The log of a section in words: what was done, by whom, when, and what can be taken back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from joulebook.classroom.changes import KINDS, Change
from joulebook.experiments.ramp_hints import GRADES

__all__ = ["LogLine", "log_lines", "say_change"]

_WHO = {"teacher": "Teacher", "bench": "The bench", "folder": "Watched folder"}
_ROLES = {"rest": "rest", "launch": "launch"}
_LONGEST = 80


@dataclass(frozen=True, slots=True)
class LogLine:
    """One change as the log shows it.

    seq, at, bench: of the change. who, what: in words. detail: more in words, "" for none. void: undone by a later change.
    undoable: whether it can be undone now. again: whether undoing it makes an undone change count again.
    """

    seq: int
    at: str
    bench: int | None
    who: str
    what: str
    detail: str
    void: bool
    undoable: bool
    again: bool


def log_lines(changes: Sequence[Change], void: Iterable[int]) -> tuple[LogLine, ...]:
    """Return the log, the newest first. void: the numbers of the changes that are undone."""
    undone, names = set(void), _names(changes)
    by_seq = {change.seq: change for change in changes}
    return tuple(_line(change, by_seq, names, undone) for change in reversed(changes))


def say_change(change: Change, changes: Iterable[Change]) -> str:
    """Return what a change did, in words. changes: those of its section, for the names of records."""
    listed = list(changes)
    return _say(change, {each.seq: each for each in listed}, _names(listed))


def _line(change: Change, by_seq: Mapping[int, Change], names: Mapping[str, str], undone: set[int]) -> LogLine:
    kind, void = KINDS.get(change.kind), change.seq in undone
    return LogLine(
        change.seq, change.at, change.bench, _WHO.get(change.actor, change.actor), _say(change, by_seq, names), _detail(change),
        void, kind is not None and kind.undoable and not void, change.kind == "undone",
    )  # fmt: skip


def _names(changes: Iterable[Change]) -> dict[str, str]:
    return {f"r{change.seq}": str(change.body.get("name", "")) for change in changes if change.kind == "record-added"}


def _say(change: Change, by_seq: Mapping[int, Change], names: Mapping[str, str]) -> str:
    kind = KINDS.get(change.kind)
    if kind is None:
        return f"{change.kind} (of a later version of joulebook)"
    if change.kind == "undone":
        number = change.body.get("change")
        target = by_seq.get(number) if isinstance(number, int) else None
        return "Undone" if target is None else f"Undone: {_say(target, by_seq, names)}"
    words = {key: _short(value) for key, value in change.body.items()}
    if "record" in words:
        words["record"] = names.get(words["record"], words["record"])
    if "grade" in words:
        words["grade"] = GRADES.get(words["grade"], words["grade"])
    if "role" in words:
        words["role"] = _ROLES.get(words["role"], words["role"])
    text = kind.sentence.format_map(_Known(words, bench=str(change.bench) if change.bench is not None else "–"))
    if change.kind == "override-set" and not (set(change.body) - {"record"}):
        text = f"Bench {change.bench}: release, apex and phases of {words['record']} as joulebook finds them"
    return text


class _Known(dict[str, str]):
    """The words of a change; what it does not hold is left blank."""

    def __init__(self, words: Mapping[str, str], **more: str) -> None:
        super().__init__({**words, **more})

    def __missing__(self, key: str) -> str:
        return "–"


def _detail(change: Change) -> str:
    """Return what the sentence leaves out and a person may want to see."""
    body = change.body
    values = body.get("values") or body.get("fields")
    if isinstance(values, Mapping):
        return "; ".join(f"{name.replace('_', ' ')}: {_short(text)}" for name, text in values.items() if text)
    if change.kind == "record-discarded":
        return str(body.get("reason", ""))
    if change.kind == "noted":
        return str(body.get("text", ""))
    if change.kind == "record-added":
        return f"{body.get('role')} record, {body.get('size')} bytes, by {body.get('via', 'upload')}"
    if change.kind == "override-set":
        times = [(what, body.get(what)) for what in ("release", "apex")]
        told = [f"{what} {time:.3f} s" for what, time in times if isinstance(time, int | float)]
        edges = body.get("edges")
        told += [f"{kind} {start:.3f} to {end:.3f} s" for kind, start, end in edges] if isinstance(edges, list | tuple) else []
        return "; ".join(told)
    return ""


def _short(value: object) -> str:
    text = str(value)
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1].rstrip() + "…"
