"""The whole store in one file, and back: within a database and across the two."""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from tests.store.conftest import Place, add

from joulebook.classroom.changes import Draft
from joulebook.errors import InputError, OutputError, StoreError
from joulebook.store.backup import back_up, restore
from joulebook.store.database import open_store
from joulebook.store.store import Store


def fill(store: Store) -> list[str]:
    ids = [store.make_section(f"Period {number} ±", benches=number) for number in (1, 2, 3)]
    for number, section in enumerate(ids):
        add(store, section, "launch.csv", b"1,2\n" * (number + 1))
        add(store, section, "launch.csv", b"\x00\xff", bench=1, role="rest")
        store.append(section, Draft("bench-named", "bench", 1, {"name": "Ω \x00 \ud800"}))
    store.append(ids[0], Draft("undone", "bench", 1, {"change": 2}))
    store.append(ids[0], Draft("bench-added", "teacher", 2))
    store.set_setting("passphrase", "argon2-secret-hash")
    store.set_setting("cookie-secret", "signs-cookies")
    return ids


def same(one: Store, two: Store, ids: list[str]) -> bool:
    """Whether two stores hold the same sections, byte for byte."""
    for id_ in ids:
        shas = [str(change.body["sha256"]) for change in one.changes(id_) if change.kind == "record-added"]
        if (one.changes(id_), one.codes(id_), one.contents(id_, shas)) != (two.changes(id_), two.codes(id_), two.contents(id_, shas)):
            return False
    return [line.id for line in one.sections()] == [line.id for line in two.sections()]


def test_a_backup_fits_either_database(place: Place, other: Place, store: Store, tmp_path: Path) -> None:
    ids = fill(store)
    done = back_up(store, tmp_path / "backup.zip")
    assert set(done.sections) == set(ids) and (done.changes, done.files) == (14, 6)
    across = other.open()
    assert restore(across, tmp_path / "backup.zip") == done
    assert same(store, across, ids)
    back_up(across, tmp_path / "again.zip")
    for id_ in ids:
        store.delete_section(id_)
    restore(store, tmp_path / "again.zip")
    assert same(store, across, ids)
    assert store.append(ids[2], Draft("visited", "teacher", 3)).seq == 5, "the room goes on"


def test_secrets_stay_behind(store: Store, tmp_path: Path) -> None:
    fill(store)
    back_up(store, tmp_path / "backup.zip")
    with zipfile.ZipFile(tmp_path / "backup.zip") as archive:
        content = b"".join(archive.read(name) for name in archive.namelist())
    assert b"secret" not in content and b"signs-cookies" not in content and b"Period 1" in content
    assert (tmp_path / "backup.zip").stat().st_mode & 0o077 == 0, "for its owner alone"


def test_an_empty_store(store: Store, tmp_path: Path) -> None:
    back_up(store, tmp_path / "backup.zip")
    assert restore(store, tmp_path / "backup.zip").sections == {}


def test_sections_that_are_there_already(store: Store, tmp_path: Path) -> None:
    ids = fill(store)
    back_up(store, tmp_path / "backup.zip")
    store.append(ids[1], Draft("visited", "teacher", 1))
    store.delete_section(ids[2])
    before = [store.changes(id_) for id_ in ids[:2]]
    with pytest.raises(InputError, match=r"holds these sections already: “Period 2 ±”, “Period 1 ±”.*--replace") as told:
        restore(store, tmp_path / "backup.zip")
    assert told.value.code == "package"
    assert [store.changes(id_) for id_ in ids[:2]] == before and len(store.sections()) == 2
    own = store.make_section("Not in the backup", benches=1)
    restore(store, tmp_path / "backup.zip", replace=True)
    assert store.section(ids[1]).seq == 4 and len(store.sections()) == 4 and store.section(own).title == "Not in the backup"


def test_a_code_that_was_taken_meanwhile(place: Place, other: Place, store: Store, tmp_path: Path) -> None:
    ids = fill(store)
    back_up(store, tmp_path / "backup.zip")
    across = other.open()
    restore(across, tmp_path / "backup.zip")
    code = store.code(ids[0], 1)
    across.delete_section(ids[0])
    taken = across.make_section("Another", benches=1)
    with across.engine.connect().execution_options(writes=True) as connection:
        connection.exec_driver_sql(f"UPDATE codes SET code = '{code}' WHERE section = '{taken}'")
        connection.commit()
    restore(across, tmp_path / "backup.zip", replace=True)
    assert across.find_code(code) == (taken, 1)
    assert across.code(ids[0], 1) != code and across.code(ids[0], 2) == store.code(ids[0], 2)


Parts = dict[str, bytes]


def entry(parts: Parts, change: Callable[[dict[str, Any]], object], *, whole: bool = False) -> None:
    """Change what the list says of the first section, or the list as a whole."""
    body = json.loads(parts["store.json"])
    change(body if whole else body["sections"][0])
    parts["store.json"] = json.dumps(body).encode()


def log_of(parts: Parts) -> str:
    return f"sections/{json.loads(parts['store.json'])['sections'][0]['id']}/changes.jsonl"


