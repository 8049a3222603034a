"""What one column heading says: time, position or another kind, the unit, and which run."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from joulebook.readers.units import Unit, parse_unit
from joulebook.readers.words import ColumnKind, fold, kind_of_word

__all__ = ["Heading", "read_heading"]

_BRACKETS = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]")
_IN = re.compile(r"^(.*\S)[\s_,;:.]+(?:in|en|em|w|v|i)[\s_]+(\S+)$", re.IGNORECASE)
_LAST = re.compile(r"^(.*\S)\s*[\s_,;:]\s*(\S+)$")
_WORD = re.compile(r"[^\W\d_]+|\d+|#")
_DERIVATIVE = re.compile(r"[ΔδdD]\s*[xsyr]\s*/\s*[ΔδdD]\s*t", re.IGNORECASE)
_SYMBOLS: dict[str, ColumnKind] = {
    "t": "time", "τ": "time", "x": "position", "s": "position", "d": "position", "r": "position", "y": "position",
    "z": "position",
    "h": "position", "l": "position", "v": "velocity", "vx": "velocity", "vy": "velocity", "vz": "velocity", "u": "velocity",
    "a": "acceleration", "ax": "acceleration", "ay": "acceleration", "az": "acceleration", "n": "index", "i": "index",
    "k": "index",
    "#": "index", "f": "other", "e": "other", "m": "other",
}  # fmt: skip
_BY_DIMENSION: dict[str, ColumnKind] = {
    "time": "time",
    "length": "position",
    "velocity": "velocity",
    "acceleration": "acceleration",
    "other": "other",
}
_ORDER = ("acceleration", "velocity", "time", "position", "other", "index")


@dataclass(frozen=True, slots=True)
class Heading:
    """What a heading says.

    text: as it stands in the file, outer blanks removed. kind: what the column holds.
    unit: None when the heading names none. base: the words that name the kind, folded, without unit and run.
    tag: what is left, such as a run's name ("Run 1"). word: the kind was named by a word, not by a symbol or a unit.
    unit_only: nothing but a unit stood there.
    """

    text: str
    kind: ColumnKind = "unknown"
    unit: Unit | None = None
    base: str = ""
    tag: str = ""
    word: bool = False
    unit_only: bool = False


@lru_cache(maxsize=2048)
def read_heading(cell: str) -> Heading:
    """Return what one heading cell says.

    The unit may stand in round, square or curly brackets, after a slash, an underscore, a comma, a blank, or the word "in".
    """
    text = " ".join(cell.replace("\u00a0", " ").strip().strip("\"'").split())
    if not text or len(text) > 200:
        return Heading(text[:200])
    alone = parse_unit(text.strip("()[]{} "))
    # A lone "m" heads metres sooner than masses; a lone "s" is left open here: it may be the distance s or seconds.
    bare_symbol = None if fold(text) == "m" else _SYMBOLS.get(fold(text))
    if alone is not None and bare_symbol is None:
        return Heading(text, _BY_DIMENSION[alone.dimension], alone, unit_only=True)
    label, unit = _take_unit(text)
    kind, base, tag, word = _kind(label)
    if _DERIVATIVE.search(label):
        kind, base, tag, word = "velocity", "dx/dt", "", True
    if unit is not None and kind in ("time", "position") and _BY_DIMENSION[unit.dimension] != kind:
        if unit.dimension in ("velocity", "acceleration", "other"):
            kind = _BY_DIMENSION[unit.dimension]
        else:
            # "Weg s": the last letter is the symbol of the distance, not seconds; "(s)" in brackets over a distance is a slip.
            unit = None
    elif unit is not None and kind in ("unknown", "index"):
        kind = _BY_DIMENSION[unit.dimension]
        word = False
    return Heading(text, kind, unit, base, tag, word, unit_only=alone is not None and text[0] in "([{")


def _take_unit(text: str) -> tuple[str, Unit | None]:
    for match in reversed(list(_BRACKETS.finditer(text))):
        unit = parse_unit(match[1])
        if unit is not None:
            return f"{text[: match.start()]} {text[match.end() :]}".strip(" /:,;-_"), unit
    for pattern in (_IN, _LAST):
        found = pattern.match(text)
        if found is not None:
            unit = parse_unit(found[2])
            # One letter at the end is a unit only behind a word of the same kind: "Time s", but not "Position A", "Run m".
            if unit is not None and (pattern is _IN or len(found[2]) > 1 or _BY_DIMENSION[unit.dimension] == _kind(found[1])[0]):
                return found[1].strip(" /:,;-_"), unit
    if "/" in text:
        label, _, last = text.partition("/")
        unit = parse_unit(last)
        if unit is not None and label.strip():
            return label.strip(), unit
    return text, None


def _kind(label: str) -> tuple[ColumnKind, str, str, bool]:
    words = _WORD.findall(fold(label))
    shown = _WORD.findall(label)
    if len(shown) != len(words):
        shown = words
    kinds = [kind_of_word(word) for word in words]
    for kind in _ORDER[:5]:
        if kind in kinds:
            # Between time and position the word that comes first names the column.
            if kind == "time" and "position" in kinds and kinds.index("position") < kinds.index("time"):
                continue
            where = [i for i, k in enumerate(kinds) if k == kind]
            symbols = [i for i, w in enumerate(words) if i not in where and _SYMBOLS.get(w) == kind]
            rest = [shown[i] for i in range(len(words)) if i not in where and i not in symbols]
            return kind, " ".join(words[i] for i in where), " ".join(rest).strip(), True
    if words and words[0] in _SYMBOLS and (len(words) == 1 or (len(words) == 2 and words[1].isdigit())):
        return _SYMBOLS[words[0]], words[0], " ".join(shown[1:]), False
    for i, word in enumerate(words):
        # "Run 1: x", "x Run 2", "t_cart": a symbol beside words that say nothing about the kind.
        if word in ("t", "x", "s", "d", "r", "v") and not (i and words[i - 1].isdigit() and word == "s"):
            return _SYMBOLS[word], word, " ".join(shown[:i] + shown[i + 1 :]), False
    if "index" in kinds:
        tag = label.strip() if any(w.isdigit() for w in words) else ""
        numbered = bool(tag)
        return ("unknown" if numbered else "index"), "", tag, not numbered
    return "unknown", "", label.strip(), False
