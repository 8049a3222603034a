"""Marking in the room: every write-up worked through, every mark confirmed by the teacher, by criterion or by student."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from joulebook.api.marking import CheckedWriteUp
from joulebook.classroom.agreement import agreement_by_criterion
from joulebook.classroom.alike import Alike, alike_records, alike_write_ups
from joulebook.classroom.changes import Draft
from joulebook.classroom.checking import check_write_up, write_up_of
from joulebook.classroom.criteria import LEVELS, Criterion
from joulebook.classroom.line_sentences import LINE_WORDS, line_sentence, reading_sentence
from joulebook.classroom.mark_book import MarkBook
from joulebook.classroom.mark_table import read_write_ups
from joulebook.classroom.own_work import FIELDS
from joulebook.classroom.placing import clean_file_name
from joulebook.classroom.section import Section
from joulebook.classroom.suggesting import Suggestion, suggest
from joulebook.errors import InputError
from joulebook.web.access import Teacher
from joulebook.web.house_sign import of_house
from joulebook.web.marking_bank import comment_bank
from joulebook.web.marking_contexts import (
    LevelChoice,
    MarkForm,
    MarkingPage,
    MarkingRow,
    MarkingSheetPage,
    StudentLine,
)
from joulebook.web.pages import show
from joulebook.web.room import Room
from joulebook.web.section_head import head_of, just_done

__all__ = ["checked_write_ups", "router"]

router = APIRouter(include_in_schema=False)

_SAMPLE_SHARE, _SAMPLE_LEAST = 0.1, 5  # of the second marker; common practice, no source
_STATES = {"right": ("●", "right"), "slip": ("▲", "look"), "cannot tell": ("○", "ask to see"), "blank": ("○", "not given")}


async def checked_write_ups(room: Room, id_: str, whole: Section) -> list[CheckedWriteUp]:
    """Return every write-up of a section, worked through against its bench: those of the room, then those of tables."""
    judged = await room.judgements(id_)
    own = [write_up_of(bench) for bench in whole.benches.values()]
    listed = [write_up for write_up in own if write_up.fields] + list(whole.marks.write_ups.values())
    found = []
    for write_up in listed:
        judgement = judged.get(write_up.bench)
        bench = whole.benches.get(write_up.bench)
        # Whoever gives no set-up readings worked with those of the bench.
        values = write_up.values or (dict(bench.values) if bench is not None else {})
        checked = check_write_up(replace(write_up, values=values), judgement.ledger if judgement else None, whole.house)
        found.append(CheckedWriteUp(checked, suggest(checked, judgement, whole.marks.criteria.values())))
    return found


@router.get("/sections/{section}/marking")
async def marking(
    request: Request, room: Teacher, section: str, did: int = 0, anonymous: Annotated[bool, Query()] = False, alike: bool = False
) -> Response:
    """Every write-up with its marks. alike: whether to look for what is identical, in every section that is kept."""
    return show(request, await _overview(room, section, did, anonymous, alike=alike))


async def _overview(room: Room, section: str, did: int = 0, anonymous: bool = False, *, alike: bool = False) -> MarkingPage:
    whole = await room.section(section)
    found = await checked_write_ups(room, section, whole)
    book = whole.marks
    names = _Names(section, [each.checked.write_up.code for each in found], anonymous)
    rows = tuple(_row(section, each, book, names) for each in found)
    total = len(found) * len(book.criteria)
    sample = _sample(section, names.codes)
    seconded = sum(1 for code in sample if any(m == "second" and c == code for m, c, _ in book.marks))
    return MarkingPage(
        head_of(section, whole, "marking"), rows, tuple((c.name, c.title) for c in book.criteria.values()),
        total - sum(row.left for row in rows), total, anonymous, await just_done(room, section, did),
        agreement=agreement_by_criterion(book), sample=(seconded, len(sample)),
        alike=await _alike(room, found) if alike else (), looked=alike, decimal=whole.house.decimal,
    )  # fmt: skip


@router.post("/sections/{section}/marking/records")
async def take_table(request: Request, room: Teacher, section: str) -> Response:
    """Take in a table of write-ups: all of its rows or none."""
    await room.section(section)
    async with request.form(max_fields=5, max_files=1) as form:
        given = form.get("table")
        name, content = ("", b"") if not isinstance(given, UploadFile) else (clean_file_name(given.filename or "table"), await given.read())
    try:
        if not content:
            raise InputError("No table was chosen.", remedy="Choose a CSV, .xlsx or .ods file.")
        whole = await room.section(section)
        write_ups = await run_in_threadpool(read_write_ups, content, name=name)
        lost = sorted({each.bench for each in write_ups} - set(whole.benches))
        if lost:
            there = f"This section has benches 1 to {len(whole.benches)}."
            raise InputError(f"There is no bench {', '.join(map(str, lost))} in this section.", remedy=there)
        drafts = [
            Draft("write-up-added", "teacher", each.bench,
                  {"code": each.code, "fields": dict(each.fields), "values": dict(each.values), "via": "table"})
            for each in write_ups
        ]  # fmt: skip
        await room.append_many(section, drafts)
    except InputError as error:
        page = replace(
            await _overview(room, section), problem=error.message, remedy=error.remedy,
            faults=tuple(str(fault) for fault in error.faults),
        )  # fmt: skip
        return show(request, page, status=422)
    return RedirectResponse(f"/sections/{section}/marking", 303)


@router.get("/sections/{section}/marking/criterion/{criterion}")
async def by_criterion(
    request: Request, room: Teacher, section: str, criterion: str, did: int = 0, anonymous: bool = False, marker: str = "first"
) -> Response:
    """One criterion of every write-up: the quickest and fairest way through a pile."""
    whole = await room.section(section)
    book = whole.marks
    if criterion not in book.criteria:
        raise InputError(f"There is no criterion {criterion[:40]!r}.", remedy="Go back to the list.", code="no-section")
    found = await checked_write_ups(room, section, whole)
    names = _Names(section, [each.checked.write_up.code for each in found], anonymous or marker == "second")
    if marker == "second":
        sample = _sample(section, names.codes)
        found = [each for each in found if each.checked.write_up.code in sample]
    rule = book.criteria[criterion]
    forms = tuple(
        _signed(_form(f"m{index}", each, rule, each.suggestions[criterion], book, names, marker), whole)
        for index, each in enumerate(found, 1)
    )
    order = list(book.criteria)
    index = order.index(criterion)
    query = _query(anonymous, marker)
    place = f"/sections/{section}/marking/criterion"
    beside = _beside([(f"{place}/{name}{query}", book.criteria[name].title) for name in order], index)
    page = MarkingSheetPage(
        head_of(section, whole, "marking"), rule.title, _lead(forms, "write-up"), forms,
        f"{place}/{criterion}{query}", marker, criterion, previous=beside[0], following=beside[1],
        batch=sum(1 for form in forms if form.suggested and not form.confirmed) if marker == "first" else 0,
        did=await just_done(room, section, did),
    )  # fmt: skip
    return show(request, page)


@router.get("/sections/{section}/marking/student/{code}")
async def by_student(
    request: Request, room: Teacher, section: str, code: str, did: int = 0, anonymous: bool = False
) -> Response:
    """One write-up under every criterion, with what was found line by line."""
    whole = await room.section(section)
    found = await checked_write_ups(room, section, whole)
    codes = [each.checked.write_up.code for each in found]
    names = _Names(section, codes, anonymous)
    code = names.code(code)
    if code not in codes:
        raise InputError("There is no such write-up.", remedy="Go back to the list.", code="no-section")
    here = found[codes.index(code)]
    forms = tuple(
        _signed(_form(f"m{index}", here, rule, here.suggestions[rule.name], whole.marks, names, "first"), whole)
        for index, rule in enumerate(whole.marks.criteria.values(), 1)
    )
    index, query = codes.index(code), _query(anonymous, "first")
    place = f"/sections/{section}/marking/student"
    beside = _beside([(f"{place}/{names.shown(each)}{query}", names.shown(each)) for each in codes], index)
    page = MarkingSheetPage(
        head_of(section, whole, "marking"), f"{names.shown(code)}, bench {here.checked.write_up.bench}", _lead(forms, "criterion"),
        forms, f"{place}/{names.shown(code)}{query}", "first", lines=_lines(here, whole), texts=_texts(here),
        previous=beside[0], following=beside[1], did=await just_done(room, section, did),
    )  # fmt: skip
    return show(request, page)


@router.post("/sections/{section}/marking/mark")
async def confirm(
    room: Teacher,
    section: str,
    code: Annotated[str, Form(max_length=40)],
    criterion: Annotated[str, Form(max_length=40)],
    level: Annotated[str, Form(max_length=40)] = "",
    comment: Annotated[str, Form(max_length=2000)] = "",
    bank: Annotated[str, Form(max_length=2000)] = "",
    marker: Annotated[str, Form(max_length=10)] = "first",
    back: Annotated[str, Form(max_length=400)] = "",
    form: Annotated[str, Form(max_length=10)] = "",
) -> Response:
    """Confirm one mark, or take it back when no level is chosen."""
    body: dict[str, object] = {"code": code, "criterion": criterion, "marker": marker}
    if level:
        text = " ".join(part for part in (comment.strip(), "" if bank.strip() in comment else bank.strip()) if part)
        draft = Draft("mark-set", "teacher", None, {**body, "level": level, "comment": text})
    else:
        draft = Draft("mark-cleared", "teacher", None, body)
    change = await room.append(section, draft)
    return _back(section, back, change.seq, form)


@router.post("/sections/{section}/marking/batch")
async def confirm_all(
    room: Teacher, section: str, criterion: Annotated[str, Form(max_length=40)], back: Annotated[str, Form(max_length=400)] = ""
) -> Response:
    """Confirm every suggestion of one criterion that is not confirmed yet."""
    whole = await room.section(section)
    if criterion not in whole.marks.criteria:
        raise InputError(f"There is no criterion {criterion[:40]!r}.", remedy="Go back to the list.", code="no-section")
    drafts = []
    for each in await checked_write_ups(room, section, whole):
        code, suggestion = each.checked.write_up.code, each.suggestions[criterion]
        if suggestion.level and whole.marks.mark(code, criterion) is None:
            comment = " ".join(comment_bank(whole.marks)[name] for name in suggestion.comments if name in comment_bank(whole.marks))
            body = {"code": code, "criterion": criterion, "level": suggestion.level, "comment": comment}
            drafts.append(Draft("mark-set", "teacher", None, body))
    made = await room.append_many(section, drafts) if drafts else []
    return _back(section, back, made[-1].seq if made else 0, "")


@dataclass(frozen=True)
class _Names:
    """How write-ups are called: by their codes, or anonymously in an order that only this section knows."""

    section: str
    codes: list[str]
    anonymous: bool

    def shown(self, code: str) -> str:
        """Return what stands on the page."""
        return f"Write-up {self._order().index(code) + 1}" if self.anonymous else code

    def code(self, shown: str) -> str:
        """Return the code of what stands in an address."""
        number = shown.removeprefix("Write-up ")
        if self.anonymous and number.isdigit() and 1 <= int(number) <= len(self.codes):
            return self._order()[int(number) - 1]
        return shown

    def _order(self) -> list[str]:
        mixed = sorted(self.codes)
        random.Random(self.section).shuffle(mixed)
        return mixed


def _row(section: str, each: CheckedWriteUp, book: MarkBook, names: _Names) -> MarkingRow:
    checked = each.checked
    code, cells = checked.write_up.code, []
    for name in book.criteria:
        mark, level = book.mark(code, name), each.suggestions[name].level
        cells.append((mark.level, "confirmed") if mark is not None else (level, "suggested") if level else ("", "open"))
    first = LINE_WORDS.get(checked.first_wrong, checked.first_wrong)
    link = f"/sections/{section}/marking/student/{names.shown(code)}{_query(names.anonymous, 'first')}"
    left = sum(1 for _, kind in cells if kind != "confirmed")
    return MarkingRow(names.shown(code), link, checked.write_up.bench, first, tuple(cells), left)


def _form(
    id_: str, each: CheckedWriteUp, rule: Criterion, suggestion: Suggestion, book: MarkBook, names: _Names, marker: str
) -> MarkForm:
    code = each.checked.write_up.code
    mark = book.mark(code, rule.name, marker=marker)
    points = any(rule.points)
    choices = tuple(
        LevelChoice(level, means, f"{value:g}" if points else "", number)
        for number, (level, means, value) in enumerate(zip(LEVELS, rule.levels, rule.points, strict=True), 1)
    )
    known = comment_bank(book)
    fitting = [known[name] for name in suggestion.comments if name in known]
    comments = (*((text, True) for text in fitting), *((text, False) for text in known.values() if text not in fitting))
    chosen = mark.level if mark else (suggestion.level if marker == "first" else "")
    comment = mark.comment if mark else (" ".join(fitting) if marker == "first" else "")
    return MarkForm(
        id_, code, names.shown(code), each.checked.write_up.bench, rule.name, rule.title, choices, suggestion.level, chosen,
        mark is not None, suggestion.evidence, comments, comment,
    )  # fmt: skip


def _signed(form: MarkForm, whole: Section) -> MarkForm:
    """Return a form with the house's decimal sign in what joulebook says; comments stay as they are kept."""
    return replace(form, evidence=of_house(form.evidence, whole), choices=of_house(form.choices, whole))