def relog(parts: Parts, change: Callable[[list[bytes]], object]) -> None:
    lines = parts[log_of(parts)].splitlines(keepends=True)
    change(lines)
    parts[log_of(parts)] = b"".join(lines)
    entry(parts, lambda e: e.update(sha256=hashlib.sha256(parts[log_of(parts)]).hexdigest()))


def spoil_a_file(parts: Parts) -> None:
    name = next(name for name in parts if "/files/" in name)
    parts[name] = parts[name][:-1] + b"?"


FAULTS: dict[str, tuple[Callable[[Parts], object], str]] = {
    "no list": (lambda p: p.pop("store.json"), "It is no backup: it holds no store.json.*store import"),
    "no JSON": (lambda p: p.update({"store.json": b"\xff"}), "store.json is not understood"),
    "another format": (lambda p: entry(p, lambda b: b.update(format="joulebook/store-7"), whole=True),
                       "format is joulebook/store-7, not joulebook/store-1"),
    "no object": (lambda p: p.update({"store.json": b"[]"}), "its format is nothing"),
    "no sections": (lambda p: entry(p, lambda b: b.update(sections=3), whole=True), "store.json lists no sections"),
    "a section twice": (lambda p: entry(p, lambda b: b["sections"].append(b["sections"][0]), whole=True), "is in it twice"),
    "an id that leads out": (lambda p: entry(p, lambda e: e.update(id="../x")), "says of a section what cannot be"),
    "no codes": (lambda p: entry(p, lambda e: e.pop("codes")), "says of a section what cannot be"),
    "no sizes": (lambda p: entry(p, lambda e: e.update(files=[{"sha256": "a" * 64, "bytes": "many"}])),
                 "says of a section what cannot be"),
    "log missing": (lambda p: p.pop(log_of(p)), r"changes\.jsonl” is missing"),
    "log altered": (lambda p: p.update({log_of(p): p[log_of(p)] + b" "}), "the changes of section .* are not those"),
    "log shorter": (lambda p: relog(p, lambda lines: lines.pop()), r"has \d changes instead of \d"),
    "log forged": (lambda p: relog(p, lambda lines: lines.__setitem__(0, b"{}\n")), "change 1 is not understood"),
    "a file altered": (spoil_a_file, "was altered"),
    "a file missing": (lambda p: p.pop(next(name for name in p if "/files/" in name)), "is missing in it"),
    "a file unlisted": (lambda p: entry(p, lambda e: e.update(files=[])), "are not those that its changes speak of"),
}  # fmt: skip


@pytest.fixture(scope="module")
def backup(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("backup")
    with open_store(folder=folder) as store:
        fill(store)
        back_up(store, folder / "backup.zip")
    return folder / "backup.zip"


@pytest.mark.parametrize("fault", FAULTS)
def test_a_damaged_backup_changes_nothing(backup: Path, tmp_path: Path, fault: str) -> None:
    change, told = FAULTS[fault]
    with zipfile.ZipFile(backup) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    change(parts)
    path = tmp_path / "altered.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    with open_store(folder=tmp_path) as store:
        kept = store.make_section("Here before", benches=1)
        with pytest.raises(InputError, match=told) as raised:
            restore(store, path, replace=True)
        assert raised.value.code == "package" and [line.id for line in store.sections()] == [kept]


def test_every_single_byte_is_checked(backup: Path, tmp_path: Path) -> None:
    """A flipped byte anywhere is refused, or does not matter: the store then holds what was backed up."""
    content = backup.read_bytes()
    with open_store(folder=tmp_path / "sound") as sound:
        restore(sound, backup)
        ids = [line.id for line in sound.sections()]
        refused = 0
        with open_store(folder=tmp_path / "other") as store:
            for place in range(0, len(content), 97):
                (tmp_path / "flipped.zip").write_bytes(content[:place] + bytes([content[place] ^ 0x10]) + content[place + 1 :])
                try:
                    restore(store, tmp_path / "flipped.zip", replace=True)
                except InputError:
                    refused += 1
                else:
                    # A header's date or the list's own title and time carry no section.
                    assert same(sound, store, ids)
    assert refused > len(content) // 97 // 2


def test_a_backup_that_cannot_be_written_or_read(store: Store, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="This is a folder"):
        back_up(store, tmp_path)
    with pytest.raises(OutputError, match="Its folder is not there"):
        back_up(store, tmp_path / "nowhere" / "backup.zip")
    with pytest.raises(InputError, match="no such file"):
        restore(store, tmp_path / "nowhere.zip")


def test_a_store_that_lacks_bytes_cannot_be_backed_up(store: Store, section: str, tmp_path: Path) -> None:
    add(store, section, "launch.csv", b"1,2")
    with store.engine.connect().execution_options(writes=True) as connection:
        connection.exec_driver_sql("DELETE FROM files")
        connection.commit()
    with pytest.raises(StoreError, match=r"The bytes of the record .* of “Second period” are missing"):
        back_up(store, tmp_path / "backup.zip")
    assert not (tmp_path / "backup.zip").exists()
