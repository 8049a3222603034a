"""The class picture: for the teacher with every bench named, large and without names for a projector, and both as PDF."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from joulebook.classroom.judging import Judgement
from joulebook.classroom.section import BenchState, Section
from joulebook.render.decimal_sign import signed
from joulebook.render.document import Document
from joulebook.render.words import input_words
from joulebook.web.access import Teacher, settings_of
from joulebook.web.pages import Page, show
from joulebook.web.room import Room
from joulebook.web.section_contexts import Head
from joulebook.web.section_head import head_of

__all__ = ["ClassPage", "ProjectorPage", "router"]

router = APIRouter(include_in_schema=False)

_WAIT = 20.0  # seconds for the benches that are still being judged


@dataclass(frozen=True, slots=True)
class ClassPage(Page):
    """The class picture with every bench named, for the teacher. head: of the section. document: what it says, part by part."""

    template: ClassVar[str] = "class.html.j2"
    head: Head
    document: Document


@dataclass(frozen=True, slots=True)
class ProjectorPage(Page):
    """The class picture for a projector: letters in a shuffled order instead of benches. section: its id. document: as above."""

    template: ClassVar[str] = "projector.html.j2"
    section: str
    document: Document


@router.get("/sections/{section}/class")
async def class_page(request: Request, room: Teacher, section: str) -> Response:
    """What the benches say together, for the teacher."""
    from joulebook.render.class_document import class_document

    whole = await room.section(section)
    told = await _told(room, section, whole, "")
    return show(request, ClassPage(head_of(section, whole, "class"), await run_in_threadpool(_document, class_document, told, whole)))


@router.get("/sections/{section}/projector")
async def projector(request: Request, room: Teacher, section: str) -> Response:
    """The same for all to see: large, and nothing names a bench."""
    from joulebook.render.class_document import projector_document

    whole = await room.section(section)
    told = await _told(room, section, whole, settings_of(request).secret)
    return show(request, ProjectorPage(section, await run_in_threadpool(_document, projector_document, told, whole)))


@router.get("/sections/{section}/class.pdf")
async def class_paper(request: Request, room: Teacher, section: str, names: bool = True) -> Response:
    """The class picture as a PDF for the next lesson. names: False gives the pages for a projector."""
    from joulebook.render.class_document import class_document, class_names, projector_document
    from joulebook.render.document import write_document_paper

    whole = await room.section(section)
    told = await _told(room, section, whole, "" if names else settings_of(request).secret)

    def write() -> bytes:
        document = class_document(told) if names else projector_document(told)
        return write_document_paper(document, paper=whole.house.paper, decimal=whole.house.decimal, keep=class_names(told))

    content = await run_in_threadpool(write)
    name = "class-picture.pdf" if names else "class-picture-without-names.pdf"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type="application/pdf", headers=headers)


def _why(bench: BenchState, judged: Judgement | None) -> str:
    """Return why a bench has no audit: what is true of it, in one sentence."""
    if not bench.launches:
        return "No launch record has come."
    if judged is None:
        return "Its records are still being checked."
    stop = next((each.message for each in judged.findings if each.severity == "stop"), "")
    unread = next((f"{each.name} cannot be read: {each.problem}" for each in judged.news if each.problem), "")
    names = ", ".join(input_words(name).label for name in judged.missing)
    faulty = ", ".join(input_words(fault.where).label for fault in judged.faults)
    missing = f"Set-up readings are missing: {names}." if names else f"Set-up readings are not understood: {faulty}." if faulty else ""
    return unread or stop or judged.problem or missing or "Its records give no result."


def _document(compose: Callable[[dict[str, Any]], Document], told: dict[str, Any], whole: Section) -> Document:
    """Return the document that a page shows, in the house's decimal sign."""
    from joulebook.render.class_document import class_names

    return signed(compose(told), whole.house.decimal, keep=class_names(told))


async def _told(room: Room, section: str, whole: Section, secret: str) -> dict[str, Any]:
    """Return the class picture in its JSON form. secret: what the order of the letters is drawn from, "" to name the benches."""
    from joulebook.classroom.class_picture import ClassBench, class_picture

    judged = await room.judgements(section, wait=_WAIT)
    benches = []
    for number, state in whole.benches.items():
        found = judged.get(number)
        # An audit without a usable launch goes in too: its findings say why the bench does not count.
        audit = None if found is None or found.stood_in else found.audit
        benches.append(ClassBench(str(number), state.title, audit, why="" if audit else _why(state, found)))

    def work() -> dict[str, Any]:
        import numpy as np

        if not secret:
            return class_picture(benches, title=whole.title).to_dict()
        # The same letters at every look while the server runs, and nobody can reckon them back.
        seed = int.from_bytes(hashlib.sha256(f"{secret} {section}".encode()).digest()[:8])
        return class_picture(benches, title=whole.title, anonymous=np.random.default_rng(seed)).to_dict()

    return await run_in_threadpool(work)
