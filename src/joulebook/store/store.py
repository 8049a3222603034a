"""The store: sections, their changes and files, and one way to write."""

from __future__ import annotations

import hashlib
import json
import secrets
import sqlite3
import threading
from collections import OrderedDict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, Engine, delete, func, insert, select, update
from sqlalchemy.exc import OperationalError

from joulebook.classroom.changes import Change, Draft
from joulebook.classroom.section import Section, advance, check, play
from joulebook.errors import InputError, StoreError
from joulebook.store.faults import told
from joulebook.store.refusals import check_base, check_file, check_place, is_plain, no_bench, no_section
from joulebook.store.section_list import CHANGE_COLUMNS, SectionLine, change_of, list_sections
from joulebook.store.tables import AuditRow, ChangeRow, CodeRow, FileRow, SectionRow, SettingRow

__all__ = ["KeptSection", "SectionLine", "Store"]

# No letter or digit that is taken for another one when it is read off a card: no 0 O 1 I L 5 S 2 Z 8 B U V.
_ALPHABET = "34679ACDEFGHJKMNPQRTWXY"
_CODE_LENGTH = 6
_KEPT = 24  # sections kept in memory

Held = tuple[Section, tuple[Change, ...]]


@dataclass(frozen=True, slots=True)
class KeptSection:
    """A whole section on its way into a store or out of it.

    changes: in order, from the first on. files: bytes of records by SHA-256; read one at a time. codes: by bench.
    """

    id: str
    changes: tuple[Change, ...]
    files: Mapping[str, bytes]
    codes: Mapping[int, str] = field(default_factory=dict)


