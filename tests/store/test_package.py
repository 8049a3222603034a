"""A section as a data package: read by a general library, audited again from its folder, taken in again without loss."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.classroom.benches import files
from tests.store.conftest import Place, add, saved

from joulebook.api.sweeps import sweep
from joulebook.classroom.changes import Draft
from joulebook.classroom.judging import judge_bench
from joulebook.errors import InputError, OutputError, StoreError
from joulebook.store.database import open_store
from joulebook.store.package import export_package, import_package
from joulebook.store.store import Store


def fill(store: Store, section: str) -> None:
    """Bench 1 is done, 2 holds awkward things, 3 has records without set-up."""
    content, values = files()
    store.append(section, Draft("bench-named", "bench", 1, {"name": "=Comets"}))
    store.append(section, Draft("values-set", "bench", 1, {"values": values, "how": {"cart.mass": "+balance"}}))
    for name, data in content.items():
        add(store, section, name, data, role="rest" if "rest" in name else "launch")
    first = store.section(section).benches[1].launches[0]
    store.append(section, Draft("override-set", "teacher", 1, {"record": first.id, "edges": [["handled", 0.0, 0.05]]}))
    store.append(section, saved(kinetic_energy="=1+1"))
    store.append(section, Draft("values-set", "bench", 2, {"values": {**values, "cart.mass": "heavy"}}))
    launch = content["launch-1.csv"]
    add(store, section, "../../etc/=passwd.csv", launch, bench=2)
    twin = add(store, section, "LAUNCH.csv", content["launch-2.csv"], bench=2)
    store.append(section, Draft("record-discarded", "bench", 2, {"record": f"r{twin.seq}", "reason": "-pushed"}))
    add(store, section, "launch.csv", launch + b"\n", bench=2)
    add(store, section, "con.csv", b"two springs, tape, chalk\n", bench=2)
    gone = add(store, section, "gone.csv", b"time,distance\n0,1\n", bench=3)
    store.append(section, Draft("undone", "bench", 3, {"change": gone.seq}))
    for name, data in content.items():
        add(store, section, name, data, bench=3, role="rest" if "rest" in name else "launch")


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> tuple[Store, str, Path]:
    """A filled store, its section, and the section exported without names."""
    folder = tmp_path_factory.mktemp("package")
    store = open_store(folder=folder)
    section = store.make_section("Second ± period", benches=4, house={"comparison": {"tolerance": "4 %"}, "title": "Room 4"})
    fill(store, section)
    export_package(store, section, folder / "section.zip")
    return store, section, folder / "section.zip"


@pytest.fixture(scope="module")
def unpacked(filled: tuple[Store, str, Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("unpacked")
    with zipfile.ZipFile(filled[2]) as archive:
        archive.extractall(folder)
    return folder


def rows(folder: Path, name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO((folder / name).read_text(encoding="utf-8"))))


def test_a_general_library_finds_it_sound(unpacked: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Frictionless Data Package 2.0 and Table Schema, as the library `frictionless` checks them: hashes, types, keys, constraints.
    frictionless = pytest.importorskip("frictionless")
    monkeypatch.chdir(unpacked)
    report = frictionless.validate("datapackage.json")
    assert report.valid, report.flatten(["name", "type", "message"])
    assert {task.name: task.stats["rows"] for task in report.tasks if task.type == "table"} == {
        "benches": 4, "set-up": 2 * len(files()[1]), "records": 11, "quantities": len(rows(unpacked, "quantities.csv")),
    }  # fmt: skip
    (unpacked / "benches.csv").write_text((unpacked / "benches.csv").read_text().replace("true", "maybe", 1))
    try:
        assert not frictionless.validate("datapackage.json").valid, "the check can fail"
    finally:
        (unpacked / "benches.csv").write_text((unpacked / "benches.csv").read_text().replace("maybe", "true", 1))


def test_the_unpacked_folder_audits_the_same(unpacked: Path) -> None:
    lines = {str(line["folder"]): line for line in sweep(unpacked)}
    assert list(lines) == ["bench-1", "bench-2", "bench-3", "bench-4"]
    exported = json.loads((unpacked / "audits" / "bench-1.json").read_text(encoding="utf-8"))
    assert lines["bench-1"]["ok"] is True and json.loads(json.dumps(lines["bench-1"]["audit"])) == exported
    assert exported["quantities"] and exported["bench"]["title"] == "Bench 1"
    for bench in (2, 3, 4):
        assert lines[f"bench-{bench}"]["ok"] is False and not (unpacked / "audits" / f"bench-{bench}.json").exists()


def test_the_package_need_not_be_unpacked(filled: tuple[Store, str, Path], unpacked: Path) -> None:
    packed, folder = (json.dumps(list(sweep(place, method="linear"))) for place in (filled[2], unpacked))
    assert packed == folder


def test_the_quantities_are_the_audit_s(filled: tuple[Store, str, Path], unpacked: Path) -> None:
    store, section, _ = filled
    bench = store.section(section).benches[1]
    contents = store.contents(section, [record.sha256 for record in bench.records])
    audit = judge_bench(bench, contents, store.section(section).house).ledger
    assert audit is not None
    energy = audit.quantity("kinetic_energy")
    (row,) = [row for row in rows(unpacked, "quantities.csv") if row["quantity"] == "kinetic_energy"]
    assert (row["bench"], row["unit"]) == ("1", "J")
    assert [float(row[key]) for key in ("value", "u", "low", "high")] == [energy.value, energy.u, energy.low, energy.high]


def test_records_are_as_they_came_under_safe_names(filled: tuple[Store, str, Path], unpacked: Path) -> None:
    listed = rows(unpacked, "records.csv")
    for row in listed:
        content = (unpacked / row["file"].removeprefix("'")).read_bytes()
        assert hashlib.sha256(content).hexdigest() == row["sha256"] and len(content) == int(row["bytes"])
    names = [row["file"] for row in listed]
    assert len({name.casefold() for name in names}) == len(names)
    assert "bench-2/_passwd.csv" in names and "bench-2/not-used/LAUNCH.csv" in names and "bench-2/not-used/_con.csv" in names
    assert "taken-back/gone.csv" in names and any(re.fullmatch(r"bench-2/launch-r\d+\.csv", name) for name in names)
    assert [row["set_aside"] for row in listed if row["file"].endswith("LAUNCH.csv")] == ["'-pushed"]
    assert [row["bench"] for row in listed if "gone" in row["file"]] == [""]


def test_no_text_can_become_a_formula(unpacked: Path) -> None:
    # Common practice against CSV injection (OWASP): no cell of text starts with = + - @.
    for file in unpacked.glob("*.csv"):
        for row in csv.reader(io.StringIO(file.read_text(encoding="utf-8"))):
            for cell in row:
                starts = cell.lstrip()[:1]
                assert starts not in ("=", "+", "@") and (starts != "-" or re.fullmatch(r"-[\d.e+-]+", cell)), (file.name, cell)
    assert "'+balance" in [row["how"] for row in rows(unpacked, "set_up.csv")]


def test_no_codes_and_no_names_unless_asked(filled: tuple[Store, str, Path], tmp_path: Path) -> None:
    store, section, path = filled
    export_package(store, section, tmp_path / "named.zip", pseudonyms=True)
    for file, named in ((path, False), (tmp_path / "named.zip", True)):
        with zipfile.ZipFile(file) as archive:
            content = b"\n".join(archive.read(name) for name in archive.namelist())
            benches = archive.read("benches.csv").decode()
        assert (b"Comets" in content) is named and ("'=Comets" in benches) is named
        assert not [code for code in store.codes(section).values() if code.encode() in content]


def test_taken_in_again_nothing_is_lost(filled: tuple[Store, str, Path], place: Place, tmp_path: Path) -> None:
    store, section, _ = filled
    export_package(store, section, tmp_path / "named.zip", pseudonyms=True)
    other = place.open()
    again = import_package(other, tmp_path / "named.zip")
    assert again != section
    assert other.changes(again) == store.changes(section)
    assert other.section(again) == store.section(section)
    for change in store.changes(section):
        if change.kind == "record-added":
            sha = str(change.body["sha256"])
            assert other.content(again, sha) == store.content(section, sha)
    assert not set(other.codes(again).values()) & set(store.codes(section).values())
    assert len(other.codes(again)) == 4
    twice = import_package(other, tmp_path / "named.zip")
    assert {line.id for line in other.sections()} == {again, twice}


def test_a_kept_audit_is_used(filled: tuple[Store, str, Path], tmp_path: Path) -> None:
    store, section, _ = filled
    bench = store.section(section).benches[1]
    contents = store.contents(section, [record.sha256 for record in bench.records])
    judged = judge_bench(bench, contents, store.section(section).house)
    assert judged.ledger is not None
    kept = {**judged.ledger.to_dict(), "mark": "kept"}
    store.keep_audit(section, 1, judged.key, kept)
    export_package(store, section, tmp_path / "a.zip", pseudonyms=True)
    store.keep_audit(section, 1, "of an earlier state", kept)
    export_package(store, section, tmp_path / "b.zip", pseudonyms=True)
    found = [json.loads(zipfile.ZipFile(tmp_path / name).read("audits/bench-1.json")) for name in ("a.zip", "b.zip")]
    assert found[0].pop("mark") == "kept" and "mark" not in found[1] and found[0] == found[1]
    records = [zipfile.ZipFile(tmp_path / name).read("records.csv") for name in ("a.zip", "b.zip")]
    assert records[0] == records[1]


Parts = dict[str, bytes]


def altered(path: Path, to: Path, change: Callable[[Parts], object]) -> Path:
    """Write a copy of a package with its parts changed."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    change(parts)
    with zipfile.ZipFile(to, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return to


def describe(parts: Parts, change: Callable[[dict[str, object]], object]) -> None:
    description = json.loads(parts["datapackage.json"])
    change(description)
    parts["datapackage.json"] = json.dumps(description).encode()


def relog(parts: Parts, change: Callable[[list[str]], object]) -> None:
    """Change the log, and its size and hash with it, as a forger would."""
    lines = parts["changes.jsonl"].decode().splitlines()
    change(lines)
    parts["changes.jsonl"] = "".join(f"{line}\n" for line in lines).encode()

    def hashed(description: dict[str, object]) -> None:
        for resource in description["resources"]:  # type: ignore[attr-defined]
            if resource["path"] == "changes.jsonl":
                resource["bytes"] = len(parts["changes.jsonl"])
                resource["hash"] = "sha256:" + hashlib.sha256(parts["changes.jsonl"]).hexdigest()

    describe(parts, hashed)


FAULTS: dict[str, tuple[Callable[[Parts], object], str]] = {
    "no description": (lambda p: p.pop("datapackage.json"), "no exported section: it holds no datapackage.json.*store restore"),
    "no JSON": (lambda p: p.update({"datapackage.json": b"{"}), "datapackage.json is not understood"),
    "another format": (
        lambda p: describe(p, lambda d: d.update({"joulebook": {"format": "joulebook/section-9"}})),
        r"format is joulebook/section-9, not joulebook/section-1\. Use the version",
    ),
    "no table": (lambda p: p.update({"datapackage.json": b"[1]"}), "its format is None"),
    "resources": (lambda p: describe(p, lambda d: d.update({"resources": [{"path": 1}]})), "says of a file what cannot be"),
    "log unmentioned": (lambda p: describe(p, lambda d: d.update({"resources": []})), "does not speak of changes.jsonl"),
    "log missing": (lambda p: p.pop("changes.jsonl"), "“changes.jsonl” is missing"),
    "log altered": (lambda p: p.update({"changes.jsonl": p["changes.jsonl"] + b"\n"}), "“changes.jsonl” was altered"),
    "record altered": (lambda p: p.update({"taken-back/gone.csv": b"0,1"}), "“taken-back/gone.csv” was altered"),
    "record unmentioned": (
        lambda p: describe(p, lambda d: d.update({"resources": [r for r in d["resources"] if r["name"] == "changes"]})),  # type: ignore[attr-defined]
        "lacks the bytes of the record",
    ),
    "a change missing": (lambda p: relog(p, lambda lines: lines.pop(3)), "change 4 is not understood .its number is 5"),
    "a forged change": (lambda p: relog(p, lambda lines: lines.__setitem__(1, lines[1].replace('"name"', '"nome"'))),
                        "change 2 does not fit its kind"),
}  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS)
def test_a_damaged_package_is_refused_and_nothing_taken_in(filled: tuple[Store, str, Path], tmp_path: Path, fault: str) -> None:
    change, told = FAULTS[fault]
    path = altered(filled[2], tmp_path / "altered.zip", change)
    with open_store(folder=tmp_path / "other") as store:
        with pytest.raises(InputError, match=told) as raised:
            import_package(store, path)
        assert raised.value.code == "package" and raised.value.source == str(path)
        assert store.sections() == []


def test_an_export_is_written_whole_or_not_at_all(store: Store, section: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "section.zip"
    path.write_bytes(b"the last one")
    add(store, section, "launch.csv", b"1,2")
    with monkeypatch.context() as patched:
        patched.setattr(type(store), "content", lambda *_: (_ for _ in ()).throw(StoreError("gone")))
        with pytest.raises(StoreError, match="gone"):
            export_package(store, section, path)
    assert path.read_bytes() == b"the last one" and [file.name for file in tmp_path.glob("*section*")] == ["section.zip"]
    with pytest.raises(OutputError, match="Its folder is not there"):
        export_package(store, section, tmp_path / "nowhere" / "section.zip")
    with pytest.raises(InputError, match="no such section"):
        export_package(store, "nowhere", path)


def test_an_export_that_lacks_bytes(store: Store, section: str, tmp_path: Path) -> None:
    add(store, section, "launch.csv", b"1,2")
    with store.engine.connect().execution_options(writes=True) as connection:
        connection.exec_driver_sql("DELETE FROM files")
        connection.commit()
    with pytest.raises(StoreError, match=r"bytes of launch\.csv of bench 1 are missing\. Restore"):
        export_package(store, section, tmp_path / "section.zip")
