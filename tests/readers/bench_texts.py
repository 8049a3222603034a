"""What the tests of bench files share: a bench, its records, and a look at its single fault."""

from __future__ import annotations

import math
import re

from joulebook.errors import Fault

# DESIGN §3, word for word.
DESIGN = """\
title = "Bench 3"
experiment = "ramp-launch"

[cart]
mass = "0.2513 kg ± 0.0005 kg"
rotating_fraction = "0.015 ± 0.015"       # wheels: sum(I/r^2)/m
drag_area = "0.003 m^2 ± 0.003 m^2"       # Cd*A

[track]
angle = "9.8 deg ± 0.25 deg"
length = "1.20 m"

[sensor]
placed = "top"
min_range = "0.15 m"
scale = "1.000 ± 0.007"

[place]
gravity = "9.80665 m/s^2"

[files]
rest = "rest.csv"
launch = ["launch-1.csv", "launch-2.csv"]
"""
SHORT = '[cart]\nmass = "0.25 kg"\n[track]\nangle = "9.8 deg"\n'
VALUES = {"cart.mass": "0.25 kg", "track.angle": "9.8 deg"}


def csv(offset: float = 0.0, *, samples: int = 40) -> bytes:
    """A simple record: time in seconds and distance in metres, 20 samples a second."""
    rows = [f"{n / 20:.2f},{1.0 + offset - 0.3 * math.sin(n / 15):.4f}" for n in range(samples)]
    return ("time (s),distance (m)\n" + "\n".join(rows) + "\n").encode()


def side_by_side() -> bytes:
    """Two runs side by side; the first starts at 1 m, the second at 2 m."""
    rows = [f"{n / 20:.2f},{1.0 - 0.01 * n:.4f},{n / 20:.2f},{2.0 - 0.01 * n:.4f}" for n in range(30)]
    return ("run 1: time (s),run 1: distance (m),run 2: time (s),run 2: distance (m)\n" + "\n".join(rows) + "\n").encode()


def only(faults: tuple[Fault, ...], where: str, what: str, remedy: str) -> None:
    """There is one fault, at this place, and it says this."""
    assert [fault.where for fault in faults] == [where]
    assert re.search(what, faults[0].what), faults[0].what
    assert re.search(remedy, faults[0].remedy), faults[0].remedy
