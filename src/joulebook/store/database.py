"""Opening a store: an SQLite file of this machine, or a PostgreSQL database by its address."""

from __future__ import annotations

import os
import threading
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event, inspect
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from joulebook.errors import StoreError
from joulebook.store.faults import told
from joulebook.store.places import DATABASE, data_folder
from joulebook.store.store import Store

__all__ = ["open_store"]

_BUSY_MS = 10_000
_KEPT_OPEN = 24
_KINDS = ("sqlite", "postgresql")
_MIGRATING = threading.Lock()
_MIGRATION_KEY = 0x6A6F756C65  # "joule"
_NEWEST = "0001"
"""The last step in migrations/versions."""


def open_store(url: str | None = None, *, folder: str | os.PathLike[str] | None = None) -> Store:
    """Open a store, make it if it is not there, and bring its tables up to date.

    url: a database, "postgresql+psycopg://user@host/name" or "sqlite:////path/file.db"; a file in the data folder unless given.
    folder: the data folder, when it is not the usual one of this machine. The caller closes the store.
    Raises StoreError when it cannot be reached, is damaged, or was made by a later version of joulebook.
    """
    engine = _engine(url, Path(folder) if folder is not None else data_folder())
    place = engine.url.render_as_string(hide_password=True) if engine.dialect.name != "sqlite" else str(engine.url.database)
    try:
        with told(place):
            _migrate(engine, place)
    except BaseException:
        engine.dispose()
        raise
    return Store(engine, place=place)


def _engine(url: str | None, folder: Path) -> Engine:
    if url is None:
        try:
            # Students' records are nobody else's business on a shared machine.
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        except OSError as error:
            what = f"The data folder cannot be made: {error.strerror}."
            raise StoreError(what, remedy="Name another with --data or JOULEBOOK_DATA.", source=str(folder)) from None
        url = f"sqlite:///{folder / DATABASE}"
    try:
        parsed = make_url(url)
    except ArgumentError:
        what = f"{url.split('@')[-1][:60]!r} is no database address."
        raise StoreError(what, remedy="Write it like postgresql+psycopg://user@host/name.") from None
    kind = parsed.get_backend_name()
    if kind not in _KINDS:
        raise StoreError(f"A store is kept in SQLite or PostgreSQL, not in {kind[:40]}.", remedy="Give the address of one of the two.")
    if kind == "postgresql":
        # A connection that died with the server is noticed before it is used.
        return create_engine(parsed.set(drivername="postgresql+psycopg"), pool_pre_ping=True, pool_size=8)
    # A page asks for all benches at once: connections beyond those kept would be opened, prepared and closed again each time.
    engine = create_engine(parsed, connect_args={"check_same_thread": False}, pool_size=_KEPT_OPEN)
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: Any, _record: object) -> None:
    # SQLAlchemy, not the driver, begins transactions: only then is the lock taken before the first read.
    connection.isolation_level = None
    cursor = connection.cursor()
    for pragma in (
        "journal_mode=WAL",
        "synchronous=FULL",
        "foreign_keys=ON",
        "secure_delete=ON",
        f"busy_timeout={_BUSY_MS}",
    ):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin_sqlite(connection: Any) -> None:
    # A reader may begin as it likes; whoever will write takes the lock at once, and so never has to give up half-way.
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _migrate(engine: Engine, place: str) -> None:
    """Take the steps that the store still lacks."""
    with engine.connect() as connection:
        if _revision(connection) == _NEWEST:
            return  # nearly always; Alembic takes longer to import than the store to open
    from alembic import command
    from alembic.config import Config
    from alembic.script import ScriptDirectory
    from alembic.util import CommandError

    config = Config()
    config.set_main_option("script_location", "joulebook.store:migrations")
    config.set_main_option("path_separator", "os")
    steps = ScriptDirectory.from_config(config)
    # One at a time: in this process, because Alembic's context is the process's; among programs, because two cannot make a table.
    with _MIGRATING, engine.connect().execution_options(writes=True) as connection:
        if engine.dialect.name == "postgresql":
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_MIGRATION_KEY})")
        found = _revision(connection)
        if found is not None and found not in {step.revision for step in steps.walk_revisions()}:
            what = f"This store was made by a later version of joulebook (its tables are at step {found})."
            raise StoreError(what, remedy="Install that version, or restore a backup of this one.", code="store-newer", source=place)
        if found == steps.get_current_head():
            return
        config.attributes["connection"] = connection
        try:
            command.upgrade(config, "head")
        except CommandError as error:
            what = f"The store's tables cannot be brought up to date: {error}."
            raise StoreError(what, remedy="Restore a backup.", source=place) from None
        connection.commit()


def _revision(connection: Any) -> str | None:
    """Return the step that the store is at, None for a new one."""
    from sqlalchemy import text

    if not inspect(connection).has_table("alembic_version"):
        return None
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return None if found is None else str(found)
