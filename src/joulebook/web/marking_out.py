"""What goes out from marking: template, gradebook, feedback sheets, and what to take up next lesson."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, Response

from joulebook.api.marking import CheckedWriteUp
from joulebook.classroom.feedback import feedback_sheet, slip_summary
from joulebook.classroom.mark_book import MarkBook
from joulebook.classroom.mark_table import gradebook_rows, template_rows, to_csv
from joulebook.classroom.section import Section
from joulebook.render.document import write_document_page, write_document_paper
from joulebook.render.page import style_hash
from joulebook.render.text_workbook import write_text_workbook
from joulebook.web.access import Teacher
from joulebook.web.marking_pages import checked_write_ups
from joulebook.web.security import CONTENT_SECURITY_POLICY

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@router.get("/sections/{section}/marking/template.csv")
async def template_csv(room: Teacher, section: str) -> Response:
    """An empty table of write-ups with a row for each bench."""
    return _file("write-ups.csv", "text/csv", ("\ufeff" + to_csv(_template(await room.section(section)))).encode())


@router.get("/sections/{section}/marking/template.xlsx")
async def template_xlsx(room: Teacher, section: str) -> Response:
    """The same as a workbook."""
    rows = _template(await room.section(section))
    return _file("write-ups.xlsx", _XLSX, await run_in_threadpool(write_text_workbook, {"write-ups": rows}))


@router.get("/sections/{section}/marking/gradebook.csv")
async def gradebook_csv(room: Teacher, section: str) -> Response:
    """The confirmed marks."""
    whole = await room.section(section)
    rows = _gradebook(await checked_write_ups(room, section, whole), whole.marks)
    return _file("gradebook.csv", "text/csv", ("\ufeff" + to_csv(rows)).encode())


@router.get("/sections/{section}/marking/gradebook.xlsx")
async def gradebook_xlsx(room: Teacher, section: str) -> Response:
    """The same as a workbook."""
    whole = await room.section(section)
    rows = _gradebook(await checked_write_ups(room, section, whole), whole.marks)
    return _file("gradebook.xlsx", _XLSX, await run_in_threadpool(write_text_workbook, {"gradebook": rows}))


@router.get("/sections/{section}/marking/feedback.zip")
async def feedback(room: Teacher, section: str) -> Response:
    """A feedback sheet to each write-up, as a page and as a PDF."""
    whole = await room.section(section)
    found = await checked_write_ups(room, section, whole)
    return _file("feedback.zip", "application/zip", await run_in_threadpool(_feedback, found, whole))


@router.get("/sections/{section}/marking/next-lesson")
async def next_lesson(room: Teacher, section: str) -> HTMLResponse:
    """What to take up next lesson, as a page."""
    whole = await room.section(section)
    found = await checked_write_ups(room, section, whole)
    page = write_document_page(slip_summary([each.checked for each in found], section=whole.title), decimal=whole.house.decimal)
    style = page.partition("<style>")[2].partition("</style>")[0]
    policy = CONTENT_SECURITY_POLICY.replace("style-src 'self'", f"style-src '{style_hash(style)}'")
    return HTMLResponse(page, headers={"Content-Security-Policy": policy})


@router.get("/sections/{section}/marking/next-lesson.pdf")
async def next_lesson_paper(room: Teacher, section: str) -> Response:
    """The same on paper."""
    whole = await room.section(section)
    found = await checked_write_ups(room, section, whole)
    document = slip_summary([each.checked for each in found], section=whole.title)
    paper = await run_in_threadpool(write_document_paper, document, paper=whole.house.paper, decimal=whole.house.decimal)
    return _file("next-lesson.pdf", "application/pdf", paper)


def _template(whole: Section) -> list[tuple[str, ...]]:
    return template_rows([(f"bench-{number}", number) for number in whole.benches])


def _gradebook(found: Sequence[CheckedWriteUp], book: MarkBook) -> list[tuple[str, ...]]:
    points = any(any(criterion.points) for criterion in book.criteria.values())
    return gradebook_rows([each.checked.write_up for each in found], book, points=points)


def _feedback(found: Sequence[CheckedWriteUp], whole: Section) -> bytes:
    points = any(any(criterion.points) for criterion in whole.marks.criteria.values())
    decimal, out = whole.house.decimal, io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for number, each in enumerate(found, 1):
            sheet = feedback_sheet(each.checked, whole.marks, points=points, section=whole.title)
            code = "".join(sign if sign.isalnum() or sign in "-_" else "-" for sign in each.checked.write_up.code)
            archive.writestr(f"{number:03d}-{code}.html", write_document_page(sheet, decimal=decimal))
            archive.writestr(f"{number:03d}-{code}.pdf", write_document_paper(sheet, paper=whole.house.paper, decimal=decimal))
    return out.getvalue()


def _file(name: str, kind: str, content: bytes) -> Response:
    return Response(content, media_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})
