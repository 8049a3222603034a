"""Rehearsals and diagnosis packs: bench folders as a class will hand them in, with the answers kept apart."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

from joulebook.api.benches import house_of
from joulebook.errors import InputError

if TYPE_CHECKING:
    from joulebook.engine.house import House
    from joulebook.planning.diagnosis import DiagnosisPack
    from joulebook.planning.rehearse import Rehearsal

__all__ = ["diagnosis_pack", "rehearsal_house", "rehearse"]


def rehearse(
    folder: str | os.PathLike[str],
    *,
    benches: int | None = None,
    source: str | os.PathLike[str] | None = None,
    fault: str | Sequence[str] = (),
    faults: int = 0,
    seed: int = 1,
    dialect: str = "mixed",
    launches: int | None = None,
    house: House | str | os.PathLike[str] | None = None,
) -> Rehearsal:
    """Write realistic bench folders and return the rehearsal; `to_dict()` holds the answers.

    folder: where they go, new or empty. benches: how many; 6, or as many as `source` has, unless given.
    source: a plan (JSON), a bench file, or a folder of bench files: the stated set-ups are kept and records made for them.
    fault: codes to hide, one bench each. faults: how many more at random. seed: the same seed writes the same files.
    dialect: how the files are written, "mixed" for different loggers. launches: of each bench, as planned unless given.
    house: house rules or their file; None looks for a house.toml as `rehearsal_house` does. The file of rules that were given or
        that belong to `source` is copied into the folder, so that the benches are audited by them there.
    Raises InputError for what cannot be, OutputError for a folder in use.
    """
    import numpy as np

    from joulebook.planning.rehearse import choose_faults, rehearse_benches
    from joulebook.planning.stated_design import read_stated

    codes = [fault] if isinstance(fault, str) else list(fault)
    stated = read_stated(source) if source is not None else []
    count = benches if benches is not None else len(stated) or 6
    if count < 1:
        raise InputError(f"{count} benches cannot be rehearsed.", remedy="Ask for one bench or more.")
    if stated and count > len(stated):
        raise InputError(
            f"{count} benches are asked for, and {os.fspath(source or '')} has {len(stated)}.",
            remedy="Ask for fewer, or add bench files.",
        )
    hidden = choose_faults(count, codes=codes, faults=faults, rng=np.random.default_rng([seed, 0]))
    rules = rehearsal_house(house, source=source, folder=folder)
    copied = rules.source and (house is not None or rules.source == house_of(None, source).source)
    return rehearse_benches(
        os.fspath(folder), hidden=hidden, stated=stated[:count], seed=seed, dialect=dialect, launches=launches, house=rules,
        house_file=rules.source if copied else None,
    )  # fmt: skip


def rehearsal_house(
    house: House | str | os.PathLike[str] | None = None,
    *,
    source: str | os.PathLike[str] | None = None,
    folder: str | os.PathLike[str],
) -> House:
    """Return the house rules of a rehearsal: given, of its source, around its folder, or the defaults.

    house: rules or their file. source, folder: as for `rehearse`. Raises BenchFileError with every fault of the file.
    """
    rules = house_of(house, source)
    return rules if house is not None or rules.source else house_of(None, folder)


def diagnosis_pack(
    folder: str | os.PathLike[str], *, records: int = 8, fault: str | Sequence[str] = (), seed: int = 1
) -> DiagnosisPack:
    """Write the numbered records of a diagnosis pack and return it with what its sheets say.

    folder: for the records, new or empty. records: how many; about one in five is sound. fault: codes to hide, drawn unless
    given.
    """
    from joulebook.planning.diagnosis import diagnosis_pack as write_pack

    return write_pack(os.fspath(folder), records=records, seed=seed, codes=[fault] if isinstance(fault, str) else list(fault))
