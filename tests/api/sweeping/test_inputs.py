"""Folders, packages and tables of the same benches give the same lines, byte for byte; what cannot be swept is told."""

from __future__ import annotations

import json
import os
import re
import shutil
import zipfile
from collections.abc import Iterable
from pathlib import Path

import pytest

import joulebook
from joulebook.api.sweeping.inputs import open_input
from joulebook.api.sweeping.packing import FolderTree, pack
from joulebook.api.sweeping.records import write_records
from joulebook.errors import InputError

NAMES = [
    "class-a/bench-1", "class-a/bench-2", "class-a/bench-10", "class-b/in-a-folder", "class-b/several-runs", "class-c/a-folder",
    "class-c/broken", "class-c/missing", "class-c/no-text", "class-c/outside", "class-c/spoilt", "class-c/two-rests",
    "class-d/bench-1", "class-e/bench-1",
]  # fmt: skip
SOUND = ["class-a/bench-1", "class-a/bench-2", "class-a/bench-10", "class-b/in-a-folder", "class-d/bench-1"]


def swept(source: Path, **options: object) -> list[str]:
    return [json.dumps(line) for line in joulebook.sweep(source, method="linear", **options)]  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def lines(motley: Path) -> list[str]:
    """The lines of the school, each bench audited in its folder."""
    return swept(motley)


def zipped(root: Path, target: Path, names: Iterable[str] = ("",)) -> Path:
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in names:
            for path in sorted((root / name).rglob("*")):
                archive.write(path, path.relative_to(root).as_posix())
    return target


def test_the_school_is_as_motley_as_it_should_be(lines: list[str]) -> None:
    found = [json.loads(line) for line in lines]
    assert [line["folder"] for line in found] == NAMES
    assert [line["folder"] for line in found if line["ok"]] == SOUND
    # Without a title of its own a bench goes by its folder, wherever that is laid out.
    assert found[2]["audit"]["bench"]["title"] == "bench-10"
    gravity = {line["folder"]: item["value"] for line in found if line["ok"] for item in line["audit"]["bench"]["inputs"]
               if item["name"] == "place.gravity"}  # fmt: skip
    assert gravity["class-d/bench-1"] == 9.83 != gravity["class-a/bench-1"]


def test_no_line_says_where_the_folder_lies(lines: list[str], motley: Path) -> None:
    assert not [line for line in lines if str(motley) in line]
    error = json.loads(lines[NAMES.index("class-c/broken")])["error"]
    assert error["message"].startswith("class-c/broken/bench.toml: ")
    error = json.loads(lines[NAMES.index("class-e/bench-1")])["error"]
    assert error["message"].startswith("house.toml of class-e/bench-1: there is a fault in these house rules")


def test_a_packed_bench_gives_the_same(motley: Path, lines: list[str]) -> None:
    """What a worker gets that sees no folder; one that cannot be packed stays where it is."""
    packed = {name: pack(FolderTree(str(motley), name), name) for name in NAMES}
    assert [name for name, each in packed.items() if each is None] == ["class-c/outside"]

    class Packed:
        names = NAMES
        files = left_alone = ()

        def benches(self, *, whole: bool) -> Iterable[object]:
            return [each for each in packed.values() if each is not None]

    found = [json.dumps(line) for line in joulebook.sweep(Packed(), method="linear")]  # type: ignore[arg-type]
    assert found == [line for name, line in zip(NAMES, lines, strict=True) if name != "class-c/outside"]


def test_a_package_gives_the_same(motley: Path, lines: list[str], tmp_path: Path) -> None:
    found = swept(zipped(motley, tmp_path / "second-period.zip"))
    outside = NAMES.index("class-c/outside")
    assert [*found[:outside], *found[outside + 1 :]] == [*lines[:outside], *lines[outside + 1 :]]
    error = json.loads(found[outside])["error"]
    assert error["message"].startswith("second-period.zip: It names files by a way that leaves its folder")
    assert error["remedy"] == "Unpack the package and sweep the folder."


def test_a_table_gives_the_same(motley: Path, lines: list[str], tmp_path: Path) -> None:
    school = Path(shutil.copytree(motley, tmp_path / "school"))
    shutil.rmtree(school / "class-c/outside")
    assert write_records(school, tmp_path / "school.parquet") == len(NAMES) - 1
    assert swept(tmp_path / "school.parquet") == [line for line in lines if json.loads(line)["folder"] != "class-c/outside"]


def test_a_table_of_a_package_is_that_of_its_folder(motley: Path, tmp_path: Path) -> None:
    names = ("class-a", "class-d")
    package = zipped(motley, tmp_path / "a.zip", names)
    write_records(package, tmp_path / "package.parquet")
    with zipfile.ZipFile(package) as archive:
        archive.extractall(tmp_path / "unpacked")
    write_records(tmp_path / "unpacked", tmp_path / "folder.parquet")
    assert (tmp_path / "package.parquet").read_bytes() == (tmp_path / "folder.parquet").read_bytes()


