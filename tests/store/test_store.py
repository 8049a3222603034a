"""Sections, changes, files and codes, on SQLite and on PostgreSQL."""

from __future__ import annotations

import hashlib
from concurrent.futures import ThreadPoolExecutor

import pytest
from tests.store.conftest import Place, add, record, saved

from joulebook.classroom.changes import Draft
from joulebook.errors import InputError, StaleError, StoreError
from joulebook.store import store as store_module
from joulebook.store.store import KeptSection, Store


def name(text: str, bench: int = 1) -> Draft:
    return Draft("bench-named", "bench", bench, {"name": text})


# Sections.


def test_a_section_has_its_benches_and_a_code_for_each(store: Store) -> None:
    section = store.make_section(" Second period ", benches=12, note="by the window")
    state = store.section(section)
    assert (state.title, state.note, len(state.benches), state.seq) == ("Second period", "by the window", 12, 1)
    codes = store.codes(section)
    assert list(codes) == list(range(1, 13)) and len(set(codes.values())) == 12
    assert all(len(code) == 6 and not set(code) & set("0O1IL5S2Z8BUV") for code in codes.values())
    assert store.find_code(codes[7].lower()) == (section, 7)
    assert store.find_code("AAAAAAA") is None


@pytest.mark.parametrize(("title", "benches", "told"), [
    ("  ", 3, "needs a title"), ("Period", 0, "1 to 60 benches, not 0"), ("Period", 61, "1 to 60 benches, not 61"),
    ("x" * 5000, 3, "at most 4000"),
])  # fmt: skip
def test_a_faulty_section_is_refused_and_nothing_kept(store: Store, title: str, benches: int, told: str) -> None:
    with pytest.raises(InputError, match=told):
        store.make_section(title, benches=benches)
    assert store.sections() == []


def test_a_faulty_house_rule_is_refused(store: Store) -> None:
    with pytest.raises(InputError, match="house rules"):
        store.make_section("Period", benches=2, house={"nonsense": 1})
    assert store.sections() == []


