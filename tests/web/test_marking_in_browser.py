"""Marking in a real browser: ten write-ups by keyboard alone, undo, and axe on every page of marking."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from tests.web.served import Served, launched, served

from joulebook.classroom.changes import Draft

pytestmark = pytest.mark.page

COUNT = 10
PAGES = (
    "", "?anonymous=true", "/criterion/calculation", "/criterion/claim?marker=second", "/student/s3", "/bank", "/typed",
    "/next-lesson",
)  # fmt: skip


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Served, str, Any]]:
    with served(tmp_path_factory.mktemp("marking")) as opened, launched() as browser:
        section = opened.store.make_section("Second period", benches=3)
        for number in range(COUNT):
            energy = "0.425" if number % 3 else "0.212"
            body = {
                "code": f"s{number}",
                "values": {"cart.mass": "0.2513 kg", "track.angle": "8.0 deg"},
                "fields": {"release_speed": "1.30", "kinetic_energy": energy, "claim": "loss", "claim_why": "There is less."},
            }
            opened.store.append(section, Draft("write-up-added", "teacher", 1 + number % 3, body))
        page = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
        page.set_default_timeout(90_000)
        page.goto(opened.url + opened.sign_in)
        yield opened, section, page


def _confirmed(opened: Served, section: str) -> dict[str, str]:
    marks = opened.store.section(section).marks.marks
    return {code: mark.level for (marker, code, name), mark in marks.items() if name == "calculation" and marker == "first"}


def test_ten_write_ups_are_marked_by_keyboard_alone(room: tuple[Served, str, Any]) -> None:
    opened, section, page = room
    page.goto(f"{opened.url}/sections/{section}/marking/criterion/calculation")
    wanted = {}
    for number in range(COUNT):
        page.wait_for_function("() => document.activeElement.closest('.mark-form')")
        code = page.evaluate("document.activeElement.closest('.mark-form').querySelector('[name=code]').value")
        key = str(1 + number % 4)
        page.keyboard.press(key)
        wanted[code] = ("missing", "inadequate", "needs improvement", "adequate")[int(key) - 1]
        with page.expect_navigation():
            page.keyboard.press("Enter")
    assert _confirmed(opened, section) == wanted
    assert sorted(wanted) == [f"s{number}" for number in range(COUNT)], "every one of them, each once"

    # U takes the last one back; K goes up, and a comment may hold digits and letters.
    page.wait_for_function("() => document.activeElement.closest('.mark-form')")
    page.keyboard.press("k")
    with page.expect_navigation():
        page.keyboard.press("u")
    assert len(_confirmed(opened, section)) == COUNT - 1
    page.locator(".mark-form textarea").first.focus()
    page.keyboard.type(" 14 jokes, ku")
    assert page.locator(".mark-form textarea").first.input_value().endswith("14 jokes, ku")
    assert len(_confirmed(opened, section)) == COUNT - 1


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_any_page_of_marking(room: tuple[Served, str, Any], scheme: str) -> None:
    from axe_playwright_python.sync_playwright import Axe

    opened, section, page = room
    page.emulate_media(color_scheme=scheme)
    found = {}
    for path in PAGES:
        page.goto(f"{opened.url}/sections/{section}/marking{path}")
        result = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]})
        broken = [(each["id"], each["nodes"][0]["html"][:160], len(each["nodes"])) for each in result.response["violations"]]
        if broken:
            found[path] = broken
    assert not found


def test_no_page_of_marking_scrolls_sideways_at_320_pixels(room: tuple[Served, str, Any]) -> None:
    opened, section, page = room
    page.set_viewport_size({"width": 320, "height": 640})
    wide = {}
    for path in PAGES:
        page.goto(f"{opened.url}/sections/{section}/marking{path}")
        needed = page.evaluate("document.documentElement.scrollWidth")
        if needed > 320:
            wide[path] = needed
    page.set_viewport_size({"width": 1280, "height": 800})
    assert not wide
