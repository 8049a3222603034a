"""One picture: its drawing, the sentence that says it, and the table that stands in for it."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Picture"]


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture with its words.

    name: unique within a report, the stem of every id in the SVG.
    title: a few words, for a caption.
    sentence: what one sees, with its numbers; the picture's text alternative.
    svg: for a text column on A4 or Letter or a desk, about 640 px wide.
    narrow: the same picture for a phone, about 330 px wide.
    table_headings, table_rows: the same data as a table of texts.
    listed: what the picture shows but a reader may not find in it, one text each (flagged samples, what lies off the picture).
    """

    name: str
    title: str
    sentence: str
    svg: str
    narrow: str
    table_headings: tuple[str, ...]
    table_rows: tuple[tuple[str, ...], ...]
    listed: tuple[str, ...] = ()
