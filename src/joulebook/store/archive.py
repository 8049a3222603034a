"""Zip files that leave the store and come back: written whole or not at all, and looked over before anything of one is used."""

from __future__ import annotations

import os
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from joulebook.errors import InputError, OutputError
from joulebook.readers.limits import MAX_BYTES, MAX_RATIO

__all__ = ["MOST_PARTS", "Archive", "ArchiveWriter", "open_archive", "write_archive", "written_whole"]

MOST_PARTS = 60_000
"""Parts of one zip file; a section of 60 benches with 60 records each has fewer than 4,000."""

_LARGEST_LOG = 256 * 1024 * 1024
_SMALL = 1 << 20
# A zip file's own times begin here; a fixed one makes the same content the same bytes.
_EPOCH = (1980, 1, 1, 0, 0, 0)
_BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError, RuntimeError, KeyError)
_REMEDY = "Take another copy of the file, or write it again."


class ArchiveWriter:
    """A zip file that is being filled."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive

    def add(self, name: str, content: bytes | str) -> None:
        """Add a part; text goes as UTF-8."""
        data = content.encode() if isinstance(content, str) else content
        part = zipfile.ZipInfo(name, _EPOCH)
        part.external_attr = 0o600 << 16
        # What packs so well that it would look like a bomb when it comes back is stored as it is.
        suspicious = len(data) > _SMALL and len(data) > MAX_RATIO // 2 * len(zlib.compress(data))
        part.compress_type = zipfile.ZIP_STORED if suspicious else zipfile.ZIP_DEFLATED
        self._archive.writestr(part, data)


class Archive:
    """A zip file that was looked over. source: its path, for messages."""

    def __init__(self, archive: zipfile.ZipFile, source: str) -> None:
        self._archive = archive
        self.source = source
        self.names: tuple[str, ...] = tuple(part.filename for part in archive.infolist() if not part.is_dir())

    def read(self, name: str, *, limit: int = MAX_BYTES) -> bytes:
        """Return the bytes of one part. Raises InputError when it is missing, damaged, or larger than `limit`."""
        try:
            part = self._archive.getinfo(name)
            if part.file_size > limit:
                what = f"“{name[:80]}” would unpack to {part.file_size:,} bytes, more than the {limit:,} that it may have."
                raise InputError(what, remedy=_REMEDY, source=self.source, code="package")
            content = self._archive.read(part)
        except KeyError:
            raise InputError(f"“{name[:80]}” is missing in it.", remedy=_REMEDY, source=self.source, code="package") from None
        except _BROKEN as error:
            what = f"“{name[:80]}” in it is damaged ({error})."
            raise InputError(what, remedy=_REMEDY, source=self.source, code="package") from None
        return content

    def read_log(self, name: str) -> bytes:
        """Return the bytes of a list of changes, which may be larger than a record."""
        return self.read(name, limit=_LARGEST_LOG)


@contextmanager
def write_archive(path: str | os.PathLike[str]) -> Iterator[ArchiveWriter]:
    """Open a zip file to be filled, which takes its name only when the block ends well. Raises OutputError."""
    with written_whole(path) as stream, zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        yield ArchiveWriter(archive)


@contextmanager
def written_whole(path: str | os.PathLike[str], *, mode: int = 0o600) -> Iterator[IO[bytes]]:
    """Open a file to be filled, which takes its name only when the block ends well.

    mode: who may read it, less what the system's mask takes away; its owner alone unless given.
    Raises OutputError when it cannot be written.
    """
    target = Path(os.path.realpath(path))
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    source = os.fspath(path)
    if target.is_dir():
        raise OutputError("This is a folder.", source=source, remedy="Name a file inside it.")
    try:
        stream = os.fdopen(os.open(part, os.O_RDWR | os.O_CREAT | os.O_TRUNC, mode), "w+b")
    except OSError as error:
        raise _unwritable(error, source) from error
    try:
        with stream:
            yield stream
            stream.flush()
            # The name must not be on the disk before the content is.
            os.fsync(stream.fileno())
        os.replace(part, target)
    except OSError as error:
        raise _unwritable(error, source) from error
    finally:
        part.unlink(missing_ok=True)


@contextmanager
def open_archive(path: str | os.PathLike[str]) -> Iterator[Archive]:
    """Open a zip file and look it over: number, names, sizes and packing of its parts.

    Raises InputError when it cannot be read or is not one that `write_archive` writes.
    """
    source = os.fspath(path)
    try:
        with zipfile.ZipFile(path) as archive:
            _look_over(archive, source)
            yield Archive(archive, source)
    except FileNotFoundError:
        raise InputError("There is no such file.", remedy="Look at its name.", source=source, code="package") from None
    except OSError as error:
        what = f"It cannot be read: {error.strerror or error}."
        raise InputError(what, remedy="See who may read it.", source=source, code="package") from None
    except zipfile.BadZipFile as error:
        raise InputError(f"It is no whole zip file ({error}).", remedy=_REMEDY, source=source, code="package") from None


def _look_over(archive: zipfile.ZipFile, source: str) -> None:
    parts = archive.infolist()
    problem = f"it has {len(parts):,} parts, more than {MOST_PARTS:,}" if len(parts) > MOST_PARTS else ""
    seen: set[str] = set()
    for part in parts:
        name, shown = part.filename, f"“{part.filename[:80]}”"
        if name.casefold() in seen:
            problem = f"it has two parts of the name {shown}"
        elif _leaves(name):
            problem = f"{shown} would lie outside its folder"
        elif part.flag_bits & 1:
            problem = f"{shown} is encrypted"
        elif part.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            problem = f"{shown} is packed in a way that joulebook does not use"
        elif part.file_size > _SMALL and part.file_size > MAX_RATIO * max(1, part.compress_size):
            problem = f"{shown} would unpack to {part.file_size // max(1, part.compress_size):,} times its packed size"
        if problem:
            break
        seen.add(name.casefold())
    if problem:
        raise InputError(f"This zip file is not taken in: {problem}.", remedy=_REMEDY, source=source, code="package")


def _leaves(name: str) -> bool:
    """Whether a part's name leads out of the folder that it is unpacked into, on any system."""
    steps = name.rstrip("/").split("/")
    return "\\" in name or ":" in name or "\0" in name or any(step in ("", ".", "..") for step in steps)


def _unwritable(error: OSError, source: str) -> OutputError:
    if isinstance(error, FileNotFoundError):
        return OutputError("Its folder is not there.", source=source, remedy="Make the folder first, or name another place.")
    what = f"It cannot be written: {error.strerror or error}."
    return OutputError(what, source=source, remedy="Name another place, or free this one.")
