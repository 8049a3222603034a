"""Zip files on their way in: what is refused, and that what we write always comes back."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from joulebook.errors import InputError, OutputError
from joulebook.store import archive as archive_module
from joulebook.store.archive import open_archive, write_archive, written_whole


def zipped(path: Path, *parts: tuple[str, bytes], **options: object) -> Path:
    with zipfile.ZipFile(path, "w", **options) as archive:  # type: ignore[call-overload]
        for name, content in parts:
            archive.writestr(name, content)
    return path


def test_what_is_written_comes_back(tmp_path: Path) -> None:
    parts = {"a.csv": b"1,2\n", "deep/er/b.bin": bytes(range(256)), "empty": b"", "zeros": bytes(3 << 20)}
    with write_archive(tmp_path / "a.zip") as writer:
        for name, content in parts.items():
            writer.add(name, content)
        writer.add("text", "±")
    # Three megabytes of zeros pack a thousandfold, which from a stranger would be refused.
    with open_archive(tmp_path / "a.zip") as archive:
        assert {name: archive.read(name) for name in archive.names} == {**parts, "text": "±".encode()}


def test_the_same_content_is_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.zip", "b.zip"):
        with write_archive(tmp_path / name) as writer:
            writer.add("a", b"1")
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()


@pytest.mark.parametrize("name", ["../a", "/a", "a/../../b", "C:/a", "a\\b", "a//b", "./a"])
def test_a_name_that_leads_out(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match="would lie outside its folder"), open_archive(zipped(tmp_path / "a.zip", (name, b"1"))):
        pass


def test_names_that_are_the_same_on_some_systems(tmp_path: Path) -> None:
    path = zipped(tmp_path / "a.zip", ("A.csv", b"1"), ("a.csv", b"2"))
    with pytest.raises(InputError, match=r"two parts of the name “a\.csv”"), open_archive(path):
        pass


def test_a_bomb(tmp_path: Path) -> None:
    path = zipped(tmp_path / "a.zip", ("zeros", bytes(4 << 20)), compression=zipfile.ZIP_DEFLATED)
    with pytest.raises(InputError, match=r"“zeros” would unpack to [\d,]{3,} times its packed size"), open_archive(path):
        pass


def test_another_way_of_packing(tmp_path: Path) -> None:
    path = zipped(tmp_path / "a.zip", ("a", b"1" * 99), compression=zipfile.ZIP_BZIP2)
    with pytest.raises(InputError, match="packed in a way that joulebook does not use"), open_archive(path):
        pass


def test_an_encrypted_part(tmp_path: Path) -> None:
    content = bytearray(zipped(tmp_path / "a.zip", ("a", b"1")).read_bytes())
    content[content.index(b"PK\x01\x02") + 8] |= 1
    (tmp_path / "a.zip").write_bytes(content)
    with pytest.raises(InputError, match="“a” is encrypted"), open_archive(tmp_path / "a.zip"):
        pass


def test_too_many_parts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(archive_module, "MOST_PARTS", 2)
    path = zipped(tmp_path / "a.zip", *((f"{number}", b"") for number in range(3)))
    with pytest.raises(InputError, match="it has 3 parts, more than 2"), open_archive(path):
        pass


def test_a_part_that_is_too_large_missing_or_damaged(tmp_path: Path) -> None:
    path = zipped(tmp_path / "a.zip", ("a", b"12345"))
    with open_archive(path) as archive:
        with pytest.raises(InputError, match="“a” would unpack to 5 bytes, more than the 4"):
            archive.read("a", limit=4)
        with pytest.raises(InputError, match="“b” is missing in it"):
            archive.read("b")
    path.write_bytes(path.read_bytes().replace(b"12345", b"12346"))
    with open_archive(path) as archive, pytest.raises(InputError, match="“a” in it is damaged"):
        archive.read("a")


@pytest.mark.parametrize("content", [b"", b"no zip at all", b"PK\x03\x04 cut short"])
def test_a_file_that_is_no_zip(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "a.zip").write_bytes(content)
    with pytest.raises(InputError, match=r"It is no whole zip file .*Take another copy"), open_archive(tmp_path / "a.zip"):
        pass


def test_a_file_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read: Is a directory"), open_archive(tmp_path):
        pass
    with pytest.raises(InputError, match="There is no such file"), open_archive(tmp_path / "nowhere.zip"):
        pass


def test_a_file_is_there_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"before")
    with pytest.raises(RuntimeError), written_whole(path) as stream:
        stream.write(b"half")
        raise RuntimeError
    assert path.read_bytes() == b"before" and list(tmp_path.iterdir()) == [path]
    with pytest.raises(OutputError, match="It cannot be written: Not a directory"), written_whole(path / "b"):
        pass


def test_a_disk_that_is_full(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="It cannot be written: No space left on device"), written_whole(tmp_path / "a"):
        raise OSError(28, "No space left on device")
    assert list(tmp_path.iterdir()) == []
