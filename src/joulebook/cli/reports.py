"""From an audit to the files that were asked for; each kind of report loads its own library only then."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Literal

from joulebook.cli.output import json_text, write_output
from joulebook.errors import OutputError

if TYPE_CHECKING:
    from joulebook.engine.report import Audit

__all__ = ["REPORT_KINDS", "write_report"]

_Paper = Literal["a4", "us-letter"]
_Writer = Callable[["Audit", _Paper, str], str | bytes]


def write_report(kind: str, audit: Audit, path: str, *, paper: _Paper = "a4", decimal: str = ".") -> None:
    """Write one report of an audit.

    kind: one of REPORT_KINDS. path: a file, or "-" for the terminal. paper: "a4" or "us-letter", for a PDF.
    decimal: the decimal sign of what a person reads, "." or ","; JSON, CSV and workbook have their own ways.
    Raises OutputError when it cannot be written or the libraries that it needs are not installed.
    """
    try:
        content = REPORT_KINDS[kind](audit, paper, decimal)
    except ModuleNotFoundError as error:
        if (error.name or "joulebook").startswith("joulebook"):
            raise
        raise OutputError(
            f"--{kind} needs the library {error.name}, which is not installed.",
            remedy="Install joulebook with its reports: pip install 'joulebook[reports]'.",
        ) from error
    write_output(path, content)


def _json(audit: Audit, paper: _Paper, decimal: str) -> str:
    return json_text(audit.to_dict(), indent=2) + "\n"


def _html(audit: Audit, paper: _Paper, decimal: str) -> str:
    from joulebook.render.page import write_page

    return write_page(audit, decimal=decimal)


def _pdf(audit: Audit, paper: _Paper, decimal: str) -> bytes:
    from joulebook.render.paper import write_paper

    return write_paper(audit, paper=paper, decimal=decimal)


def _csv(audit: Audit, paper: _Paper, decimal: str) -> str:
    from joulebook.render.trace_table import write_trace_csv

    return write_trace_csv(audit)


def _xlsx(audit: Audit, paper: _Paper, decimal: str) -> bytes:
    from joulebook.render.workbook import write_workbook

    return write_workbook(audit)


def _working(audit: Audit, paper: _Paper, decimal: str) -> str:
    from joulebook.render.working import write_working

    return write_working(audit, decimal=decimal)


REPORT_KINDS: dict[str, _Writer] = {
    "json": _json,
    "html": _html,
    "pdf": _pdf,
    "csv": _csv,
    "xlsx": _xlsx,
    "working": _working,
}
