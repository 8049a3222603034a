"""The teacher's pages in a real browser: axe finds nothing, everything works by keyboard, nothing needs sideways scrolling.

WCAG 2.2 A and AA by axe-core; 1.4.10 (reflow at 320 CSS pixels), 2.1.1 (keyboard), 2.5.8 (targets of at least 24 pixels).
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from typing import Any

import pikepdf
import pytest
from tests.web.rooms import fill_bench
from tests.web.served import Served, launched, served

from joulebook.classroom.changes import Draft

pytestmark = pytest.mark.page

PAGES = ("/sections", "/sections/new", "/store", "{s}", "{s}/log", "{s}/rules", "{s}/drop", "{s}/bench-cards", "{s}/delete",
         "{s}/benches/1", "{s}/benches/2", "{s}/benches/3", "{s}/class", "{s}/projector")  # fmt: skip


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Served, str]]:
    with served(tmp_path_factory.mktemp("browser")) as opened:
        section = opened.store.make_section("Second period", benches=12)
        for bench, fault in ((1, ""), (2, "too-close")):
            fill_bench(opened.store, section, bench, fault)
        opened.store.append(section, Draft("visited", "teacher", 4))
        yield opened, section


@pytest.fixture(scope="module")
def browser(room: tuple[Served, str]) -> Iterator[Any]:
    with launched() as browser:
        context = browser.new_context(viewport={"width": 1280, "height": 800})
        context.new_page().goto(room[0].url + room[0].sign_in)
        browser.state = context.storage_state()
        yield browser


def _page(browser: Any, **more: Any) -> Any:
    context = browser.new_context(storage_state=browser.state, **{"viewport": {"width": 1280, "height": 800}, **more})
    page = context.new_page()
    page.faults = []
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    page.on("console", lambda told: page.faults.append(told.text) if told.type == "error" else None)
    return page


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_any_page(browser: Any, room: tuple[Served, str], scheme: str) -> None:
    from axe_playwright_python.sync_playwright import Axe

    page, found = _page(browser, color_scheme=scheme), {}
    for path in PAGES:
        page.goto(room[0].url + path.replace("{s}", f"/sections/{room[1]}"))
        for part in page.locator("details").all():
            part.evaluate("part => { part.open = true; }")
        page.wait_for_timeout(150)
        result = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]})
        broken = [(each["id"], each["nodes"][0]["html"][:160], len(each["nodes"])) for each in result.response["violations"]]
        if broken:
            found[path] = broken
    assert not found
    assert not page.faults
    page.context.close()


def test_no_page_scrolls_sideways_at_320_pixels(browser: Any, room: tuple[Served, str]) -> None:
    page, wide = _page(browser, viewport={"width": 320, "height": 640}), {}
    for path in PAGES:
        page.goto(room[0].url + path.replace("{s}", f"/sections/{room[1]}"))
        needed = page.evaluate("document.documentElement.scrollWidth")
        if needed > 320:
            wide[path] = needed
    assert not wide
    page.context.close()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_cards_are_printed_eight_to_a_page(browser: Any, room: tuple[Served, str], paper: str) -> None:
    page = _page(browser)
    page.add_init_script("window.print = () => { window.printed = true; }")
    page.goto(f"{room[0].url}/sections/{room[1]}/bench-cards")
    page.get_by_role("button", name="Print the cards").click()
    assert page.evaluate("window.printed") is True
    with pikepdf.open(io.BytesIO(page.pdf(format=paper))) as printed:
        assert len(printed.pages) == 2, "twelve cards, eight to a page"
    page.emulate_media(media="print")
    assert not page.get_by_role("button", name="Print the cards").is_visible()
    page.context.close()


def test_twelve_benches_fit_a_laptop_without_scrolling(browser: Any, room: tuple[Served, str]) -> None:
    page = _page(browser)
    page.goto(f"{room[0].url}/sections/{room[1]}")
    assert page.locator("li.card").count() == 12
    assert page.locator("#cards").evaluate("list => list.getBoundingClientRect().bottom") <= 800
    sizes = page.locator("li.card .state").evaluate_all("all => all.map(each => parseFloat(getComputedStyle(each).fontSize))")
    assert min(sizes) >= 22, "large enough at two metres"
    small = page.locator("main a, main button").evaluate_all(
        "all => all.filter(each => each.checkVisibility() && each.getBoundingClientRect().height < 24).map(each => each.outerHTML)"
    )
    assert not small
    page.context.close()


def test_the_board_follows_without_a_reload_and_keeps_focus_and_order(browser: Any, room: tuple[Served, str]) -> None:
    opened, section = room
    page = _page(browser)
    page.goto(f"{opened.url}/sections/{section}")
    page.wait_for_function("() => document.querySelector('li.card.is-checking') === null")
    page.wait_for_function("() => document.querySelector('li.card').dataset.bench === '2'")
    order = page.locator("li.card").evaluate_all("all => all.map(each => each.dataset.bench)")
    focused = page.locator('li.card[data-bench="7"] [data-act=visited]')
    focused.focus()
    with page.expect_response("**/cards"):
        page.request.post(
            f"{opened.url}/api/sections/{section}/changes", headers={"Origin": opened.url},
            data={"kind": "hint-released", "bench": 9, "body": {"code": "clean", "grade": "look"}},
        )  # fmt: skip
        opened.store.append(section, Draft("help-asked", "bench", 9))
    page.wait_for_function("() => document.querySelector('li.card[data-bench=\"9\"]').dataset.says === 'Hand up'")
    assert page.evaluate("document.activeElement.closest('li').dataset.bench") == "7"
    assert page.locator("li.card").evaluate_all("all => all.map(each => each.dataset.bench)") == order, (
        "while the keyboard is there"
    )
    assert page.locator("#held").is_visible()
    assert "Bench 9: Hand up." in page.locator("#news").text_content()
    # "Mark visited" by keyboard, without leaving the page; the focus stays on the card.
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.querySelector('li.card[data-bench=\"7\"] .seen') !== null")
    assert page.evaluate("document.activeElement.closest('li').dataset.bench") == "7"
    page.evaluate("document.activeElement.blur()")
    # Who asks comes first of all but the bench that must repeat, as soon as nobody is about to click.
    page.wait_for_function("() => [...document.querySelectorAll('li.card')].findIndex(each => each.dataset.bench === '9') < 2")
    assert not page.faults
    page.context.close()


def test_the_board_notices_silence_without_any_news(browser: Any, room: tuple[Served, str]) -> None:
    opened, section = room
    page = _page(browser)
    page.clock.install()
    with page.expect_response("**/cards"):  # when the line of news opens
        page.goto(f"{opened.url}/sections/{section}")
    with page.expect_response("**/cards"):
        page.clock.fast_forward(61_000)
        page.clock.run_for(1000)
    assert not page.faults
    page.context.close()


def test_the_ledger_follows_a_handle_moved_by_keyboard(browser: Any, room: tuple[Served, str]) -> None:
    opened, section = room
    page = _page(browser)
    page.goto(f"{opened.url}/sections/{section}/benches/1")
    page.locator("#by-hand > summary").focus()
    page.keyboard.press("Enter")
    release = page.get_by_role("slider", name="Release").first
    release.focus()
    page.wait_for_selector("#follows-body table")
    energy = "#follows-body tbody tr:first-child td"
    first, at = page.inner_text(energy), float(release.get_attribute("aria-valuenow"))
    told = page.inner_text("#trace figcaption")
    page.locator("#trace-table summary").click()
    release.focus()
    page.keyboard.press("Shift+ArrowRight")
    assert float(release.get_attribute("aria-valuenow")) == pytest.approx(at + 0.1, abs=0.002)
    page.wait_for_function(f"() => document.querySelector('{energy}').innerText !== {first!r}")
    assert float(page.inner_text(energy).split()[0]) < float(first.split()[0]), "released later, the cart is slower"
    assert "Nothing is kept yet" in page.inner_text("#follows-state")
    now = page.inner_text("#trace figcaption")
    assert now != told
    said = re.search(r"released at ([\d.]+)\(", now)
    assert said is not None and float(said[1]) == pytest.approx(at + 0.1, abs=0.002), "what is written about the picture follows it"
    assert page.locator("#trace-table details").evaluate("part => part.open"), "a table that stands open stays open"
    page.keyboard.press("ArrowLeft")
    assert float(release.get_attribute("aria-valuenow")) == pytest.approx(at + 0.09, abs=0.002)
    page.get_by_role("button", name="As before").click()
    page.wait_for_function(f"() => document.querySelector('{energy}').innerText === {first!r}")
    assert page.inner_text("#trace figcaption") == told
    # By pointer too.
    release.scroll_into_view_if_needed()
    box = release.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 14)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 2 + 40, box["y"] + 14)
    page.mouse.up()
    assert float(release.get_attribute("aria-valuenow")) > at + 0.05
    page.get_by_role("button", name="Keep these times").click()
    page.wait_for_selector("text=set by hand")
    assert opened.store.section(section).benches[1].launches[0].override.release is not None
    page.get_by_role("button", name="Undo", exact=True).first.click()
    page.wait_for_selector("text=Undone:")
    assert opened.store.section(section).benches[1].launches[0].override.release is None
    assert not page.faults
    page.context.close()


def test_everything_is_there_without_script(browser: Any, room: tuple[Served, str]) -> None:
    opened, section = room
    page = _page(browser, java_script_enabled=False)
    page.goto(f"{opened.url}/sections/{section}")
    page.locator('li.card[data-bench="11"] button').click()
    assert "Bench 11 visited" in page.inner_text(".did")
    page.locator(".did button").click()
    assert "Undone: Bench 11 visited" in page.inner_text(".did")
    page.goto(f"{opened.url}/sections/{section}/benches/1")
    page.locator("#by-hand > summary").click()
    page.locator("#at-release").fill(page.locator("#at-release").get_attribute("placeholder"))
    page.get_by_role("button", name="Keep these times").click()
    assert "set by hand" in page.inner_text(".did")
    page.locator(".did button").click()
    page.context.close()
