"""A person's own choices for each launch."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from tests.readers.bench_texts import DESIGN, SHORT, only, side_by_side

from joulebook.engine.bench import Bench, Override
from joulebook.errors import Fault


def test_a_persons_own_choices(bench_of: Callable[..., Bench]) -> None:
    text = (
        DESIGN + '[launches."launch-2.csv"]\nrelease = "1130 ms"\napex = 1.68\n'
        'phases = [["climb", 1.13, "1.68 s"], ["handled", 0, 0.8]]\n'
        '[launches."launch-1.csv"]\n'
    )
    overrides = bench_of(text).overrides
    assert overrides == {"launch-2.csv": Override(1.13, 1.68, (("handled", 0.0, 0.8), ("climb", 1.13, 1.68)))}
    mine = Override(release=1.0)
    assert bench_of(text, overrides={"": mine}).overrides == {"launch-1.csv": mine, "launch-2.csv": mine}


def test_a_run_may_be_chosen_with_the_launch(bench_of: Callable[..., Bench], folder: Path) -> None:
    (folder / "launch-1.csv").write_bytes(side_by_side())
    bench = bench_of(DESIGN + '[launches."launch-1.csv"]\nrun = 2\n')
    assert bench.launches[0].distance[0] == 2.0
    assert bench.overrides == {}


@pytest.mark.parametrize(
    ("more", "where", "what", "remedy"),
    [
        ('[launches."launch-3.csv"]\nrelease = "1 s"\n', 'launches."launch-3.csv"', "none of the launches",
         'Did you mean "launch-'),
        ('[launches]\nzz = {release = "1 s"}\n', 'launches."zz"', "none of the launches",
         "The launches are launch-1.csv, launch-2.csv"),
        ('[launches]\n"launch-1.csv" = 3\n', 'launches."launch-1.csv"', "must be a table", r'\[launches."launch-1.csv"\]'),
        ('[launches."launch-1.csv"]\nrelease = "1"\n', 'launches."launch-1.csv".release', "no unit", 'Write "1 s"'),
        ('[launches."launch-1.csv"]\nrelease = "9 s"\n', 'launches."launch-1.csv".release', "9 s is outside the record",
         "between 0 s and 1.95 s"),
        ('[launches."launch-1.csv"]\nrelease = 1.5\napex = 1.0\n', 'launches."launch-1.csv".apex',
         "1 s is not after the release at 1.5 s", "after the release"),
        ('[launches."launch-1.csv"]\nrelaese = 1.5\n', 'launches."launch-1.csv".relaese', "no name", "release"),
        ('[launches."launch-1.csv"]\nrun = {}\n', 'launches."launch-1.csv".run', "run's name or number", "run = 2"),
        ('[launches."launch-1.csv"]\nphases = 3\n', 'launches."launch-1.csv".phases', "must be a list", "handled"),
        ('[launches."launch-1.csv"]\nphases = [["climb", 1]]\n', 'launches."launch-1.csv".phases[1]',
         "a kind, a start and an end", "handled"),
        ('[launches."launch-1.csv"]\nphases = [["climbing", 1, 2]]\n', 'launches."launch-1.csv".phases[1]',
         "'climbing' is no kind", "still, handled, push, climb"),
        ('[launches."launch-1.csv"]\nphases = [["climb", 1, "x"]]\n', 'launches."launch-1.csv".phases[1]', "not a quantity",
         "1.00 s"),
        ('[launches."launch-1.csv"]\nphases = [["climb", 1.5, 1]]\n', 'launches."launch-1.csv".phases[1]', "ends at 1 s",
         "in seconds"),
        ('[launches."launch-1.csv"]\nphases = [["climb", 5, 6]]\n', 'launches."launch-1.csv".phases', "outside the record",
         "from 0 s to 1.95 s"),
        ('[launches."launch-1.csv"]\nphases = [["climb", 0, 1], ["push", 0.5, 0.7]]\n', 'launches."launch-1.csv".phases',
         "climb until 1 s and push from 0.5 s overlap", "one phase"),
    ],
)  # fmt: skip
def test_a_fault_in_a_persons_choices(
    faults_of: Callable[..., tuple[Fault, ...]], more: str, where: str, what: str, remedy: str
) -> None:
    only(faults_of(DESIGN + more), where, what, remedy)


def test_a_run_said_twice_differently(faults_of: Callable[..., tuple[Fault, ...]], folder: Path) -> None:
    (folder / "runs.csv").write_bytes(side_by_side())
    text = f'{SHORT}[files]\nlaunch = "runs.csv#1"\n[launches."runs.csv#1"]\nrun = 2\n'
    only(faults_of(text), 'launches."runs.csv#1".run', "says run 2, and files.launch says run 1", "once")
