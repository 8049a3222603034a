"""The journal of a sweep: what was finished, as it was finished, so that a killed sweep goes on where it was.

Beside the result `benches.jsonl` lie `benches.jsonl.journal` and, where lines are wanted, `benches.jsonl.part` with the lines as they came.
The journal's first line says how the sweep was begun; each further line stands for a bench: a checksum of all that is kept of it,
the digest of its files, the length of its line, its flat row. A line is written before its entry, and only whole entries count.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
import zlib
from array import array
from collections.abc import Iterator, Mapping, Sequence
from typing import IO, Any

from joulebook.api.sweeping.work import Outcome
from joulebook.errors import InputError, OutputError
from joulebook.store.archive import written_whole

__all__ = ["FORMAT", "Journal"]

FORMAT = "joulebook/sweep-journal-1"

_DIGEST = 16  # bytes
_COMPLETE = b"complete\n"


class Journal:
    """The journal of one sweep, open for writing; nobody else may have it open.

    path: of the result that it stands beside. names: of the benches, in the order of the result. begun: how the sweep was begun, JSON.
    lines: whether the lines are kept, or the rows alone. resume: go on with what is there, if anything is.
    Raises InputError when a journal is there that is not to be gone on with, or was begun otherwise; OutputError when it cannot be
    written or another sweep holds it.
    """

    def __init__(
        self, path: str | os.PathLike[str], names: Sequence[str], begun: Mapping[str, Any], *, lines: bool, resume: bool
    ) -> None:
        self.path = os.fspath(path)
        self._journal_path, self._part_path = f"{self.path}.journal", f"{self.path}.part"
        self._names = names
        count = len(names)
        self._entries = array("q", [-1]) * count  # where each bench's entry begins, -1 for none
        self._lines = array("q", [-1]) * count
        self._digests = bytearray(_DIGEST * count)
        self._in_order = True
        self._last = -1
        exists = os.path.exists(self._journal_path)
        if exists and not resume:
            raise InputError(
                f"A sweep into {self.path} was stopped before it was done; its journal is {self._journal_path}.",
                remedy="Go on with it by --resume, or remove the journal to begin anew.",
                code="journal",
            )
        self._journal = self._opened(self._journal_path)
        self._part: IO[bytes] | None = None
        try:
            _lock(self._journal, self.path)
            if lines:
                self._recover_part()
                self._part = self._opened(self._part_path)
            self._read({"format": FORMAT, **begun, "lines": lines})
        except BaseException as error:
            self.close()
            if isinstance(error, OSError):
                raise _unwritable(error, self.path) from error
            raise

    @property
    def kept(self) -> int:
        """How many benches are finished."""
        return len(self._entries) - self._entries.count(-1)

    def digest(self, index: int) -> str:
        """Return the digest with which a bench was finished, "" for none. index: of the bench in the order of the names."""
        found = self._digests[_DIGEST * index : _DIGEST * (index + 1)]
        return found.hex() if any(found) else ""

    def add(self, index: int, outcome: Outcome) -> None:
        """Keep what became of a bench; the last one counts. `flush` hands it to the system."""
        kept = f"{outcome.digest}\t{len(outcome.text)}\t".encode() + outcome.row
        try:
            place = -1
            if self._part is not None:
                place = self._part.seek(0, os.SEEK_END)
                self._part.write(outcome.text + b"\n")
            entry = self._journal.seek(0, os.SEEK_END)
            self._journal.write(b"%08x\t%s\n" % (_checksum(kept, outcome.text), kept))
        except OSError as error:
            raise _unwritable(error, self.path) from error
        self._note(index, entry, place, outcome.digest)

    def flush(self) -> None:
        """Hand all that was kept to the system: it outlives this process."""
        try:
            if self._part is not None:
                self._part.flush()
            self._journal.flush()
        except OSError as error:
            raise _unwritable(error, self.path) from error

    def rows(self) -> Iterator[dict[str, Any]]:
        """Yield the rows of all benches in order; every bench must be finished."""
        for index in range(len(self._names)):
            yield json.loads(self._entry(index)[3])

    def write_lines(self, path: str | os.PathLike[str]) -> None:
        """Give the result its name: the lines of all benches in order, each once; every bench must be finished."""
        assert self._part is not None
        self.flush()
        try:
            if not self._in_order or self._last + 1 != len(self._names):
                self._write_sorted(path)
                return
            os.fsync(self._part.fileno())
            self._part.close()
            self._part = None
            self._journal.seek(0, os.SEEK_END)
            self._journal.write(_COMPLETE)
            self._journal.flush()
            os.replace(self._part_path, os.path.realpath(path))
        except OSError as error:
            raise _unwritable(error, os.fspath(path)) from error

    def remove(self) -> None:
        """Close the journal and take it away: the results are written."""
        self.close()
        for path in (self._journal_path, self._part_path):
            with contextlib.suppress(FileNotFoundError):
                os.unlink(path)

    def close(self) -> None:
        """Leave the journal for another time."""
        for stream in (self._part, self._journal):
            if stream is not None:
                with contextlib.suppress(OSError):  # what cannot be written now was told when it was to be flushed
                    stream.close()

    def _opened(self, path: str) -> IO[bytes]:
        try:
            return os.fdopen(os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o666), "r+b", 1 << 20)
        except OSError as error:
            raise _unwritable(error, self.path) from error

    def _recover_part(self) -> None:
        """Take the lines back, if the sweep was killed between giving them the result's name and removing the journal."""
        size = self._journal.seek(0, os.SEEK_END)
        self._journal.seek(max(0, size - len(_COMPLETE)))
        complete = self._journal.read() == _COMPLETE
        self._journal.seek(0)
        target = os.path.realpath(self.path)
        if complete and os.path.isfile(target) and not os.path.exists(self._part_path):
            os.replace(target, self._part_path)

    def _read(self, begun: Mapping[str, Any]) -> None:
        """Take in what is there, and cut off what is half-written."""
        head = self._journal.readline()
        if not head.endswith(b"\n"):
            self._truncate(0, 0)
            self._journal.write(json.dumps(begun, sort_keys=True).encode() + b"\n")
            self.flush()
            return
        _compare(head, begun, self._journal_path)
        numbers = {name: number for number, name in enumerate(self._names)}
        place = end = 0
        length = len(head)
        while (entry := self._journal.readline()).endswith(b"\n"):
            found = _understood(entry)
            if found is None:
                break
            text = b""
            if self._part is not None:
                text = self._part.read(found[2] + 1)
                if text[-1:] != b"\n":
                    break
            if _checksum(entry[9:-1], text[:-1]) != found[0]:
                break
            index = numbers.get(json.loads(found[3])["bench"])
            if index is None:
                self._in_order = False  # a bench that is no longer there
            else:
                self._note(index, length, place if self._part is not None else -1, found[1])
            length += len(entry)
            end = place = place + len(text)
        self._truncate(length, end)

    def _truncate(self, journal: int, part: int) -> None:
        self._journal.truncate(journal)
        self._journal.seek(0, os.SEEK_END)
        if self._part is not None:
            self._part.truncate(part)
            self._part.seek(0, os.SEEK_END)

    def _entry(self, index: int) -> tuple[int, str, int, bytes]:
        self._journal.seek(self._entries[index])
        found = _understood(self._journal.readline())
        assert found is not None, "it was understood when it was read, and nobody else may write it"
        return found

    def _note(self, index: int, entry: int, line: int, digest: str) -> None:
        self._entries[index], self._lines[index] = entry, line
        self._digests[_DIGEST * index : _DIGEST * (index + 1)] = bytes.fromhex(digest) or bytes(_DIGEST)
        self._in_order &= index == self._last + 1
        self._last = index

    def _write_sorted(self, path: str | os.PathLike[str]) -> None:
        """Write the lines in the order of the benches; the part stays as the journal knows it."""
        assert self._part is not None
        with written_whole(path, mode=0o666) as stream:
            for place in self._lines:
                self._part.seek(place)
                stream.write(self._part.readline())


