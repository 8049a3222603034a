"""The profile: no command and no page is left out, what is measured is what is asked for, and each slow thing has its text."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from benchmarks.profile_commands import command_lines, measure_commands
from benchmarks.profile_page import profile_section, slowest
from benchmarks.profile_pages import ONCE, PAGES, Page, get_routes, measure_pages, parts_of
from benchmarks.slow_things import DONE

from joulebook.cli.main import COMMANDS
from joulebook.store.database import open_store
from joulebook.web.app import create_app
from joulebook.web.settings import Settings

STORED = Path(__file__).parents[2] / "benchmarks" / "results" / "profile.json"


def test_every_page_is_profiled(tmp_path: Path) -> None:
    with open_store(folder=tmp_path) as store:
        routes = get_routes(create_app(store, Settings()))
    assert "/bench" in routes
    assert {page.route for page in PAGES} == routes - {ONCE}
    assert len({page.route for page in PAGES}) == len(PAGES)


def test_every_command_is_profiled(tmp_path: Path) -> None:
    lines = command_lines(tmp_path, tmp_path)
    assert list(lines) == list(COMMANDS)
    assert all(line[0] == name for name, line in lines.items())


def test_every_text_is_of_something() -> None:
    assert set(DONE) <= {*COMMANDS, *(page.route for page in PAGES)}
    assert set(COMMANDS) <= set(DONE)


@pytest.mark.skipif(not STORED.is_file(), reason="no profile is stored yet")
def test_the_ten_slowest_have_their_texts() -> None:
    commands, pages = slowest(json.loads(STORED.read_text(encoding="utf-8")))
    assert len(commands) == len(pages) == 10
    assert [name for name in (*commands, *pages) if name not in DONE] == []


@pytest.mark.parametrize(
    ("route", "path"),
    [
        ("/sections/{section}/benches/{bench}", "/sections/ab/benches/2"),
        ("/sections/{section}/marking/student/{code}", "/sections/ab/marking/student/A%2F1"),
        ("/join/{code}", "/join/XYZ"),
    ],
)
def test_paths_are_filled_in(route: str, path: str) -> None:
    assert Page(route).path({"section": "ab", "bench": "2", "code": "A/1", "join": "XYZ"}) == path


def test_parts_of_a_page_a_style_and_a_script() -> None:
    page = """<link rel="icon" href="/static/mark.svg"> <link href="/static/room.css" rel="stylesheet">
        <a href="/sections">x</a> <script type="module" src="/static/a.js"></script> <img alt="" src="/static/p.png">
        <script src="https://elsewhere.example/b.js"></script>"""
    assert parts_of("/bench", page) == {"/static/mark.svg", "/static/room.css", "/static/a.js", "/static/p.png"}
    style = 'a { background: url("dot.svg") } b { mask: url(#m) } c { background: url(data:image/gif;base64,A) }'
    assert parts_of("/static/room.css", style) == {"/static/dot.svg"}
    script = 'import { b } from "./b.js";\nconst c = await import("/static/c.js");'
    assert parts_of("/static/a.js", script) == {"/static/b.js", "/static/c.js"}


@pytest.mark.slow
def test_some_pages_of_a_real_room() -> None:
    chosen = [page for page in PAGES if page.route in ("/", "/bench", "/sections/{section}", "/sections/{section}/events", "/join/{code}")]
    found = measure_pages(1, pages=chosen)
    pages = found["pages"]
    assert found["peer_s"] > 0.0
    assert {route: each["status"] for route, each in pages.items()} == {
        "/": 200, "/bench": 200, "/sections/{section}": 200, "/sections/{section}/events": 200, "/join/{code}": 303,
    }  # fmt: skip
    assert all(each["first_s"] > 0.0 and each["again_s"] > 0.0 for each in pages.values())
    bench = pages["/bench"]
    # The page, its icon, styles and scripts; and it is larger than the form for a code.
    assert bench["requests"] >= 5
    assert bench["all_bytes"] > bench["bytes"] > pages["/"]["bytes"] > 0
    assert pages["/sections/{section}/events"]["bytes"] == 0


@pytest.mark.slow
def test_some_commands(tmp_path: Path) -> None:
    found = measure_commands(1, only=["version", "serve"], demo=tmp_path)  # neither needs a demo
    assert set(found["commands"]) == {"version", "serve"}
    assert set(found["peer"]) == {"numpy", "bare"}
    for each in (*found["commands"].values(), {"first": found["peer"]["bare"], "end": found["peer"]["numpy"]}):
        assert 0.0 < each["first"] <= each["end"]
    assert min(each[key] for each in found["commands"].values() for key in ("help", "import")) > 0.0


def made_up() -> dict[str, Any]:
    return {
        "repeats": 5, "peer": {"numpy": 0.1, "bare": 0.02}, "peer_s": 0.002,
        "commands": {
            name: {"import": 0.05, "help": 0.2, "first": 0.1 * number, "end": 0.1 * number + 0.05}
            for number, name in enumerate(COMMANDS, start=1)
        },
        "pages": {
            page.route: {"status": 200, "first_s": 0.5, "again_s": 0.004 * number, "bytes": 1234, "requests": 3, "all_bytes": 56789}
            for number, page in enumerate(sorted(PAGES, key=lambda page: page.route in DONE))
        },
    }  # fmt: skip


def test_the_section_shows_ratios_and_what_was_done() -> None:
    results = made_up()
    text = profile_section(results)
    assert "| `audit` | 0.5 | 2.0 | 1.0 | 1.5 |" in text
    assert "| `serve` | 0.5 | 2.0 | 9.0 | – |" in text
    last = max(results["pages"], key=lambda route: results["pages"][route]["again_s"])
    again = results["pages"][last]["again_s"] / 0.002
    assert f"| `{last}` | 200 | 250 | {again:.0f} | 1,234 | 3 | 56,789 |" in text
    assert f"| `{last}` | {again:.0f} | {DONE[last]} |" in text
    assert f"| `joulebook version` | {len(COMMANDS):.1f} | {DONE['version']} |" in text
    assert "`joulebook audit`" not in text
    assert profile_section(None) == ""
