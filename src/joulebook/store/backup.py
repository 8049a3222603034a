"""The whole store in one file that fits any store, whichever database it came from; and back again."""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from joulebook.errors import InputError, StoreError
from joulebook.store.archive import Archive, open_archive, write_archive
from joulebook.store.change_lines import read_changes, record_hashes, write_changes
from joulebook.store.store import KeptSection, Store
from joulebook.version import VERSION

__all__ = ["FORMAT", "PORTABLE_SETTINGS", "Restored", "back_up", "restore"]

FORMAT = "joulebook/store-1"

PORTABLE_SETTINGS: tuple[str, ...] = ()
"""Settings that a backup holds. None so far: the passphrase and what signs cookies belong to one machine and stay there."""

_INDEX = "store.json"
_ID = re.compile(r"[0-9a-f]{1,20}")
_CODE = re.compile(r"[A-Z0-9]{4,12}")
_LARGEST_INDEX = 64 * 1024 * 1024
_REMEDY = "Take another copy of the backup."


@dataclass(frozen=True, slots=True)
class Restored:
    """What came back, or went into a backup. sections: titles by id. changes, files: how many, over all sections."""

    sections: Mapping[str, str]
    changes: int
    files: int


def back_up(store: Store, path: str | os.PathLike[str]) -> Restored:
    """Write every section of a store with its changes, records and codes into one zip file, whole or not at all.

    Passphrase and sessions stay behind. Students' own words are in it: keep it where the store itself would be kept.
    Raises OutputError when it cannot be written, StoreError when the store cannot be read.
    """
    index: list[dict[str, object]] = []
    with write_archive(path) as archive:
        for line in store.sections():
            changes, codes = store.changes(line.id), store.codes(line.id)
            log = write_changes(changes)
            files = []
            for sha in record_hashes(changes):
                content = store.contents(line.id, [sha]).get(sha)
                if content is None:
                    what = f"The bytes of the record {sha[:12]}… of “{line.title}” are missing."
                    remedy = "If the section was deleted this moment, write the backup again; else restore an earlier backup."
                    raise StoreError(what, remedy=remedy, code="store-damaged", source=store.place)
                archive.add(f"sections/{line.id}/files/{sha}", content)
                files.append({"sha256": sha, "bytes": len(content)})
            archive.add(f"sections/{line.id}/changes.jsonl", log)
            index.append(
                {
                    "id": line.id, "title": line.title, "changes": len(changes),
                    "sha256": hashlib.sha256(log).hexdigest(), "files": files,
                    "codes": {str(bench): code for bench, code in codes.items()},
                }
            )  # fmt: skip
        settings = {name: store.setting(name) for name in PORTABLE_SETTINGS}
        body = {
            "format": FORMAT, "version": VERSION, "made_at": datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
            "sections": index, "settings": settings,
        }  # fmt: skip
        archive.add(_INDEX, json.dumps(body, indent=2, ensure_ascii=True) + "\n")
    return Restored(
        {str(each["id"]): str(each["title"]) for each in index},
        sum(each["changes"] for each in index),  # type: ignore[misc]  # whole numbers, set above
        sum(len(each["files"]) for each in index),  # type: ignore[arg-type, misc]  # lists, set above
    )


def restore(store: Store, path: str | os.PathLike[str], *, replace: bool = False) -> Restored:
    """Take a backup's sections into a store, all or none, after the whole of it was checked.

    replace: whether a section that the store holds under the same id gives way to the backup's. Sections that the backup does not
    hold are left alone. Codes come back where no other section has taken them.
    Raises InputError (code "package") when the backup is damaged, or holds a section that the store holds too; StoreError when
    the store cannot be written to. Nothing is changed then.
    """
    with open_archive(path) as archive:
        kept = _checked(archive)
        there = {line.id: line.title for line in store.sections()}
        both = [there[each.id] for each, _ in kept if each.id in there]
        if both and not replace:
            named = ", ".join(f"“{title}”" for title in both[:5]) + (f" and {len(both) - 5} more" if len(both) > 5 else "")
            what = f"The store holds {'this section' if len(both) == 1 else 'these sections'} already: {named}."
            remedy = "To have the backup's state instead of the present one, say --replace; back up the present one first."
            raise InputError(what, remedy=remedy, source=archive.source, code="package")
        store.put_sections([each for each, _ in kept], replace=replace)
    return Restored(
        {each.id: title for each, title in kept},
        sum(len(each.changes) for each, _ in kept),
        sum(len(each.files) for each, _ in kept),
    )


