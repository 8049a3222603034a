"""What a printed sheet is made of: parts of blocks, as plain data that the page and the paper both lay out.

A block is one of the small classes below; `kind` tells them apart. Texts hold a decimal point, which is exchanged for the house's
sign when the sheet is laid out. A ▢ in a text stands for room to write a number in; so does an empty cell of a table.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

__all__ = [
    "BLANK", "Block", "Box", "Break", "Cautions", "Drawing", "Fields", "Heading", "Keep", "Listing", "Part",
    "Strips", "Sum", "Tabled", "Text", "WritingLines",
]  # fmt: skip

BLANK = "▢"


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading of the second level. note: said beside it in plain type, such as "5 minutes"."""

    text: str
    note: str = ""
    kind: Literal["heading"] = "heading"


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph. lead: its first words, in bold. boxed: with a line around it, for what must not be overlooked."""

    text: str
    lead: str = ""
    boxed: bool = False
    kind: Literal["text"] = "text"


@dataclass(frozen=True, slots=True)
class Listing:
    """A list. style: "numbers", "dots" or "ticks" (each with a small square to tick), "row" (the same beside each other)."""

    items: tuple[str, ...]
    style: Literal["numbers", "dots", "ticks", "row"] = "dots"
    kind: Literal["listing"] = "listing"


@dataclass(frozen=True, slots=True)
class Tabled:
    """A table. widths: relative widths of its columns. An empty cell is room to write; tall: rows high enough to write in.

    right: columns that are set flush right. small: in smaller type, for the teacher's tables.
    """

    caption: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...]
    tall: bool = False
    right: tuple[int, ...] = ()
    small: bool = False
    kind: Literal["tabled"] = "tabled"


@dataclass(frozen=True, slots=True)
class Fields:
    """Labels with a line to write on, beside each other. items: (label, unit after the line)."""

    items: tuple[tuple[str, str], ...]
    kind: Literal["fields"] = "fields"


@dataclass(frozen=True, slots=True)
class Sum:
    """One line of a calculation: result = formula = numbers put in = room for the value, with its unit.

    formula, numbers: "" for room to recall and write them.
    """

    result: str
    formula: str
    numbers: str
    unit: str
    kind: Literal["sum"] = "sum"


@dataclass(frozen=True, slots=True)
class WritingLines:
    """Ruled lines to write on. label: said above them. fill: on paper, more of them down to the foot of the page."""

    label: str
    count: int
    fill: bool = False
    kind: Literal["lines"] = "lines"


@dataclass(frozen=True, slots=True)
class Box:
    """A box to write or draw in. label: said in its corner. height: in lines of text. content: what stands in it already.

    editable: in a page, a person may type into it before printing.
    """

    label: str
    height: int
    content: tuple[str, ...] = ()
    editable: bool = False
    kind: Literal["box"] = "box"


@dataclass(frozen=True, slots=True)
class Drawing:
    """A picture. svg: as `drawing.Sheet` makes it. sentence: what one sees, its text alternative. share: of the column's width.

    caption: whether the sentence is printed below the picture as well.
    """

    svg: str
    sentence: str
    share: float = 1.0
    caption: bool = True
    kind: Literal["drawing"] = "drawing"


@dataclass(frozen=True, slots=True)
class Strips:
    """A card of strips that are folded or cut apart at the dashed lines. items: (lead, text) of each strip."""

    title: str
    items: tuple[tuple[str, str], ...]
    kind: Literal["strips"] = "strips"


@dataclass(frozen=True, slots=True)
class Cautions:
    """The caution list with its label, and the local rules (or the room for them)."""

    label: str
    items: tuple[str, ...]
    local: Box
    kind: Literal["cautions"] = "cautions"


@dataclass(frozen=True, slots=True)
class Break:
    """What follows begins on a new page of the PDF, such as the back of a card; a page on screen flows on."""

    kind: Literal["break"] = "break"


@dataclass(frozen=True, slots=True)
class Keep:
    """Blocks that stay together on a page."""

    blocks: tuple[Block, ...]
    kind: Literal["keep"] = "keep"


Block: TypeAlias = (
    Heading | Text | Listing | Tabled | Fields | Sum | WritingLines | Box | Drawing | Strips | Cautions | Break | Keep
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Part:
    """One handout: a bench's card, one worksheet. It begins on a new page.

    title: its heading. kicker: the line above it, such as "Bench card". reader: "students" or "teacher".
    keep: names in its texts that are never rewritten, such as titles and file names. wide: set across the sheet's long side.
    even: its blocks are spread over its pages, so that the last one is not left with a few lines.
    """

    title: str
    kicker: str
    reader: Literal["students", "teacher"]
    blocks: tuple[Block, ...]
    keep: tuple[str, ...] = ()
    wide: bool = False
    even: bool = False