def test_sections_are_listed_newest_first(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    for day in (2, 3, 1):
        monkeypatch.setattr(store_module, "_now", lambda day=day: f"2026-03-0{day}T09:00:00.000Z")
        store.make_section(f"Day {day}", benches=day)
    assert [(line.title, line.benches, line.seq, line.closed) for line in store.sections()] == [
        ("Day 3", 3, 1, False), ("Day 2", 2, 1, False), ("Day 1", 1, 1, False),
    ]  # fmt: skip


def test_a_section_that_is_not_there(store: Store) -> None:
    for ask in (
        lambda: store.section("nowhere"),
        lambda: store.changes("nowhere"),
        lambda: store.append("nowhere", name("Comets")),
        lambda: store.append_many("nowhere", [name("Comets")]),
        lambda: store.delete_section("nowhere"),
    ):
        with pytest.raises(InputError, match="no such section") as told:
            ask()
        assert told.value.code == "no-section"


def test_more_sections_than_are_kept_in_memory(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store_module, "_KEPT", 3)
    store = place.open()
    ids = [store.make_section(f"Period {number}", benches=1) for number in range(7)]
    for number, id_ in enumerate(ids):
        store.append(id_, name(f"Group {number}"))
    assert [store.section(id_).benches[1].name for id_ in ids] == [f"Group {number}" for number in range(7)]
    assert len(store._held) == 3


# Changes.


def test_changes_come_back_as_they_were_made(place: Place, store: Store, section: str) -> None:
    awkward = "Ω ± “quote” \u2028 \x00 \ud800 '; DROP TABLE changes; --"
    made = [
        store.append(section, name(awkward)),
        store.append(section, Draft("values-set", "bench", 1, {"values": {"cart.mass": "0.25 kg"}})),
        add(store, section, "launch.csv", b"\x00\xff bytes"),
        store.append(section, Draft("override-set", "teacher", 1, {"record": "r4", "edges": [["climb", 0.1, 0.30000000000000004]]})),
    ]
    assert [change.seq for change in made] == [2, 3, 4, 5]
    again = place.open()
    assert again.changes(section)[1:] == made
    assert again.changes(section, after=3) == made[2:]
    assert again.section(section) == store.section(section)
    assert again.content(section, hashlib.sha256(b"\x00\xff bytes").hexdigest()) == b"\x00\xff bytes"


def test_a_refused_change_leaves_no_trace(store: Store, section: str) -> None:
    with pytest.raises(InputError, match="no bench 9"):
        store.append(section, name("Comets", bench=9))
    with pytest.raises(InputError, match="no kind of change"):
        store.append(section, Draft("nonsense", "bench", 1, {}))
    assert [change.seq for change in store.changes(section)] == [1]


def test_several_changes_or_none(store: Store, section: str) -> None:
    made = store.append_many(section, [name("Comets"), name("Otters", 2), Draft("bench-added", "teacher", 4)])
    assert [change.seq for change in made] == [2, 3, 4] and store.code(section, 4)
    with pytest.raises(InputError, match="no bench 9"):
        store.append_many(section, [name("Late"), name("Bell", 9)])
    with pytest.raises(InputError, match="comes alone"):
        store.append_many(section, [name("Late"), record("a.csv", b"a")])
    assert store.section(section).benches[1].name == "Comets" and store.section(section).seq == 4


def test_undoing_and_undoing_that(place: Place, store: Store, section: str) -> None:
    store.append(section, name("Comets"))
    store.append(section, name("Otters"))
    store.append(section, Draft("undone", "bench", 1, {"change": 3}))
    assert store.section(section).benches[1].name == "Comets"
    store.append(section, Draft("undone", "teacher", None, {"change": 4}))
    assert store.section(section).benches[1].name == "Otters"
    assert place.open().section(section) == store.section(section)


def test_a_step_saved_in_two_windows(store: Store, section: str) -> None:
    first = store.append(section, saved(kinetic_energy="0.21 J"), base=0)
    store.append(section, saved(kinetic_energy="0.21 J"), base=0)  # the same text twice harms nobody
    second = store.append(section, saved(kinetic_energy="0.22 J"), base=first.seq + 1)
    with pytest.raises(StaleError, match="another window") as told:
        store.append(section, saved(kinetic_energy="0.30 J"), base=first.seq)
    assert told.value.saved == {"kinetic_energy": "0.22 J"} and told.value.sent == {"kinetic_energy": "0.30 J"}
    assert told.value.seq == second.seq
    over = Draft("work-saved", "bench", 1, {"step": "calculation", "fields": {"kinetic_energy": "0.30 J"}, "over": second.seq})
    store.append(section, over, base=first.seq)
    assert store.section(section).benches[1].work["calculation"].fields == {"kinetic_energy": "0.30 J"}


def test_a_clock_that_is_set_back(store: Store, section: str, monkeypatch: pytest.MonkeyPatch) -> None:
    before = store.append(section, name("Comets")).at
    monkeypatch.setattr(store_module, "_now", lambda: "2001-01-01T00:00:00.000Z")
    after = store.append(section, name("Otters"))
    assert after.at == before, "the log's times never go back"
    assert [change.seq for change in store.changes(section)] == [1, 2, 3]


def test_two_programs_see_each_others_changes(place: Place, section: str, store: Store) -> None:
    other = place.open()
    assert other.section(section).seq == 1
    store.append(section, name("Comets"))
    assert other.section(section).benches[1].name == "Comets"
    assert other.append(section, name("Otters")).seq == 3
    assert store.section(section).benches[1].name == "Otters"


def test_many_threads_append_at_once(place: Place, section: str) -> None:
    stores = [place.open() for _ in range(3)]

    def work(worker: int) -> list[int]:
        own = stores[worker % 3]
        made = [own.append(section, name(f"{worker} {turn}", 1 + worker % 3)).seq for turn in range(6)]
        return [*made, add(own, section, f"{worker}.csv", b"%d" % worker, bench=1 + worker % 3).seq]

    with ThreadPoolExecutor(6) as pool:
        seqs = [seq for made in pool.map(work, range(6)) for seq in made]
    assert sorted(seqs) == list(range(2, 44)), "acknowledged once each, without a gap"
    log = place.open().changes(section)
    assert [change.seq for change in log] == list(range(1, 44))
    assert [change.at for change in log] == sorted(change.at for change in log)
    assert len({store.section(section) is not None and store.section(section).seq for store in stores}) == 1


# Files.


def test_the_same_file_twice_is_told_and_kept_once(store: Store, section: str) -> None:
    add(store, section, "launch.csv", b"1,2")
    with pytest.raises(InputError, match=r"copy\.csv holds the same as launch\.csv, which came at \d\d:\d\d") as told:
        add(store, section, "copy.csv", b"1,2")
    assert told.value.code == "double"
    assert add(store, section, "launch.csv", b"1,2", bench=2).seq == 3, "another bench may hold the same"


def test_the_same_file_at_the_same_moment(place: Place, section: str) -> None:
    stores = [place.open() for _ in range(2)]

    def work(own: Store) -> str:
        try:
            return f"kept as {add(own, section, 'launch.csv', b'1,2').seq}"
        except InputError as error:
            return error.code

    with ThreadPoolExecutor(4) as pool:
        told = sorted(pool.map(work, stores * 2))
    assert told == ["double", "double", "double", "kept as 2"]


def test_a_record_set_aside_may_come_again(store: Store, section: str) -> None:
    first = add(store, section, "launch.csv", b"1,2")
    store.append(section, Draft("record-discarded", "bench", 1, {"record": f"r{first.seq}"}))
    assert add(store, section, "launch.csv", b"1,2").seq == 4


def test_bytes_that_are_not_those_announced(store: Store, section: str) -> None:
    with pytest.raises(InputError, match="not those that were announced"):
        store.append(section, record("launch.csv", b"1,2"), content=b"1,3")
    with pytest.raises(InputError, match="bytes are missing"):
        store.append(section, record("launch.csv", b"1,2"))
    with pytest.raises(InputError, match="no such file"):
        store.content(section, hashlib.sha256(b"1,2").hexdigest())
    assert store.contents(section, []) == {} and store.section(section).seq == 1


# Codes, audits, settings.


def test_a_new_code_takes_the_place_of_the_old_one(store: Store, section: str) -> None:
    old = store.code(section, 2)
    new = store.new_code(section, 2)
    assert new != old and store.find_code(old) is None and store.find_code(new) == (section, 2)
    for ask in (store.code, store.new_code):
        with pytest.raises(InputError, match="no bench 9"):
            ask(section, 9)


def test_audits_and_settings(store: Store, section: str) -> None:
    store.keep_audit(section, 1, "key", {"quantities": {"height": 0.1}})
    store.keep_audit(section, 2, "none", None)
    store.keep_audit(section, 1, "later", {"quantities": {}})
    store.keep_audit("nowhere", 1, "key", {})
    assert store.audits(section) == {1: ("later", {"quantities": {}}), 2: ("none", None)}
    assert store.setting("colour") is None
    store.set_setting("colour", "blue")
    store.set_setting("colour", "green")
    assert store.setting("colour") == "green"


def test_a_database_has_its_address_without_the_password(place: Place, store: Store) -> None:
    assert place.kind == "sqlite" or (store.place.startswith("postgresql") and "password" not in store.place)


# Deleting for good, and putting in.


def test_deleting_takes_everything(place: Place, store: Store, section: str) -> None:
    kept = store.make_section("Third period", benches=1)
    marker, word = b"MARKER-" + b"bytes-of-a-record " * 2000, "Unmistakable Name"
    add(store, section, "launch.csv", marker)
    store.append(section, name(word))
    store.keep_audit(section, 1, "key", {"title": word})
    code = store.code(section, 1)
    other = place.open()
    assert other.section(section).benches[1].name == word
    store.delete_section(section)
    assert [line.id for line in store.sections()] == [kept]
    assert store.find_code(code) is None and store.audits(section) == {} and store.codes(section) == {}
    with pytest.raises(InputError, match="no such section"):
        other.section(section)
    if place.kind == "sqlite":
        on_disk = b"".join(file.read_bytes() for file in place.file.parent.glob("room.db*"))
        assert b"SQLite" in on_disk and b"MARKER-" not in on_disk and word.encode() not in on_disk
    assert store.append(kept, name("Otters")).seq == 2


def test_a_section_put_in_whole(store: Store, section: str) -> None:
    add(store, section, "launch.csv", b"1,2")
    changes, codes = tuple(store.changes(section)), store.codes(section)
    files = {hashlib.sha256(b"1,2").hexdigest(): b"1,2"}
    store.put_section(KeptSection("abc", changes, files, codes))
    assert store.changes("abc") == list(changes) and store.content("abc", next(iter(files))) == b"1,2"
    assert not set(store.codes("abc").values()) & set(codes.values()), "a code opens one bench"
    store.delete_section(section)
    store.put_section(KeptSection(section, changes, files, codes))
    assert store.codes(section) == codes


def test_what_is_no_section_is_not_put_in(store: Store, section: str) -> None:
    add(store, section, "launch.csv", b"1,2")
    changes = tuple(store.changes(section))
    sound = KeptSection("def", changes[:1], {})
    for faulty, told in (
        (KeptSection("abc", (), {}), "no section"), (KeptSection("abc", changes[1:], {}), "no section"),
        (KeptSection("abc", changes, {}), "missing or altered"),
        (KeptSection("abc", changes, {str(changes[1].body["sha256"]): b"1,3"}), "missing or altered"),
        (KeptSection(section, changes[:1], {}), "already"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=told):
            store.put_sections([sound, faulty])
        assert [line.id for line in store.sections()] == [section], "nothing half done"


def test_another_program_puts_in_an_earlier_state(place: Place, store: Store, section: str) -> None:
    early = tuple(store.changes(section))
    store.append(section, name("Comets"))
    other = place.open()
    assert other.section(section).seq == 2
    store.put_sections([KeptSection(section, early, {})], replace=True)
    assert store.section(section).seq == 1 and other.section(section).seq == 1
    store.append(section, name("Otters"))
    assert other.section(section).benches[1].name == "Otters"


def test_a_log_with_a_gap_is_told(place: Place, store: Store, section: str) -> None:
    for turn in range(3):
        store.append(section, name(f"Group {turn}"))
    with store.engine.connect().execution_options(writes=True) as connection:
        connection.exec_driver_sql("DELETE FROM changes WHERE seq = 3")
        connection.commit()
    with pytest.raises(StoreError, match=r"change 3 is missing.*Restore") as told:
        place.open().section(section)
    assert told.value.code == "store-damaged"
