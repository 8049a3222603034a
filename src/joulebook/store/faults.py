"""What can go wrong with a database, told in plain words. One place turns every database error into a StoreError."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DatabaseError, DBAPIError, InterfaceError, OperationalError, SQLAlchemyError

from joulebook.errors import StoreError

__all__ = ["told"]

# A part of what the database says, and what it means; the first that fits counts.
_MEANINGS: tuple[tuple[tuple[str, ...], str, str, str], ...] = (
    (
        ("disk is full", "no space left", "database or disk is full"),
        "full",
        "The disk is full, so nothing more can be saved.",
        "Free some space on the disk that holds the store. What was saved before is kept; what you just entered was not saved.",
    ),
    (
        ("readonly", "read-only", "attempt to write"),
        "read-only",
        "The store cannot be written to.",
        "Look at the permissions of its file and folder, or take it off the write-protected disk.",
    ),
    (
        ("malformed", "not a database", "file is encrypted", "disk image"),
        "damaged",
        "The store's file is damaged or is no store.",
        "Keep a copy of it, and restore the last backup with: joulebook store restore.",
    ),
    (
        ("locked", "busy", "lock timeout", "deadlock"),
        "locked",
        "Another program holds the store.",
        "End the other joulebook, or whatever else opens its file, and try again.",
    ),
    (
        ("unable to open database file",),
        "gone",
        "The store's file cannot be opened.",
        "Look whether its folder and disk are still there, and try again. Nothing that was saved is lost by this.",
    ),
    (
        ("authentication", "password", "role", "does not exist"),
        "refused",
        "The database refuses the connection.",
        "Look at the user, the password and the database's name in the address after --store.",
    ),
)


@contextmanager
def told(place: str) -> Iterator[None]:
    """Turn what a database raises inside the block into a StoreError. place: what the store is called in the message."""
    try:
        yield
    except SQLAlchemyError as error:
        raise _meant(error, place) from error
    except OSError as error:
        text = f"The store cannot be reached: {error.strerror or error}."
        raise StoreError(text, remedy="Look whether its folder and disk are still there, and try again.", source=place) from error


def _meant(error: SQLAlchemyError, place: str) -> StoreError:
    said = str(error.orig if isinstance(error, DBAPIError) else error)
    for parts, code, message, remedy in _MEANINGS:
        if any(part in said.casefold() for part in parts):
            return StoreError(message, remedy=remedy, code=f"store-{code}", source=place)
    if isinstance(error, OperationalError | InterfaceError) or (isinstance(error, DBAPIError) and error.connection_invalidated):
        remedy = "Start it again, or wait until it is back, and try again. What was saved before is kept."
        return StoreError("The database cannot be reached.", remedy=remedy, code="store-gone", source=place)
    kind = "database" if isinstance(error, DatabaseError) else "store"
    first = said.strip().splitlines()[0][:200] if said.strip() else type(error).__name__
    return StoreError(f"The {kind} reports: {first}", remedy="Try again; if it stays, restore a backup.", source=place)