def _understood(entry: bytes) -> tuple[int, str, int, bytes] | None:
    """Return checksum, digest, length of the line, and row; None for what is no entry."""
    try:
        checksum, digest, length, row = entry[:-1].split(b"\t", 3)
        return int(checksum, 16), bytes.fromhex(digest.decode()).hex(), int(length), row
    except ValueError:
        return None


def _checksum(kept: bytes, text: bytes) -> int:
    return zlib.crc32(text, zlib.crc32(kept))


def _compare(head: bytes, begun: Mapping[str, Any], path: str) -> None:
    """Raise InputError when the journal was begun in another way."""
    try:
        before = json.loads(head)
        if before["format"] != FORMAT:
            raise ValueError
    except (ValueError, KeyError, TypeError):
        raise InputError(
            f"{path} is no journal of a sweep that this version can go on with.",
            remedy="Remove it to begin anew.",
            code="journal",
        ) from None
    differing = [name for name in sorted({*before, *begun}) if before.get(name) != json.loads(json.dumps(begun)).get(name)]
    if differing:
        told = "; ".join(f"{name} {_shown(before.get(name))}, now {_shown(begun.get(name))}" for name in differing)
        raise InputError(
            f"That sweep was begun in another way: {told}.",
            remedy="Go on with the same options, house rules and versions, or remove the journal to begin anew.",
            source=path,
            code="journal",
        )


def _shown(value: object) -> str:
    return "not given" if value is None else str(value)[:60]


def _lock(stream: IO[bytes], path: str) -> None:
    """Keep other sweeps away until the file is closed. Raises OutputError when one is at work."""
    try:
        if sys.platform == "win32":
            import msvcrt

            # A byte far behind the end: Windows keeps others from reading a locked one.
            stream.seek(1 << 40)
            msvcrt.locking(stream.fileno(), msvcrt.LK_NBLCK, 1)
            stream.seek(0)
        else:
            import fcntl

            fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        raise OutputError("Another sweep is writing it.", source=path, remedy="Wait for it, or name another file.") from error


def _unwritable(error: OSError, path: str) -> OutputError:
    what = f"It cannot be written: {error.strerror or error}."
    return OutputError(what, source=path, remedy="Name another place, or free this one.")