def test_a_bench_that_no_table_can_hold_is_named(motley: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"class-c/outside: This bench cannot be put into a table.*Copy the files that it names"):
        write_records(motley, tmp_path / "school.parquet")
    assert list(tmp_path.iterdir()) == []


def test_the_folder_that_is_a_bench_itself(sound_bench: Path, tmp_path: Path) -> None:
    (line,) = swept(sound_bench)
    write_records(sound_bench, tmp_path / "one.parquet")
    assert swept(tmp_path / "one.parquet") == [line.replace('"folder": "."', '"folder": "bench-1"')]
    (package,) = swept(zipped(sound_bench, tmp_path / "one.zip"))
    assert package == line


def test_a_folder_of_packages_and_tables(motley: Path, tmp_path: Path) -> None:
    for period in ("period-10", "period-2"):
        zipped(motley, tmp_path / f"{period}.zip", ["class-a"])
    write_records(motley / "class-d", tmp_path / "last-year.parquet")
    found = open_input(tmp_path)
    assert list(found.names) == [
        "last-year/bench-1",
        *(f"period-{period}/class-a/bench-{number}" for period in (2, 10) for number in (1, 2, 10)),
    ]
    assert list(found.names) == [bench.name for bench in found.benches(whole=False)]
    assert [Path(file).name for file in found.files] == ["last-year.parquet", "period-2.zip", "period-10.zip"]


def test_packages_beside_bench_folders_are_left_alone(motley: Path, tmp_path: Path) -> None:
    shutil.copytree(motley / "class-a/bench-1", tmp_path / "bench-1")
    zipped(motley, tmp_path / "b.zip", ["class-a"])
    found = open_input(tmp_path)
    assert list(found.names) == ["bench-1"]
    assert list(found.left_alone) == ["b.zip"]


def test_a_section_export_is_swept(tmp_path: Path, motley: Path) -> None:
    """What `joulebook store export` writes, tables and log beside the benches, is a package as it stands."""
    package = tmp_path / "section.zip"
    with zipfile.ZipFile(package, "w") as archive:
        archive.writestr("datapackage.json", "{}")
        archive.writestr("house.toml", '[comparison]\ntolerance = "3 %"\n')
        for path in sorted((motley / "class-a/bench-1").iterdir()):
            archive.writestr(f"bench-1/{path.name}", path.read_bytes())
        archive.writestr("bench-1/not-used/launch-9.csv", "t,x\n")
    (line,) = swept(package)
    with zipfile.ZipFile(package) as archive:
        archive.extractall(tmp_path / "unpacked")
    assert [line] == swept(tmp_path / "unpacked")


def test_a_damaged_part_costs_one_bench(motley: Path, tmp_path: Path) -> None:
    package = tmp_path / "a.zip"
    with zipfile.ZipFile(package, "w", zipfile.ZIP_STORED) as archive:
        for path in sorted((motley / "class-a").rglob("*")):
            archive.write(path, path.relative_to(motley / "class-a").as_posix())
        spoilt = archive.getinfo("bench-2/launch.csv").header_offset
    content = bytearray(package.read_bytes())
    content[spoilt + 120] ^= 0xFF
    package.write_bytes(content)
    found = [json.loads(line) for line in swept(package)]
    assert [line["ok"] for line in found] == [True, False, True]
    assert found[1]["error"]["message"].startswith("a.zip: “bench-2/launch.csv” in it is damaged")


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("a.zip", b"PK, but no more", "It is no whole zip file"),
        ("a.csv", b"t,x\n1,2\n", "This is neither a section package nor a table of records. Name a folder of bench folders"),
        ("a.parquet", b"PAR1 and then nothing", "This is no whole Parquet file"),
        ("empty", b"", "This is neither a section package nor a table of records."),
    ],
)
def test_a_file_that_cannot_be_swept(tmp_path: Path, name: str, content: bytes, message: str) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(InputError, match=re.escape(message)):
        open_input(tmp_path / name)


def test_a_file_that_cannot_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a.zip").write_bytes(b"PK")

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("builtins.open", refuse)
    with pytest.raises(InputError, match=r"It cannot be read: Permission denied. See who may read it."):
        open_input(tmp_path / "a.zip")


def test_a_package_without_benches(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "store.zip", "w") as archive:
        archive.writestr("store.json", "{}")
    with pytest.raises(InputError, match=r"No bench.toml is in this package. Name one that “joulebook store export” wrote"):
        open_input(tmp_path / "store.zip")


def test_a_link_is_not_taken_along(sound_bench: Path, tmp_path: Path) -> None:
    """A file that lies elsewhere may be another one there: such a bench is audited where it is."""
    folder = Path(shutil.copytree(sound_bench, tmp_path / "a"))
    (folder / "launch.csv").rename(tmp_path / "launch.csv")
    os.symlink(tmp_path / "launch.csv", folder / "launch.csv")
    assert pack(FolderTree(str(tmp_path), "a"), "a") is None
