"""What goes back: a sheet to each student, words first; and what the next lesson should take up, with no names."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from joulebook.classroom.checking import Checked
from joulebook.classroom.claim_check import REMARKS
from joulebook.classroom.criteria import LEVELS, Criterion, points_of
from joulebook.classroom.line_sentences import LINE_WORDS, line_advice, reading_advice
from joulebook.classroom.mark_book import Mark, MarkBook
from joulebook.classroom.slip_catalogue import SLIPS
from joulebook.render.contents import Table
from joulebook.render.document import Block, Document, Grid, Items, Labelled, Part, Text
from joulebook.render.plain import clean_text

__all__ = ["feedback_sheet", "slip_summary"]

_CLAIM_ADVICE = {
    "does-not-follow": "Hold your claim against your two energies with their uncertainties: they do not say this.",
    "too-sure": "Your two energies with their uncertainties cannot decide this; your claim says more than they do.",
    "too-careful": "Your numbers can tell more than your claim says.",
    "no-claim": "You made no claim. What do your two energies, with their uncertainties, let you say?",
    "no-uncertainty": "Give each energy its standard uncertainty u; without it no claim can rest on them.",
    "digits": "You wrote more digits than your uncertainty carries.",
    "loss-without-size": "You named where the energy went. How much is that, and does it match your difference?",
    "friction-for-gain": "Friction can only take energy away. With more energy at the top, which reading could be off?",
    "loss-not-compared": "Compare the loss that you name with the difference of your two energies.",
    "comparison-differs": "Work out your comparison again: by what do you divide?",
}


def feedback_sheet(checked: Checked, book: MarkBook, *, points: bool = True, section: str = "") -> Document:
    """Return the sheet for one student: what was done well, one thing to do next, then what was noticed line by line.

    Only marks that the teacher has confirmed are on it, and no value of the audit.
    """
    code = checked.write_up.code
    marks = [(criterion, book.mark(code, criterion.name)) for criterion in book.criteria.values()]
    good = [c for c, m in marks if m is not None and m.level == "adequate"]
    parts: list[Part] = []
    comments = [(c.title, clean_text(m.comment)) for c, m in marks if m is not None and m.comment.strip()]
    if comments:
        parts.append(Part("What your teacher says", (Labelled(tuple(comments)),)))
    noticed, right = _noticed(checked), _right(checked)
    if right:
        parts.append(Part("What is right", (Text(f"{right[:1].upper()}{right[1:]}."),)))
    blocks: tuple[Block, ...] = (
        (Items(noticed),) if noticed else (Text("Every line that could be checked follows from the one before."),)
    )
    parts.append(Part("What we noticed in your numbers", blocks))
    rows = tuple(_row(criterion, mark, points) for criterion, mark in marks if mark is not None)
    if rows:
        headings = ("What was asked", "Where you are", "What that means", *(("Points",) if points else ()))
        table = Table("Confirmed by your teacher", headings, rows, right=(3,) if points else ())
        parts.append(Part("Where you are", (Grid(table, (0.22, 0.16, 0.5, 0.12) if points else (0.25, 0.2, 0.55)),)))
    lead = _lead([c.title for c in good], noticed)
    title = f"Your write-up: {clean_text(code)}"
    return Document(
        title, clean_text(f"Feedback, bench {checked.write_up.bench}" + (f", {section}" if section else "")), lead, tuple(parts)
    )


def slip_summary(checked: Sequence[Checked], *, section: str = "") -> Document:
    """Return what the write-ups of a class have in common, for the next lesson, without codes, names or benches."""
    count = len(checked)
    # A choice of the house is no mistake, and nothing to take up.
    slips = Counter(code for each in checked for code in dict.fromkeys(each.slips) if not SLIPS[code].harmless)
    readings = Counter(
        feature.words for each in checked for reading in each.readings.values() for feature in reading.features[:1]
    )
    remarks = Counter(code for each in checked for code in each.claim.remarks if code != "follows")
    fine = sum(1 for each in checked if not each.first_wrong or each.harmless)
    lead = f"{fine} of {count} write-ups follow from the first line to the claim." if count else "There is no write-up yet."
    parts = []
    if slips:
        rows = tuple(
            (LINE_WORDS[SLIPS[code].line], f"As if {SLIPS[code].words}", str(n), SLIPS[code].ask)
            for code, n in slips.most_common()
        )
        table = Table(
            "Slips, the most frequent first", ("Line", "What was done", "How often", "What to ask the class"), rows, right=(2,)
        )
        parts.append(Part("In the calculations", (Grid(table, (0.18, 0.38, 0.1, 0.34)),)))
    if readings:
        read = tuple((words.capitalize(), str(n)) for words, n in readings.most_common())
        parts.append(
            Part(
                "On the graph",
                (Grid(Table("What was read instead", ("Read instead", "How often"), read, right=(1,)), (0.8, 0.2)),),
            )
        )
    if remarks:
        noted = tuple((REMARKS[code], str(n)) for code, n in remarks.most_common())
        parts.append(
            Part("In the claims", (Grid(Table("What was noticed", ("Remark", "How often"), noted, right=(1,)), (0.8, 0.2)),))
        )
    if not parts:
        parts.append(Part("Nothing stands out", (Text("No slip, no odd reading and no claim beyond its numbers was found."),)))
    return Document(
        "What to take up next lesson", clean_text(f"From the write-ups{f' of {section}' if section else ''}"), lead, tuple(parts)
    )


def _right(checked: Checked) -> str:
    """Return the readings and lines that are right, in words, "" for none."""
    names = [LINE_WORDS[name] for name, each in checked.readings.items() if each.kind == "right"]
    names += [LINE_WORDS[name] for name, line in checked.lines.items() if line.kind == "right"]
    return _joined(names) if names else ""


def _noticed(checked: Checked) -> tuple[str, ...]:
    found = [reading_advice(each) for each in checked.readings.values() if each.kind in ("other feature", "off")]
    found += [
        line_advice(line)
        for line in checked.lines.values()
        if line.kind in ("slip", "cannot tell") and not line.harmless
    ]
    found += [f"The entry “{name.replace('_', ' ')}” could not be read as a number." for name in checked.unread]
    found += [_CLAIM_ADVICE[code] for code in checked.claim.remarks if code in _CLAIM_ADVICE]
    return tuple(dict.fromkeys(found))


def _lead(good: Iterable[str], noticed: Sequence[str]) -> str:
    names = [title[:1].lower() + title[1:] for title in good]
    praise = f"Well done: {_joined(names)}. " if names else ""
    step = f"Next: {noticed[0]}" if noticed else "Your numbers hold together from the first line to the last."
    return praise + step


def _row(criterion: Criterion, mark: Mark, points: bool) -> tuple[str, ...]:
    meaning = criterion.levels[LEVELS.index(mark.level)]
    cells = (criterion.title, mark.level.capitalize(), meaning)
    return (*cells, f"{points_of(criterion, mark.level):g}") if points else cells


def _joined(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
