"""The two sheets of a diagnosis pack: the records with questions, and what was hidden in each with the hints of the room."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from joulebook.experiments.ramp_hints import CLEAN, GRADES, HINTS, Hint
from joulebook.render.contents import Table
from joulebook.render.document import Block, Document, Drawing, Grid, Labelled, Lines, Part
from joulebook.render.picture import Picture
from joulebook.render.plain import clean_text

__all__ = ["DiagnosisItem", "answer_sheet", "question_sheet", "rehearsal_sheet"]

_QUESTIONS = (("What do you see?", 4), ("What would you ask the group?", 3), ("What would you do?", 2))


@dataclass(frozen=True, slots=True)
class DiagnosisItem:
    """One record of a pack. number: from 1. folder: its folder's name. picture: of the record, nothing named.

    stated: (what, value) of its bench file. code: what was hidden, "" for nothing; title: the finding in a few words; changes:
    what it does to the result. message, remedy: of the audit's finding, "" where it names another code. verdict: the audit's
    sentence. truth: what really happened, in a sentence, "" where nothing was launched. others: further codes that the audit
    names. caveat: why the audit may not name what was hidden, "" for none.
    """

    number: int
    folder: str
    picture: Picture
    stated: tuple[tuple[str, str], ...]
    code: str
    title: str
    changes: str
    message: str
    remedy: str
    verdict: str
    truth: str = ""
    others: tuple[str, ...] = ()
    caveat: str = ""


def question_sheet(items: Sequence[DiagnosisItem]) -> Document:
    """Return the sheet for those who practise: a picture, what the group stated, and three questions to each record."""
    count = "one record" if len(items) == 1 else f"{len(items)} records"
    lead = f"Here are {count} as groups hand them in. Some are sound. Say what you see before you look anything up."
    return Document(
        "What is the matter with this record?", "Practice for the room: questions", lead, tuple(map(_question, items))
    )


def answer_sheet(items: Sequence[DiagnosisItem]) -> Document:
    """Return the sheet with the answers: what was hidden, how it shows, the hints in four grades, and what to do."""
    rows = tuple((f"Record {item.number}", item.code or "nothing", item.title) for item in items)
    overview = Part("What was hidden", (Grid(Table("The records", ("Record", "Hidden", "In words"), rows), (0, 0, 1)),))
    lead = "For the teacher. The hints are those that the hint cards and the room use; only the last grade names the matter."
    return Document("What was the matter", "Practice for the room: answers", lead, (overview, *map(_answer, items)))


def rehearsal_sheet(answers: Mapping[str, Any], titles: Mapping[str, str]) -> Document:
    """Return a rehearsal's answer file (`joulebook/rehearsal-1`) as a sheet for the teacher. titles: of the codes, in a few
    words."""
    rows = []
    for bench in answers["benches"]:
        code = bench["hidden"]
        found = ", ".join(bench["found"]) or "nothing"
        rows.append(
            (
                bench["folder"],
                clean_text(bench["title"]),
                f"{code}: {titles[code]}" if code else "nothing",
                found,
                clean_text(bench["verdict"]),
            )
        )
    headings = ("Folder", "Bench", "Hidden", "The audit names", "The audit's verdict")
    table = Grid(Table("What is hidden where", headings, tuple(rows)), (0, 0, 1, 0.8, 1.6))
    codes = list(dict.fromkeys(bench["hidden"] for bench in answers["benches"] if bench["hidden"]))
    parts = [Part("The benches", (table,))]
    parts += [Part(f"Hints for {code}", (Labelled(_graded(HINTS[code])),)) for code in codes]
    lead = f"For the teacher: what is hidden in {answers['folder']} (seed {answers['seed']}). Keep this sheet apart from it."
    return Document("Answers to a rehearsal", "Rehearsal", lead, tuple(parts))


def _question(item: DiagnosisItem) -> Part:
    caption = f"What the group wrote (folder {item.folder})"
    stated = Table(caption, ("What", "Value"), tuple((what, clean_text(value)) for what, value in item.stated))
    blocks: list[Block] = [Grid(stated, (1, 2)), Drawing(item.picture, told=False, width=0.86)]
    # The first record shares its sheet with the title.
    blocks += [Lines(question, count - (item.number == 1)) for question, count in _QUESTIONS]
    return Part(f"Record {item.number}", tuple(blocks), new_page=item.number > 1)


def _answer(item: DiagnosisItem) -> Part:
    hint = HINTS[item.code] if item.code else CLEAN
    pairs = [("Hidden", f"{item.code}: {item.title}" if item.code else f"nothing. {item.title}")]
    if item.message:
        pairs.append(("How it shows", clean_text(item.message)))
    if item.caveat:
        pairs.append(("Not named by the audit", item.caveat))
    if item.changes:
        pairs.append(("What it changes", item.changes))
    if item.remedy:
        pairs.append(("What to do", item.remedy))
    # An audit that cannot say anything gives the finding's own words for its reason: they are not said twice.
    verdict = clean_text(item.verdict)
    if item.message and clean_text(item.message) in verdict:
        verdict = verdict.replace(clean_text(item.message), "see above.")
    pairs.append(("The audit's verdict", verdict))
    if item.others:
        pairs.append(("The audit also names", f"{', '.join(item.others)}."))
    if item.truth:
        pairs.append(("In truth", item.truth))
    blocks: list[Block] = [
        Drawing(item.picture, told=False, width=0.44),
        Labelled(tuple(pairs)),
        Labelled(_graded(hint)),
    ]
    return Part(f"Record {item.number}", tuple(blocks), whole=True)


def _graded(hint: Hint) -> tuple[tuple[str, str], ...]:
    return tuple((GRADES[grade.name], str(getattr(hint, grade.name))) for grade in fields(hint))
