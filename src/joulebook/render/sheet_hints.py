"""Hint cards in four grades: three strips for students, given one at a time, and a part of its own that only the teacher sees."""

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
        parts.append(Part("Cards about the data", "Hint cards", "students", _cards(numbered), even=True))
    parts.append(Part("Cards about the calculation", "Hint cards", "students", _cards(sums), even=True))
    how = Listing((
        "Look first, without a card. Most groups find it when somebody stands beside them.",
        "Then one strip at a time: cut at the lines. Every strip bears its card's number, so that it finds its way back. Wait "
        "before you give the next one.",
        "The number says nothing to the group. What it stands for is listed below.",
        "The last word stays with the group: a hint never says what the result should be.",
    ))  # fmt: skip
    told = [Text(f"{title}. {hint.teacher}", lead=f"{number}.") for number, title, hint in (*numbered, *sums)]
    parts.append(
        Part(
            "What each card is for",
            f"Hint cards: {GRADES['teacher'].lower()}",
            "teacher",
            (
                Text("For the teacher only: this list says what is wrong. Do not cut it up, do not hand it out.", boxed=True),
                Keep((Heading("How to use the strips"), how)),
                Keep((Heading("Card by card"), told[0])),
                *told[1:],
            ),
            keep=tuple(title for title, _ in data),
            even=True,
        )
    )
    return tuple(parts)


def _cards(cards: list[tuple[str, str, Hint]]) -> tuple[Strips, ...]:
    return tuple(
        # Strips are cut apart: each says whose it is.
        Strips(f"Card {number}", tuple((f"{number} · {GRADES[grade]}", str(getattr(hint, grade))) for grade in _STUDENT_GRADES))
        for number, _, hint in cards
    )
