"""The text of a bench file: found, read as TOML with errors in plain words, and written."""

from __future__ import annotations

import math
import os
import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from joulebook.errors import BenchFileError, Fault, OutputError

__all__ = ["BENCH_FILE", "bench_error", "find_bench_file", "parse_bench_file", "parse_bench_text", "read_bench_text", "write_bench"]

BENCH_FILE = "bench.toml"

_LARGEST = 64 * 1024


def find_bench_file(path: Path) -> Path:
    """Return the bench file itself, given it or its folder. Raises BenchFileError where there is none."""
    try:
        file = path / BENCH_FILE if path.is_dir() else path
        if file.is_file():
            return file
    except (OSError, ValueError):
        raise BenchFileError(f"{os.fspath(path)[:100]!r} cannot be a path.", remedy="Name a bench file or its folder.") from None
    if path.is_dir():
        others = sorted(name for name in os.listdir(path) if name.casefold().endswith(".toml"))
        found = f" There is {', '.join(others[:5])}: rename it, or name it in full." if others else ""
        raise _no_file(f"this folder holds no {BENCH_FILE}.", f"Write one, as docs/inputs.md shows.{found}", path)
    raise _no_file("there is no such file or folder.", "Look at its name.", path)


def parse_bench_file(file: Path) -> dict[str, Any]:
    """Return a bench file's tables as TOML has them. Raises BenchFileError where it is too long, no UTF-8 or no TOML."""
    return parse_bench_text(read_bench_text(file), os.fspath(file))


def read_bench_text(file: Path) -> str:
    """Return a bench file's text. Raises BenchFileError where it cannot be read, is too long or no UTF-8."""
    source = os.fspath(file)
    try:
        with file.open("rb") as stream:
            content = stream.read(_LARGEST + 1)
    except OSError as error:
        raise BenchFileError(f"cannot be read: {error.strerror}.", remedy="See who may read it.", source=source) from None
    if len(content) > _LARGEST:
        what = f"is longer than {_LARGEST // 1024} KiB, which no bench file is."
        raise BenchFileError(what, remedy="Name the bench file, not a record.", source=source)
    return _decoded(content, source)


def parse_bench_text(text: str, source: str) -> dict[str, Any]:
    """Return the tables of a bench file's text. source: what it is called in messages. Raises BenchFileError where it is no TOML."""
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise BenchFileError("has lists nested too deeply.", remedy="Write the file anew.", source=source) from None
    except ValueError as error:  # TOMLDecodeError is one; a number of 5000 digits raises the other kind
        raise _syntax_error(str(error), text, source) from None


def _decoded(content: bytes, source: str) -> str:
    encoding = "utf-16" if content[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        return content.decode(encoding)
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        what = f"the character with code {content[error.start]} is not UTF-8."
        fault = Fault(f"line {line}", what, "Save the file as UTF-8; most editors offer it under Save as.")
        raise bench_error([fault], source) from None


def _syntax_error(message: str, text: str, source: str) -> BenchFileError:
    """Say where the file stops being TOML, with the line as it stands there."""
    found = re.search(r" \(at line (\d+), column (\d+)\)$", message)
    if found is None:
        at_end = message.endswith("(at end of document)")
        fault = Fault(
            "end of the file" if at_end else "", f"{message.removesuffix(' (at end of document)')}.", "Close what was opened."
        )
        return bench_error([fault], source)
    number, column = int(found[1]), int(found[2])
    lines = text.split("\n")
    line = lines[number - 1].strip()[:80] if number <= len(lines) else ""
    remedy = 'A value with a unit stands in quotes, as in mass = "0.25 kg"; comments start with #.'
    fault = Fault(f"line {number}, column {column}", f"{message[: found.start()]}, in: {line}", remedy)
    return bench_error([fault], source)


def write_bench(values: Mapping[str, object]) -> str:
    """Return the text of a bench file.

    values: what a bench file holds, either nested as TOML nests it or with dotted names ("track.angle"); None is left out.
    Reading the text back gives the same names and values. Raises OutputError for a value that TOML cannot hold.
    """
    document: dict[str, Any] = {}
    for name, value in values.items():
        table, dot, key = name.partition(".")
        if isinstance(value, Mapping):
            document[name] = {**document.get(name, {}), **value}
        elif dot:
            document.setdefault(table, {})[key] = value
        else:
            document[name] = value
    lines = _table_lines(document, ())
    return "\n".join(lines).strip("\n") + "\n"


def bench_error(faults: Sequence[Fault], source: str) -> BenchFileError:
    """Return all faults of a bench as one error. source: the bench file, "" for a bench made without one."""
    distinct = tuple(dict.fromkeys(faults))
    count = "there is a fault" if len(distinct) == 1 else f"there are {len(distinct)} faults"
    what = "in what was given." if not source else "in this bench or its records."
    return BenchFileError(f"{count} {what}", remedy="Correct what is named here.", source=source, faults=distinct)


def _no_file(what: str, remedy: str, path: Path) -> BenchFileError:
    return BenchFileError(what, remedy=remedy, source=os.fspath(path), code="no-bench-file")


def _table_lines(table: Mapping[str, Any], path: tuple[str, ...]) -> list[str]:
    """Return a table's own values, then the tables inside it, each under its heading."""
    values = {key: value for key, value in table.items() if value is not None and not isinstance(value, Mapping)}
    inner = {key: value for key, value in table.items() if isinstance(value, Mapping)}
    lines = []
    if path and (values or not inner):
        lines += ["", f"[{'.'.join(map(_key, path))}]"]
    lines += [f"{_key(key)} = {_value(value, (*path, key))}" for key, value in values.items()]
    for key, value in inner.items():
        lines += _table_lines(value, (*path, key))
    return lines


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _quoted(key)


def _value(value: object, path: tuple[str, ...]) -> str:
    match value:
        case bool():
            return "true" if value else "false"
        case int():
            return str(value)
        case float() if math.isfinite(value):
            return repr(value)
        case str() if _writable(value):
            return _quoted(value)
        case list() | tuple():
            return f"[{', '.join(_value(one, path) for one in value)}]"
        case Mapping():
            return f"{{{', '.join(f'{_key(key)} = {_value(one, path)}' for key, one in value.items())}}}"
    raise OutputError(
        f"{'.'.join(path)}: {str(value)[:60]!r} cannot stand in a bench file.", remedy="Give a text, a finite number or a list."
    )


def _writable(text: str) -> bool:
    return not any(0xD800 <= ord(character) <= 0xDFFF for character in text)


def _quoted(text: str) -> str:
    """Return a TOML basic string; what it may not hold bare is escaped."""
    escaped = "".join(
        f"\\{character}"
        if character in '"\\'
        else character
        if character >= " " and character != "\x7f"
        else f"\\u{ord(character):04x}"
        for character in text
    )
    return f'"{escaped}"'
