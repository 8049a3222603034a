"""A store on each database: every test that takes `place` runs on SQLite and on a real PostgreSQL."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from tests.postgres import Cluster, require_postgres

from joulebook.classroom.changes import Actor, Change, Draft
from joulebook.store.database import open_store
from joulebook.store.store import Store


@dataclass
class Place:
    """Where a store is kept. kind: "sqlite" or "postgresql". url: its address. file: of SQLite's database."""

    kind: str
    url: str
    file: Path
    opened: list[Store] = field(default_factory=list)

    def open(self) -> Store:
        """Open the store, as a process of its own would; it is closed after the test."""
        store = open_store(self.url)
        self.opened.append(store)
        return store


@pytest.fixture(scope="session")
def cluster() -> Iterator[Cluster]:
    """The PostgreSQL server of this test process, started when a test first needs it."""
    require_postgres()
    server = Cluster()
    yield server
    server.remove()


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Place]:
    """An empty database of each kind."""
    file = tmp_path / "room.db"
    if request.param == "sqlite":
        place = Place("sqlite", f"sqlite:///{file}", file)
    else:
        place = Place("postgresql", request.getfixturevalue("cluster").make_database(), file)
    yield place
    for store in place.opened:
        store.close()


@pytest.fixture
def other(request: pytest.FixtureRequest, tmp_path: Path, place: Place) -> Iterator[Place]:
    """An empty database of the other kind than `place`."""
    file = tmp_path / "other.db"
    if place.kind == "postgresql":
        found = Place("sqlite", f"sqlite:///{file}", file)
    else:
        found = Place("postgresql", request.getfixturevalue("cluster").make_database(), file)
    yield found
    for store in found.opened:
        store.close()


@pytest.fixture
def store(place: Place) -> Store:
    """An open store."""
    return place.open()


@pytest.fixture
def section(store: Store) -> str:
    """A section of three benches."""
    return store.make_section("Second period", benches=3)


def record(name: str, content: bytes, *, bench: int = 1, role: str = "launch", actor: Actor = "bench") -> Draft:
    """Return the draft that adds a record."""
    sha = hashlib.sha256(content).hexdigest()
    return Draft("record-added", actor, bench, {"name": name, "sha256": sha, "size": len(content), "role": role})


def add(store: Store, section: str, name: str, content: bytes, *, bench: int = 1, role: str = "launch") -> Change:
    """Add a record as a bench does."""
    return store.append(section, record(name, content, bench=bench, role=role), content=content)


def saved(step: str = "calculation", bench: int = 1, **fields: str) -> Draft:
    """Return the draft that saves a step of own work."""
    return Draft("work-saved", "bench", bench, {"step": step, "fields": fields})
