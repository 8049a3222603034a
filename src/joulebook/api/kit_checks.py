"""The kit check: every bench of a preparation run audited, measured, and compared with the last stored check."""

from __future__ import annotations

import datetime
import os
from pathlib import Path
from typing import TYPE_CHECKING

from joulebook.api.benches import house_of
from joulebook.api.sweeps import BENCH_FILE, bench_folders
from joulebook.errors import InputError, JoulebookError

if TYPE_CHECKING:
    from joulebook.engine.bench import Bench
    from joulebook.engine.house import House
    from joulebook.engine.report import Audit
    from joulebook.planning.kit_check import KitCheck

__all__ = ["check_kit"]


def check_kit(
    folder: str | os.PathLike[str],
    *,
    date: datetime.date | None = None,
    history: str | os.PathLike[str] | None = None,
    against: str | os.PathLike[str] | None = None,
    house: House | str | os.PathLike[str] | None = None,
) -> KitCheck:
    """Return the kit check of a preparation run.

    folder: the bench folders, each with a rest record and its launches. date: the day of the run, today unless given.
    history: the folder of the stored checks; the latest of an earlier day is compared with. Nothing is written to it here:
    `joulebook.planning.kit_history.store_check` does that. against: one stored check to compare with, instead.
    house: house rules or their file; None looks for a house.toml from `folder` upwards.
    Raises InputError when there is no bench, or a stored check is damaged or not earlier.
    """
    from joulebook.analysis import audit_bench
    from joulebook.planning.kit_check import check_benches
    from joulebook.planning.kit_history import last_check, read_check
    from joulebook.readers.bench_file import read_bench

    day = date or datetime.date.today()
    folders = bench_folders(folder)
    if not folders:
        raise InputError(
            f"No {BENCH_FILE} in this folder or below it.", source=os.fspath(folder),
            remedy=f"Name the folder that holds the bench folders; each has a file {BENCH_FILE}.",
        )  # fmt: skip
    earlier = read_check(against) if against is not None else last_check(history, before=day) if history is not None else None
    rules = house_of(house, folder)
    benches: list[tuple[str, Bench, Audit] | tuple[str, JoulebookError]] = []
    for name in folders:
        try:
            bench = read_bench(Path(folder, name), house=rules)
            benches.append((name, bench, audit_bench(bench, method="linear")))
        except JoulebookError as error:  # one bad folder must not stop the rest
            benches.append((name, error))
    return check_benches(benches, date=day, against=earlier)
