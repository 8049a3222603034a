"""The class picture as a document for the next lesson, and as large pages without codes for a projector.

Both are composed from the JSON form `joulebook/class-1`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from joulebook.render.class_pictures import BOARD, draw_energies, draw_losses, draw_pooled, draw_slopes
from joulebook.render.contents import Table
from joulebook.render.document import Block, Document, Drawing, Grid, Items, Labelled, Notes, Part, Text
from joulebook.render.plain import clean_text
from joulebook.render.words import input_words

__all__ = ["class_document", "class_names", "projector_document"]

_Told = Mapping[str, Any]

_DRAWN = ("unaccounted", "rolling_resistance")
_TERMS = (
    "n: benches. D–L, P–M: random-effects means after DerSimonian and Laird and after Paule and Mandel. p: how often equal benches "
    "would differ as much by chance alone. I²: the part of the differences that the benches’ uncertainties do not explain."
)
_LIMITS = (
    "“All alike” is the fixed-effect mean, weights 1/u². “Each its own” is the random-effects mean after Paule and Mandel, with "
    "Student’s t for so few benches (Hartung and Knapp) and with what all benches share. “Robust” is Algorithm A of ISO 13528, "
    "± 2 u. Where they agree, it does not matter which one believes; where not, look at the benches first.",
    "A bench lies apart when its zeta score (ISO 13528), taken against the robust mean of all the others, is 3 or more and so many "
    "comparisons among equal benches would name any in at most one class in twenty.",
    "A bench that cannot tell by itself whether energy was conserved counts all the same: leaving it out because of its result "
    "would bend the mean. Its wide interval gives it little weight.",
)


def class_document(told: _Told) -> Document:
    """Return a class picture, in its JSON form, as a document for the teacher's next lesson."""
    parts = [_pictured(told, name) for name in ("energies", "losses", "slopes")]
    parts = [part for part in parts if part.blocks]
    if told["pooled"]:
        parts.append(_together(told))
    parts.append(_apart(told))
    if told["left_out"]:
        texts = tuple(clean_text(each["sentence"]) for each in told["left_out"])
        asked = [_question(each) for each in told["questions"] if each["about"] == "left-out"]
        parts.append(Part("What does not count, and why", (Items(texts), *asked)))
    parts.append(Part("How this was reckoned", (Notes((*_LIMITS, _shared(told))),)))
    return Document(clean_text(told["title"]) or "The class", "Class picture", clean_text(told["sentence"]), tuple(parts))


def projector_document(told: _Told) -> Document:
    """Return an anonymous class picture as large pages: a picture and what to ask about it, nothing else.

    Raises ValueError for a picture that names its benches.
    """
    if not told["anonymous"]:
        raise ValueError("this class picture names its benches: make it with a generator for `anonymous`")
    parts = []
    for name, heading in (("energies", "Equal?"), ("losses", "What rolling predicts"), ("slopes", "Two slopes")):
        drawn = _DRAW[name](told, frame=BOARD)
        if drawn is not None:
            parts.append(Part(heading, (Drawing(drawn, told=False), *_asked(told, name)), new_page=True))
    drawn = draw_pooled(told, "unaccounted", frame=BOARD)
    if drawn is not None:
        parts.append(Part("All together", (Drawing(drawn, told=False), *_asked(told, "pooled")), new_page=True))
    if told["left_out"]:
        kinds = [each["sentence"] for each in told["left_out"]]
        counted = tuple(f"{kinds.count(kind)} × {kind}" for kind in dict.fromkeys(kinds))
        parts.append(Part("What does not count", (Items(counted), *_asked(told, "left-out")), new_page=True))
    return Document(clean_text(told["title"]) or "The class", "Class picture", "", tuple(parts))


def class_names(told: _Told) -> tuple[str, ...]:
    """Return the names in a class picture whose points are no decimal signs."""
    names = [told["title"], *(each["bench"] for each in told["benches"]), *(each.get("bench", "") for each in told["left_out"])]
    return tuple(dict.fromkeys(clean_text(name) for name in names if name))


_DRAW = {"energies": draw_energies, "losses": draw_losses, "slopes": draw_slopes}
_HEADINGS = {
    "energies": "Kinetic energy against potential energy",
    "losses": "Loss against what rolling predicts",
    "slopes": "Stated slope against slope from the motion",
}


def _pictured(told: _Told, name: str) -> Part:
    picture = _DRAW[name](told)
    blocks: list[Block] = []
    if picture is not None:
        asked = [_question(each) for each in told["questions"] if each["about"] == name]
        blocks = [Drawing(picture, width=0.66), *asked]
    return Part(_HEADINGS[name], tuple(blocks))


def _question(question: _Told) -> Block:
    # One paragraph, so that no sheet begins with an answer whose question is overleaf.
    listen = f" Listen for: {clean_text(question['listen'])}" if "listen" in question else ""
    return Labelled((("Ask", question["ask"] + listen),))


def _asked(told: _Told, name: str) -> list[Block]:
    questions = tuple(each["ask"] for each in told["questions"] if each["about"] == name)
    return [Items(questions)] if questions else []


def _together(told: _Told) -> Part:
    rows = []
    for value in told["pooled"]:
        chance = value["fixed"]["probability"]
        rows.append(
            (
                f"{value['label'][:1].upper()}{value['label'][1:]}", str(value["n"]), value["fixed"]["shown"],
                value["dersimonian_laird"]["shown"], value["shown"], value["robust"]["shown"],
                "<\u00a00.001" if chance < 0.001 else f"{chance:.2f}", f"{100 * value['fixed']['i2']:.0f}\u00a0%",
            )
        )  # fmt: skip
    headings = ("Quantity", "n", "All alike", "Each its own (D–L)", "Each its own (P–M), shared part in", "Robust ± u", "p", "I²")
    table = Table("The class by each way to pool, 95 % intervals", headings, tuple(rows), right=(1, 6, 7))
    pictures = [Drawing(drawn, width=0.66) for name in _DRAWN if (drawn := draw_pooled(told, name)) is not None]
    shown = {f"pooled-{name}" for name in _DRAWN}
    said = tuple(value["sentence"] for value in told["pooled"] if f"pooled-{value['name']}" not in shown)
    asked = [_question(each) for each in told["questions"] if each["about"] == "pooled"]
    blocks: list[Block] = [*pictures, *([Items(said)] if said else []), *asked, Grid(table, (2.2, 0.5, 1.9, 1.7, 1.8, 1.8, 0.9, 0.7)),
                           Notes((_TERMS,))]  # fmt: skip
    return Part("All benches together", tuple(blocks))


def _apart(told: _Told) -> Part:
    if told["far_off"]:
        return Part("Benches that lie apart", (Items(tuple(clean_text(each["sentence"]) for each in told["far_off"])),))
    judged = max((value["n"] for value in told["pooled"]), default=0)
    text = "No bench lies farther from the others than chance explains." if judged >= 5 else (
        "With fewer than five benches nobody can say which is the odd one."
    )  # fmt: skip
    return Part("Benches that lie apart", (Text(text),))


def _shared(told: _Told) -> str:
    if not told["shared"]:
        return "No influence is stated alike at all benches, so each bench's uncertainty is taken as its own."
    names = ", ".join(input_words(name).label for name in told["shared"])
    return f"Stated alike at all benches, and so taken as wrong by the same amount everywhere: {names}. It does not average out."