def _lines(each: CheckedWriteUp, whole: Section) -> tuple[StudentLine, ...]:
    lines = []
    for name, reading in each.checked.readings.items():
        kind = {"other feature": "slip", "off": "slip", "no audit": "cannot tell"}.get(reading.kind, reading.kind)
        text = reading.written.text if reading.written else ""
        lines.append(StudentLine(LINE_WORDS[name], text, reading_sentence(reading), *_STATES[kind]))
    for name, line in each.checked.lines.items():
        text = line.written.text if line.written else ""
        lines.append(StudentLine(LINE_WORDS[name], text, line_sentence(line), *_STATES[line.kind]))
    # What was written stands as it was typed; a slope is a set-up reading, which is kept with a point whatever was typed.
    slope = LINE_WORDS["slope"]
    return tuple(
        replace(line, found=of_house(line.found, whole), written=of_house(line.written, whole) if line.name == slope else line.written)
        for line in lines
    )


def _texts(each: CheckedWriteUp) -> tuple[tuple[str, str], ...]:
    fields = each.checked.write_up.fields
    told = []
    for step in FIELDS.values():
        for field in step:
            text = fields.get(field.name, "").strip()
            if text and field.shape != "number":
                told.append((field.label, dict(field.choices).get(text, text)))
    return tuple(told)


