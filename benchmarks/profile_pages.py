"""A profile of every command and every page of the room: imports, first output, first byte, bytes, requests.

    python -m benchmarks.profile_pages [--repeats 5] [--quick]

Commands are started as processes, in turns with their peer, `python -c "import numpy"`: what a command costs before it has done
anything is its ratio to that. Pages are asked of a room that a server of its own holds on this machine, filled with the demo's section,
in turns with the peer, an empty Starlette route under the same server program: what a page costs is its ratio to that. "First" is the
first time that anybody asks for a page after the server has started, with everything still to be audited and nothing kept; "again" is
the median of later times. The raw results go to benchmarks/results/profile.json.
"""

from __future__ import annotations

import argparse
import http.client
import json
import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import quote, urljoin

import numpy as np
from benchmarks.conformance import RESULTS
from benchmarks.cost import environment
from benchmarks.profile_commands import measure_commands
from benchmarks.speed import machine

import joulebook

__all__ = ["ONCE", "PAGES", "Page", "get_routes", "main", "measure_pages", "parts_of"]

_EMPTY = """
import uvicorn
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route
import socket
listener = socket.create_server(("127.0.0.1", 0))
print(f"http://127.0.0.1:{listener.getsockname()[1]}/", flush=True)
app = Starlette(routes=[Route("/", lambda request: PlainTextResponse(""))])
uvicorn.Server(uvicorn.Config(app, log_level="error", access_log=False)).run(sockets=[listener])
"""
_PART = re.compile(r"""<(?:link|script|img|iframe|source)\b[^>]*?\s(?:href|src)="(/[^"]+)\"""")
_IN_SCRIPT = re.compile(r"""\b(?:from|import)\s*\(?\s*["'](\.{0,2}/[^"']+)["']""")
_IN_STYLE = re.compile(r"""url\(["']?([^"')]+)["']?\)""")


class Page:
    """What is asked for to profile one GET route.

    route: as the application has it. who: asks, "teacher", "bench" or "nobody". stream: it never ends, so that only its first byte
    is taken.
    """

    def __init__(self, route: str, who: str = "teacher", *, stream: bool = False) -> None:
        self.route, self.who, self.stream = route, who, stream

    def path(self, values: Mapping[str, str]) -> str:
        """Return the path with the values of this run's room."""
        joined = self.route.startswith("/join/")  # there a code is a bench's, elsewhere a student's
        return re.sub(r"{(\w+)}", lambda found: quote(values["join" if joined else found[1]], safe=""), self.route)


_SECTION = "/sections/{section}"
PAGES: tuple[Page, ...] = (
    Page("/", "nobody"),
    Page("/sign-in", "nobody"),
    Page("/join/{code}", "nobody"),
    Page("/bench", "bench"),
    Page("/bench/trace", "bench"),
    Page("/bench/events", "bench", stream=True),
    Page("/sections"),
    Page("/sections/new"),
    Page(_SECTION),
    *(Page(_SECTION + rest) for rest in ("/cards", "/log", "/benches", "/benches/{bench}", "/rules", "/drop", "/bench-cards")),
    Page(_SECTION + "/events", stream=True),
    *(Page(_SECTION + rest) for rest in ("/class", "/projector", "/class.pdf")),
    Page(_SECTION + "/marking"),
    Page(_SECTION + "/marking/criterion/{criterion}"),
    Page(_SECTION + "/marking/student/{code}"),
    *(Page(f"{_SECTION}/marking/{rest}") for rest in ("bank", "typed", "template.csv", "template.xlsx")),
    *(Page(f"{_SECTION}/marking/{rest}") for rest in ("gradebook.csv", "gradebook.xlsx", "feedback.zip")),
    *(Page(f"{_SECTION}/marking/{rest}") for rest in ("next-lesson", "next-lesson.pdf")),
    Page("/store"),
    *(Page(_SECTION + rest) for rest in ("/package", "/workbook", "/delete")),
    Page("/store/backup"),
    Page("/static/pictures.css", "nobody"),
    Page("/api/openapi.json", "nobody"),
    Page("/api/sections"),
    *(Page("/api" + _SECTION + rest) for rest in ("", "/board", "/changes", "/benches/{bench}")),
    Page("/api/bench", "bench"),
    Page("/api/bench/records/{record}", "bench"),
)
"""Every GET route; /sign-in/{token} is used to sign in and works once. A test compares them with the application's routes."""

ONCE = "/sign-in/{token}"


def get_routes(app: Any) -> set[str]:
    """Return the paths of all GET routes of a FastAPI application, those of its routers too; mounted files are left out."""
    found: set[str] = set()

    def walk(routes: Sequence[Any], prefix: str) -> None:
        for route in routes:
            inner = getattr(route, "original_router", None)
            if inner is not None:
                walk(inner.routes, prefix + getattr(route.include_context, "prefix", ""))
            elif "GET" in (getattr(route, "methods", None) or ()):
                found.add(prefix + route.path)

    walk(app.routes, "")
    return found


