"""What can be swept: a folder of bench folders, packages of sections, tables of records; always benches in a fixed order, one at a time."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Protocol

from joulebook.api.sweeping.benches import BENCH_FILE, SweepBench
from joulebook.api.sweeping.folders import Folders, bench_folders, natural_order
from joulebook.errors import InputError

__all__ = ["SweepInput", "open_input"]

_PACKAGE, _TABLE = ".zip", ".parquet"


class SweepInput(Protocol):
    """Benches to be swept.

    names: what they are called, in order, each once. files: the packages and tables that hold them, none for folders.
    left_alone: packages and tables beside bench folders, which are not swept.
    """

    names: Sequence[str]
    files: Sequence[str]
    left_alone: Sequence[str]

    def benches(self, *, whole: bool) -> Iterator[SweepBench]:
        """Yield the benches in the order of their names. whole: with the contents of their files, for those who see no folder."""


def open_input(path: str | os.PathLike[str]) -> SweepInput:
    """Return what is to be swept.

    path: a folder that holds bench folders, in it or below it; else one that holds packages (.zip) and tables of records
        (.parquet); or one such file.
    Raises InputError when there is no bench at all, or a file is neither.
    """
    place = os.fspath(path)
    if os.path.isfile(place):
        return _file(place)
    folders = bench_folders(place)
    files = sorted((name for name in os.listdir(place) if name.casefold().endswith((_PACKAGE, _TABLE))), key=natural_order)
    if folders:
        return Folders(place, folders, files)
    if files:
        return _Several([(os.path.splitext(name)[0], _file(os.path.join(place, name))) for name in files])
    raise InputError(
        f"No {BENCH_FILE} in this folder or below it.",
        source=place,
        remedy=f"Name the folder that holds the bench folders; each has a file {BENCH_FILE}.",
    )


class _Several:
    """Several files, one after the other; the benches of each are called by its name and their own."""

    def __init__(self, parts: Sequence[tuple[str, SweepInput]]) -> None:
        self._parts = parts
        self.names: Sequence[str] = [_below(prefix, name) for prefix, part in parts for name in part.names]
        self.files: Sequence[str] = [file for _, part in parts for file in part.files]
        self.left_alone: Sequence[str] = ()

    def benches(self, *, whole: bool) -> Iterator[SweepBench]:
        """Yield the benches of one file after the other."""
        for prefix, part in self._parts:
            for bench in part.benches(whole=whole):
                yield replace(bench, name=_below(prefix, bench.name))


def _below(prefix: str, name: str) -> str:
    return prefix if name == "." else f"{prefix}/{name}"


def _file(path: str) -> SweepInput:
    """Return the package or table that a file is, told apart by its first bytes."""
    try:
        with open(path, "rb") as stream:
            start = stream.read(4)
    except OSError as error:
        raise InputError(f"It cannot be read: {error.strerror}.", remedy="See who may read it.", source=path) from error
    if start == b"PAR1":
        from joulebook.api.sweeping.tables import RecordTable

        return RecordTable(path)
    if start[:2] == b"PK":
        from joulebook.api.sweeping.packages import Package

        return Package(path)
    raise InputError(
        "This is neither a section package nor a table of records.",
        source=path,
        remedy="Name a folder of bench folders, a .zip of “joulebook store export”, or a .parquet as docs/sweep.md describes it.",
    )
