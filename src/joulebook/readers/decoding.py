"""From a file's bytes to what it is and, for text, to its characters: decided by the bytes, never by the file's name."""

from __future__ import annotations

import codecs
import re
from typing import Literal

from joulebook.errors import RecordError
from joulebook.readers.limits import MAX_BYTES
from joulebook.readers.words import fold, kind_of_word

__all__ = ["Kind", "decode", "kind_of"]

Kind = Literal["text", "zip", "ole"]

_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_BINARY = (
    (b"%PDF", "a PDF document"),
    (b"\x89PNG", "a picture (PNG)"),
    (b"\xff\xd8\xff", "a picture (JPEG)"),
    (b"GIF8", "a picture (GIF)"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"BZh", "a bzip2 archive"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"Rar!", "a RAR archive"),
    (b"SQLite format 3", "a database (SQLite)"),
    (b"\x7fELF", "a program"),
    (b"MZ\x90", "a program"),
)
# UTF-32 before UTF-16: its little-endian mark begins with that of UTF-16.
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig", "UTF-8"),
    (codecs.BOM_UTF32_LE, "utf-32", "UTF-32"),
    (codecs.BOM_UTF32_BE, "utf-32", "UTF-32"),
    (codecs.BOM_UTF16_LE, "utf-16", "UTF-16"),
    (codecs.BOM_UTF16_BE, "utf-16", "UTF-16"),
)
_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f\x7f]")
_PAGES = {
    "cp1252": "Windows-1252",
    "latin-1": "Latin-1",
    "cp1250": "Windows-1250",
    "cp1253": "Windows-1253",
    "cp1254": "Windows-1254",
    "cp1251": "Windows-1251",
    "mac_roman": "Mac Roman",
}
_LETTERS = re.compile(r"[^\W\d_]{3,}")
_SAVE = "Export the record again as CSV, .xlsx or .ods."


def kind_of(content: bytes, *, name: str) -> Kind:
    """Return what a file's first bytes say that it is.

    content: the whole file. name: what the file is called in messages.
    Raises RecordError for an empty file, one above MAX_BYTES, and one that is plainly neither text nor workbook.
    """
    if len(content) > MAX_BYTES:
        raise RecordError(
            f"the file has {len(content):,} bytes, more than the {MAX_BYTES:,} that a record may have.",
            remedy="Export only the launch, or fewer samples per second.",
            source=name,
        )
    if not content.strip(b" \t\r\n\x00\x1a\xef\xbb\xbf\xff\xfe"):
        raise RecordError("the file is empty.", remedy=_SAVE, source=name)
    if content.startswith(b"PK\x03\x04"):
        return "zip"
    if content.startswith(_OLE):
        return "ole"
    for magic, what in _BINARY:
        if content.startswith(magic):
            raise RecordError(f"the file is {what}, not a table of numbers.", remedy=_SAVE, source=name)
    return "text"


def decode(content: bytes, *, name: str) -> tuple[str, str]:
    """Return a text file's characters and the encoding they were in.

    A byte order mark decides; else UTF-16 shows by its zero bytes; else strict UTF-8; else a single-byte code page.
    Raises RecordError when the bytes are no text.
    """
    text, encoding = _characters(content, name)
    text = text.rstrip("\x00\x1a")
    head = text[:65536]
    odd = len(_CONTROL.findall(head))
    if "\x00" in text or odd * 50 > len(head) or (encoding == "UTF-16" and head.count("\ufffd")):
        raise RecordError("the file is binary, not a table of numbers.", remedy=_SAVE, source=name)
    start = head.lstrip("\ufeff \t\r\n")[:200].lower()
    if start.startswith(("<!doctype", "<html", "<table", "<?xml", "<head", "<body")):
        raise RecordError("the file is a web page or XML document, not a table of numbers.", remedy=_SAVE, source=name)
    if start.startswith("{\\rtf"):
        raise RecordError("the file is a word-processor document (RTF), not a table of numbers.", remedy=_SAVE, source=name)
    return text.lstrip("\ufeff"), encoding


def _characters(content: bytes, name: str) -> tuple[str, str]:
    for mark, codec, label in _MARKS:
        if content.startswith(mark):
            try:
                return content.decode(codec), label
            except UnicodeDecodeError as error:
                if label == "UTF-8":
                    return _single_byte(content[3:])
                if error.end >= len(content) - 4 and error.start > 4:  # cut off within the last character
                    return content[: error.start].decode(codec), label
                raise RecordError(
                    f"the file says that it is {label}, but byte {error.start + 1} does not fit.", remedy=_SAVE, source=name
                ) from None
    head = content[:4096]
    if len(head) >= 4 and b"\x00" in head:
        for codec, zeros in (("utf-16-le", head[1::2]), ("utf-16-be", head[0::2])):
            other = head[0::2] if codec == "utf-16-le" else head[1::2]
            if zeros.count(0) > 0.6 * len(zeros) and other.count(0) < 0.1 * len(other):
                return content[: len(content) // 2 * 2].decode(codec, errors="replace"), "UTF-16"
    try:
        return content.decode("utf-8"), "ASCII" if content.isascii() else "UTF-8"
    except UnicodeDecodeError:
        return _single_byte(content)


def _single_byte(content: bytes) -> tuple[str, str]:
    """Of the single-byte code pages take the one in which most headings are words; Western European when none is better."""
    best, most = "", -1
    for codec in _PAGES:
        try:
            head = content[:4096].decode(codec)
            content.decode(codec)
        except UnicodeDecodeError:
            continue
        words = set(_LETTERS.findall(fold(head)))
        known = sum(1 for word in words if kind_of_word(word) in ("time", "position", "velocity", "acceleration"))
        if known > most:
            best, most = codec, known
    return content.decode(best), _PAGES[best]
