"""Which bench a file belongs to: told from its name, never guessed from a number that may be anything else."""

from __future__ import annotations

import pytest

from joulebook.classroom.placing import clean_file_name, is_record_name, place_file


@pytest.mark.parametrize(
    ("path", "bench", "role"),
    [
        ("bench-3/launch-1.csv", 3, "launch"),
        ("bench-3/1-launch.csv", 3, "launch"),
        ("B03_rest.csv", 3, "rest"),
        ("3-launch.csv", 3, "launch"),
        ("bench3_launch2.csv", 3, "launch"),
        ("Bench 12.xlsx", 12, "launch"),
        ("group-4/rest record.txt", 4, "rest"),
        ("period 2/Table 5/launch 1.csv", 5, "launch"),
        ("07/launch-2.csv", 7, "launch"),
        ("C:\\logger\\bench-2\\rest.csv", 2, "rest"),
        ("launch-3.csv", None, "launch"),
        ("2026-03-02 launch.csv", None, "launch"),
        ("trial 4.csv", None, "launch"),
        ("bench-100.csv", None, "launch"),
        ("restart bench 2.csv", 2, "launch"),
        ("b5-standing.csv", 5, "rest"),
        ("rest.csv", None, "rest"),
    ],
)
def test_names_say_where_a_file_belongs(path: str, bench: int | None, role: str) -> None:
    placed = place_file(path)
    assert (placed.bench, placed.role) == (bench, role)


def test_a_number_that_is_no_bench_places_nothing_and_the_next_best_counts() -> None:
    assert place_file("bench-9/launch.csv", benches={1, 2, 3}).bench is None
    assert place_file("table-9/2-launch.csv", benches={1, 2, 3}).bench == 2


@pytest.mark.parametrize(
    ("name", "can"),
    [("a.csv", True), ("A.XLSX", True), (".hidden.csv", False), ("~$a.xlsx", False), ("a.csv.part", False), ("bench.toml", False),
     ("photo.jpg", False)],
)  # fmt: skip
def test_what_can_be_a_record(name: str, can: bool) -> None:
    assert is_record_name(name) is can


@pytest.mark.parametrize(
    ("path", "name"),
    [("a/b\\c.csv", "c.csv"), ("odd\u202evsc.csv", "oddvsc.csv"), ("bell\x07\n.csv", "bell .csv"), ("folder/", "folder"),
     ("\u200e", "record"),
     ("x" * 200 + "-of-bench-3.csv", "x" * 80 + "…" + "xxx-of-bench-3.csv"[-19:].rjust(19, "x"))],
)  # fmt: skip
def test_a_file_s_name_steers_nothing_and_keeps_its_ending(path: str, name: str) -> None:
    assert clean_file_name(path) == name == place_file(path).name
    assert len(clean_file_name(path)) <= 100
