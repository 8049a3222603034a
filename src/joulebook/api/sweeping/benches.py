"""One bench of a sweep, as it travels to the process that audits it: as a folder, as its files' contents, or as why it cannot be read.

Nothing heavy is imported here: a worker process loads this before it says how many threads NumPy may use.
"""

from __future__ import annotations

import atexit
import hashlib
import itertools
import os
import shutil
import tempfile
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeAlias

from joulebook.errors import InputError

__all__ = ["BENCH_FILE", "BenchFiles", "BenchFolder", "Place", "SweepBench", "Unreadable", "clear_up", "is_plain"]

BENCH_FILE = "bench.toml"

_HOUSE_FILE = "house.toml"

# The temporary folder of each process, a forked one not taking its parent's for its own.
_grounds: dict[int, str] = {}
_making = threading.Lock()
_number = itertools.count()


@dataclass(frozen=True, slots=True)
class Place:
    """Where a bench lies while it is audited.

    folder: its folder, without links on the way. house: the house file in force, None where there is none.
    name: what the bench is called in messages, in place of the folder.
    """

    folder: str
    house: str | None
    name: str

    def shown(self, text: str) -> str:
        """Return a message without the paths of this machine, so that it is the same wherever the bench is audited."""
        if self.house is not None:
            text = text.replace(self.house, f"{_HOUSE_FILE} of {self.name}")
        return text.replace(self.folder, self.name)


@dataclass(frozen=True, slots=True)
class BenchFolder:
    """A bench in a folder that every worker can see. name: in the result. root: the folder that was swept. path: below it."""

    name: str
    root: str
    path: str

    @contextmanager
    def placed(self) -> Iterator[Place]:
        """Say where the bench lies."""
        from joulebook.readers.house_file import find_house

        folder = os.path.realpath(os.path.join(self.root, self.path))
        house = find_house(os.path.join(self.root, self.path))
        yield Place(folder, None if house is None else os.fspath(house), self.name)


@dataclass(frozen=True, slots=True)
class BenchFiles:
    """A bench as the contents of its files.

    name: in the result. folder: its folder's own name, which is its title where the bench file gives none.
    files: contents by path below the folder, with "/"; bench.toml is one of them. house: the house file in force.
    """

    name: str
    folder: str
    files: Mapping[str, bytes] = field(repr=False)
    house: bytes | None = field(default=None, repr=False)

    @contextmanager
    def placed(self) -> Iterator[Place]:
        """Lay the files out in a temporary folder, and take it away again. Raises InputError for a name that would leave it."""
        above = _own_folder()
        try:
            # A folder further down, so that no house file of another's is found above the bench.
            root = os.path.join(above, self.folder if is_plain(self.folder) else "bench")
            os.mkdir(root)
            for name, content in self.files.items():
                _write(root, name, content)
            house = None
            if self.house is not None:
                house = os.path.join(above, _HOUSE_FILE)
                Path(house).write_bytes(self.house)
            yield Place(root, house, self.name)
        finally:
            shutil.rmtree(above, ignore_errors=True)

    def digest(self) -> str:
        """Return the digest of everything that the audit reads."""
        found = hashlib.sha256()
        for name, content in sorted({**self.files, f"/{self.folder}": self.house or b""}.items()):
            for part in (name.encode("utf-8", "surrogatepass"), content):
                found.update(f"{len(part)}:".encode())
                found.update(part)
        found.update(b"house" if self.house is not None else b"")
        return found.hexdigest()[:32]


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A bench that could not even be taken from where it is kept. error: the JSON form of why."""

    name: str
    error: Mapping[str, object]


SweepBench: TypeAlias = BenchFolder | BenchFiles | Unreadable


def clear_up() -> None:
    """Take away the temporary folder of this process; it goes by itself when the process ends in peace."""
    ground = _grounds.pop(os.getpid(), None)
    if ground is not None:
        shutil.rmtree(ground, ignore_errors=True)


def is_plain(name: str) -> bool:
    """Return whether a text is the name of a file or folder and nothing more, on any system."""
    return name not in ("", ".", "..") and not any(character in name for character in "/\\:\0")


def _own_folder() -> str:
    """Return a new folder in the temporary folder of this process, links followed; that one is made once, for it takes time."""
    with _making:
        ground = _grounds.get(os.getpid())
        if ground is None or not os.path.isdir(ground):  # something tidies the temporary folder now and then
            if ground is None:
                atexit.register(clear_up)
            ground = _grounds[os.getpid()] = os.path.realpath(tempfile.mkdtemp(prefix="joulebook-"))
    path = os.path.join(ground, str(next(_number)))
    os.mkdir(path)
    return path


def _write(root: str, name: str, content: bytes) -> None:
    """Write a file below a folder; a name that ends in "/" is a folder. Raises InputError for one that would lie elsewhere."""
    steps = name.removesuffix("/").split("/")
    if not all(map(is_plain, steps)):
        remedy = "Write the names of records as relative paths, such as launch-1.csv."
        raise InputError(f"{name[:80]!r} cannot be a file of a bench: it would lie outside its folder.", remedy=remedy)
    path = os.path.join(root, *steps)
    try:
        if name.endswith("/"):
            os.makedirs(path, exist_ok=True)
            return
        if len(steps) > 1:
            os.makedirs(os.path.dirname(path), exist_ok=True)
        with open(path, "wb") as stream:
            stream.write(content)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"{name[:80]!r} cannot be laid out to be audited: {reason}.", remedy="Look at its name.") from None
