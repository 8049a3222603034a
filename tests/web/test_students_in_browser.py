"""The students' page in a real browser: axe finds nothing, values are read by pointer and by keyboard, and no text is ever lost.

WCAG 2.2 A and AA by axe-core; 1.4.10 (reflow at 320 CSS pixels), 2.1.1 (keyboard), 2.5.8 and 2.5.5 (targets, 44 pixels).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from typing import Any

import pytest
from tests.classroom.benches import files
from tests.web.served import Served, launched, served

from joulebook.classroom.changes import Draft

pytestmark = pytest.mark.page

WORK = {
    "predict": {"prediction": "less"},
    "readings": {"release_speed": "1.3", "start_distance": "fast"},
    "calculation": {"kinetic_energy": "0.24", "potential_energy": "0.22"},
    "uncertainty": {"kinetic_energy_u": "0.01", "potential_energy_u": "0.012"},
    "claim": {"claim": "undecided"},
}
# Which bench is in which state. 4 has committed and seen its ledger, 5 to 8 are worked at by the tests.
STATES = {1: "empty", 2: "stop", 3: "unread", 4: "opened"}


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Served, str]]:
    with served(tmp_path_factory.mktemp("students")) as opened:
        store = opened.store
        section = store.make_section("Second period", benches=8, house={"comparison": {"method": "t-prime"}})

        def add(bench: int, name: str, data: bytes) -> None:
            body = {"name": name, "sha256": hashlib.sha256(data).hexdigest(), "size": len(data),
                    "role": "rest" if "rest" in name else "launch"}  # fmt: skip
            store.append(section, Draft("record-added", "bench", bench, body), content=data)

        for bench, fault in ((2, "too-close"), (4, ""), (5, "")):
            content, readings = files(fault)
            store.append(section, Draft("values-set", "bench", bench, {"values": readings}))
            for name, data in content.items():
                add(bench, name, data)
        add(3, "shopping list.txt", b"two springs, tape, chalk\n")
        for step, fields in WORK.items():
            store.append(section, Draft("work-saved", "bench", 4, {"step": step, "fields": fields}))
        store.append(section, Draft("work-committed", "bench", 4))
        store.append(section, Draft("ledger-opened", "teacher", 4))
        store.append(section, Draft("hint-released", "teacher", 2, {"code": "too-close", "grade": "look"}))
        yield opened, section


@pytest.fixture(scope="module")
def browser(room: tuple[Served, str]) -> Iterator[Any]:
    with launched() as opened:
        yield opened


def _at(browser: Any, room: tuple[Served, str], bench: int, **more: Any) -> Any:
    """Return a page of a browser that joined a bench; its records are judged."""
    context = browser.new_context(**{"viewport": {"width": 1280, "height": 900}, **more})
    page = context.new_page()
    page.faults = []
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    page.goto(f"{room[0].url}/join/{room[0].store.code(room[1], bench)}")
    page.goto(f"{room[0].url}/bench/trace")  # waits for the judges
    page.goto(f"{room[0].url}/bench")
    return page


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_in_any_state(browser: Any, room: tuple[Served, str], scheme: str) -> None:
    from axe_playwright_python.sync_playwright import Axe

    found = {}
    for bench, state in STATES.items():
        page = _at(browser, room, bench, color_scheme=scheme)
        for part in page.locator("details").all():
            part.evaluate("part => { part.open = true; }")
        page.wait_for_timeout(200)
        result = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]})
        broken = [(each["id"], each["nodes"][0]["html"][:200], len(each["nodes"])) for each in result.response["violations"]]
        if broken or page.faults:
            found[state] = broken + page.faults
        page.context.close()
    assert not found


def test_nothing_scrolls_sideways_on_a_phone_and_targets_are_large(browser: Any, room: tuple[Served, str]) -> None:
    small = """() => [...document.querySelectorAll("button,select,summary,.choose a,input,textarea")]
        .filter(each => each.checkVisibility() && !["hidden", "radio", "checkbox"].includes(each.type))
        .filter(each => each.getBoundingClientRect().height < 43.5).map(each => each.outerHTML.slice(0, 90))"""
    for bench in STATES:
        page = _at(browser, room, bench, viewport={"width": 320, "height": 640})
        for part in page.locator("details").all():
            part.evaluate("part => { part.open = true; }")
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, STATES[bench]
        assert page.evaluate(small) == [], STATES[bench]
        page.context.close()


def test_values_are_read_by_keyboard_and_taken_into_the_form(browser: Any, room: tuple[Served, str]) -> None:
    page = _at(browser, room, 5)
    page.locator(".choose a", has_text="launch-1").click()
    plot = page.locator(".plot.live:visible")
    plot.wait_for()
    rows = [tuple(map(float, row.split(",")[:2])) for row in files()[0]["launch-1.csv"].decode().splitlines()[1:]]
    plot.focus()
    for key in ("Home", "PageUp", "PageUp", "PageUp", "ArrowRight", "ArrowLeft", "ArrowRight"):
        plot.press(key)
    t, s = rows[31]
    assert plot.get_attribute("aria-valuetext") == f"t = {t:.3f} s, distance {s:.4f} m"
    assert page.locator(".readout").inner_text() == f"t = {t:.3f} s, distance {s:.4f} m"
    page.get_by_role("button", name="Take as distance at release").click()
    field = page.locator("#readings-start_distance")
    assert field.input_value() == f"{s:.4f}" and field.is_visible()
    plot.press("a")
    plot.press("ArrowRight")
    plot.press("ArrowRight")
    plot.press("b")
    (t2, s2) = rows[33]
    assert f"Δs/Δt = {(s2 - s) / (t2 - t):.3f} m/s".replace("-", "−") in page.locator(".slope").inner_text()
    page.get_by_role("button", name="Take its size as our speed").click()
    assert page.locator("#readings-release_speed").input_value() == f"{abs(s2 - s) / (t2 - t):.3f}"
    assert "Not saved yet" in page.locator("#readings-form").inner_text()
    plot.press("End")
    assert plot.get_attribute("aria-valuenow") == f"{rows[-1][0]:.3f}"
    page.context.close()


def test_values_are_read_by_pointer_at_samples_and_between_them(browser: Any, room: tuple[Served, str]) -> None:
    page = _at(browser, room, 5)
    page.locator(".choose a", has_text="launch-1").click()
    plot = page.locator(".plot.live:visible")
    plot.wait_for()
    data = {name: float(value) for name, value in plot.evaluate("each => ({...each.dataset})").items()}
    box = plot.locator("svg").bounding_box()

    def place(time: float) -> tuple[float, float]:
        x = data["left"] + (time - data["start"]) / (data["end"] - data["start"]) * (data["right"] - data["left"])
        return box["x"] + x / data["width"] * box["width"], box["y"] + 0.5 * box["height"]

    rows = [tuple(map(float, row.split(",")[:2])) for row in files()[0]["launch-1.csv"].decode().splitlines()[1:]]
    page.mouse.click(*place(rows[40][0] + 0.004))
    page.mouse.move(5, 5)
    assert page.locator(".readout").inner_text() == f"t = {rows[40][0]:.3f} s, distance {rows[40][1]:.4f} m"
    page.locator("#trace-free").check()
    page.mouse.click(*place(0.5 * (rows[40][0] + rows[41][0])))
    page.mouse.move(5, 5)
    assert "(between two samples)" in page.locator(".readout").inner_text()
    page.get_by_role("button", name="Zoom in here").click()
    page.get_by_role("button", name="Whole record").wait_for()
    closer = page.locator(".plot.live:visible").evaluate("each => each.dataset.end - each.dataset.start")
    assert closer == pytest.approx(0.4 * (data["end"] - data["start"]), rel=0.01)
    page.context.close()


def test_text_is_kept_through_a_lost_connection_and_sent_by_the_users_click(browser: Any, room: tuple[Served, str]) -> None:
    page = _at(browser, room, 6)
    page.locator("#predict-prediction_why").fill("It loses a little")
    page.context.set_offline(True)
    page.locator("#predict-form button").click()
    page.get_by_text("Not connected: your text is kept here.").wait_for()
    assert page.locator("#predict-prediction_why").input_value() == "It loses a little"
    assert "predict" not in room[0].store.section(room[1]).benches[6].work
    # Even a page that is loaded again has it.
    page.context.set_offline(False)
    page.reload()
    assert page.locator("#predict-prediction_why").input_value() == "It loses a little"
    assert "Not saved yet" in page.locator("#predict-form").inner_text()
    page.context.set_offline(True)
    page.locator("#predict-form button").click()
    again = page.get_by_role("button", name="Try again")
    again.wait_for()
    page.context.set_offline(False)
    again.click()
    page.get_by_text("“Our prediction” saved.").first.wait_for()
    assert room[0].store.section(room[1]).benches[6].work["predict"].fields["prediction_why"] == "It loses a little"
    assert page.evaluate("Object.keys(sessionStorage).filter(each => each.endsWith('-form'))") == []
    page.context.close()


def test_news_come_by_themselves_and_never_touch_what_is_being_written(browser: Any, room: tuple[Served, str]) -> None:
    page = _at(browser, room, 6)
    store, section = room[0].store, room[1]
    page.evaluate("document.querySelector('#claim details').open = true")
    page.locator("#claim-claim_why").fill("half a sent")
    # The pages' own way to the store tells everyone; a change by another window of the same bench goes through it.
    other = _at(browser, room, 6)
    send = """([path, fields]) => fetch(path, {method: "POST", body: new URLSearchParams(fields)})"""
    other.evaluate(send, ["/bench/work", {"step": "claim", "base": "0", "claim_why": "by the other"}])
    other.evaluate(send, ["/bench/name", {"name": "Otters"}])
    page.get_by_role("heading", name="Bench 6, Otters").wait_for()
    assert page.locator("#claim-claim_why").input_value() == "half a sent"
    # Saving it now shows both versions, and the choice is the group's.
    page.locator("#claim-form button").click()
    page.get_by_role("heading", name="Two versions of “Our claim”").wait_for()
    assert page.get_by_text("by the other").is_visible() and page.get_by_text("half a sent").is_visible()
    page.get_by_role("button", name="Keep yours").click()
    page.get_by_text("“Our claim” saved.").first.wait_for()
    assert store.section(section).benches[6].work["claim"].fields["claim_why"] == "half a sent"
    assert not page.faults
    other.context.close()
    page.context.close()


def test_on_a_phone_samples_are_stepped_through_beside_the_readout(browser: Any, room: tuple[Served, str]) -> None:
    page = _at(browser, room, 5, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page.locator(".choose a", has_text="launch-1").tap()
    readout = page.locator(".readout")
    page.wait_for_function(
        "() => document.querySelector('.choose [aria-current]').textContent === 'launch-1.csv' && document.querySelector('.step-by')"
    )
    assert "Tap" in readout.inner_text() and "Tap" in page.locator("#trace-keys").inner_text()
    assert page.locator("#trace-keys").is_visible()
    back, on = page.get_by_role("button", name="One sample back"), page.get_by_role("button", name="One sample on")
    middle = [box["y"] + box["height"] / 2 for box in (back.bounding_box(), readout.bounding_box(), on.bounding_box())]
    assert max(middle) - min(middle) < 2, "on one line with what they change"
    for button in (back, on):
        box = button.bounding_box()
        assert box["width"] >= 44 and box["height"] >= 44, "WCAG 2.5.5"
    rows = [tuple(map(float, row.split(",")[:2])) for row in files()[0]["launch-1.csv"].decode().splitlines()[1:]]

    def said(place: int) -> str:
        return f"t = {rows[place][0]:.3f} s, distance {rows[place][1]:.4f} m"

    for press, place in ((on, 0), (on, 1), (on, 2), (back, 1)):
        press.tap()
        assert readout.inner_text() == said(place)
    page.context.close()


def test_a_lost_network_is_said_at_once_and_taken_back(browser: Any, room: tuple[Served, str]) -> None:
    page = _at(browser, room, 8)
    page.context.set_offline(True)
    page.get_by_text("Not connected: your text is kept here.").wait_for(timeout=3000)
    page.context.set_offline(False)
    page.wait_for_function("() => document.getElementById('line').textContent === ''")
    assert page.locator("#news").text_content() == "Connected again."
    page.context.close()


def test_what_could_not_be_sent_keeps_its_button_when_the_connection_is_back(browser: Any, room: tuple[Served, str]) -> None:
    page = _at(browser, room, 8)
    page.locator("#predict-prediction_why").fill("We are not sure")
    page.context.set_offline(True)
    page.locator("#predict-form button").click()
    page.get_by_role("button", name="Try again").wait_for()
    page.context.set_offline(False)
    page.get_by_text("Connected again, but this was not sent yet.").wait_for()
    page.get_by_role("button", name="Try again").click()
    page.get_by_text("“Our prediction” saved.").first.wait_for()
    assert page.locator("#line").text_content() == ""
    page.context.close()


def test_why_something_was_refused_stands_until_the_group_acts(browser: Any, room: tuple[Served, str]) -> None:
    page, other = _at(browser, room, 8), _at(browser, room, 8)
    page.locator("#records summary").first.click()
    page.get_by_role("button", name="Add", exact=True).click()
    problem = page.get_by_text("No file was chosen and no text was pasted.")
    problem.wait_for()
    # News of the same part come in: the record is shown, and the reason stays.
    other.locator("#records summary").first.click()
    other.locator("#rest-file").set_input_files([{"name": "rest.csv", "mimeType": "text/csv", "buffer": files()[0]["rest.csv"]}])
    other.get_by_role("button", name="Add", exact=True).click()
    page.locator("#records .record").first.wait_for()
    assert problem.is_visible()
    # A name that is too long stays typed, whatever comes in.
    page.locator(".naming summary").click()
    page.locator("#bench-name").evaluate("field => { field.maxLength = 400; }")
    page.locator("#bench-name").fill("x" * 60)
    page.get_by_role("button", name="Save name").click()
    told = page.get_by_text("This name is 60 characters long.")
    told.wait_for()
    assert not problem.is_visible(), "the group has acted"
    page.evaluate("document.activeElement.blur()")
    send = """([path, fields]) => fetch(path, {method: "POST", body: new URLSearchParams(fields)})"""
    other.evaluate(send, ["/bench/name", {"name": "Otters"}])
    other.evaluate(send, ["/bench/do", {"kind": "help-asked"}])
    page.get_by_text("Your teacher was called").wait_for()
    assert told.is_visible() and page.locator("#bench-name").input_value() == "x" * 60
    assert not page.faults
    other.context.close()
    page.context.close()


def test_without_script_every_form_works(browser: Any, room: tuple[Served, str]) -> None:
    page = _at(browser, room, 7, java_script_enabled=False)
    page.locator("#set-up summary").first.click()
    page.locator("#set-up-mass").fill("250")
    page.locator("#set-up-mass-unit").select_option("g")
    page.get_by_label("by its rise between two marks").check()
    assert page.locator("#set-up-rise").is_visible() and not page.locator("#set-up-angle").is_visible()
    page.locator("#set-up-rise").fill("14")
    page.get_by_role("button", name="Save set-up readings").click()
    assert room[0].store.section(room[1]).benches[7].values == {"cart.mass": "250 g", "track.rise": "14 cm"}
    page.locator("#records summary").first.click()
    content = files()[0]
    page.locator("#launch-files").set_input_files(
        [{"name": name, "mimeType": "text/csv", "buffer": data} for name, data in content.items() if "rest" not in name]
    )
    page.get_by_role("button", name="Add", exact=True).click()
    assert len(room[0].store.section(room[1]).benches[7].launches) == 2
    page.goto(f"{room[0].url}/bench/trace")
    page.goto(f"{room[0].url}/bench#trace")
    page.get_by_text("Read by typing a time").click()
    page.locator("#time-a").fill("2")
    page.locator("#time-b").fill("2.1")
    page.get_by_role("button", name="Read", exact=True).click()
    page.get_by_text("From A to B: Δt = 0.100 s").wait_for()
    page.context.close()
