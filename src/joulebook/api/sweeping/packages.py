"""A section package as benches to be swept: read part by part, never unpacked as a whole."""

from __future__ import annotations

import os
import posixpath
from collections.abc import Iterator, Sequence

from joulebook.api.sweeping.benches import BENCH_FILE, SweepBench, Unreadable
from joulebook.api.sweeping.folders import natural_order
from joulebook.api.sweeping.packing import pack
from joulebook.errors import InputError
from joulebook.store.archive import Archive, open_archive

__all__ = ["Package"]

_HOUSE_FILE = "house.toml"


class Package:
    """The benches of a .zip: of a section's export, or of any folder of bench folders.

    names: of the benches, sorted; as if the file had been unpacked.
    Raises InputError when it is no zip file that may be opened, or holds no bench.
    """

    def __init__(self, path: str) -> None:
        self._path = path
        self.files: Sequence[str] = (path,)
        self.left_alone: Sequence[str] = ()
        with open_archive(path) as archive:
            folders = {posixpath.dirname(name) for name in archive.names if posixpath.basename(name) == BENCH_FILE}
        self.names: Sequence[str] = sorted((folder or "." for folder in folders), key=natural_order)
        if not self.names:
            raise InputError(
                f"No {BENCH_FILE} is in this package.",
                source=path,
                remedy="Name one that “joulebook store export” wrote; a backup of a whole store is taken in by “joulebook store restore”.",
            )

    def benches(self, *, whole: bool) -> Iterator[SweepBench]:
        """Yield the benches, whole each; one that is damaged brings why."""
        with open_archive(self._path) as archive:
            below: dict[str, list[str]] = {}
            for name in archive.names:
                below.setdefault(posixpath.dirname(name), []).append(posixpath.basename(name))
            for name in self.names:
                try:
                    packed = pack(_PartsTree(archive, below, "" if name == "." else name, self._path), name)
                except InputError as error:
                    yield self._unreadable(name, error)
                    continue
                yield packed or self._unreadable(
                    name,
                    InputError(
                        "It names files by a way that leaves its folder, which cannot be followed inside a package.",
                        remedy="Unpack the package and sweep the folder.",
                        source=self._path,
                    ),
                )

    def _unreadable(self, name: str, error: InputError) -> Unreadable:
        shown = os.path.basename(self._path)
        return Unreadable(name, {key: str(text).replace(self._path, shown) for key, text in error.to_dict().items()})


class _PartsTree:
    """The folder of a bench inside a zip file."""

    def __init__(self, archive: Archive, below: dict[str, list[str]], folder: str, path: str) -> None:
        self._archive, self._below, self._path = archive, below, folder
        self.folder = posixpath.basename(folder) or os.path.splitext(os.path.basename(path))[0]

    def names(self) -> list[str]:
        """Return the names of the files in the folder itself."""
        return sorted(self._below.get(self._path, []))

    def kind(self, path: str) -> str:
        """Return what the path leads to."""
        folder, name = posixpath.split(posixpath.join(self._path, path))
        if name in self._below.get(folder, []):
            return "file"
        whole = posixpath.join(folder, name)
        return "folder" if any(each == whole or each.startswith(f"{whole}/") for each in self._below) else ""

    def read(self, path: str, most: int) -> bytes:
        """Return the first bytes of a part. Raises InputError for one that is damaged."""
        return self._archive.read(posixpath.join(self._path, path))[:most]

    def house(self) -> bytes | None:
        """Return the nearest house file in the folder or the two above it, inside the package."""
        folder = self._path
        for _ in range(3):
            if _HOUSE_FILE in self._below.get(folder, []):
                return self._archive.read(posixpath.join(folder, _HOUSE_FILE))
            if not folder:
                break
            folder = posixpath.dirname(folder)
        return None
