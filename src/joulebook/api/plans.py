"""Plan the lab: from a kit, given as a file or as entries, to a recommended set-up and one for each bench."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from joulebook.errors import InputError, OutputError

if TYPE_CHECKING:
    from joulebook.engine.house import House
    from joulebook.experiments.ramp_kit import Kit
    from joulebook.experiments.ramp_plan import Plan

__all__ = ["kit_of", "plan", "write_benches"]


def plan(
    kit: str | os.PathLike[str] | Kit | None = None,
    *,
    title: str | None = None,
    values: Mapping[str, object] | None = None,
    tolerance: str | float | None = None,
    house: str | os.PathLike[str] | House | None = None,
    check: int = 0,
    seed: int = 1,
    **named: object,
) -> Plan:
    """Plan the lab: what to set up, why, what to avoid, and each bench's own set-up.

    kit, title, values, house, named: as for `kit_of`. tolerance: relative uncertainty up to which "no difference seen" may be
    called
    conserved; that of the house unless given. check: number of benches to simulate and audit at the recommended set-up, 0 for
    none.
    seed: of those. Raises a JoulebookError when a kit has faults or offers no set-up that can be used.
    """
    from joulebook.planning.plan import make_plan
    from joulebook.uncertainty.notation import read_quantity

    rules = _house(house)
    subject = kit_of(kit, title=title, values=values, house=rules, **named)
    if check < 0:
        raise InputError(f"{check} benches cannot be simulated.", remedy="Give a number from 1 on, or 0 for no check.")
    limit = read_quantity(tolerance, unit="1").value if tolerance is not None else rules.tolerance if rules is not None else 0.05
    return make_plan(subject, tolerance=limit, check=check, seed=seed)


def kit_of(
    kit: str | os.PathLike[str] | Kit | None = None,
    *,
    title: str | None = None,
    values: Mapping[str, object] | None = None,
    house: str | os.PathLike[str] | House | None = None,
    **named: object,
) -> Kit:
    """Return the kit that these arguments describe.

    kit: a kit file or its folder, a kit that was read before, or None for the documented defaults. title: what it is called.
    values: entries as in a kit file, by name ("track.length") or its last part; they win over the file's. named: the same as
    keywords:
    length="1.80 m", mass=["0.25 kg", "0.50 kg"]. house: house rules; its g and its length of the lesson fill what the kit
    leaves out.
    Raises InputError with every fault.
    """
    from dataclasses import replace

    from joulebook.experiments.ramp_kit import Kit as KitClass
    from joulebook.readers.kit_file import make_kit, read_kit

    rules = _house(house)
    given = {**(values or {}), **named}
    if isinstance(kit, KitClass):
        if given:
            raise InputError(
                f"This kit was read already: {', '.join(given)} can no longer be set.", remedy="Set it when the kit is read."
            )
        found = kit
    elif kit is None:
        found = make_kit(title=title or "Kit", values=given)
    else:
        found = read_kit(kit, values=given)
    if title:
        found = replace(found, title=title)
    if rules is not None:
        if rules.gravity is not None and "place.gravity" in found.defaults:
            gravity = replace(rules.gravity, name="place.gravity")
            found = replace(found, gravity=gravity, defaults=tuple(name for name in found.defaults if name != "place.gravity"))
        if "class.period" in found.defaults and rules.source:
            found = replace(
                found, period=float(rules.minutes), defaults=tuple(name for name in found.defaults if name != "class.period")
            )
    return found


def write_benches(plan: Plan, folder: str | os.PathLike[str]) -> tuple[str, ...]:
    """Write a bench.toml for each bench of a plan, in a folder of its own ("bench-1" …), and return their paths.

    A bench file that is there already is left alone: nothing is written at all. Raises OutputError then, and where it cannot
    be written.
    """
    from joulebook.planning.bench_files import bench_text

    root = Path(folder)
    targets = [
        (root / f"bench-{number}" / "bench.toml", bench_text(plan.kit, item)) for number, item in enumerate(plan.assignments, 1)
    ]
    there = [target for target, _ in targets if target.exists()]
    if there:
        raise OutputError(
            f"{len(there)} of the {len(targets)} bench files are there already, and nothing was written.",
            source=os.fspath(there[0]),
            remedy="Name another folder, or move the old one away.",
        )  # fmt: skip
    try:
        for target, text in targets:
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise OutputError(
            f"the bench files cannot be written: {error.strerror or error}.",
            source=os.fspath(root),
            remedy="Choose a folder that you may write to.",
        ) from error
    return tuple(os.fspath(target) for target, _ in targets)


def _house(house: str | os.PathLike[str] | House | None) -> House | None:
    from joulebook.engine.house import House as HouseClass

    if house is None or isinstance(house, HouseClass):
        return house
    from joulebook.readers.house_file import read_house

    return read_house(house)