def _sample(section: str, codes: Sequence[str]) -> frozenset[str]:
    """Return the write-ups that a second marker marks: a tenth, five at least, the same ones each time."""
    count = min(len(codes), max(_SAMPLE_LEAST, round(_SAMPLE_SHARE * len(codes))))
    return frozenset(random.Random(f"second {section}").sample(sorted(codes), count))


async def _alike(room: Room, found: Sequence[CheckedWriteUp]) -> tuple[Alike, ...]:
    """Return what is identical; looking through the sections of years takes a while, so it is done when it is asked for."""
    return (*alike_write_ups([each.checked.write_up for each in found]), *alike_records(await _sections(room)))


async def _sections(room: Room) -> dict[str, Section]:
    lines = await run_in_threadpool(room.store.sections)
    found: dict[str, Section] = {}
    for line in lines:
        name = f"{line.title} ({line.made_at[:10]})"
        found[f"{name}, {line.id}" if name in found else name] = await room.section(line.id)
    return found


def _lead(forms: Sequence[MarkForm], what: str) -> str:
    left = sum(1 for form in forms if not form.confirmed)
    several = f"{what[:-2]}a" if what.endswith("on") else f"{what}s"
    done = f"All {len(forms)} are confirmed." if not left else f"{left} of {len(forms)} still to be confirmed."
    return f"{len(forms)} {what if len(forms) == 1 else several}. {done}"


def _beside(places: Sequence[tuple[str, str]], index: int) -> tuple[tuple[str, str], tuple[str, str]]:
    """Return the place before and the place after, ("", "") at an end."""
    before = places[index - 1] if index > 0 else ("", "")
    return before, places[index + 1] if index + 1 < len(places) else ("", "")


def _query(anonymous: bool, marker: str) -> str:
    parts = (["anonymous=true"] if anonymous else []) + ([f"marker={marker}"] if marker != "first" else [])
    return f"?{'&'.join(parts)}" if parts else ""


def _back(section: str, back: str, seq: int, form: str) -> RedirectResponse:
    """Lead back to the page that a form stood on, at the form after it."""
    place = back if back.startswith(f"/sections/{section}/marking") and back.isprintable() else f"/sections/{section}/marking"
    joint = "&" if "?" in place else "?"
    number = form[1:]
    at = int(number) + 1 if form[:1] == "m" and number.isascii() and number.isdigit() else 0
    return RedirectResponse(f"{place}{joint}did={seq}{f'&next=m{at}' if at else ''}", 303)
