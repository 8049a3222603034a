"""The pictures of the room in docs/pictures: each is taken by its script, shown on a page, and small."""

from __future__ import annotations

import re
import struct
from pathlib import Path

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "docs" / "pictures"
SCRIPT = (FOLDER / "make_pictures.py").read_text(encoding="utf-8")
TAKEN = dict(re.findall(r'^    "([\w-]+)": \(_\w+, \((\d+), \d+\)', SCRIPT, re.MULTILINE))
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]


def test_every_picture_is_taken_by_the_script_and_small() -> None:
    files = {file.stem: file for file in FOLDER.glob("*.png")}
    assert set(files) == set(TAKEN) and len(files) >= 6
    for name, file in files.items():
        content = file.read_bytes()
        assert content.startswith(b"\x89PNG\r\n\x1a\n"), name
        assert len(content) < 150_000, name
        # The IHDR chunk begins with width and height (PNG, W3C Recommendation, 11.2.1).
        assert struct.unpack(">I", content[16:20])[0] == int(TAKEN[name]), name


def test_every_picture_that_is_shown_is_there_and_says_in_words_what_it_shows() -> None:
    shown = set()
    for page in PAGES:
        for words, place in re.findall(r"!\[([^\]]*)\]\(([^)\s]+\.png)\)", page.read_text(encoding="utf-8")):
            file = (page.parent / place).resolve()
            assert file.is_file(), f"{page.name} shows {place}, which is not there"
            assert len(words.split()) >= 5, f"{page.name}: {place} has no words"
            shown.add(file.stem)
    assert set(TAKEN) <= shown, "a picture that no page shows"
