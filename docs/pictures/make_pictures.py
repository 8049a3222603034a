"""Take the pictures of the room that the docs show: start the demo's room, look at its pages in Chromium, save PNG files here.

Run by `make pictures`. It needs Chromium and the packages of requirements/dev.in, and no network.
"""

from __future__ import annotations

import io
import re
import socket
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import uvicorn
from PIL import Image
from playwright.sync_api import sync_playwright

from joulebook.api.demo_room import fill_demo_room
from joulebook.store.database import open_store
from joulebook.store.store import Store
from joulebook.web.app import create_app
from joulebook.web.settings import Settings

__all__ = ["PICTURES", "take_pictures"]

_HERE = Path(__file__).parent
_CHROMIUM = ("/usr/bin/chromium", "/usr/bin/chromium-browser")
_FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
_COLOURS = 64  # of a picture; a page of text and lines needs no more
_MOST_BYTES = 150_000

Look = Callable[[Any, str], None]
"""What is done on a page before its picture is taken: page, address of the section."""


def _board(page: Any, section: str) -> None:
    page.goto(section)
    # Everything is judged once no bench is being checked any more.
    page.wait_for_function("() => document.querySelectorAll('li.card.is-checking').length === 0", timeout=120_000)


def _bench(page: Any, section: str) -> None:
    page.goto(f"{section.partition('/sections')[0]}/bench?step=readings")
    page.locator(".choose a", has_text="launch-1").click()
    page.wait_for_function(
        "() => document.querySelector('.choose [aria-current]').textContent === 'launch-1.csv' && document.querySelector('.step-by')"
    )
    plot = page.locator(".plot.live:visible")
    plot.focus()
    for key in ("Home", "PageUp", "PageUp", "ArrowRight", "ArrowRight", "a", "ArrowRight", "ArrowRight", "b"):
        plot.press(key)
    page.evaluate("scrollTo(0, 0)")


def _bench_on_a_phone(page: Any, section: str) -> None:
    _bench(page, section)
    page.locator("#trace").evaluate("part => { part.scrollIntoView(); document.activeElement.blur(); }")


def _editing(page: Any, section: str) -> None:
    page.goto(f"{section}/benches/1#trace")
    page.locator("#by-hand summary").click()
    page.wait_for_selector("#follows-body .verdict")
    handle = page.locator(".plot:visible .handle[aria-label=Release]")
    handle.focus()
    for _ in range(3):
        handle.press("ArrowRight")
    page.wait_for_function("() => document.getElementById('follows-state').textContent.startsWith('If you keep')")
    page.wait_for_timeout(800)
    page.locator("#trace").evaluate("part => { part.scrollIntoView(); scrollBy(0, -10); }")


def _class(page: Any, section: str) -> None:
    page.goto(f"{section}/class")


def _marking(page: Any, section: str) -> None:
    page.goto(f"{section}/marking/criterion/calculation")
    page.evaluate("scrollTo(0, 0)")


PICTURES: Mapping[str, tuple[Look, tuple[int, int], str]] = {
    "board": (_board, (1280, 780), "teacher"),
    "bench": (_bench, (1280, 1000), "bench"),
    "bench-on-a-phone": (_bench_on_a_phone, (390, 844), "bench"),
    "setting-times": (_editing, (1280, 860), "teacher"),
    "class-picture": (_class, (1280, 900), "teacher"),
    "marking": (_marking, (1280, 860), "teacher"),
}
"""By name: what is looked at, the window's size in pixels, and who looks."""


def take_pictures(out: Path) -> list[Path]:
    """Take every picture and return the files. out: an existing folder. Raises RuntimeError for one that is too large."""
    chromium = next((path for path in _CHROMIUM if Path(path).exists()), "")
    if not chromium:
        raise RuntimeError("Chromium is missing: Debian's package chromium")
    made = []
    with TemporaryDirectory() as folder, _room(Path(folder)) as (store, section, sign_in), sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=_FLAGS)
        root, _, id_ = section.partition("/sections/")
        signed_in = browser.new_context()
        signed_in.new_page().goto(sign_in)
        joined = browser.new_context()
        joined.new_page().goto(f"{root}/join/{store.code(id_, 1)}")
        who = {"teacher": signed_in.storage_state(), "bench": joined.storage_state()}
        for name, (look, (width, height), by) in PICTURES.items():
            context = browser.new_context(
                storage_state=who[by], viewport={"width": width, "height": height}, color_scheme="light", reduced_motion="reduce",
                has_touch=width < 500,
            )  # fmt: skip
            page = context.new_page()
            look(page, section)
            page.wait_for_timeout(400)
            made.append(_save(page.screenshot(), out / f"{name}.png"))
            context.close()
        browser.close()
    return made


@contextmanager
def _room(folder: Path) -> Iterator[tuple[Store, str, str]]:
    """Serve the demo's room: its store, the address of its section, the link that signs the teacher in."""
    listener = socket.create_server(("127.0.0.1", 0))
    address = f"http://127.0.0.1:{listener.getsockname()[1]}"
    with open_store(folder=folder) as store:
        section = fill_demo_room(store)
        settings = Settings(address=address)
        server = uvicorn.Server(uvicorn.Config(create_app(store, settings), log_level="error", timeout_graceful_shutdown=1))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.05)
        yield store, f"{address}/sections/{section}", f"{address}/sign-in/{settings.sign_in_token}"
        server.should_exit = True
        thread.join(20.0)


def _save(png: bytes, file: Path) -> Path:
    with Image.open(io.BytesIO(png)) as picture:
        picture.convert("RGB").quantize(_COLOURS, dither=Image.Dither.NONE).save(file, optimize=True)
    if file.stat().st_size > _MOST_BYTES:
        raise RuntimeError(f"{file.name} has {file.stat().st_size} bytes, more than {_MOST_BYTES}: make its window smaller")
    return file


if __name__ == "__main__":
    for path in take_pictures(_HERE):
        print(f"{re.sub(r'[.]png$', '', path.name)}: {path.stat().st_size / 1000:.0f} kB")
