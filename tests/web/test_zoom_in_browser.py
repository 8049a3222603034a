"""The room's main pages at 200 % zoom: nothing is lost, nothing scrolls sideways, and axe finds nothing.

WCAG 2.2, 1.4.4 (text resized to 200 %) and 1.4.10: a window of 1280 × 1024 at 200 % lays out 640 × 512 CSS pixels, two device pixels
each.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from tests.web.rooms import fill_bench
from tests.web.served import Served, launched, served

from joulebook.classroom.changes import Draft

pytestmark = pytest.mark.page

ZOOMED = {"viewport": {"width": 640, "height": 512}, "device_scale_factor": 2}
TEACHER = ("", "/benches/1", "/class", "/marking")
WORK = {
    "readings": {"release_speed": "1.3", "release_speed_u": "0.05"},
    "calculation": {"kinetic_energy": "0.24", "potential_energy": "0.22"},
    "uncertainty": {"kinetic_energy_u": "0.01", "potential_energy_u": "0.012"},
    "claim": {"claim": "undecided"},
}


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Served, str, Any]]:
    with served(tmp_path_factory.mktemp("zoom")) as opened, launched() as browser:
        section = opened.store.make_section("Second period", benches=3)
        for bench, fault in ((1, ""), (2, "too-close")):
            fill_bench(opened.store, section, bench, fault)
        for step, fields in WORK.items():
            opened.store.append(section, Draft("work-saved", "bench", 1, {"step": step, "fields": fields}))
        opened.store.append(section, Draft("work-committed", "bench", 1))
        opened.store.append(section, Draft("ledger-opened", "teacher", 1))
        opened.store.append(section, Draft("help-asked", "bench", 2))
        yield opened, section, browser


def _faults_of(page: Any) -> list[Any]:
    """Return what is wrong with a page: how far it scrolls sideways, what is cut off, what axe finds."""
    from axe_playwright_python.sync_playwright import Axe

    for part in page.locator("details").all():
        part.evaluate("part => { part.open = true; }")
    page.wait_for_timeout(150)
    wide = page.evaluate("document.documentElement.scrollWidth")
    cut = page.evaluate("""() => [...document.querySelectorAll("h1,h2,h3,p,button,.state,.reason,.remedy,summary")].filter(each =>
        each.checkVisibility() && !each.closest(".visually-hidden,.scroll,.skip,.group") && !each.matches(".visually-hidden,.group")
        && ["hidden", "clip"].includes(getComputedStyle(each).overflowX) && each.scrollWidth > each.clientWidth + 1)
        .map(each => each.outerHTML.slice(0, 120))""")
    result = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]})
    broken = [(each["id"], each["nodes"][0]["html"][:160]) for each in result.response["violations"]]
    return ([f"{wide} px wide"] if wide > 640 else []) + cut + broken


def test_the_teacher_s_pages_at_200_per_cent(room: tuple[Served, str, Any]) -> None:
    opened, section, browser = room
    page = browser.new_context(**ZOOMED).new_page()
    page.goto(opened.url + opened.sign_in)
    found = {}
    for path in TEACHER:
        page.goto(f"{opened.url}/sections/{section}{path}")
        faults = _faults_of(page)
        if faults:
            found[path] = faults
    assert page.evaluate("devicePixelRatio") == 2
    assert not found
    page.context.close()


def test_the_students_page_at_200_per_cent(room: tuple[Served, str, Any]) -> None:
    opened, section, browser = room
    for bench in (1, 2):
        page = browser.new_context(**ZOOMED).new_page()
        page.goto(f"{opened.url}/join/{opened.store.code(section, bench)}")
        page.goto(f"{opened.url}/bench/trace")  # waits for the judges
        page.goto(f"{opened.url}/bench")
        assert not _faults_of(page), bench
        page.context.close()