def measure_pages(repeats: int, *, pages: Sequence[Page] = PAGES) -> dict[str, Any]:
    """Return for each page its times to the first byte in s, first and again, its bytes, and those of all that it needs."""
    with TemporaryDirectory(prefix="joulebook-profile-") as place:
        values = _fill(Path(place))
        room = [sys.executable, "-m", "benchmarks.serve_room", "--data", place, "--port", "0"]
        empty = [sys.executable, "-c", _EMPTY]
        with _server(room, lambda line: "/sign-in/" in line) as link, _server(empty, lambda line: "http" in line) as peer:
            base = link.partition("/sign-in/")[0]
            cookies = {"nobody": "", "teacher": _cookie(link), "bench": _cookie(f"{base}/join/{values['join']}")}
            found: dict[str, Any] = {}
            first = {page: _ask(base + page.path(values), cookies[page.who], stream=page.stream) for page in pages}
            _wait_until_judged(base, values["section"], cookies["teacher"])
            bare = [_ask(peer, "").first_byte for _ in range(20)][1:]
            for page in pages:
                again: list[float] = []
                begin = time.perf_counter()
                while len(again) < repeats and (not again or time.perf_counter() - begin < 0.6 * repeats):
                    bare.append(_ask(peer, "").first_byte)
                    again.append(_ask(base + page.path(values), cookies[page.who], stream=page.stream).first_byte)
                answer = first[page]
                parts = _with_parts(base, page.path(values), answer, cookies[page.who])
                found[page.route] = {
                    "status": answer.status, "first_s": answer.first_byte, "again_s": _median(again), "bytes": len(answer.body),
                    "requests": 1 + len(parts), "all_bytes": len(answer.body) + sum(parts.values()),
                }  # fmt: skip
            return {"peer_s": _median(bare), "pages": found}


def parts_of(path: str, text: str) -> set[str]:
    """Return the paths of what a page, a style or a script of this server needs besides itself."""
    if path.endswith(".js"):
        found = _IN_SCRIPT.findall(text)
    elif path.endswith(".css"):
        found = [each for each in _IN_STYLE.findall(text) if not each.startswith(("data:", "#"))]
    else:
        found = _PART.findall(text)
    return {urljoin(path, each) for each in found}


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure and store the results."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--repeats", type=int, default=5, help="times that each thing is measured; 5")
    parser.add_argument("--quick", action="store_true", help="each thing once")
    parser.add_argument("--out", type=Path, default=RESULTS / "profile.json", help="where the results go")
    chosen = parser.parse_args(arguments)
    repeats = 1 if chosen.quick else chosen.repeats
    results = {
        "format": "joulebook/profile-1", "version": joulebook.__version__, "machine": machine(), "repeats": repeats,
        **measure_pages(repeats), **measure_commands(repeats),
    }  # fmt: skip
    chosen.out.parent.mkdir(parents=True, exist_ok=True)
    chosen.out.write_text(json.dumps(results, indent=1, sort_keys=True) + "\n", encoding="utf-8")
    print(chosen.out)


class _Answer:
    """What came back. first_byte: s until the answer began. body: b"" of one that never ends."""

    def __init__(self, status: int, headers: http.client.HTTPMessage, body: bytes, first_byte: float) -> None:
        self.status, self.headers, self.body, self.first_byte = status, headers, body, first_byte


def _ask(url: str, cookie: str, *, stream: bool = False) -> _Answer:
    """Ask once over a connection of its own that is open already, as a browser's is."""
    host, _, path = url.removeprefix("http://").partition("/")
    connection = http.client.HTTPConnection(host, timeout=120.0)
    connection.connect()
    headers = {"Accept-Encoding": "gzip", "Origin": f"http://{host}"} | ({"Cookie": cookie} if cookie else {})
    begin = time.perf_counter()
    connection.request("GET", "/" + path, headers=headers)
    answer = connection.getresponse()
    body = b"" if stream else answer.read(1)
    first_byte = time.perf_counter() - begin
    if not stream:
        body += answer.read()
    connection.close()
    return _Answer(answer.status, answer.headers, body, first_byte)


def _cookie(link: str) -> str:
    return str(_ask(link, "").headers["Set-Cookie"]).partition(";")[0]


def _with_parts(base: str, path: str, page: _Answer, cookie: str) -> dict[str, int]:
    """Return the bytes of everything that a page needs from the server, each asked for once; nothing for what is not a page."""
    if "text/html" not in page.headers.get("Content-Type", ""):
        return {}
    todo, found = parts_of(path, page.body.decode()), dict[str, int]()
    while todo:
        part = todo.pop()
        body = _ask(base + part, cookie).body
        found[part] = len(body)
        if part.endswith((".js", ".css")):
            todo |= parts_of(part, body.decode()) - set(found)
    return found


def _fill(folder: Path) -> dict[str, str]:
    """Fill a store with the demo's section and return what the pages' paths need."""
    from joulebook.api.demo_room import fill_demo_room
    from joulebook.classroom.criteria import CRITERIA
    from joulebook.store.database import open_store

    with open_store(folder=folder) as store:
        section = fill_demo_room(store)
        state = store.section(section)
        return {
            "section": section, "bench": "1", "join": store.codes(section)[1], "criterion": next(iter(CRITERIA)),
            "code": next(iter(state.marks.write_ups)), "record": state.benches[1].records[-1].id,
        }  # fmt: skip


def _wait_until_judged(base: str, section: str, cookie: str) -> None:
    """Wait until every bench has been judged, so that what is asked again meets a room at rest: this answer comes when one is."""
    place = f"{base}/api/sections/{section}"
    for each in json.loads(_ask(f"{place}/board", cookie).body):
        _ask(f"{place}/benches/{each['bench']}", cookie)


@contextmanager
def _server(command: list[str], ready: Callable[[str], bool]) -> Iterator[str]:
    """Start a server and yield the line in which it says where it is."""
    server = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=environment())
    try:
        assert server.stdout is not None
        yield next(line.strip() for line in server.stdout if ready(line))
    finally:
        server.terminate()
        server.wait(20.0)
        assert server.stdout is not None
        server.stdout.close()


def _median(values: Sequence[float]) -> float:
    return float(np.median(values))


if __name__ == "__main__":
    main()