class Store:
    """What is kept, over one database; safe for several threads. Made by `database.open_store`.

    engine: of the database. place: what it is called in messages. Every method raises StoreError when the database fails.
    """

    def __init__(self, engine: Engine, *, place: str) -> None:
        self._engine = engine
        self._writing = engine.execution_options(writes=True)
        self.place = place
        self._held: OrderedDict[str, Held] = OrderedDict()
        self._lock = threading.Lock()
        # SQLite has one writer; waiting here is fairer and cheaper than waiting in its busy handler.
        self._turn = threading.Lock() if engine.dialect.name == "sqlite" else None

    def close(self) -> None:
        """Close the database."""
        self._engine.dispose()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def engine(self) -> Engine:
        """The database's engine, for the other modules of this package."""
        return self._engine

    # Sections.

    def make_section(self, title: str, *, benches: int, house: Mapping[str, object] | None = None, note: str = "") -> str:
        """Make a section with a code for each of its benches, and return its id.

        house: tables as in a house file. Raises InputError for a faulty title, number of benches or house rule.
        """
        body: dict[str, object] = {"title": title.strip(), "benches": benches, "house": dict(house or {}), "note": note.strip()}
        if not title.strip():
            raise InputError("A section needs a title.", remedy="Give it one that you will know again next year.")
        draft = Draft("section-made", "teacher", None, body)
        check(Section(), draft)
        section = secrets.token_hex(5)
        with self._write() as connection:
            self._insert_section(connection, section, [draft], benches)
        return section

    def sections(self) -> list[SectionLine]:
        """Return every section, the newest first."""
        with self._read() as connection:
            return list_sections(connection)

    def sizes(self) -> dict[str, tuple[int, int]]:
        """Return the number of files of each section that has any, and their bytes."""
        query = select(FileRow.section, func.count(), func.sum(func.length(FileRow.content))).group_by(FileRow.section)
        with self._read() as connection:
            return {section: (count, int(size)) for section, count, size in connection.execute(query)}

    def section(self, id_: str) -> Section:
        """Return a section as it stands. Raises InputError (code "no-section") when there is none."""
        with self._read() as connection:
            return self._current(connection, id_)[0]

    def changes(self, id_: str, *, after: int = 0) -> list[Change]:
        """Return the changes of a section in order, those with a number above `after`."""
        with self._read() as connection:
            return [change for change in self._current(connection, id_)[1] if change.seq > after]

    def delete_section(self, id_: str) -> None:
        """Delete a section for good: its changes, files, codes and audits. Raises InputError when there is none."""
        with self._write() as connection:
            self._current(connection, id_)
            self._remove(connection, id_)
        with self._lock:
            self._held.pop(id_, None)
        self._wipe()

    # Changes.

    def append(self, section: str, draft: Draft, *, base: int | None = None, content: bytes | None = None) -> Change:
        """Make a change, with the file that it brings, in one transaction.

        base: for own work: the number of the step's last change that the page was made from (0 for none).
        content: the bytes of an added record.
        Raises InputError when the change makes no sense (code "double" for a record that the bench holds already), StaleError
        when the step was saved by somebody else since `base`.
        """
        with self._write() as connection:
            before, earlier = self._locked(connection, section)
            check(before, draft, earlier=earlier, now=_time(earlier))
            check_base(before, draft, base)
            self._keep_file(connection, section, before, draft, content)
            change = self._insert(connection, section, draft, earlier)
            after = advance(before, change, earlier=earlier)
            if draft.kind == "bench-added" and draft.bench is not None:
                self._mint(connection, section, draft.bench)
        self._hold(section, (after, (*earlier, change)))
        return change

    def append_many(self, section: str, drafts: Sequence[Draft]) -> list[Change]:
        """Make several changes, or none of them when one makes no sense. None of them may bring a file."""
        made: list[Change] = []
        with self._write() as connection:
            state, earlier = self._locked(connection, section)
            for draft in drafts:
                check(state, draft, earlier=earlier, now=_time(earlier))
                if draft.kind in ("record-added", "section-made"):
                    what = f"A change of the kind {draft.kind} comes alone."
                    raise InputError(what, remedy="Make it by itself.", code="refused")
                change = self._insert(connection, section, draft, earlier)
                state, earlier = advance(state, change, earlier=earlier), (*earlier, change)
                if draft.kind == "bench-added" and draft.bench is not None:
                    self._mint(connection, section, draft.bench)
                made.append(change)
        self._hold(section, (state, earlier))
        return made

    # Files.

    def contents(self, section: str, sha256s: Iterable[str]) -> dict[str, bytes]:
        """Return the bytes of records by their SHA-256; what is not there is left out."""
        wanted = [sha for sha in dict.fromkeys(sha256s) if is_plain(sha)]
        if not wanted or not is_plain(section):
            return {}
        query = select(FileRow.sha256, FileRow.content).where(FileRow.section == section, FileRow.sha256.in_(wanted))
        with self._read() as connection:
            return {sha: bytes(content) for sha, content in connection.execute(query)}

    def content(self, section: str, sha256: str) -> bytes:
        """Return the bytes of one record. Raises InputError when there is none."""
        found = self.contents(section, [sha256])
        if sha256 not in found:
            raise InputError("There is no such file in this section.", remedy="Reload the page.", code="no-section")
        return found[sha256]

    # Codes.

    def code(self, section: str, bench: int) -> str:
        """Return the code on a bench's card. Raises InputError when there is no such bench."""
        check_place(section, bench)
        query = select(CodeRow.code).where(CodeRow.section == section, CodeRow.bench == bench)
        with self._read() as connection:
            found = connection.execute(query).scalar()
        if found is None:
            raise no_bench(bench)
        return str(found)

    def find_code(self, code: str) -> tuple[str, int] | None:
        """Return section and bench of a code, None when it is nobody's. Case does not matter."""
        if len(code) > 2 * _CODE_LENGTH or not is_plain(code):
            return None
        query = select(CodeRow.section, CodeRow.bench).where(CodeRow.code == code.upper())
        with self._read() as connection:
            found = connection.execute(query).one_or_none()
        return None if found is None else (found.section, found.bench)

    def new_code(self, section: str, bench: int) -> str:
        """Give a bench a new code; the old one opens nothing any more. Raises InputError when there is no such bench."""
        check_place(section, bench)
        with self._write() as connection:
            place = (CodeRow.section == section, CodeRow.bench == bench)
            if connection.execute(select(CodeRow.code).where(*place)).scalar() is None:
                raise no_bench(bench)
            code = self._free_code(connection)
            connection.execute(update(CodeRow).where(*place).values(code=code))
        return code

    # Audits and settings.

    def keep_audit(self, section: str, bench: int, key: str, audit: Mapping[str, object] | None) -> None:
        """Keep the last audit of a bench as JSON; None when there is none. A section that is gone is passed over."""
        with self._write() as connection:
            if connection.execute(select(SectionRow.id).where(SectionRow.id == section)).scalar() is None:
                return
            connection.execute(delete(AuditRow).where(AuditRow.section == section, AuditRow.bench == bench))
            # A number that JSON does not know is null, as in the reports; PostgreSQL would refuse the whole.
            plain = json.loads(json.dumps(audit), parse_constant=lambda _: None)
            row = {"section": section, "bench": bench, "key": key, "audit": plain}
            connection.execute(insert(AuditRow).values(row))

    def audits(self, section: str) -> dict[int, tuple[str, dict[str, Any] | None]]:
        """Return the last kept audit of each bench, with the key of its judgement."""
        query = select(AuditRow.bench, AuditRow.key, AuditRow.audit).where(AuditRow.section == section)
        with self._read() as connection:
            return {bench: (key, audit) for bench, key, audit in connection.execute(query)}

    def setting(self, name: str) -> str | None:
        """Return a setting, None when it was never set."""
        with self._read() as connection:
            found = connection.execute(select(SettingRow.value).where(SettingRow.name == name)).scalar()
        return None if found is None else str(found)

    def set_setting(self, name: str, value: str) -> None:
        """Keep a setting."""
        with self._write() as connection:
            connection.execute(delete(SettingRow).where(SettingRow.name == name))
            connection.execute(insert(SettingRow).values(name=name, value=value))

    # For the other modules of this package.

    def codes(self, section: str) -> dict[int, str]:
        """Return the code of each bench."""
        query = select(CodeRow.bench, CodeRow.code).where(CodeRow.section == section).order_by(CodeRow.bench)
        with self._read() as connection:
            return {bench: code for bench, code in connection.execute(query)}

    def put_section(self, kept: KeptSection) -> None:
        """Put a whole section in, with its changes as they were made. For import; see `put_sections`."""
        self.put_sections([kept])

    def put_sections(self, sections: Iterable[KeptSection], *, replace: bool = False) -> None:
        """Put whole sections in, all of them or none. Codes are kept where they are free; a bench without one gets a new one.

        replace: whether a section of the same id gives way. Raises InputError (code "package") when there is one and it does not,
        or when a section's changes do not play or its files are not whole.
        """
        replaced = []
        with self._write() as connection:
            for kept in sections:
                if connection.execute(select(SectionRow.id).where(SectionRow.id == kept.id)).scalar() is not None:
                    if not replace:
                        raise InputError(f"There is a section {kept.id} already.", remedy="Delete it first.", code="package")
                    self._remove(connection, kept.id)
                    replaced.append(kept.id)
                self._put(connection, kept)
        with self._lock:
            for section in replaced:
                self._held.pop(section, None)
        if replaced:
            self._wipe()

    def _put(self, connection: Connection, kept: KeptSection) -> None:
        state = play(kept.changes)
        whole = [change.seq for change in kept.changes] == list(range(1, len(kept.changes) + 1))
        if not kept.changes or not whole or not state.benches:
            raise InputError("These changes are no section.", remedy="Export the section again.", code="package")
        connection.execute(insert(SectionRow).values(id=kept.id, made_at=kept.changes[0].at))
        connection.execute(insert(ChangeRow), [{"section": kept.id, **change.to_dict()} for change in kept.changes])
        for sha in dict.fromkeys(str(change.body["sha256"]) for change in kept.changes if change.kind == "record-added"):
            content = kept.files.get(sha)
            if content is None or hashlib.sha256(content).hexdigest() != sha:
                what = f"The bytes of the record {sha[:12]}… are missing or altered."
                raise InputError(what, remedy="Export or back up the section again.", code="package")
            connection.execute(insert(FileRow).values(section=kept.id, sha256=sha, content=content))
        for bench in state.benches:
            code = kept.codes.get(bench)
            if code and connection.execute(select(CodeRow.code).where(CodeRow.code == code)).scalar() is None:
                connection.execute(insert(CodeRow).values(code=code, section=kept.id, bench=bench))
            else:
                self._mint(connection, kept.id, bench)

    def _remove(self, connection: Connection, section: str) -> None:
        for table in (AuditRow, CodeRow, FileRow, ChangeRow):
            connection.execute(delete(table).where(table.section == section))
        connection.execute(delete(SectionRow).where(SectionRow.id == section))

    @contextmanager
    def _read(self) -> Iterator[Connection]:
        with told(self.place), self._engine.connect() as connection:
            yield connection

    @contextmanager
    def _write(self) -> Iterator[Connection]:
        if self._turn is None:
            with told(self.place), self._writing.begin() as connection:
                yield connection
            return
        with self._turn, told(self.place), self._writing.begin() as connection:
            yield connection

    def _locked(self, connection: Connection, section: str) -> Held:
        """Take the section's lock for the rest of the transaction, and return it as it stands."""
        if is_plain(section):
            connection.execute(select(SectionRow.id).where(SectionRow.id == section).with_for_update())
        return self._current(connection, section)

    def _current(self, connection: Connection, section: str) -> Held:
        """Return a section as it stands in this transaction: what is in memory, and what came since."""
        if not is_plain(section):
            raise no_section()
        with self._lock:
            held = self._held.get(section)
        state, earlier = held or (Section(), ())
        # The last known change is looked at again: another program may have deleted the section, or restored another state of it.
        query = select(ChangeRow).where(ChangeRow.section == section, ChangeRow.seq >= len(earlier)).order_by(ChangeRow.seq)
        rows = connection.execute(query.with_only_columns(*CHANGE_COLUMNS)).all()
        came = [change_of(row) for row in rows]
        if earlier:
            if not came or (came[0].seq, came[0].at, came[0].kind) != (earlier[-1].seq, earlier[-1].at, earlier[-1].kind):
                with self._lock:
                    self._held.pop(section, None)
                return self._current(connection, section)
            del came[0]
        elif not came:
            raise no_section()
        missing = next((seq for seq, change in enumerate(came, len(earlier) + 1) if change.seq != seq), None)
        if missing is not None:
            what = f"The log of section {section} is not whole: change {missing} is missing."
            raise StoreError(what, remedy="Restore the last backup.", code="store-damaged", source=self.place)
        before, earlier = earlier, (*earlier, *came)
        if any(change.kind == "undone" for change in came):
            # Each undoing plays everything anew; a long log is played once.
            state = play(earlier)
        else:
            for change in came:
                state = advance(state, change, earlier=before)
        if came:
            self._hold(section, (state, earlier))
        return state, earlier

    def _hold(self, section: str, held: Held) -> None:
        with self._lock:
            known = self._held.get(section)
            # A slower thread must not put an older state over a newer one.
            if known is None or len(known[1]) <= len(held[1]):
                self._held[section] = held
            self._held.move_to_end(section)
            while len(self._held) > _KEPT:
                self._held.popitem(last=False)

    def _insert_section(self, connection: Connection, section: str, drafts: Sequence[Draft], benches: int) -> None:
        connection.execute(insert(SectionRow).values(id=section, made_at=_now()))
        earlier: tuple[Change, ...] = ()
        for draft in drafts:
            earlier = (*earlier, self._insert(connection, section, draft, earlier))
        for bench in range(1, benches + 1):
            self._mint(connection, section, bench)

    def _insert(self, connection: Connection, section: str, draft: Draft, earlier: Sequence[Change]) -> Change:
        change = Change(len(earlier) + 1, _time(earlier), draft.kind, draft.actor, draft.bench, dict(draft.body))
        connection.execute(insert(ChangeRow).values(section=section, **change.to_dict()))
        return change

    def _keep_file(self, connection: Connection, section: str, state: Section, draft: Draft, content: bytes | None) -> None:
        if draft.kind != "record-added":
            return
        sha = str(draft.body["sha256"])
        place = (FileRow.section == section, FileRow.sha256 == sha)
        there = connection.execute(select(func.length(FileRow.content)).where(*place)).scalar()
        check_file(state, draft, content, kept=there)
        if there is None:
            connection.execute(insert(FileRow).values(section=section, sha256=sha, content=content))

    def _mint(self, connection: Connection, section: str, bench: int) -> None:
        there = connection.execute(select(CodeRow.code).where(CodeRow.section == section, CodeRow.bench == bench)).scalar()
        if there is None:
            connection.execute(insert(CodeRow).values(code=self._free_code(connection), section=section, bench=bench))

    def _free_code(self, connection: Connection) -> str:
        while True:
            code = "".join(secrets.choice(_ALPHABET) for _ in range(_CODE_LENGTH))
            if connection.execute(select(CodeRow.code).where(CodeRow.code == code)).scalar() is None:
                return code

    def _wipe(self) -> None:
        """Take deleted bytes off the disk too: the file is written anew without them, and the write-ahead log is emptied.

        On PostgreSQL freed space is the server's to overwrite, in its own time.
        """
        if self._turn is None:
            return
        # On the driver's own connection: VACUUM may stand in no transaction, and SQLAlchemy would begin one.
        with self._turn, told(self.place), closing(self._engine.raw_connection()) as connection:
            cursor = connection.cursor()
            try:
                # A full disk leaves no room for this; secure_delete has put zeros over the bytes already.
                with suppress(sqlite3.OperationalError):
                    cursor.execute("VACUUM")
                cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
                busy = (cursor.fetchone() or (0,))[0]
            except sqlite3.Error as error:
                raise OperationalError("PRAGMA wal_checkpoint", {}, error) from error
            finally:
                cursor.close()
        if busy:
            what = "It is deleted, but another program still reads the store, and traces of it stay in the file beside it."
            raise StoreError(what, remedy="End the other joulebook; closing the last one empties that file.", source=self.place)


def _time(earlier: Sequence[Change]) -> str:
    """Return the time of the next change: the clock may be set back in the middle of a lesson; the log's times never are."""
    return max(_now(), earlier[-1].at) if earlier else _now()


def _now() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3] + "Z"
