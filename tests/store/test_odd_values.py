"""What no browser of ours sends, and what a department gathers over the years."""

from __future__ import annotations

import hashlib
import math
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.store.conftest import Place, add, record

from joulebook.classroom.changes import Change, Draft
from joulebook.errors import InputError
from joulebook.store.package import export_package, import_package
from joulebook.store.store import KeptSection, Store

# A NUL, which PostgreSQL cannot hold; half of a surrogate pair, which has no UTF-8; a letter that grows when it is capitalised; a
# text longer than the column.
ODD_TEXTS = ["a\0", "\ud800", "ß", "", "a" * 5000]
# Beyond what the databases and SQLite's driver take for a whole number.
ODD_BENCHES = [0, -1, 2**31, 2**63, 10**30]


@pytest.mark.parametrize("text", ODD_TEXTS, ids=ascii)
def test_an_odd_text_is_no_section_and_no_code(store: Store, section: str, text: str) -> None:
    draft = Draft("visited", "teacher", 1)
    asks: list[Callable[[], object]] = [
        lambda: store.section(text), lambda: store.changes(text), lambda: store.append(text, draft),
        lambda: store.append_many(text, [draft]), lambda: store.delete_section(text), lambda: store.code(text, 1),
        lambda: store.new_code(text, 1), lambda: store.content(text, "0" * 64), lambda: store.content(section, text),
    ]  # fmt: skip
    for ask in asks:
        with pytest.raises(InputError) as told:
            ask()
        assert told.value.code == "no-section"
    assert store.find_code(text) is None
    assert store.contents(section, [text]) == {} and store.contents(text, ["0" * 64]) == {}


@pytest.mark.parametrize("bench", ODD_BENCHES)
def test_an_odd_number_is_no_bench(store: Store, section: str, bench: int) -> None:
    for ask in (store.code, store.new_code):
        with pytest.raises(InputError, match=r"There is no bench .* in this section\.") as told:
            ask(section, bench)
        assert told.value.code == "no-section"
    with pytest.raises(InputError, match="There is no bench"):
        store.append(section, Draft("visited", "teacher", bench))


def test_numbers_that_json_does_not_know_are_null(store: Store, section: str) -> None:
    store.keep_audit(section, 1, "key", {"u": math.nan, "dof": math.inf, "low": [-math.inf, 1.5], "title": "a\0b"})
    assert store.audits(section) == {1: ("key", {"u": None, "dof": None, "low": [None, 1.5], "title": "a\0b"})}


def test_a_size_that_is_not_the_files(store: Store, section: str) -> None:
    draft = record("launch.csv", b"1,2")
    with pytest.raises(InputError, match=r"has 3 bytes, and not 1,000 as was announced\. Send the file again") as told:
        store.append(section, Draft(draft.kind, draft.actor, 1, {**draft.body, "size": 1000}), content=b"1,2")
    assert told.value.code == "refused"
    add(store, section, "launch.csv", b"1,2", bench=2)
    with pytest.raises(InputError, match="has 3 bytes"):
        store.append(section, Draft(draft.kind, draft.actor, 1, {**draft.body, "size": 1000}))
    assert store.append(section, draft).seq == 3, "bytes that the section holds need not be sent again"


def test_a_double_in_another_role_says_what_to_do(store: Store, section: str) -> None:
    add(store, section, "still.csv", b"1,2", role="rest")
    with pytest.raises(InputError, match="It is a rest record so far; if it is a launch record, change that") as told:
        add(store, section, "launch.csv", b"1,2")
    assert told.value.code == "double"


def test_what_is_left_open_is_left_open(store: Store, section: str) -> None:
    draft = record("launch.csv", b"1,2")
    body = {**draft.body, "run": None, "via": None}
    store.append(section, Draft(draft.kind, draft.actor, 1, body), content=b"1,2")
    store.append(section, Draft("record-discarded", "bench", 1, {"record": "r2", "reason": None}))
    (held,) = store.section(section).benches[1].records
    assert (held.run, held.via, held.reason) == ("", "upload", "")


def test_sizes_of_what_is_kept(store: Store, section: str) -> None:
    assert store.sizes() == {}
    add(store, section, "launch.csv", b"1,2")
    add(store, section, "launch.csv", b"1,2", bench=2)
    add(store, section, "rest.csv", b"3,4,5")
    assert store.sizes() == {section: (2, 8)}, "a file that two benches hold is kept once"
    assert hashlib.sha256(b"3,4,5").hexdigest() in store.contents(section, [hashlib.sha256(b"3,4,5").hexdigest()])


def test_the_list_is_what_the_sections_are(place: Place, store: Store) -> None:
    made = store.make_section("Second period", benches=2)
    drafts = [
        Draft("renamed", "teacher", None, {"title": "Third period"}), Draft("bench-added", "teacher", 3), Draft("bell-rung", "teacher"),
        Draft("renamed", "teacher", None, {"title": "Fourth period"}), Draft("undone", "teacher", None, {"change": 5}),
        Draft("bell-taken-back", "teacher"), Draft("undone", "teacher", None, {"change": 7}), Draft("visited", "teacher", 1),
    ]  # fmt: skip
    for draft in drafts:
        store.append(made, draft)
        for opened in (store, place.open()):
            state, (line,) = opened.section(made), opened.sections()
            assert (line.id, line.title, line.made_at) == (made, state.title, state.made_at)
            assert (line.benches, line.seq, line.closed) == (len(state.benches), state.seq, state.closed)
            assert line.changed_at == opened.changes(made)[-1].at
    assert (line.title, line.benches, line.seq, line.closed) == ("Third period", 3, 9, True)


def test_the_list_does_not_read_the_lessons(store: Store) -> None:
    made = Change(1, "2026-01-01T00:00:00.000Z", "section-made", "teacher", None, {"title": "Long", "benches": 2})
    visits = [Change(seq, made.at, "visited", "teacher", 1, {}) for seq in range(2, 500)]
    store.put_sections(KeptSection(f"{number:010x}", (made, *visits), {}) for number in range(3))
    assert [line.seq for line in store.sections()] == [499] * 3
    assert not store._held, "no section was played for it"


def test_names_that_a_group_thought_of_do_not_spoil_an_export(store: Store, section: str, tmp_path: Path) -> None:
    """The name that a second file would be given is there already, or is that of the folder beside it."""
    for name in ("launch-r4.csv", "launch.csv", "launch.csv", "not-used"):
        add(store, section, name, name.encode() + b"%d" % store.section(section).seq)
    export_package(store, section, tmp_path / "section.zip")
    with zipfile.ZipFile(tmp_path / "section.zip") as archive:
        names = archive.namelist()
        archive.extractall(tmp_path / "unpacked")
    assert len(names) == len({name.casefold() for name in names})
    assert sum(name.startswith("bench-1/") for name in names) == 5
    again = import_package(store, tmp_path / "section.zip")
    assert store.changes(again) == store.changes(section)
