"""Hint cards in four grades: three strips for students, given one at a time, and what only the teacher sees."""

from __future__ import annotations

from collections.abc import Collection

from joulebook.experiments.ramp_codes import CODES
from joulebook.experiments.ramp_hints import GRADES, HINTS, Hint
from joulebook.render.sheet_blocks import Heading, Keep, Listing, Part, Strips, Text
from joulebook.render.sheet_slips import SLIPS

__all__ = ["compose_hints"]

_STUDENT_GRADES = ("look", "question", "measure")


def compose_hints(codes: Collection[str] | None = None) -> tuple[Part, ...]:
    """Return the students' cards, by number, and the teacher's list of what each is for.

    codes: the findings for which cards are wanted, None for all. The cards about calculations are always there.
    """
    known = {code.code: code.title for code in CODES}
    data = [
        (f"{known[code]} ({code})", hint) for code, hint in HINTS.items() if code in known and (codes is None or code in codes)
    ]
    numbered = [(f"D{number}", title, hint) for number, (title, hint) in enumerate(data, start=1)]
    sums = [(f"C{number}", title, hint) for number, (title, hint) in enumerate(SLIPS, start=1)]
    parts = []
    if numbered:
        parts.append(Part("Cards about the data", "Hint cards", "students", _cards(numbered)))
    parts.append(Part("Cards about the calculation", "Hint cards", "students", _cards(sums)))
    how = Listing((
        "Look first, without a card. Most groups find it when somebody stands beside them.",
        "Then one strip at a time: cut or fold at the dashed lines. Wait before you give the next one.",
        "The number of a card says nothing to the group. What it stands for is listed here.",
        "The last word stays with the group: a hint never says what the result should be.",
    ))  # fmt: skip
    told = [Text(f"{title}. {hint.teacher}", lead=f"{number}.") for number, title, hint in (*numbered, *sums)]
    parts.append(
        Part(
            "What each card is for",
            f"Hint cards: {GRADES['teacher'].lower()}",
            "teacher",
            (Keep((Heading("How to use them"), how)), Heading("Card by card"), *told),
            keep=tuple(title for title, _ in data),
        )
    )
    return tuple(parts)


def _cards(cards: list[tuple[str, str, Hint]]) -> tuple[Strips, ...]:
    return tuple(
        Strips(f"Card {number}", tuple((GRADES[grade], str(getattr(hint, grade))) for grade in _STUDENT_GRADES))
        for number, _, hint in cards
    )
