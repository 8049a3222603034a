"""Bench folders: found below a folder, and in the order in which a person counts them."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

from joulebook.api.sweeping.benches import BENCH_FILE, BenchFolder, SweepBench
from joulebook.api.sweeping.packing import FolderTree, pack
from joulebook.errors import InputError

__all__ = ["Folders", "bench_folders", "natural_order"]


def bench_folders(folder: str | os.PathLike[str]) -> list[str]:
    """Return the folders in and below `folder` that hold a bench.toml, relative to it; bench-2 comes before bench-10.

    Raises InputError when `folder` is not a folder or part of it cannot be looked into.
    """
    root = Path(folder)
    if not root.is_dir():
        raise InputError(
            "This is not a folder.", source=os.fspath(folder), remedy="Name the folder that holds the bench folders."
        )

    def refuse(error: OSError) -> None:
        raise InputError(
            f"{error.filename} cannot be looked into: {error.strerror}.",
            source=os.fspath(folder),
            remedy="Make it readable or move it elsewhere; benches in it would be passed over.",
        )

    found = [Path(place).relative_to(root).as_posix() for place, _, names in os.walk(root, onerror=refuse) if BENCH_FILE in names]
    return sorted(found, key=natural_order)


def natural_order(path: str) -> tuple[str, str]:
    """Return what to sort paths by, so that bench-2 comes before bench-10."""
    # One text each, for there may be very many: a number goes before any letter, and by its length and digits among numbers.
    return re.sub(r"\d+", lambda found: _number(found[0]), path.casefold()), path


def _number(digits: str) -> str:
    plain = str(int(digits))
    return f"\0{chr(len(plain))}{plain}"


class Folders:
    """Bench folders below a folder. left_alone: files beside them that could be swept too, and are not."""

    def __init__(self, root: str, names: Sequence[str], left_alone: Sequence[str]) -> None:
        self._root = root
        self.names = names
        self.files: Sequence[str] = ()
        self.left_alone = left_alone

    def benches(self, *, whole: bool) -> Iterator[SweepBench]:
        """Yield the benches; one whose contents cannot be taken along stays where it is."""
        for name in self.names:
            there = BenchFolder(name, self._root, name)
            packed = pack(FolderTree(self._root, name), name) if whole else None
            yield packed or there
