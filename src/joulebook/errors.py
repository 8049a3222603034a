"""Every exception that joulebook raises on purpose.

    JoulebookError
    ├── InputError             what was given cannot be understood
    │   ├── RecordError        a distance-time file
    │   └── BenchFileError     a bench.toml, or the options that stand for one
    ├── AnalysisError          the data were read, but hold nothing to analyse
    │   └── FitError           the motion could not be fitted
    ├── OutputError            a result could not be written
    └── StoreError             what is kept cannot be reached or written
        └── StaleError         somebody else saved the same thing meanwhile

Not being able to analyse is an exception; energy not conserved is a verdict.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = [
    "AnalysisError",
    "BenchFileError",
    "Fault",
    "FitError",
    "InputError",
    "JoulebookError",
    "OutputError",
    "RecordError",
    "StaleError",
    "StoreError",
]


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with an input.

    where: the place, as a person would look for it ("line 12, column 3", "track.angle").
    what: what is wrong there, with its number.
    remedy: what to do about it.
    """

    where: str
    what: str
    remedy: str = ""

    def __str__(self) -> str:
        text = f"{self.where}: {self.what}" if self.where else self.what
        return f"{text} {self.remedy}" if self.remedy else text


class JoulebookError(Exception):
    """The root of all errors that joulebook raises on purpose.

    message: what is wrong and by how much, in one sentence.
    remedy: what to do about it, in one sentence.
    code: a short lower-case word that names the kind of error, for JSON.
    source: the file concerned, or "".
    faults: the single faults, where several were found together.
    """

    code = "error"

    def __init__(
        self,
        message: str,
        *,
        remedy: str = "",
        code: str | None = None,
        source: str = "",
        faults: Sequence[Fault] = (),
    ) -> None:
        super().__init__(message)
        self.message = message
        self.remedy = remedy
        self.source = source
        self.faults = tuple(faults)
        if code is not None:
            self.code = code

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuild, (type(self), self.message, self.remedy, self.code, self.source, self.faults))

    def __str__(self) -> str:
        head = f"{self.source}: {self.message}" if self.source else self.message
        lines = [f"{head} {self.remedy}".rstrip()]
        lines += [f"  - {fault}" for fault in self.faults]
        return "\n".join(lines)

    def to_dict(self) -> dict[str, object]:
        """Return the error as the JSON object of `joulebook sweep`: code, message, remedy."""
        message = self.message
        if self.faults:
            message += " " + "; ".join(str(fault) for fault in self.faults)
        if self.source:
            message = f"{self.source}: {message}"
        return {"code": self.code, "message": message, "remedy": self.remedy}


def _rebuild(
    kind: type[JoulebookError],
    message: str,
    remedy: str,
    code: str,
    source: str,
    faults: tuple[Fault, ...],
) -> JoulebookError:
    return kind(message, remedy=remedy, code=code, source=source, faults=faults)


class InputError(JoulebookError):
    """What was given cannot be understood."""

    code = "input"


class RecordError(InputError):
    """A distance-time file cannot be read; `faults` name lines and columns."""

    code = "record"


class BenchFileError(InputError):
    """A bench.toml, or the options that stand for one, is faulty; `faults` name the fields."""

    code = "bench-file"


class AnalysisError(JoulebookError):
    """The records were read, but hold nothing that can be analysed."""

    code = "analysis"


class FitError(AnalysisError):
    """The motion could not be fitted; the message names the parameter and why."""

    code = "fit"


class OutputError(JoulebookError):
    """A result could not be written."""

    code = "output"


class StoreError(JoulebookError):
    """What is kept cannot be reached or written; nothing is half-written."""

    code = "store"


class StaleError(StoreError):
    """The same thing was saved by somebody else meanwhile.

    saved: what is kept now, texts by name. sent: what was to be kept. seq: the number of the change that keeps the former.
    """

    code = "stale"

    def __init__(self, message: str, *, remedy: str, saved: dict[str, str], sent: dict[str, str], seq: int) -> None:
        super().__init__(message, remedy=remedy)
        self.saved, self.sent, self.seq = saved, sent, seq

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuild_stale, (self.message, self.remedy, self.saved, self.sent, self.seq))


def _rebuild_stale(message: str, remedy: str, saved: dict[str, str], sent: dict[str, str], seq: int) -> StaleError:
    return StaleError(message, remedy=remedy, saved=saved, sent=sent, seq=seq)
