"""Work is done in order by whoever does it, and a worker that dies costs one bench at most."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from joulebook.api.sweeping.crews import Here, Processes, in_order

ROOT = Path(__file__).parents[3]


class Letters:
    """Makes capitals; ends its process over each letter in `deadly`."""

    def __init__(self, deadly: str = "", marks: Path | None = None) -> None:
        self.deadly = deadly
        self.marks = marks

    def __call__(self, benches: Sequence[str], /) -> list[str]:
        for letter in benches:
            if letter in self.deadly and self._first(letter):
                os._exit(9)
        return [letter.upper() for letter in benches]

    def crashed(self, bench: str, /) -> str:
        return f"{bench} crashed"

    def _first(self, letter: str) -> bool:
        """Whether the letter kills: always, or with `marks` only the first time."""
        if self.marks is None:
            return True
        try:
            (self.marks / letter).touch(exist_ok=False)
        except FileExistsError:
            return False
        return True


def done(letters: str, work: Letters, crew: Here | Processes) -> list[str]:
    return [result for some in in_order(letters, work, crew, total=len(letters)) for result in some]


def test_this_process_takes_one_at_a_time() -> None:
    """Each result is there before the next bench is even looked at."""
    asked: list[str] = []

    def benches() -> Iterator[str]:
        for letter in "abc":
            asked.append(letter)
            yield letter

    results = in_order(benches(), Letters(), Here(), total=3)
    assert asked == []
    assert [list(next(results)), asked] == [["A"], ["a"]]
    assert [list(some) for some in results] == [["B"], ["C"]]


def test_processes_keep_the_order() -> None:
    letters = "abcdefghijklmnopqrstuvwxyz" * 8
    assert done(letters, Letters(), Processes(2)) == list(letters.upper())


def test_benches_are_not_taken_far_ahead() -> None:
    """However many there are, memory holds a few dozen for each worker."""
    taken = 0

    def benches() -> Iterator[str]:
        nonlocal taken
        for _ in range(1000):
            taken += 1
            yield "a"

    results = in_order(benches(), Letters(), Processes(2), total=1000)
    next(results)
    assert taken <= 2 * 4 * 16
    results.close()


@pytest.mark.parametrize("letters", ["abcdefg", "z" * 40 + "b" + "z" * 40 + "c" + "z" * 9], ids=["sent singly", "sent together"])
def test_a_worker_that_dies_costs_one_bench_only(letters: str) -> None:
    found = done(letters, Letters("bc"), Processes(2))
    assert found == [f"{letter} crashed" if letter in "bc" else letter.upper() for letter in letters]


def test_a_worker_that_dies_once_costs_nothing(tmp_path: Path) -> None:
    assert done("abcdefgh", Letters("c", tmp_path), Processes(2)) == list("ABCDEFGH")
    assert [path.name for path in tmp_path.iterdir()] == ["c"]


def test_stopping_half_way_ends_the_workers() -> None:
    before = set(threading.enumerate())
    results = in_order("abde", Letters(), Processes(2), total=4)
    assert list(next(results)) == ["A"]
    results.close()
    assert set(threading.enumerate()) == before


_PARENT = """
import sys
from joulebook.api.sweeping.crews import Processes
from tests.api.sweeping.test_crews import pid
if __name__ == "__main__":
    crew = Processes(1)
    print(crew.result(crew.submit(pid, [])), flush=True)
    sys.stdin.read()
"""


def pid(benches: Sequence[str]) -> int:
    return os.getpid()


@pytest.mark.skipif(sys.platform == "win32", reason="a process is looked for by a signal")
def test_workers_end_with_a_killed_parent(tmp_path: Path) -> None:
    """Without their parent they would wait for work for ever."""
    (tmp_path / "parent.py").write_text(_PARENT)
    environment = {**os.environ, "PYTHONPATH": f"{ROOT / 'src'}{os.pathsep}{ROOT}"}
    parent = subprocess.Popen(
        [sys.executable, str(tmp_path / "parent.py")], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment
    )
    with parent:
        assert parent.stdout is not None
        worker = int(parent.stdout.readline())
        os.kill(worker, 0)
        parent.kill()
    until = time.monotonic() + 60.0
    while time.monotonic() < until:
        try:
            os.kill(worker, 0)
        except ProcessLookupError:
            return
        stat = Path(f"/proc/{worker}/stat")
        if stat.exists() and stat.read_text().rpartition(")")[2].split()[0] == "Z":
            return  # ended; nobody has asked how
        time.sleep(0.05)
    pytest.fail("the worker outlived its parent by a minute")
