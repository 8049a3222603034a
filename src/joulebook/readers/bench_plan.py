"""The table [plan] of a bench file: what to aim at, used only while the bench has no reading of its own, and said to be so.

A line of it is never mixed with a measurement: whoever measures writes the value into its own table, and the planned one stands
aside by itself. What is used from here has the origin "planned" in every report.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from joulebook.engine.bench import InputSpec
from joulebook.errors import Fault
from joulebook.readers.bench_values import Given, unknown_fault
from joulebook.uncertainty import Input

__all__ = ["PLAN_TABLE", "as_planned", "in_plan", "read_plan", "still_planned"]

PLAN_TABLE = "plan"


def read_plan(written: object, known: Collection[str], faults: list[Fault]) -> dict[str, object]:
    """Return the planned inputs and settings as they were written, by dotted name.

    written: the table [plan], None where there is none; its names may be nested (cart.mass) or quoted ("cart.mass").
    known: the experiment's inputs and settings by dotted name. faults: a name that is none of them is added here.
    """
    if written is None:
        return {}
    if not isinstance(written, Mapping):
        faults.append(Fault(PLAN_TABLE, "must be a table.", f"Write [{PLAN_TABLE}], and below it lines such as cart.mass = …."))
        return {}
    planned: dict[str, object] = {}
    for key, value in written.items():
        named = {f"{key}.{last}": inner for last, inner in value.items()} if isinstance(value, Mapping) else {str(key): value}
        for name, content in named.items():
            if name in known:
                planned[name] = content
            else:
                fault = unknown_fault(name, known)
                faults.append(replace(fault, where=f"{PLAN_TABLE}.{fault.where}"))
    return planned


def still_planned(planned: Given, given: Given, specs: Sequence[InputSpec]) -> dict[str, object]:
    """Return what of a plan the bench has no reading for.

    given: what the bench file states outside its plan, by dotted name. A planned input gives way to a reading of its own name,
    and to another way of saying the same thing: where the angle was measured, rise and length of the plan go.
    """
    ways: dict[str, set[str]] = {}
    for spec in specs:
        if spec.group and spec.name in given:
            ways.setdefault(spec.group, set()).add(spec.alternative)
    rivals = {spec.name for spec in specs if spec.group in ways and spec.alternative not in ways[spec.group]}
    return {name: value for name, value in planned.items() if name not in given and name not in rivals}


def as_planned(item: Input) -> Input:
    """Return an input that was taken from a plan, marked as planned and not measured."""
    return replace(item, origin="planned", note=f"From the table [{PLAN_TABLE}]. {item.note}".rstrip())


def in_plan(faults: Sequence[Fault], planned: Collection[str]) -> list[Fault]:
    """Return faults whose place is said to be the plan where it is. planned: the names that were taken from it."""
    return [replace(fault, where=f"{PLAN_TABLE}.{fault.where}") if fault.where in planned else fault for fault in faults]
