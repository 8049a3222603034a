"""A room for tests: a store in a folder of its own, the application over it, and browsers that are signed in or not."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.classroom.benches import files

from joulebook.classroom.changes import Draft
from joulebook.store.database import open_store
from joulebook.store.store import Store
from joulebook.web.app import create_app
from joulebook.web.settings import Settings

BASE = "http://127.0.0.1:8765"


@dataclass(frozen=True)
class TestRoom:
    """store, app: of the room. teacher: a browser that signed in as the teacher. section: an id. settings: of the server."""

    __test__ = False

    store: Store
    app: FastAPI
    teacher: TestClient
    section: str
    settings: Settings

    def visitor(self) -> TestClient:
        """Return a browser that nobody knows yet; the application is running already."""
        return browser(self.app)

    def bench(self, number: int) -> TestClient:
        """Return a browser that joined a bench."""
        client = self.visitor()
        answer = client.post("/join", data={"code": self.store.code(self.section, number)})
        assert answer.status_code == 303
        return client

    def path(self, rest: str = "") -> str:
        """Return the path of a page of the section."""
        return f"/sections/{self.section}{rest}"

    def do(self, bench: int, kind: str, **more: str) -> str:
        """Press a button of a bench's page and return the text of the page that it leads to."""
        answer = self.teacher.post(self.path(f"/benches/{bench}/do"), data={"kind": kind, "back": str(bench), **more})
        assert answer.status_code == 303, answer.text
        return self.teacher.get(answer.headers["location"]).text

    def state(self, bench: int):  # type: ignore[no-untyped-def]
        """Return a bench as it stands."""
        return self.store.section(self.section).benches[bench]


def browser(app: FastAPI) -> TestClient:
    """Return a browser on this machine whose forms come from the room's own pages."""
    return TestClient(app, base_url=BASE, headers={"Origin": BASE}, follow_redirects=False, client=("127.0.0.1", 50000))


@contextmanager
def open_room(folder: Path, *, benches: int = 3, watch: Path | None = None, **more: object) -> Iterator[TestRoom]:
    """Open a room with one section."""
    with open_store(folder=folder) as store:
        section = store.make_section("Second period", benches=benches)
        settings = Settings(judges=1, watch=watch, watch_section=section if watch else "", **more)  # type: ignore[arg-type]
        app = create_app(store, settings)
        with browser(app) as teacher:
            assert teacher.get(f"/sign-in/{settings.sign_in_token}").status_code == 303
            yield TestRoom(store, app, teacher, section, settings)


def fill(room: TestRoom, bench: int, fault: str = "", *, values: bool = True, seed: int = 5) -> None:
    """Let a bench save a simulated rest record and launches, and its set-up readings."""
    fill_bench(room.store, room.section, bench, fault, values=values, seed=seed)


def fill_bench(store: Store, section: str, bench: int, fault: str = "", *, values: bool = True, seed: int = 5) -> None:
    """Do the same in any section of a store."""
    content, readings = files(fault, seed)
    if values:
        store.append(section, Draft("values-set", "bench", bench, {"values": readings}))
    for name, data in content.items():
        body = {"name": name, "sha256": hashlib.sha256(data).hexdigest(), "size": len(data),
                "role": "rest" if "rest" in name else "launch"}  # fmt: skip
        store.append(section, Draft("record-added", "bench", bench, body), content=data)


def words(html: str) -> str:
    """Return the text of a page without its tags."""
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())
