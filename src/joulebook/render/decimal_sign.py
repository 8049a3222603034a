"""The decimal sign of a report: texts are composed with a point and get the house's sign last, where they are laid out."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar

from joulebook.engine.report import Audit
from joulebook.render.plain import clean_text

__all__ = ["kept_names", "signed", "with_decimal", "with_decimal_svg", "with_decimals"]

_T = TypeVar("_T")

# A point between two digits, in a number and not in something that has several: dates, versions, clauses of a standard.
_POINT = re.compile(r"(?P<clause>(?:JCGM \d+|GUM|WCAG|ISO [\d-]+),? )?(?<![\d.])(\d+)\.(\d+)(?![\d]*\.\d)")
_DRAWINGS = ("svg", "narrow")
_TEXT_NODE = re.compile(r">([^<>]+)<")


def kept_names(audit: Audit) -> tuple[str, ...]:
    """Return what an audit's reports leave as it is: the bench's title and the names of its records."""
    return (clean_text(audit.title), *(clean_text(record.file) for record in audit.records))


def with_decimal(text: str, decimal: str, *, keep: Iterable[str] = ()) -> str:
    """Return text whose numbers have this decimal sign.

    decimal: "." (the text comes back as it is) or ",". keep: names that stand in the text and are left (titles, files).
    Numbers with more than one point (dates, versions) are left, and so is what is joined to letters ("launch1.2.csv").
    """
    if decimal == ".":
        return text
    names = sorted({name for name in keep if _POINT.search(name)}, key=len, reverse=True)
    if not names:
        return _changed(text, decimal)
    parts = re.split("(" + "|".join(map(re.escape, names)) + ")", text)
    return "".join(part if part in names else _changed(part, decimal) for part in parts)


def with_decimal_svg(svg: str, decimal: str, *, keep: Iterable[str] = ()) -> str:
    """Return a drawing whose written numbers have this decimal sign; coordinates stay as they are."""
    if decimal == ".":
        return svg
    kept = tuple(keep)
    return _TEXT_NODE.sub(lambda found: f">{with_decimal(found[1], decimal, keep=kept)}<", svg)


def with_decimals(value: Any, decimal: str, *, keep: tuple[str, ...] = ()) -> Any:
    """Return plain data (mappings, lists, texts) with this decimal sign in every text, drawings ("svg") included."""
    if decimal == ".":
        return value
    if isinstance(value, Mapping):
        return {
            key: with_decimal_svg(item, decimal, keep=keep) if key == "svg" else with_decimals(item, decimal, keep=keep)
            for key, item in value.items()
        }
    if isinstance(value, (list, tuple)):
        return [with_decimals(item, decimal, keep=keep) for item in value]
    return with_decimal(value, decimal, keep=keep) if isinstance(value, str) else value


def signed(value: _T, decimal: str, *, keep: tuple[str, ...] = ()) -> _T:
    """Return a text, or a record or tuple of texts and records, with this decimal sign in every written number.

    Fields called `name` or `code` are left; so are numbers, and what stands in `keep`. Pictures' drawings are changed in their
    texts alone.
    """
    if decimal == ".":
        return value
    found: _T = _signed(value, decimal, keep)
    return found


def _signed(value: Any, decimal: str, keep: tuple[str, ...]) -> Any:
    if isinstance(value, str):
        return with_decimal(value, decimal, keep=keep)
    if isinstance(value, tuple):
        return tuple(_signed(each, decimal, keep) for each in value)
    if is_dataclass(value) and not isinstance(value, type):
        changed = {}
        for each in fields(value):
            if not each.init or each.name in ("name", "code"):
                continue
            item = getattr(value, each.name)
            drawing = each.name in _DRAWINGS and isinstance(item, str)
            changed[each.name] = with_decimal_svg(item, decimal, keep=keep) if drawing else _signed(item, decimal, keep)
        return replace(value, **changed)
    return value


def _changed(text: str, decimal: str) -> str:
    return _POINT.sub(lambda found: found[0] if found["clause"] else f"{found[2]}{decimal}{found[3]}", text)
