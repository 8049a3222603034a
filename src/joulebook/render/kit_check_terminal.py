"""A kit check in the terminal: each bench's status and why, with what to do; the numbers are left to the page and the paper."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from joulebook.render.kit_check_document import NEED_WORDS, kit_names, shown_reasons
from joulebook.render.screen import Screen

if TYPE_CHECKING:
    from rich.console import Console

__all__ = ["show_kit_check"]


def show_kit_check(check: Mapping[str, Any], console: Console | None = None, *, decimal: str = ".") -> None:
    """Print a kit check in its JSON form. console: a rich console, None for the terminal. decimal: the decimal sign."""
    screen = Screen(console, decimal=decimal, keep=kit_names(check))
    screen.paragraph(check["sentence"], "bold")
    against = check["compared_with"]
    screen.line(f"Compared with the check of {against}." if against else "There is no earlier check to compare with.", indent=0)
    for bench in check["benches"]:
        reasons = shown_reasons(bench)
        if bench["need"] == "fine" and not reasons:
            continue
        screen.heading(f"{NEED_WORDS[bench['need']]}: {bench['bench']}")
        for reason in reasons:
            screen.line(f"- {reason['sentence']}", hang=2)
            if reason["remedy"]:
                screen.line(f"What to do: {reason['remedy']}", indent=4)
    fine = [bench["bench"] for bench in check["benches"] if bench["need"] == "fine" and not bench["reasons"]]
    if fine:
        screen.heading(NEED_WORDS["fine"])
        for title in fine:
            screen.line(f"- {title}", hang=2)
    screen.paragraph("Every measured value, and the rule by which each reason counts: --html FILE or --pdf FILE.")
