"""Which bench a file belongs to, and whether it is a rest record: told from its name and the folders that it lies in.

    place_file("bench-3/launch-1.csv")     # bench 3, a launch
    place_file("B03_rest.csv")             # bench 3, at rest

A number that may be anything else (a launch's, a date's) places nothing: a file that is not placed is listed for a person.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import PurePosixPath

from joulebook.render.plain import clean_text

__all__ = ["RECORD_ENDINGS", "Placed", "clean_file_name", "is_record_name", "place_file"]

RECORD_ENDINGS = (".csv", ".txt", ".tsv", ".dat", ".asc", ".tab", ".xlsx", ".ods")
"""How the name of a record file ends."""

_WORD = re.compile(r"(?<![a-z])(?:bench|group|table|team|station|place|b|g|t)[ _.-]*0*([1-9]\d?)(?!\d)", re.IGNORECASE)
_BARE = re.compile(r"0*([1-9]\d?)$")
_LEADING = re.compile(r"0*([1-9]\d?)[ _.-]+(?=[a-z])", re.IGNORECASE)
_REST = re.compile(r"(?<![a-z])(?:at[ _-]?rest|rest|still|standing|zero)(?![a-z])", re.IGNORECASE)
_LONGEST_NAME = 100
_HALF_WRITTEN = (".tmp", ".part", ".partial", ".crdownload", ".swp", ".lock")


@dataclass(frozen=True, slots=True)
class Placed:
    """Where a file belongs.

    name: without its folders, as `clean_file_name` gives it. bench: its number, None when the name does not say. role: "rest" or
    "launch".
    """

    name: str
    bench: int | None
    role: str


def place_file(path: str, *, benches: Collection[int] | None = None) -> Placed:
    """Return where a file belongs.

    path: its name, with the folders that it lies in where they are known. benches: those there are; a number that is none of
    them places nothing.
    In this order: a word with a number in the file's name ("bench 3", "B03"), one in the nearest folder, a folder that is a
    number, a number that begins the file's name and is followed by a word ("3-launch.csv").
    """
    parts = PurePosixPath(clean_text(path).replace("\\", "/")).parts
    name = clean_file_name(path)
    stem, folders = name.rpartition(".")[0] or name, list(reversed(parts[:-1]))
    tries = [
        _WORD.search(stem), *(_WORD.search(folder) for folder in folders), *(_BARE.fullmatch(folder) for folder in folders),
        _LEADING.match(stem),
    ]  # fmt: skip
    numbers = [int(found[1]) for found in tries if found]
    bench = next((number for number in numbers if benches is None or number in benches), None)
    return Placed(name, bench, "rest" if _REST.search(stem) else "launch")


def clean_file_name(path: str) -> str:
    """Return the last part of a file's path without characters that could steer a page or a terminal or turn its reading direction.

    A long name is shortened in its middle, so that its ending still says what it is.
    """
    name = clean_text(path).replace("\\", "/").rstrip("/").rpartition("/")[2].strip()
    if len(name) > _LONGEST_NAME:
        name = f"{name[: _LONGEST_NAME - 20]}…{name[-19:]}"
    return name or "record"


def is_record_name(name: str) -> bool:
    """Whether a file of this name can be a record: it ends in one of RECORD_ENDINGS, and is neither half-written nor hidden."""
    lower = name.casefold()
    if lower.startswith((".", "~")) or lower.endswith(_HALF_WRITTEN):
        return False
    return lower.endswith(RECORD_ENDINGS)
