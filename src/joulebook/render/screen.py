"""A terminal that prints text as it stands: no markup in it is obeyed, nothing in it steers, and it fits the width."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from joulebook.render.decimal_sign import with_decimal
from joulebook.render.plain import clean_text

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

__all__ = ["Screen"]

# A last column narrower than this goes on a line of its own.
_NARROWEST = 14
# For terminals that cannot show more than their own small alphabet.
_SUBSTITUTES = str.maketrans(
    {"±": "+/-", "−": "-", "–": "-", "—": "-", "…": "...", "µ": "u", "μ": "mu", "·": "*", "×": "x", "°": " deg", "²": "2",
     "³": "3", "½": "1/2", "√": "sqrt ", "Δ": "D", "κ": "kappa", "θ": "theta", "ρ": "rho", "≤": "<=", "≥": ">=", "≈": "~",
     "∞": "infinite", "’": "'", "“": '"', "”": '"', "■": "#", "▲": "!", "●": "*"}
)  # fmt: skip


class Screen:
    """A console with the few shapes that these reports use; all text passes through `text`, so that none of it is markup."""

    def __init__(self, console: Console | None, *, decimal: str = ".", keep: tuple[str, ...] = ()) -> None:
        """Take a console. decimal: the decimal sign of all numbers. keep: names whose points are left as they are."""
        if console is None:
            from rich.console import Console as RichConsole

            console = RichConsole(highlight=False, emoji=False, markup=False)
        self.console = console
        self.width = console.width
        self._started = False
        self._decimal, self._keep = decimal, keep

    def text(self, text: str, style: str = "") -> Text:
        """Return text that prints as it stands, in letters that the terminal has."""
        from rich.text import Text as RichText

        shown = with_decimal(clean_text(text), self._decimal, keep=self._keep)
        try:
            shown.encode(self.console.encoding)
        except (UnicodeEncodeError, LookupError):
            shown = shown.translate(_SUBSTITUTES).encode("ascii", "replace").decode("ascii")
        return RichText(shown, style=style)

    def print(self, item: Text) -> None:
        """Print one thing as it stands."""
        self.console.print(item, highlight=False, markup=False, emoji=False)
        self._started = True

    def paragraph(self, text: str, style: str = "") -> None:
        """Print text after an empty line."""
        if self._started:
            self.console.print()
        self.line(text, style, indent=0)

    def heading(self, text: str) -> None:
        """Print the heading of a part, set off by an empty line and a colon rather than by rules."""
        self.paragraph(f"{text}:", "bold")

    def line(self, text: str, style: str = "", *, indent: int = 2, hang: int = 0) -> None:
        """Print text `indent` columns in, what does not fit on the first line `hang` columns further."""
        from rich.text import Text as RichText

        wrapped = self.text(text, style).wrap(self.console, max(10, self.width - indent - hang))
        for index, part in enumerate(wrapped):
            part.rstrip()
            self.print(RichText(" " * (indent + (hang if index else 0))) + part)

    def columns(
        self,
        rows: Sequence[Sequence[str]],
        *,
        right: Sequence[int] = (),
        styles: Sequence[str] = (),
        indent: int = 2,
        first: int = 40,
    ) -> None:
        """Print rows of text under each other; only the last column is wrapped.

        right: columns that are set flush right. styles: one for each row, for its last column. first: a first cell longer
        than this stands on a line of its own.
        """
        from rich.cells import cell_len
        from rich.text import Text as RichText

        limit = max(12, min(first, self.width // 2))
        texts = [[self.text(cell) for cell in row] for row in rows]
        widths = [0] * (len(rows[0]) - 1) if rows else []
        for row in texts:
            for column, cell in enumerate(row[:-1]):
                size = cell_len(cell.plain)
                widths[column] = max(widths[column], size if column or size <= limit else 0)
        for index, row in enumerate(texts):
            line = RichText(" " * indent)
            for column, (cell, width) in enumerate(zip(row, widths, strict=False)):
                spare = width - cell_len(cell.plain)
                if spare < 0:
                    self.line(cell.plain, indent=indent)
                    cell, spare = RichText(), width
                line += RichText(" " * spare) + cell if column in right else cell + RichText(" " * spare)
                line += RichText("  ")
            left = cell_len(line.plain)
            if self.width - left < _NARROWEST:
                self.line(line.plain.strip(), indent=indent)
                self.line(row[-1].plain, styles[index] if styles else "", indent=indent + 2)
                continue
            row[-1].stylize(styles[index] if styles else "")
            for number_of_line, part in enumerate(row[-1].wrap(self.console, max(10, self.width - left)) or [RichText()]):
                part.rstrip()
                whole = (line if number_of_line == 0 else RichText(" " * left)) + part
                whole.rstrip()
                self.print(whole)
