"""The class picture at a terminal: what the benches say together, which lie apart, and which do not count."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from joulebook.render.class_document import class_names
from joulebook.render.plain import clean_text
from joulebook.render.screen import Screen

if TYPE_CHECKING:
    from rich.console import Console

__all__ = ["show_class"]


def show_class(told: Mapping[str, Any], console: Console | None = None, *, decimal: str = ".") -> None:
    """Print a class picture in its JSON form. decimal: the decimal sign."""
    screen = Screen(console, decimal=decimal, keep=class_names(told))
    screen.paragraph(told["sentence"])
    if told["benches"]:
        screen.heading("Pictures in words")
        for name in ("energies", "losses", "slopes"):
            screen.line(f"- {told['sentences'][name]}", hang=2)
    if told["pooled"]:
        screen.heading("All benches together, 95 % intervals")
        for value in told["pooled"]:
            screen.line(f"- {value['sentence']}", hang=2)
    if told["far_off"]:
        screen.heading("Benches that lie apart")
        for far in told["far_off"]:
            screen.line(f"- {clean_text(far['sentence'])}", hang=2)
    if told["left_out"]:
        screen.heading("What does not count, and why")
        for bench in told["left_out"]:
            screen.line(f"- {clean_text(bench['sentence'])}", hang=2)
