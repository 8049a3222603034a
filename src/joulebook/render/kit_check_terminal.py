"""A kit check in the terminal: who needs service and why, then the table."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from joulebook.render.kit_check_document import NEED_WORDS
from joulebook.render.screen import Screen

if TYPE_CHECKING:
    from rich.console import Console

__all__ = ["show_kit_check"]


def show_kit_check(check: Mapping[str, Any], console: Console | None = None) -> None:
    """Print a kit check in its JSON form. console: a rich console, None for the terminal."""
    screen = Screen(console)
    screen.paragraph(check["sentence"], "bold")
    against = check["compared_with"]
    screen.line(f"Compared with the check of {against}." if against else "There is no earlier check to compare with.", indent=0)
    for bench in check["benches"]:
        if not bench["reasons"]:
            continue
        screen.heading(f"{NEED_WORDS[bench['need']]}: {bench['bench']}")
        for reason in bench["reasons"]:
            screen.line(f"- {reason['sentence']}", hang=2)
            if reason["remedy"]:
                screen.line(f"What to do: {reason['remedy']}", indent=4)
    labels = {measure["name"]: measure["label"] for measure in check["measures"]}
    for names in (
        ("noise_still", "noise_moving", "rate", "lost"),
        ("friction", "slope_gap", "scale_hint"),
        ("repeatability", "release_speed", "contact_time", "restitution"),
    ):
        screen.paragraph("; ".join(f"{number}: {labels[name]}" for number, name in enumerate(names, start=1)) + ".")
        rows = [("", *(str(number) for number in range(1, len(names) + 1)), "")]
        for bench in check["benches"]:
            cells = (bench["measures"].get(name, {}).get("shown", "–") for name in names)
            rows.append((bench["bench"], *cells, NEED_WORDS[bench["need"]]))
        screen.columns(rows, right=tuple(range(1, len(names) + 1)))
