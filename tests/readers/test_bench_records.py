"""The records that a bench file names, never outside its folder."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from tests.readers.bench_texts import DESIGN, SHORT, csv, only, side_by_side

from joulebook.engine.bench import Bench, Override
from joulebook.errors import Fault


def test_records_are_found_by_name(bench_of: Callable[..., Bench], folder: Path) -> None:
    (folder / "notes.docx").write_bytes(b"no record")
    (folder / "Launch-3.TXT").write_bytes(csv())
    bench = bench_of(SHORT)
    assert [record.file for record in bench.launches] == ["launch-1.csv", "launch-2.csv", "Launch-3.TXT", "launch-10.csv"]
    assert bench.rest is not None


def test_a_single_launch_and_no_rest(bench_of: Callable[..., Bench]) -> None:
    bench = bench_of(SHORT + '[files]\nlaunch = "launch-2.csv"\n')
    assert [record.file for record in bench.launches] == ["launch-2.csv"]
    assert bench.rest is None


def test_launches_are_found_when_only_the_rest_is_named(bench_of: Callable[..., Bench]) -> None:
    bench = bench_of(SHORT + '[files]\nrest = "rest.csv"\n')
    assert len(bench.launches) == 3


@pytest.mark.parametrize(
    "files",
    [
        '["runs.csv#1", "runs.csv#2"]',
        '[{file = "runs.csv", run = 1}, {file = "runs.csv", run = "2"}]',
        '["data/runs.csv#1", "data\\\\runs.csv#2"]',
    ],
)
def test_several_runs_of_one_file(bench_of: Callable[..., Bench], folder: Path, files: str) -> None:
    (folder / "data").mkdir()
    for place in (folder, folder / "data"):
        (place / "runs.csv").write_bytes(side_by_side())
    bench = bench_of(f'{SHORT}[files]\nlaunch = {files}\n[launches."runs.csv#2"]\nrelease = "0.5 s"\n')
    assert [record.file for record in bench.launches] == ["runs.csv#1", "runs.csv#2"]
    assert [float(record.distance[0]) for record in bench.launches] == [1.0, 2.0]
    assert bench.overrides == {"runs.csv#2": Override(release=0.5)}


def test_a_sign_that_belongs_to_the_name(bench_of: Callable[..., Bench], folder: Path) -> None:
    (folder / "launch#2.csv").write_bytes(csv())
    assert bench_of(SHORT + '[files]\nlaunch = "launch#2.csv"\n').launches[0].file == "launch#2.csv"


def test_two_files_of_one_name_keep_their_folders(bench_of: Callable[..., Bench], folder: Path) -> None:
    for place in ("a", "b"):
        (folder / place).mkdir()
        (folder / place / "run.csv").write_bytes(csv())
    bench = bench_of(SHORT + '[files]\nlaunch = ["a/run.csv", "b/run.csv", "launch-1.csv"]\n')
    assert [record.file for record in bench.launches] == ["a/run.csv", "b/run.csv", "launch-1.csv"]


def test_reading_is_passed_on(bench_of: Callable[..., Bench], folder: Path) -> None:
    rows = "\n".join(f"{n / 20};{100 - n};{7 * n}" for n in range(30))
    (folder / "odd.csv").write_text("t;a;b\n" + rows, encoding="utf-8")
    text = SHORT + '[files]\nlaunch = "odd.csv"\n[reading]\nposition_column = 2\ntime_column = "t"\nunit = "cm"\n'
    assert bench_of(text).launches[0].distance[0] == pytest.approx(1.0)
    assert bench_of(text, reading={"unit": "mm"}).launches[0].distance[0] == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("change", "where", "what", "remedy"),
    [
        (('"rest.csv"', '"rset.csv"'), "files.rest", '"rset.csv" is not in the bench',
         'Did you mean "rest.csv".*Files there: launch-1.csv, launch-2.csv, launch-10.csv, rest.csv'),
        (('"rest.csv"', '["rest.csv"]'), "files.rest", "must be one file", "rest.csv"),
        (('"rest.csv"', '""'), "files.rest", "must be a file's name", "launch-1.csv"),
        (('"rest.csv"', '"."'), "files.rest", "is a folder", "Files there"),
        (('"rest.csv"', '"rest.csv#"'), "files.rest", "names no run", "runs.csv#2"),
        (('"rest.csv"', '"/etc/hostname"'), "files.rest", "not inside the bench's folder", "Copy it"),
        (('"rest.csv"', '"C:\\\\data\\\\rest.csv"'), "files.rest", "not inside the bench's folder", "Copy it"),
        (('"rest.csv"', '"../secret.csv"'), "files.rest", "not inside the bench's folder", "Copy it"),
        (('"rest.csv"', '"a/../../secret.csv"'), "files.rest", "not inside the bench's folder", "Copy it"),
        (('"rest.csv"', '"link.csv"'), "files.rest", "not inside the bench's folder", "Copy it"),
        (('"rest.csv"', '"a\\u0000b"'), "files.rest", "cannot be a file's name", "as the folder shows"),
        (('"rest.csv"', f'"{"x" * 5000}"'), "files.rest", '"x{100}" is not in the bench', "Files there"),
        (('"rest.csv"', '{file = "rest.csv", rum = 2}'), "files.rest.rum", "no name", r"Did you mean files\.rest\.run"),
        (('"rest.csv"', '{file = "rest.csv", run = []}'), "files.rest.run", "run's name or number", "run = 2"),
        (('["launch-1.csv", "launch-2.csv"]', "[]"), "files.launch", "names 0 launch records", "launch-1.csv"),
        (('["launch-1.csv", "launch-2.csv"]', "3"), "files.launch", "must be a file's name", "launch-1.csv"),
        (('["launch-1.csv", "launch-2.csv"]', '["launch-1.csv", "x.csv"]'), "files.launch[2]", '"x.csv" is not in',
         "Files there"),
        (('["launch-1.csv", "launch-2.csv"]', '["launch-1.csv", "launch-1.csv"]'), "files.launch[2]",
         r'named twice, as files.launch\[1\]', "once"),
        (('"launch-2.csv"]', '"launch-2.csv"]\nlaunches = 3'), "files.launches", "no name", r"Did you mean files\.launch\?"),
        (('"rest.csv"', '"launch-1.csv"'), "files.rest", "named twice", "once"),
    ],
)  # fmt: skip
def test_a_fault_of_the_files(
    faults_of: Callable[..., tuple[Fault, ...]], folder: Path, change: tuple[str, str], where: str, what: str, remedy: str
) -> None:
    secret = folder.parent / "secret.csv"
    secret.write_bytes(csv())
    (folder / "link.csv").symlink_to(secret)
    assert DESIGN.count(change[0]) == 1
    faults = faults_of(DESIGN.replace(*change))
    assert "link.csv" not in faults[0].remedy, "a link out of the folder is not offered"
    only(faults, where, what, remedy)


def test_several_rest_records(faults_of: Callable[..., tuple[Fault, ...]], folder: Path) -> None:
    (folder / "rest-2.csv").write_bytes(csv())
    only(faults_of(SHORT), "files.rest", "2 files could be it: rest.csv, rest-2.csv|rest-2.csv, rest.csv", "rest = ")


def test_no_records(faults_of: Callable[..., tuple[Fault, ...]], folder: Path) -> None:
    for name in folder.glob("launch*"):
        name.rename(folder / name.name.replace("launch", "run"))
    only(
        faults_of(SHORT),
        "files.launch",
        'no file here has a name that starts with "launch"',
        "Files there: rest.csv, run-1.csv, run-2.csv",
    )
    for name in folder.glob("*.csv"):
        name.unlink()
    only(faults_of(SHORT), "files.launch", "no file here", "No record files are there")
