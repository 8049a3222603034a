"""What can go wrong while a class is in the room: a full disk, a database that is gone, another program, a kill at any moment."""

from __future__ import annotations

import random
import signal
import sqlite3
from collections.abc import Iterator

import psycopg
import pytest
from sqlalchemy import event
from sqlalchemy.exc import DataError, InterfaceError, OperationalError, ProgrammingError
from tests.postgres import Cluster, require_postgres
from tests.store import appending
from tests.store.conftest import Place, add, record

from joulebook.classroom.changes import Draft
from joulebook.errors import StoreError
from joulebook.store import database
from joulebook.store.database import open_store
from joulebook.store.faults import told


def name(text: str) -> Draft:
    return Draft("bench-named", "bench", 1, {"name": text})


@pytest.mark.parametrize(("said", "code", "message"), [
    (OperationalError("", {}, sqlite3.OperationalError("database or disk is full")), "store-full", "disk is full, so nothing more"),
    (OperationalError("", {}, psycopg.errors.DiskFull('could not extend file "base/1": No space left on device')), "store-full",
     "Free some space.*what you just entered was not saved"),
    (OperationalError("", {}, sqlite3.OperationalError("attempt to write a readonly database")), "store-read-only", "cannot be written"),
    (ProgrammingError("", {}, psycopg.errors.ReadOnlySqlTransaction("cannot execute INSERT in a read-only transaction")),
     "store-read-only", "cannot be written"),
    (OperationalError("", {}, sqlite3.DatabaseError("database disk image is malformed")), "store-damaged", "joulebook store restore"),
    (OperationalError("", {}, sqlite3.OperationalError("database is locked")), "store-locked", "Another program holds the store"),
    (OperationalError("", {}, psycopg.errors.DeadlockDetected("deadlock detected")), "store-locked", "End the other joulebook"),
    (OperationalError("", {}, sqlite3.OperationalError("unable to open database file")), "store-gone", "folder and disk are still"),
    (OperationalError("", {}, psycopg.OperationalError('password authentication failed for user "anna"')), "store-refused",
     "refuses the connection"),
    (OperationalError("", {}, psycopg.OperationalError("connection refused")), "store-gone", "cannot be reached. Start it again"),
    (InterfaceError("", {}, psycopg.InterfaceError("the connection is closed")), "store-gone", "What was saved before is kept"),
    (DataError("", {}, psycopg.DataError("value too long\nDETAIL: …")), "store", "The database reports: value too long Try again"),
    (OSError(5, "Input/output error"), "store", "cannot be reached: Input/output error"),
])  # fmt: skip
def test_every_message(said: Exception, code: str, message: str) -> None:
    with pytest.raises(StoreError, match=message) as raised, told("the room's file"):
        raise said
    assert raised.value.code == code and raised.value.source == "the room's file" and raised.value.remedy


