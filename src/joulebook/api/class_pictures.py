"""The class picture of a folder of benches or of audits made already: as numbers, as a page, as a PDF, and for a projector."""

from __future__ import annotations

import os
import re
from collections.abc import Collection, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from joulebook.api.benches import audit, house_of
from joulebook.api.sweeps import BENCH_FILE, bench_folders
from joulebook.errors import InputError, JoulebookError

if TYPE_CHECKING:
    import numpy as np

    from joulebook.classroom.class_picture import ClassPicture
    from joulebook.classroom.class_results import ClassBench
    from joulebook.engine.house import House
    from joulebook.engine.report import Audit

__all__ = ["class_benches", "class_picture", "write_class_picture"]


def class_picture(
    source: str | os.PathLike[str] | Sequence[Audit | tuple[str, JoulebookError] | ClassBench],
    *,
    title: str = "",
    leave_out: Collection[str] = (),
    anonymous: np.random.Generator | None = None,
    house: House | str | os.PathLike[str] | None = None,
    **options: Any,
) -> ClassPicture:
    """Return what a section's benches say together.

    source: the folder that holds the bench folders, audited as `sweep` does; or audits, (title, error) where there is none.
    title: of the section; the folder's name unless given. leave_out: titles or folder names of benches that shall not count.
    anonymous: a generator makes the picture for a projector: letters in an order drawn from it, no names.
    house: house rules or their file; None looks for a house.toml from the folder upwards. options: as for `audit`.
    Raises InputError when there is no bench, or one to be left out is not there.
    """
    from joulebook.classroom.class_picture import class_picture as picture

    if isinstance(source, str | os.PathLike):
        benches = class_benches(source, leave_out=leave_out, house=house, **options)
        title = title or Path(source).resolve().name
    else:
        benches = _listed(source, leave_out)
    return picture(benches, title=title, anonymous=anonymous)


def class_benches(
    folder: str | os.PathLike[str],
    *,
    leave_out: Collection[str] = (),
    house: House | str | os.PathLike[str] | None = None,
    **options: Any,
) -> list[ClassBench]:
    """Return the benches of a folder, audited; one that cannot be audited has the reason instead. Arguments as of `class_picture`."""
    folders = bench_folders(folder)
    if not folders:
        raise InputError(
            f"No {BENCH_FILE} in this folder or below it.", source=os.fspath(folder),
            remedy=f"Name the folder that holds the bench folders; each has a file {BENCH_FILE}.",
        )  # fmt: skip
    rules = house_of(house, folder)
    found: list[tuple[str, Audit | JoulebookError]] = []
    for name in folders:
        try:
            found.append((name, audit(Path(folder, name), house=rules, **options)))
        except JoulebookError as error:  # one bad folder must not stop the rest
            found.append((name, error))
    return _named(found, leave_out)


def write_class_picture(
    path: str | os.PathLike[str],
    picture: ClassPicture,
    *,
    paper: Literal["a4", "us-letter"] = "a4",
    decimal: str = ".",
) -> None:
    """Write a class picture as a page (.html), a tagged PDF (.pdf) or JSON (.json), by the path's ending.

    An anonymous picture becomes the projector's page. paper: of the PDF. decimal: the decimal sign, "." or ",".
    Raises InputError for another ending, and for an anonymous picture that shall become a PDF.
    """
    import json

    from joulebook.render.class_document import class_document, class_names, projector_document
    from joulebook.render.document import write_document_page, write_document_paper

    target = Path(path)
    told, kind = picture.to_dict(), target.suffix.casefold()
    if kind == ".json":
        target.write_text(json.dumps(told, ensure_ascii=False, indent=2, allow_nan=False) + "\n", encoding="utf-8")
    elif kind == ".html":
        document = projector_document(told) if picture.anonymous else class_document(told)
        page = write_document_page(document, decimal=decimal, keep=class_names(told), projector=picture.anonymous)
        target.write_text(page, encoding="utf-8")
    elif kind == ".pdf" and not picture.anonymous:
        target.write_bytes(write_document_paper(class_document(told), paper=paper, decimal=decimal, keep=class_names(told)))
    else:
        what = "A projector’s class picture" if picture.anonymous else "A class picture"
        raise InputError(
            f"{what} cannot be written as {target.suffix or 'a file without ending'}.",
            source=os.fspath(path),
            remedy="Use .html or .json for the projector." if picture.anonymous else "Use .html, .pdf or .json.",
        )


def _listed(
    rows: Sequence[Audit | tuple[str, JoulebookError] | ClassBench], leave_out: Collection[str]
) -> list[ClassBench]:
    from joulebook.classroom.class_results import ClassBench

    if rows and all(isinstance(row, ClassBench) for row in rows):
        return [row for row in rows if isinstance(row, ClassBench)]
    found: list[tuple[str, Audit | JoulebookError]] = []
    for row in rows:
        if isinstance(row, tuple):
            found.append(row)
        elif not isinstance(row, ClassBench):
            found.append((row.title, row))
    return _named(found, leave_out)


def _named(found: Sequence[tuple[str, Audit | JoulebookError]], leave_out: Collection[str]) -> list[ClassBench]:
    from joulebook.classroom.class_results import ClassBench

    numbers = [re.findall(r"\d+", name)[-1:] for name, _ in found]
    told = [number[0].lstrip("0") or "0" for number in numbers if number]
    # A bench's own number beside its point where each has one; else they are counted through.
    codes = told if len(set(told)) == len(found) else [str(place) for place in range(1, len(found) + 1)]
    benches, met = [], set()
    for code, (name, it) in zip(codes, found, strict=True):
        title = (name if isinstance(it, JoulebookError) else it.title) or name
        names = {name, title} & set(leave_out)
        met |= names
        error = it.to_dict() if isinstance(it, JoulebookError) else {}
        why = f"{error.get('message', '')} {error.get('remedy', '')}".strip()
        benches.append(ClassBench(code, title, None if error else it, bool(names), why))  # type: ignore[arg-type]
    unknown = sorted(set(leave_out) - met)
    if unknown:
        raise InputError(
            f"There is no bench {unknown[0]!r} to leave out.", remedy=f"Name one of: {', '.join(bench.title for bench in benches)}."
        )
    return benches
