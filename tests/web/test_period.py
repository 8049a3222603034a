"""A whole period in real browsers: a teacher and twelve benches, with what goes wrong in one, from the empty store to the bell.

Everything is done on the pages, as people would: nothing is put into the store behind them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from tests.classroom.benches import files
from tests.web.served import CHROMIUM, FLAGS, Served, served

from joulebook.uncertainty.notation import read_quantity

PATIENCE = 90_000  # ms; a machine that tests two things at once is slow, and how fast the room is, is measured elsewhere
pytestmark = [pytest.mark.page, pytest.mark.slow]


@dataclass
class Period:
    """The room, a browser, and a page for the teacher and for each bench that has joined. faults: what browsers complained of."""

    opened: Served
    browser: Any
    teacher: Any
    section: str
    folder: Path
    benches: dict[int, Any] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)

    def join(self, number: int, code: str, **more: Any) -> Any:
        """Let a bench join by typing in its code."""
        page = self.browser.new_context(**{"viewport": {"width": 1000, "height": 800}, **more}).new_page()
        page.on("pageerror", lambda error: self.faults.append(f"bench {number}: {error}"))
        page.on(
            "console",
            lambda told: self.faults.append(f"bench {number}: {told.text}") if "Content Security" in told.text else None,
        )
        page.goto(self.opened.url)
        page.get_by_label("Code of your bench").fill(code.lower())
        page.get_by_role("button", name="Join").click()
        page.wait_for_url("**/bench")
        self.benches[number] = page
        return page

    def write(self, name: str, content: bytes) -> str:
        """Write a file that a bench will choose."""
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        return str(path)


@pytest.fixture(scope="module")
def period(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Period]:
    from playwright.sync_api import sync_playwright

    assert CHROMIUM, "Chromium is missing: Debian's package chromium"
    with served(tmp_path_factory.mktemp("period")) as opened, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        teacher = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
        teacher.goto(opened.url + opened.sign_in)
        teacher.get_by_role("link", name=re.compile("make a section", re.I)).first.click()
        teacher.get_by_label("Title", exact=True).fill("Second period")
        teacher.get_by_label("Number of benches").fill("12")
        teacher.get_by_role("button", name="Make the section").click()
        teacher.wait_for_url(re.compile(r"/sections/[0-9a-f]+$"))
        section = teacher.url.rsplit("/", 1)[1]
        yield Period(opened, browser, teacher, section, tmp_path_factory.mktemp("files"))
        browser.close()


def _codes(period: Period) -> dict[int, str]:
    period.teacher.goto(f"{period.opened.url}/sections/{period.section}/bench-cards")
    cards = period.teacher.locator(".bench-card").all()
    return {int(card.locator("h2").inner_text().split()[1]): card.locator(".code").inner_text() for card in cards}


def _press(page: Any, button: Any) -> None:
    """Press a button whose form the page sends by itself, and wait until the page that came back is shown."""
    page.locator("#bench").evaluate("part => { part.dataset.before = 'yes'; }")
    button.click()
    page.wait_for_function(
        "() => { const part = document.getElementById('bench'); return part && !part.dataset.before; }", timeout=PATIENCE
    )


def _await(page: Any, place: str, text: str | re.Pattern[str]) -> None:
    """Wait until a part of a page says something: pages follow what happens by themselves."""
    from playwright.sync_api import expect

    expect(page.locator(place)).to_contain_text(text, timeout=PATIENCE)


def _open(page: Any, step: str) -> Any:
    part = page.locator(f"#{step}")
    if not part.locator("> details").evaluate("part => part.open"):
        part.locator("> details > summary").click()
    return part


def _set_up(page: Any, readings: dict[str, str]) -> None:
    """Type in mass and slope, the slope as the bench measured it."""
    part = _open(page, "set-up")
    _reading(part, "mass", readings["cart.mass"])
    by_angle = "track.angle" in readings
    part.get_by_label("by its angle" if by_angle else "by its rise between two marks").check()
    for name in ("angle",) if by_angle else ("rise", "along"):
        _reading(part, name, readings[f"track.{name}"])
    _press(page, part.get_by_role("button", name=re.compile("Save")))


def _reading(part: Any, name: str, written: str) -> None:
    unit = {"mass": "kg", "angle": "deg"}.get(name, "m")
    reading = read_quantity(written, unit=unit)
    part.locator(f"#set-up-{name}").fill(f"{reading.value:.6g}")
    choice = part.locator(f"#set-up-{name}-unit")
    if choice.count():
        choice.select_option(unit)
    part.locator(f"#set-up-{name}-give").fill(f"{1.73 * reading.u:.2g}")


def _upload(page: Any, rest: list[str], launches: list[str]) -> None:
    part = _open(page, "records")
    if rest:
        part.locator("#rest-file").set_input_files(rest)
    if launches:
        part.locator("#launch-files").set_input_files(launches)
    _press(page, part.get_by_role("button", name="Add", exact=True))


def _card(period: Period, number: int) -> Any:
    return period.teacher.locator(f'li.card[data-bench="{number}"]')


def _await_state(period: Period, number: int, word: str) -> None:
    period.teacher.wait_for_function(
        '([number, word]) => document.querySelector(`li.card[data-bench="${number}"]`)?.dataset.says === word',
        arg=[str(number), word],
        timeout=PATIENCE,
    )


def test_a_whole_period(period: Period) -> None:
    codes = _codes(period)
    assert sorted(codes) == list(range(1, 13)) and len(set(codes.values())) == 12
    period.teacher.goto(f"{period.opened.url}/sections/{period.section}")
    assert "12 no data yet" in period.teacher.locator("#summary").inner_text()

    # Twelve benches join: laptops, and two phones.
    for number, code in codes.items():
        phone = {"viewport": {"width": 390, "height": 844}, "has_touch": True} if number in (2, 11) else {}
        period.join(number, code, **phone)

    # Nine sound benches save their records and readings.
    for number in (1, 2, 3, 7, 8, 9, 10, 11):
        content, readings = files(seed=5 + number % 3)
        names = {name: period.write(f"b{number}/{name}", data) for name, data in content.items()}
        page = period.benches[number]
        _upload(page, [names["rest.csv"]], [path for name, path in sorted(names.items()) if name != "rest.csv"])
        _await(page, "#records", "This record can be used")
        _set_up(page, readings)

    # Bench 4 launches into the blind zone; it is told to repeat, and the board says why.
    content, readings = files("too-close")
    names = {name: period.write(f"b4/{name}", data) for name, data in content.items()}
    _set_up(period.benches[4], readings)
    _upload(period.benches[4], [], [path for name, path in sorted(names.items()) if name != "rest.csv"])
    _await(period.benches[4], "#records", re.compile("Make this record again|Look at this record again"))

    # Bench 5 saves a wrong file, bench 6 the same file twice.
    _upload(period.benches[5], [], [period.write("b5/homework.txt", b"Dear diary, today we had physics.\n")])
    _await(period.benches[5], "#records", "could not be read")
    content, _ = files(seed=6)
    launch = period.write("b6/launch-1.csv", content["launch-1.csv"])
    _upload(period.benches[6], [], [launch])
    _await(period.benches[6], "#records", re.compile("can be used|Make this|Look at this"))
    _upload(period.benches[6], [], [launch])
    _await(period.benches[6], "main", "holds the same as launch-1.csv")

    # The board has followed by itself.
    _await_state(period, 1, "Data fine")
    _await_state(period, 5, "Repeat")
    _await_state(period, 6, "Readings missing")
    assert _card(period, 4).get_attribute("data-says") in ("Repeat", "Look first")
    assert "launch-" in _card(period, 4).locator(".reason").inner_text(), "the record that is the reason is named"

    # Bench 7 loses its connection while it writes: the text stays, and is saved when the line is back.
    page = period.benches[7]
    part = _open(page, "predict")
    part.locator("textarea").first.fill("Rolling takes some of it.")
    page.context.set_offline(True)
    part.get_by_role("button", name=re.compile("Save")).click()
    page.wait_for_selector("#line:not(:empty)")
    assert part.locator("textarea").first.input_value() == "Rolling takes some of it."
    page.context.set_offline(False)
    _press(page, part.get_by_role("button", name=re.compile("Save")))
    assert (
        period.opened.store.section(period.section).benches[7].work["predict"].fields["prediction_why"]
        == "Rolling takes some of it."
    )

    # Bench 12 raises its hand; the teacher goes there, and bench 4 gets a hint.
    _press(period.benches[12], period.benches[12].get_by_role("button", name="Call the teacher"))
    _await_state(period, 12, "Hand up")
    _card(period, 12).get_by_role("button", name=re.compile("Mark visited")).click()
    _await_state(period, 12, "No data yet")
    _press(period.benches[4], period.benches[4].get_by_role("button", name="Ask for a hint"))
    _await(period.benches[4], "#help", "Look again")

    # Bench 1 works: readings, calculation, uncertainties, claim; then it commits, and only then compares.
    page = period.benches[1]
    assert "after committing" in page.locator("#comparison").inner_text()
    _work(page, "readings", {"release_speed": "0.9", "release_speed_u": "0.05"})
    _work(page, "calculation", {"kinetic_energy": "0.21", "potential_energy": "0.20"})
    _work(page, "uncertainty", {"kinetic_energy_u": "0.02", "potential_energy_u": "0.02"})
    part = _open(page, "claim")
    part.locator("select").first.select_option("conserved")
    _press(page, part.get_by_role("button", name=re.compile("Save")))
    _press(page, _open(page, "commit").get_by_role("button", name=re.compile("Commit our numbers")))
    _open(page, "comparison")
    _await(page, "#comparison", "Only your own numbers went into this")
    _await_state(period, 1, "Committed")

    # The ledger stays closed until the teacher opens it, and then bench 1 has it without a reload.
    assert page.locator("#ledger").count() == 0
    period.teacher.get_by_role("button", name="Open the ledger to all").click()
    page.wait_for_selector("#ledger", timeout=PATIENCE)
    assert "energy" in page.locator("#ledger .verdict").inner_text()

    # The bell: everybody reads, nobody writes, and what was being typed goes to the teacher as it stands.
    other = period.benches[2]
    _open(other, "claim").locator("#claim-claim_why").fill("We were still typing")
    period.teacher.get_by_role("button", name="Ring the bell").click()
    page.wait_for_selector("text=The lesson is over", timeout=PATIENCE)
    assert page.locator("#set-up-form").count() == 0
    section = period.opened.store.section(period.section)
    assert section.closed
    other.wait_for_selector("text=The lesson is over", timeout=PATIENCE)
    _await(other, "#claim", "We were still typing")
    late = period.opened.store.section(period.section).benches[2].work["claim"]
    assert late.fields["claim_why"] == "We were still typing" and late.late
    counts = {number: len(bench.records) for number, bench in section.benches.items()}
    assert counts == {1: 3, 2: 3, 3: 3, 4: 2, 5: 1, 6: 1, 7: 3, 8: 3, 9: 3, 10: 3, 11: 3, 12: 0}
    assert not period.faults, period.faults


def _work(page: Any, step: str, fields: dict[str, str]) -> None:
    part = _open(page, step)
    for name, text in fields.items():
        part.locator(f"#{step}-{name}").fill(text)
    _press(page, part.get_by_role("button", name=re.compile("Save")))
