"""The written page in a real browser: it asks for nothing, fits a phone and a zoomed desk, and can be walked by keyboard.

WCAG 2.2: 1.4.10 (reflow at 320 CSS pixels, which is 1280 at 400 % zoom), 1.1.1 (text alternatives), 2.4.3 and 2.4.7 (focus).
"""

from __future__ import annotations

import html
import json
import re
import shutil
import subprocess
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

import joulebook
from joulebook.planning.demo_section import demo_benches
from joulebook.planning.simulate import simulate_bench
from joulebook.render.page import write_page

pytestmark = pytest.mark.page

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-sync",
    "--disable-component-update", "--disable-quic", "--hide-scrollbars", "--virtual-time-budget=3000",
]  # fmt: skip

# The page is shown in a frame of each width; what the browser made of it is left in the title.
LOOK = """
<!doctype html><title>not yet</title>
%(frames)s
<script>
addEventListener("load", () => {
  const found = [...document.querySelectorAll("iframe")].map(frame => {
    const page = frame.contentDocument, view = frame.contentWindow;
    page.querySelectorAll("details").forEach(part => { part.open = true; });
    const shown = element => element.checkVisibility({visibilityProperty: true, contentVisibilityAuto: true});
    // Its own scrolling box, or a heading row that only screen readers meet: neither makes a person scroll sideways.
    const apart = element => { for (let up = element; up; up = up.parentElement) { const style = view.getComputedStyle(up);
      const box = ["auto", "scroll"].includes(style.overflowX) && up !== element;
      if (box || style.clipPath !== "none") return true; } return false; };
    return {
      width: view.innerWidth,
      needed: page.documentElement.scrollWidth,
      asked: view.performance.getEntriesByType("resource").map(entry => entry.name),
      language: page.documentElement.lang,
      headings: [...page.querySelectorAll("h1, h2, h3, h4")].map(heading => Number(heading.tagName[1])),
      nameless: [...page.querySelectorAll("svg")].filter(svg => shown(svg) && svg.getAttribute("aria-hidden") !== "true"
        && !(svg.getAttribute("aria-label") || svg.getAttribute("aria-labelledby") || svg.querySelector("title"))).length,
      pictures: [...page.querySelectorAll("svg")].filter(shown).length,
      wide: [...page.querySelectorAll("body *")].filter(element => shown(element) && !element.closest("svg") && !apart(element)
        && element.getBoundingClientRect().right > view.innerWidth + 1).map(element => element.outerHTML.slice(0, 80)),
      positive: page.querySelectorAll("[tabindex]:not([tabindex='0']):not([tabindex='-1'])").length,
    };
  });
  document.title = JSON.stringify(found);
});
</script>
"""


def look(page: str, widths: list[int], folder: Path) -> list[dict[str, object]]:
    """Return what the browser makes of a page at some widths in CSS pixels."""
    assert BROWSER is not None, "Chromium is missing: Debian's package chromium, or `make chromium` as root"
    frames = "".join(
        f'<iframe style="width:{width}px;height:900px;border:0" srcdoc="{html.escape(page)}"></iframe>' for width in widths
    )
    file = folder / "look.html"
    file.write_text(LOOK % {"frames": frames}, encoding="utf-8")
    command = [BROWSER, *FLAGS, f"--user-data-dir={folder / 'profile'}", "--window-size=1600,1000", "--dump-dom", file.as_uri()]
    result = subprocess.run(command, capture_output=True, text=True, timeout=120, check=True)
    found = re.search(r"<title>(.*?)</title>", result.stdout, re.DOTALL)
    assert found is not None
    answer = json.loads(html.unescape(found[1]))
    assert isinstance(answer, list)
    return answer


@pytest.fixture(scope="module")
def sights(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, object]]:
    """The demo's first bench, which has three launches, with every fold opened, at a phone's and a desk's width."""
    audit = joulebook.audit(simulate_bench(demo_benches()[0].design, np.random.default_rng([20, 0])).bench, method="linear")
    return look(write_page(audit), [320, 640, 1280], tmp_path_factory.mktemp("pages"))


def test_the_page_asks_for_nothing(sights: list[dict[str, object]]) -> None:
    assert [sight["asked"] for sight in sights] == [[], [], []]


def test_the_page_needs_no_sideways_scrolling(sights: list[dict[str, object]]) -> None:
    assert [sight["width"] for sight in sights] == [320, 640, 1280]
    for sight in sights:
        assert sight["needed"] == sight["width"], sight["wide"]
        assert sight["wide"] == []


def test_every_picture_has_a_name(sights: list[dict[str, object]]) -> None:
    for sight in sights:
        assert isinstance(sight["pictures"], int)
        assert sight["pictures"] >= 4
        assert sight["nameless"] == 0


def test_headings_skip_no_level(sights: list[dict[str, object]]) -> None:
    levels = sights[0]["headings"]
    assert isinstance(levels, list)
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_language_and_focus_order(sights: list[dict[str, object]]) -> None:
    for sight in sights:
        assert sight["language"] == "en"
        assert sight["positive"] == 0
