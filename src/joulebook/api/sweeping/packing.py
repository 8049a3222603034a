"""A bench packed up, so that it can be audited elsewhere, and told from what it was when a sweep was stopped."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from typing import Any, Protocol

from joulebook.api.sweeping.benches import BENCH_FILE, BenchFiles, BenchFolder, SweepBench, is_plain
from joulebook.readers.limits import MAX_BYTES

__all__ = ["BenchTree", "FolderTree", "bench_tables", "bench_text", "digest_of", "pack", "wanted_files"]

# One byte more than the readers take, so that what is too long for them still is.
_LARGEST_RECORD, _LARGEST_TEXT = MAX_BYTES + 1, 64 * 1024 + 1


def digest_of(bench: SweepBench) -> str:
    """Return the digest of everything that an audit of the bench reads; "" where that cannot be told."""
    packed = pack(FolderTree(bench.root, bench.path), bench.name) if isinstance(bench, BenchFolder) else bench
    return packed.digest() if isinstance(packed, BenchFiles) else ""


class BenchTree(Protocol):
    """What there is in and below the folder of one bench."""

    folder: str

    def names(self) -> list[str]:
        """Return the names of the files in the folder itself."""

    def kind(self, path: str) -> str:
        """Return "file", "folder", "" for nothing, or "other" for what cannot be taken along as it is, such as a link."""

    def read(self, path: str, most: int) -> bytes:
        """Return the first bytes of a file. Raises OSError."""

    def house(self) -> bytes | None:
        """Return the house file in force."""


class FolderTree:
    """The folder of a bench on the disk. root: the folder that was swept. path: below it."""

    def __init__(self, root: str, path: str) -> None:
        self._root = os.path.realpath(os.path.join(root, path))
        self._given = os.path.join(root, path)
        self.folder = os.path.basename(self._root)

    def names(self) -> list[str]:
        """Return the names of the files in the folder itself."""
        with os.scandir(self._root) as entries:
            return sorted(entry.name for entry in entries if entry.is_file(follow_symlinks=False))

    def kind(self, path: str) -> str:
        """Return what the path leads to."""
        whole = os.path.join(self._root, path)
        if not os.path.lexists(whole):
            return ""
        if os.path.realpath(whole) != os.path.normpath(whole):
            return "other"
        return "file" if os.path.isfile(whole) else "folder" if os.path.isdir(whole) else "other"

    def read(self, path: str, most: int) -> bytes:
        """Return the first bytes of a file. Raises OSError."""
        with open(os.path.join(self._root, path), "rb") as stream:
            return stream.read(most)

    def house(self) -> bytes | None:
        """Return the nearest house file. Raises OSError."""
        from joulebook.readers.house_file import find_house

        found = find_house(self._given)
        return None if found is None else found.read_bytes()[:_LARGEST_TEXT]


def pack(tree: BenchTree, name: str) -> BenchFiles | None:
    """Return a bench with everything that an audit of its folder would look at; None where that cannot be told or read.

    tree: its folder. name: in the result.
    Laid out elsewhere it gives the same audit, and the same errors: record files that the bench does not use come along empty,
    for their names are in messages.
    """
    from joulebook.readers.bench_records import RECORD_SUFFIXES

    try:
        files = {BENCH_FILE: tree.read(BENCH_FILE, _LARGEST_TEXT)}
        named, starts = wanted_files(files[BENCH_FILE])
        for each in tree.names():
            if not is_plain(each):
                return None
            if os.path.splitext(each)[1].casefold() in RECORD_SUFFIXES:
                wanted = each in named or each.casefold().startswith(starts)
                files[each] = tree.read(each, _LARGEST_RECORD) if wanted else b""
        for path in named:
            if path in files:
                continue
            kind = tree.kind(path)
            if kind == "other" or path.startswith("../"):
                return None
            if kind == "file":
                files[path] = tree.read(path, _LARGEST_RECORD)
            elif kind == "folder":
                files[f"{path}/"] = b""
        return BenchFiles(name, tree.folder, files, tree.house())
    except OSError:
        return None


def wanted_files(content: bytes) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the paths that a bench file may mean by its records, and how the names of those begin that are found without being named.

    content: the bench file; a faulty one names none. A path that leaves the folder begins with "../"; one that is no relative path
    is left out.
    """
    tables = bench_tables(content)
    files = {} if tables is None else tables.get("files", ("rest", "launch"))
    if not isinstance(files, Mapping):
        return (), files if isinstance(files, tuple) else ()
    launches = files.get("launch")
    found: list[str] = []
    for entry in (files.get("rest"), *(launches if isinstance(launches, list) else [launches])):
        text = entry.get("file") if isinstance(entry, Mapping) else entry
        if isinstance(text, str):
            local = text.strip().replace("\\", "/")
            # "runs.csv#2" may be a file of that name, or a run of runs.csv.
            found += [local, local.rpartition("#")[0]]
    relative = [path for path in found if path and "\0" not in path and path[0] != "/" and path[1:2] != ":"]
    normal = [os.path.normpath(path).replace(os.sep, "/") for path in relative]
    starts = ("launch",) if tables is not None and "launch" not in files else ()
    return tuple(dict.fromkeys(path for path in normal if path not in (".", ".."))), starts


def bench_tables(content: bytes) -> dict[str, Any] | None:
    """Return what a bench file says, None for a faulty one."""
    try:
        return tomllib.loads(bench_text(content))
    except (ValueError, RecursionError):
        return None


def bench_text(content: bytes) -> str:
    """Return the text of a bench file. Raises UnicodeDecodeError."""
    return content.decode("utf-16" if content[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