def test_a_full_disk(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """SQLite says of a file that may not grow what it says of a full disk (max_page_count, SQLITE_FULL)."""
    with open_store(folder=tmp_path) as store:
        section = store.make_section("Second period", benches=3)
        add(store, section, "launch.csv", b"1,2")
        store.engine.dispose()
        event.listen(store.engine, "connect", lambda connection, _: connection.execute("PRAGMA max_page_count=40"))
        with pytest.raises(StoreError, match=r"disk is full.*Free some space.*What was saved before is kept") as raised:
            add(store, section, "large.csv", b"3,4\n" * 100_000, bench=2)
        assert raised.value.code == "store-full"
        assert [change.seq for change in store.changes(section)] == [1, 2], "nothing half-written"
        assert store.append(section, name("Comets")).seq == 3, "what still fits is kept"
    with open_store(folder=tmp_path) as store:
        assert add(store, section, "large.csv", b"3,4\n" * 100_000, bench=2).seq == 4, "with space again all is well"


def test_another_program_holds_the_file(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.setattr(database, "_BUSY_MS", 20)
    with open_store(folder=tmp_path) as store:
        section = store.make_section("Second period", benches=3)
        holder = sqlite3.connect(tmp_path / "joulebook.db", isolation_level=None)
        holder.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match="Another program holds the store") as raised:
            store.append(section, name("Comets"))
        assert raised.value.code == "store-locked"
        assert store.section(section).seq == 1, "reading goes on meanwhile"
        holder.close()
        assert store.append(section, name("Comets")).seq == 2


def test_a_reader_in_the_way_of_wiping(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.setattr(database, "_BUSY_MS", 20)
    with open_store(folder=tmp_path) as store:
        section = store.make_section("Second period", benches=3)
        reader = sqlite3.connect(tmp_path / "joulebook.db", isolation_level=None)
        reader.execute("BEGIN")
        reader.execute("SELECT * FROM changes").fetchall()
        with pytest.raises(StoreError, match="It is deleted, but another program still reads the store"):
            store.delete_section(section)
        assert store.sections() == []
        reader.close()


def test_the_folder_is_gone(tmp_path) -> None:  # type: ignore[no-untyped-def]
    folder = tmp_path / "stick"
    with open_store(folder=folder) as store:
        section = store.make_section("Second period", benches=3)
        store.engine.dispose()
        folder.rename(tmp_path / "elsewhere")
        with pytest.raises(StoreError, match="file cannot be opened") as raised:
            store.append(section, name("Comets"))
        assert raised.value.code == "store-gone"
        (tmp_path / "elsewhere").rename(folder)
        assert store.append(section, name("Comets")).seq == 2


@pytest.fixture(scope="module")
def own_cluster() -> Iterator[Cluster]:
    """A server of this module's own, to be stopped and killed, which waits for the disk as a real one does."""
    require_postgres()
    server = Cluster(durable=True)
    yield server
    server.remove()


@pytest.mark.slow
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGQUIT])
def test_the_database_is_gone_and_comes_back(own_cluster: Cluster, how: int) -> None:
    with open_store(own_cluster.make_database()) as store:
        section = store.make_section("Second period", benches=3)
        add(store, section, "launch.csv", b"1,2")
        own_cluster.stop(how)
        for ask in (lambda: store.append(section, record("b.csv", b"2"), content=b"2"), lambda: store.section(section)):
            with pytest.raises(StoreError, match=r"The database cannot be reached\. Start it again, or wait") as raised:
                ask()
            assert raised.value.code == "store-gone"
        own_cluster.start()
        assert store.append(section, name("Comets")).seq == 3, "the same room goes on without being started again"
        assert store.content(section, str(store.changes(section)[1].body["sha256"])) == b"1,2"


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_killed_at_any_moment(kind: str, request: pytest.FixtureRequest, tmp_path) -> None:  # type: ignore[no-untyped-def]
    if kind == "sqlite":
        place = Place(kind, f"sqlite:///{tmp_path / 'room.db'}", tmp_path / "room.db")
    else:
        place = Place(kind, request.getfixturevalue("own_cluster").make_database(), tmp_path)
    rng, acknowledged = random.Random(2026), []
    with open_store(place.url) as store:
        section = store.make_section("Second period", benches=3)
    for turn in range(4):
        acknowledged += appending.killed(place.url, section, turn, after=rng.randint(1, 25), delay=rng.random() * 0.01)
        with open_store(place.url) as store:
            assert appending.check(store, section, acknowledged) == []
            assert store.append(section, name(f"After kill {turn}")).seq == len(store.changes(section))
    assert len(acknowledged) > 4 and {"record-added", "undone"} <= {kind for _, kind, _ in acknowledged}


def test_the_check_after_a_kill_can_fail(tmp_path) -> None:  # type: ignore[no-untyped-def]
    with open_store(folder=tmp_path) as store:
        section = store.make_section("Second period", benches=3)
        made = add(store, section, "launch.csv", b"1,2")
        sha = str(made.body["sha256"])
        assert appending.check(store, section, [(2, "record-added", sha)]) == []
        assert appending.check(store, section, [(3, "bench-named", "-")]) == ["change 3 (bench-named) was acknowledged and is not there"]
        with store.engine.connect().execution_options(writes=True) as connection:
            connection.exec_driver_sql("UPDATE files SET content = x'00'")
            connection.commit()
        assert appending.check(store, section, []) == ["the file of change 2 is not whole"]
