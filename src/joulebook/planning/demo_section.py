"""An invented section of six benches on one afternoon, for the demo: three sound ones and three with a usual mistake."""

from __future__ import annotations

import importlib.util
import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from joulebook.planning.cart import Setup
from joulebook.planning.design import Design
from joulebook.planning.folder import write_bench_folder
from joulebook.planning.ranger import ECHO_STEP, Ranger
from joulebook.planning.simulate import simulate_bench
from joulebook.planning.statements import Statement
from joulebook.planning.stops import SpringStop

__all__ = ["DemoBench", "demo_benches", "write_demo"]


@dataclass(frozen=True, slots=True)
class DemoBench:
    """One bench of the demo: its folder's name, its design, the dialect of its files, and what is the matter with it."""

    folder: str
    design: Design
    dialect: str
    story: str


def write_demo(folder: str | Path, *, seed: int = 20) -> list[Path]:
    """Write the demo's section into a folder, one bench folder each, and return the paths of the six bench files in order.

    seed: of the noise; the same seed writes the same files. Raises OutputError when the folder cannot be written.
    """
    paths = []
    for number, bench in enumerate(demo_benches()):
        simulated = simulate_bench(bench.design, np.random.default_rng([seed, number]))
        paths.append(write_bench_folder(simulated, Path(folder) / bench.folder, dialect=bench.dialect))
    return paths


def demo_benches() -> tuple[DemoBench, ...]:
    """Return the six benches of the demo's section."""
    window = _bench("Bench 1, by the window", angle=6.1, stated=6.0, speed=0.95, mass=0.5124, launches=3)
    clock = _bench("Bench 2, below the clock", angle=8.03, stated=None, speed=1.10, mass=0.4987, rate=50.0, placed="bottom")
    sink = _bench("Bench 3, next to the sink", angle=7.2, stated=10.0, speed=1.00, mass=0.5051)
    corner = _bench("Bench 4, in the corner", angle=5.2, stated=5.0, speed=1.20, mass=0.5230, zero=0.80)
    door = _bench("Bench 5, by the door", angle=9.9, stated=10.0, speed=1.15, mass=0.4126, launches=2)
    shelf = _bench("Bench 6, under the shelf", angle=11.1, stated=11.0, speed=1.30, mass=0.7602, rate=40.0, launches=5, hard=True)
    grams = replace(
        door,
        statements=tuple(
            Statement("cart.mass", 412.6, 0.5, "limits", 1) if each.name == "cart.mass" else each for each in door.statements
        ),
    )
    # Workbooks are written with an optional package; without it the bench still has its five launches.
    workbook = "workbook" if importlib.util.find_spec("xlsxwriter") else "logger"
    return (
        DemoBench("bench-1", window, "plain", "sound, three launches"),
        DemoBench("bench-2", clock, "decimal-comma", "sound, files with decimal commas and semicolons"),
        DemoBench("bench-3", sink, "logger", "the angle was misread by almost three degrees"),
        DemoBench("bench-4", corner, "plain", "the cart climbs into the ranger's blind zone"),
        DemoBench("bench-5", grams, "centimetres", "the mass was typed in grams as kilograms"),
        DemoBench("bench-6", shelf, workbook, "sound, five launches in workbooks, a hard stop"),
    )


def _bench(
    title: str,
    *,
    angle: float,
    stated: float | None,
    speed: float,
    mass: float,
    rate: float = 20.0,
    placed: Literal["top", "bottom"] = "top",
    launches: int = 1,
    zero: float | None = None,
    hard: bool = False,
) -> Design:
    """Return a bench of the demo's kit: a 1.6 m track, a spring plunger of 200 N/m, a ranger with a 0.17 mm echo clock.

    stated: the angle of the bench file in degrees ± 0.25; None: rise over length, measured to a millimetre.
    zero: ranger to cart at the stop, m; None: where the ranger belongs.
    """
    inertia = mass * 1.012
    plunger = SpringStop(200.0)
    stop = SpringStop.hysteretic(stiffness=200.0, speed=speed, restitution=0.82)
    if hard:
        stop = SpringStop.damped(stiffness=inertia * (math.pi / 0.005) ** 2, inertia=inertia, restitution=0.5)
    setup = Setup(
        mass=mass, angle=angle, stop=stop, plunger=plunger, rolling_resistance=0.0045, rotating_fraction=0.012, drag_area=0.004,
        gravity=9.8093, air_density=1.19, track_length=1.6, low_end=-0.1,
    )
    ranger = Ranger(
        rate=rate, placed=placed, noise=0.0004, moving_noise=0.0003, echo_step=ECHO_STEP, decimals=4, scale=1.002, min_range=0.15,
        zero=zero or (1.42 if placed == "top" else 0.34), background=1.9,
    )
    slope: tuple[Statement, ...] = (Statement("track.angle", stated or 0.0, 0.25, "limits", 2),)
    if stated is None:
        rise = round(math.sin(math.radians(angle)), 3)
        slope = (
            Statement("track.rise", rise, 0.001, "limits", 1, "cm", 100.0),
            Statement("track.along", 1.0, 0.001, "limits", 1, "cm", 100.0),
        )
    statements = (
        *slope,
        Statement("cart.mass", mass, 0.0005, "limits", 4),
        Statement("cart.rotating_fraction", 0.015, 0.010, "limits", 3),
        Statement("sensor.scale", 1.0, 0.007, "limits", 3),
        Statement("place.gravity", 9.81, 0.002, "limits", 3),
    )
    return Design(
        setup=setup, ranger=ranger, stop_kind="hard" if hard else "spring", speed=speed, statements=statements, launches=launches,
        repeat=0.012, wait=0.9, hops=4, last_hop=0.6, rest_seconds=3.0, rest_at=0.3, title=title,
        stated_placed=ranger.placed, stated_length=1.6,
    )