class _Files(Mapping[str, bytes]):
    """The records of one section inside an archive, unpacked one at a time."""

    def __init__(self, archive: Archive, folder: str, sizes: Mapping[str, int]) -> None:
        self._archive, self._folder, self._sizes = archive, folder, sizes

    def __getitem__(self, sha: str) -> bytes:
        return self._archive.read(f"{self._folder}/{sha}", limit=self._sizes[sha])

    def __iter__(self) -> Iterator[str]:
        return iter(self._sizes)

    def __len__(self) -> int:
        return len(self._sizes)


def _checked(archive: Archive) -> list[tuple[KeptSection, str]]:
    """Return every section of a backup with its title, each byte of it checked."""
    kept: list[tuple[KeptSection, str]] = []
    for entry in _index(archive):
        section, title = _section(archive, entry)
        if section.id in [each.id for each, _ in kept]:
            raise _damaged(f"the section {section.id} is in it twice", archive)
        kept.append((section, title))
    return kept


def _index(archive: Archive) -> list[Any]:
    if _INDEX not in archive.names:
        remedy = "Name a file that “joulebook store backup” wrote; a single exported section is taken in by “joulebook store import”."
        raise InputError(f"It is no backup: it holds no {_INDEX}.", remedy=remedy, source=archive.source, code="package")
    try:
        body = json.loads(archive.read(_INDEX, limit=_LARGEST_INDEX))
    except (ValueError, RecursionError):
        raise _damaged(f"{_INDEX} is not understood", archive) from None
    if not isinstance(body, dict) or body.get("format") != FORMAT:
        found = str(body.get("format"))[:60] if isinstance(body, dict) else "nothing"
        what = f"It is no backup that this version reads: its format is {found}, not {FORMAT}."
        raise InputError(what, remedy="Use the version of joulebook that wrote it.", source=archive.source, code="package")
    if not isinstance(body.get("sections"), list):
        raise _damaged(f"{_INDEX} lists no sections", archive)
    return list(body["sections"])


def _section(archive: Archive, entry: object) -> tuple[KeptSection, str]:
    """Return one section and its title."""
    id_, count, sha256, files, codes = _entry(archive, entry)
    log_name, folder = f"sections/{id_}/changes.jsonl", f"sections/{id_}/files"
    log = archive.read_log(log_name)
    if hashlib.sha256(log).hexdigest() != sha256:
        raise _damaged(f"the changes of section {id_} are not those that were written", archive)
    changes, state = read_changes(log, source=archive.source)
    if len(changes) != count:
        raise _damaged(f"section {id_} has {len(changes)} changes instead of {count}", archive)
    if set(files) != set(record_hashes(changes)):
        raise _damaged(f"the records of section {id_} are not those that its changes speak of", archive)
    held = _Files(archive, folder, files)
    for sha in held:
        if hashlib.sha256(held[sha]).hexdigest() != sha:
            raise _damaged(f"the record {sha[:12]}… of section {id_} was altered", archive)
    section = KeptSection(id_, changes, held, {bench: code for bench, code in codes.items() if bench in state.benches})
    return section, state.title


def _entry(archive: Archive, entry: object) -> tuple[str, int, str, dict[str, int], dict[int, str]]:
    """Return what the list of a backup says of one section: id, changes, their SHA-256, sizes of files, codes."""
    try:
        id_, count, sha256 = entry["id"], entry["changes"], entry["sha256"]  # type: ignore[index]  # whatever it is, it is caught
        files = {str(each["sha256"]): each["bytes"] for each in entry["files"]}  # type: ignore[index]
        codes = {int(bench): str(code) for bench, code in entry["codes"].items()}  # type: ignore[index]
        sound = (
            isinstance(id_, str) and _ID.fullmatch(id_) and isinstance(count, int) and isinstance(sha256, str)
            and all(type(size) is int and size >= 0 and re.fullmatch(r"[0-9a-f]{64}", sha) for sha, size in files.items())
            and all(_CODE.fullmatch(code) for code in codes.values())
        )  # fmt: skip
    except (AttributeError, KeyError, TypeError, ValueError):
        sound = False
    if not sound:
        raise _damaged(f"{_INDEX} says of a section what cannot be", archive)
    return id_, count, sha256, files, codes


def _damaged(what: str, archive: Archive) -> InputError:
    return InputError(f"The backup is damaged: {what}.", remedy=_REMEDY, source=archive.source, code="package")
