"""The log of a section in words: what was done, by whom, when, and what can be taken back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from joulebook.classroom.changes import KINDS, Change
from joulebook.classroom.criteria import CRITERIA
from joulebook.classroom.own_work import FIELDS
from joulebook.classroom.step_words import HEADINGS
from joulebook.experiments.ramp_codes import CODES
from joulebook.experiments.ramp_hints import GRADES
from joulebook.render.decimal_sign import with_decimal
from joulebook.render.words import PHASE_WORDS, input_words

__all__ = ["LogLine", "log_lines", "say_change"]

_WHO = {"teacher": "Teacher", "bench": "The bench", "folder": "Watched folder"}
_ROLES = {"rest": "rest", "launch": "launch"}
_VIA = {"upload": "uploaded", "paste": "pasted", "drop": "added on the page of files", "folder": "from the watched folder"}
_FROM = {"table": ", from a table", "typed": ", typed in"}
_ABOUT = {"clean": "a bench with nothing to find", **{each.code: f"“{each.title}”" for each in CODES}}
_FIELDS = {field.name: field for fields in FIELDS.values() for field in fields}
_PLACES = {"top": "the top", "bottom": "the bottom"}
_LONGEST = 80
_BESIDE = ("give or take, at most", "working")  # fields that only say more about the one before them


def _labels() -> dict[str, str]:
    """Return what every field of own work is called in the log."""
    told: dict[str, str] = {}
    for fields in FIELDS.values():
        last = ""
        for field in fields:
            label = f"{field.label[:1].lower()}{field.label[1:]}"
            told[field.name] = f"{last}, {label}" if label in _BESIDE and last else label
            last = last if label in _BESIDE else label
    return told


_LABELS = _labels()


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


def log_lines(changes: Sequence[Change], void: Iterable[int], *, decimal: str = ".") -> tuple[LogLine, ...]:
    """Return the log, the newest first. void: the numbers of the changes that are undone. decimal: the house's sign."""
    undone, words = set(void), _Words(changes, decimal)
    return tuple(_line(change, words, undone) for change in reversed(changes))


def say_change(change: Change, changes: Iterable[Change]) -> str:
    """Return what a change did, in words. changes: those of its section, for the names of records and criteria."""
    return _say(change, _Words(list(changes)))


class _Words:
    """What a section's changes are told with: themselves by number, names of records, titles of criteria, the decimal sign."""

    def __init__(self, changes: Sequence[Change], decimal: str = ".") -> None:
        self.by_seq = {change.seq: change for change in changes}
        self.files = {f"r{each.seq}": str(each.body.get("name", "")) for each in changes if each.kind == "record-added"}
        self.criteria = {name: each.title for name, each in CRITERIA.items()}
        self.decimal = decimal
        for change in changes:
            tables = change.body.get("criteria")
            for name, table in tables.items() if isinstance(tables, Mapping) else ():
                if isinstance(table, Mapping):
                    self.criteria[name] = str(table.get("title", name))

    def of(self, key: str, value: object) -> str:
        """Return one value of a change's body in words."""
        text = _short(value)
        if key == "record":
            return self.files.get(text) or "that is not known here"
        if key == "criterion":
            return self.criteria.get(text, text)
        known = {"code": _ABOUT, "grade": GRADES, "role": _ROLES, "step": HEADINGS}.get(key, {})
        return str(known.get(text, text))


def _line(change: Change, words: _Words, undone: set[int]) -> LogLine:
    kind, void = KINDS.get(change.kind), change.seq in undone
    return LogLine(
        change.seq, change.at, change.bench, _WHO.get(change.actor, "Somebody"), _say(change, words), _detail(change, words),
        void, kind is not None and kind.undoable and not void, change.kind == "undone",
    )  # fmt: skip


def _say(change: Change, words: _Words) -> str:
    kind = KINDS.get(change.kind)
    if kind is None:
        return "A change that only a later version of joulebook knows"
    if change.kind == "undone":
        number = change.body.get("change")
        target = words.by_seq.get(number) if isinstance(number, int) else None
        return "Undone" if target is None else f"Undone: {_say(target, words)}"
    # A write-up's code is the student's, no finding's.
    told = {key: _short(value) if change.kind == "write-up-added" else words.of(key, value) for key, value in change.body.items()}
    if change.kind == "override-set" and not (set(change.body) - {"record"}):
        return f"Bench {change.bench}: release, apex and phases of {told['record']} as joulebook finds them"
    if change.kind == "bench-named" and not told.get("name"):
        return f"Bench {change.bench} goes by its number again"
    return kind.sentence.format_map(_Known(told, bench=str(change.bench) if change.bench is not None else "–"))


class _Known(dict[str, str]):
    """The words of a change; what it does not hold is left blank."""

    def __init__(self, words: Mapping[str, str], **more: str) -> None:
        super().__init__({**words, **more})

    def __missing__(self, key: str) -> str:
        return "–"


def _detail(change: Change, words: _Words) -> str:
    """Return what the sentence leaves out and a person may want to see."""
    body = change.body
    values, fields = body.get("values"), body.get("fields")
    if change.kind == "write-up-added":
        # What is written in it stands on the marking pages.
        count = sum(1 for each in (values, fields) if isinstance(each, Mapping) for text in each.values() if text)
        return f"{count} {'entry' if count == 1 else 'entries'}{_FROM.get(str(body.get('via')), '')}"
    told = [_reading(name, str(text), words.decimal) for name, text in values.items()] if isinstance(values, Mapping) else []
    told += [_written(name, str(text)) for name, text in fields.items() if text] if isinstance(fields, Mapping) else []
    if told:
        return "; ".join(told)
    if change.kind == "record-discarded":
        return str(body.get("reason", ""))
    if change.kind == "noted":
        return str(body.get("text", ""))
    if change.kind == "record-added":
        role, via = _ROLES.get(str(body.get("role")), "a"), _VIA.get(str(body.get("via", "upload")), "added")
        return f"{role} record, {_size(body.get('size'))}, {via}"
    if change.kind == "override-set":
        return with_decimal(_times(body), words.decimal)
    return ""


def _reading(name: str, text: str, decimal: str) -> str:
    """Return a set-up reading with its name in words."""
    label = input_words(name).label
    if not text:
        return f"{label}: taken away"
    shown = _PLACES.get(text, text).replace(" degC", " °C").replace(" deg", "°")
    return f"{label}: {with_decimal(_short(shown), decimal)}"


def _written(name: str, text: str) -> str:
    """Return what was written in a field of own work, as it was typed."""
    field = _FIELDS.get(name)
    if field is None:
        return f"{name.replace('_', ' ')}: {_short(text)}"
    return f"{_LABELS[name]}: {_short(dict(field.choices).get(text, text))}"


def _times(body: Mapping[str, object]) -> str:
    times = [(what, body.get(what)) for what in ("release", "apex")]
    told = [f"{what} {time:.3f} s" for what, time in times if isinstance(time, int | float)]
    edges = body.get("edges")
    for kind, start, end in edges if isinstance(edges, list | tuple) else ():
        told.append(f"{PHASE_WORDS[kind].label if kind in PHASE_WORDS else 'phase'} {start:.3f} to {end:.3f} s")
    return "; ".join(told)


def _size(size: object) -> str:
    if not isinstance(size, int):
        return "of unknown size"
    return f"{size} bytes" if size < 1000 else f"{size / 1000:.0f} kB" if size < 1_000_000 else f"{size / 1e6:.0f} MB"


def _short(value: object) -> str:
    text = str(value)
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1].rstrip() + "…"
