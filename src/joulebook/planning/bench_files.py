"""The bench file of a planned bench: room for what the bench measures, and the plan's aims, marked, in a table of their own.

A student may read it: it says how to set up and nothing of what to expect, neither launch speed nor energy.
"""

from __future__ import annotations

import math

from joulebook.experiments.ramp_kit import Kit
from joulebook.experiments.ramp_plan import Assignment, SetUp
from joulebook.readers.bench_plan import PLAN_TABLE
from joulebook.readers.bench_text import write_bench
from joulebook.uncertainty import Input

__all__ = ["bench_text"]

_COLUMN = 50

# What each bench measures for itself, and how; the rest is the kit's.
_MEASURED = {
    "cart.mass": ("kg", "balance, with all that rides on the cart"),
    "track.angle": ("deg", "angle gauge laid on the track"),
    "track.rise": ("cm", "ruler, the difference in height at the two ends of the length"),
    "track.along": ("cm", "tape, along the track, between the same two places"),
}


def bench_text(kit: Kit, assignment: Assignment) -> str:
    """Return the bench.toml of one bench. The launch files have yet to be recorded.

    What the kit's owner stated of wheels, ranger and place stands as given. Mass and slope are each bench's own to measure; they,
    and what the kit left to the plan's defaults, stand in the table [plan], and an audit calls them planned, not measured.
    """
    chosen = assignment.forecast.set_up
    mass = next((item for item in kit.masses if item.value == chosen.mass), kit.masses[0])
    inputs = (
        mass, kit.rotating_fraction, kit.drag_area, *chosen.method.inputs(chosen.angle), kit.scale, kit.gravity, kit.air_density,
    )  # fmt: skip
    values: dict[str, object] = {item.name: _written(item) for item in inputs}
    values["track.length"] = f"{kit.track_length:g} m"
    values["sensor.placed"] = kit.placed
    values["sensor.min_range"] = f"{kit.min_range:g} m"
    values["sensor.max_range"] = f"{kit.max_range:g} m"
    planned = [name for name in values if name in _MEASURED or name in kit.defaults]
    lines = [*_head(chosen), *_lines({"title": assignment.title, "experiment": "ramp-launch"})]
    for table in ("cart", "track", "sensor", "place"):
        own = [name for name in values if name.startswith(f"{table}.") and (name in _MEASURED or name not in planned)]
        if own:
            lines += ["", f"[{table}]", *(_own_line(name, values[name]) for name in own)]
    names = ["launch.csv"] if chosen.launches == 1 else [f"launch-{number}.csv" for number in range(1, chosen.launches + 1)]
    lines += ["", *_lines({"files": {"rest": "rest.csv", "launch": names}})]
    lines += [
        "",
        f"[{PLAN_TABLE}]",
        "# What to aim at, not what was measured. A line here counts only while its own table above has none; every report then",
        "# calls it “planned, not measured”. Leave these lines as they are.",
        *(_planned_line(name, values[name]) for name in planned),
    ]
    return "\n".join(lines) + "\n"


def _head(chosen: SetUp) -> list[str]:
    times = "one launch" if chosen.launches == 1 else f"{chosen.launches} launches, all with the same setting"
    plunger = f"Cock the plunger by {100.0 * chosen.stroke:.1f} cm. " if chosen.stroke > 0.0 else ""
    return [
        f"# Set the ranger to {chosen.rate:g} readings a second. {plunger}Make {times}.",
        "# To measure: take away the # before a line marked “measure” and write your reading in place of the dots.",
        "",
    ]


def _own_line(name: str, value: object) -> str:
    """Return the line of an input in its own table: the kit's value, or room for the bench's reading."""
    key = name.partition(".")[2]
    if name not in _MEASURED:
        return _lines({key: value})[0]
    unit, how = _MEASURED[name]
    line = f'# {key} = "… {unit} ± … {unit}"'
    return f"{line:{_COLUMN}}  # measure: {how}"


def _planned_line(name: str, value: object) -> str:
    table = name.partition(".")[0]
    line = f"{name} = {_lines({'x': value})[0].removeprefix('x = ')}"
    told = f"planned: replace by what you measure, in [{table}]" if name in _MEASURED else "planned: a default of the plan"
    return f"{line:{_COLUMN}}  # {told}"


def _lines(values: dict[str, object]) -> list[str]:
    return write_bench(values).splitlines()


def _written(item: Input) -> str:
    """Return an input as a bench file has it: limits for a rectangular one, else the standard uncertainty in brackets."""
    unit = "" if item.unit == "1" else f" {item.unit}"
    if item.u <= 0.0:
        return f"{item.value:g}{unit}"
    if item.distribution == "normal":
        places = max(0, 1 - math.floor(math.log10(item.u)))
        return f"{item.value:.{places}f}({round(item.u * 10**places)}){unit}"
    width = item.u * (math.sqrt(6.0) if item.distribution == "triangular" else math.sqrt(3.0))
    places = max(0, 2 - math.floor(math.log10(width)) - 1)
    end = " (triangular)" if item.distribution == "triangular" else ""
    return f"{item.value:.{places}f}{unit} ± {width:.{places}f}{unit}{end}"
