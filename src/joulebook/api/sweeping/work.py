"""What a worker of a sweep does: audit some benches and send back what each gave.

Nothing heavy is imported at the top: a worker loads this before it says how many threads NumPy may use.
"""

from __future__ import annotations

import json
import math
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from joulebook.api.sweeping.benches import SweepBench, Unreadable
from joulebook.errors import InputError, JoulebookError, OutputError
from joulebook.version import VERSION

__all__ = ["Outcome", "Task", "failed", "json_line", "made_with", "sweep_options"]

Line = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one bench.

    name: the bench's. line: its line, {"folder", "ok", "audit" or "error"}; empty where only its row was asked for.
    row: its flat row as JSON (`rows.COLUMNS`), text: its line as JSON; both empty where the line itself was asked for.
    digest: of everything that the audit read; "" where that cannot be told.
    """

    name: str
    line: Line = field(repr=False)
    row: bytes = field(default=b"", repr=False)
    text: bytes = field(default=b"", repr=False)
    digest: str = ""


@dataclass(frozen=True, slots=True)
class Task:
    """What is to be done with each bench, the same on every worker.

    options: keywords of `audit`. wanted: "line" for the line itself, "row" for its row, "text" for its row and its text.
    made_with: the versions that the numbers depend on; a worker with others refuses.
    """

    options: Mapping[str, Any]
    wanted: str = "line"
    made_with: Mapping[str, str] | None = None

    def __call__(self, benches: Sequence[SweepBench]) -> list[Outcome]:
        """Audit some benches. Raises InputError on a worker whose results would not be the same."""
        if self.made_with is not None and (here := made_with()) != self.made_with:
            differing = ", ".join(
                f"{name} {here[name]}, not {wanted}" for name, wanted in self.made_with.items() if here[name] != wanted
            )
            raise InputError(
                f"A worker has {differing}.",
                remedy="Give every worker the same versions; results must not depend on where they are made.",
            )
        return [self._outcome(bench) for bench in benches]

    def crashed(self, bench: SweepBench) -> Outcome:
        """Return the outcome of a bench that ended the process that audited it."""
        return self._sent(
            failed(
                bench.name,
                "crashed",
                "The process that audited this bench was ended, most likely for want of memory.",
                "Audit this bench alone, and look for a record far larger than the others.",
            ),
            "",
        )

    def _outcome(self, bench: SweepBench) -> Outcome:
        if self.wanted == "line":
            return self._sent(_line(bench, self.options), "")
        from joulebook.api.sweeping.packing import digest_of

        # The digest first: what changes in between is audited again when the sweep is resumed.
        digest = digest_of(bench)
        return self._sent(_line(bench, self.options), digest)

    def _sent(self, line: Line, digest: str) -> Outcome:
        if self.wanted == "line":
            return Outcome(line["folder"], line)
        from joulebook.api.sweeping.rows import row_of

        text = json_line(line) if self.wanted == "text" else b""
        return Outcome(line["folder"], {}, json_line(row_of(line)), text, digest)


def failed(name: str, code: str, message: str, remedy: str) -> Line:
    """Return the line of a bench that could not be audited."""
    return {"folder": name, "ok": False, "error": {"code": code, "message": message, "remedy": remedy}}


def json_line(value: object) -> bytes:
    """Return JSON on one line as UTF-8; numbers that JSON does not know become null."""
    try:
        text = json.dumps(value, ensure_ascii=False, allow_nan=False, default=_listed)
    except ValueError:
        text = json.dumps(_plain(value), ensure_ascii=False, allow_nan=False)
    # A file's name that is no Unicode holds lone surrogates; written \\udc80, they are JSON and come back as they were.
    return text.encode("utf-8", "backslashreplace")


@cache  # asked for by every task, and read from files
def made_with() -> Mapping[str, str]:
    """Return the versions on which the last digit of a result may depend."""
    from importlib.metadata import version

    return {"joulebook": VERSION, "numpy": version("numpy"), "scipy": version("scipy")}


def sweep_options(options: Mapping[str, Any]) -> dict[str, Any]:
    """Return options of `audit` as they can be sent elsewhere: a house file is read now. Raises BenchFileError for a faulty one."""
    from joulebook.api.benches import house_of

    if options.get("house") is None:
        return dict(options)
    return {**options, "house": house_of(options["house"])}


def _line(bench: SweepBench, options: Mapping[str, Any]) -> Line:
    from joulebook.api import benches

    if isinstance(bench, Unreadable):
        return {"folder": bench.name, "ok": False, "error": dict(bench.error)}
    try:
        with bench.placed() as place:
            rules = {} if options.get("house") is not None or place.house is None else {"house": place.house}
            try:
                return {"folder": bench.name, "ok": True, "audit": benches.audit(place.folder, **{**options, **rules}).to_dict()}
            except JoulebookError as error:
                told = {key: place.shown(str(text)) for key, text in error.to_dict().items()}
                return {"folder": bench.name, "ok": False, "error": told}
            except Exception as error:  # a fault of ours on one bench must not cost the teacher the others
                message = place.shown(f"joulebook itself failed here: {type(error).__name__}: {error}")
                return failed(bench.name, "internal", message, "Audit this bench alone and report the fault with its files.")
    except JoulebookError as error:
        return {"folder": bench.name, "ok": False, "error": error.to_dict()}
    except OSError as error:  # no fault of the bench's: its line must not say so
        reason = f"{error.strerror or error}"
        remedy = f"Free some space in {tempfile.gettempdir()}, or name another place by the environment variable TMPDIR."
        raise OutputError(f"A bench cannot be laid out in the temporary folder: {reason}.", remedy=remedy) from error


def _listed(value: Any) -> object:
    """Return a NumPy number or array as JSON's."""
    if hasattr(value, "tolist"):
        return value.tolist()
    raise TypeError(f"no JSON form for {type(value).__name__}")


def _plain(value: Any) -> object:
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if hasattr(value, "tolist"):
        return _plain(value.tolist())
    return None if isinstance(value, float) and not math.isfinite(value) else value
