"""Writing results: whole or not at all, never over a bench's own files, JSON that any program can read."""

from __future__ import annotations

import json
import math
import os
import sys
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

import click

from joulebook.errors import OutputError

__all__ = ["STDOUT", "json_text", "open_output", "refuse_to_overwrite", "write_output"]

STDOUT = "-"


def write_output(path: str, content: str | bytes) -> None:
    """Write a file so that it is there whole or not at all; "-" is the terminal.

    Text is written as UTF-8. Raises OutputError when it cannot be written.
    """
    with open_output(path) as stream:
        stream.write(content.encode() if isinstance(content, str) else content)


@contextmanager
def open_output(path: str) -> Iterator[BinaryIO]:
    """Open a file to be filled, which takes its name only when the block ends well; "-" is the terminal.

    Raises OutputError when it cannot be written.
    """
    if path == STDOUT:
        sys.stdout.flush()
        yield sys.stdout.buffer
        sys.stdout.buffer.flush()
        return
    target = Path(os.path.realpath(path))
    try:
        if target.exists() and not target.is_file():
            if target.is_dir():
                raise IsADirectoryError
            with target.open("wb") as stream:  # a device or a pipe has no neighbour to be renamed from
                yield stream
            return
        part = target.with_name(f".{target.name}.{os.getpid()}.part")
        try:
            with part.open("wb") as stream:
                yield stream
            os.replace(part, target)
        finally:
            part.unlink(missing_ok=True)
    except IsADirectoryError:
        raise OutputError("This is a folder.", source=path, remedy="Name a file inside it.") from None
    except FileNotFoundError:
        raise OutputError(
            f"There is no folder {target.parent}.", source=path, remedy="Make the folder first or name another place."
        ) from None
    except OSError as error:
        raise OutputError(
            f"It cannot be written: {error.strerror or error}.", source=path, remedy="Name another place, or free this one."
        ) from error


def refuse_to_overwrite(
    outputs: Mapping[str, str | None], inputs: Iterable[str | os.PathLike[str]], contents: Iterable[bytes] = ()
) -> None:
    """Stop before a result is written over a file that was read, or two results into one file.

    outputs: option ("--json") to path, None where it was not asked for. inputs: the files that are read.
    contents: the bytes of records, wherever they came from; a file that holds one is not written over either.
    Raises click.UsageError.
    """
    read = {os.path.realpath(path) for path in inputs}
    kept = set(contents)
    written: dict[str, str] = {}
    for option, path in outputs.items():
        if path is None:
            continue
        real = path if path == STDOUT else os.path.realpath(path)
        if real in read or (kept and os.path.isfile(real) and Path(real).read_bytes() in kept):
            raise click.UsageError(
                f"{option} would write over {path}, which is one of the files to be read. "
                f"Name another file, or write {option}={STDOUT} for the terminal."
            )
        if real in written:
            raise click.UsageError(f"{written[real]} and {option} cannot both be written to {path}. Name two places.")
        written[real] = option


def json_text(value: object, *, indent: int | None = None) -> str:
    """Return JSON in ASCII-free, sorted-as-given form; numbers that JSON does not know (infinite, not a number) become null."""
    return json.dumps(_plain(value), ensure_ascii=False, indent=indent, allow_nan=False)


def _plain(value: object) -> object:
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, bool) or value is None or isinstance(value, str | int):
        return value
    if hasattr(value, "tolist"):  # a NumPy number or array
        return _plain(value.tolist())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    raise TypeError(f"no JSON form for {type(value).__name__}")
