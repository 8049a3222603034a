"""How well write-ups are marked: right ones left alone, slips named, alone or with what cannot be told from them.

    python -m benchmarks.marking [--right N] [--one N] [--two N]

Write-ups are made by a student of ours who rounds honestly: every line is worked out with the calculator's unrounded number or
with the written one, and written to two to four figures.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from joulebook.classroom.chain import CHAIN
from joulebook.classroom.checking import Checked, check_write_up
from joulebook.classroom.line_check import LineResult
from joulebook.classroom.slip_catalogue import SLIPS, Slip
from joulebook.classroom.write_up import WriteUp
from joulebook.engine.house import DEFAULT_HOUSE

RESULTS = Path(__file__).parent / "results" / "marking.json"
_LINES = tuple(CHAIN)


def student(rng: np.random.Generator, slips: tuple[Slip, ...] = ()) -> tuple[WriteUp, dict[str, tuple[str, ...]]]:
    """Return a write-up with these slips, and by line the codes that were really made in it or before it since the last written
    line."""
    angle, mass = float(rng.uniform(3.0, 12.0)), float(rng.uniform(0.2, 1.2))
    speed = float(rng.uniform(0.5, 1.8))
    travel = speed**2 / (2.0 * 9.81 * math.sin(math.radians(angle)))
    if travel > 1.5:
        return student(rng, slips)
    start = float(rng.uniform(0.3 + travel, 2.0 + travel))
    angle, mass = round(angle, 1), round(mass, 4)
    figures = {name: int(rng.integers(2, 5)) for name in (*_LINES, "release_speed")}
    fields = {
        "start_distance": f"{start:.3f}",
        "apex_distance": f"{start - travel:.3f}",
        "release_speed": _told(speed, max(figures["release_speed"], 3)),
    }
    rise = round(math.sin(math.radians(angle)), 4)
    by_rise = bool(rng.integers(0, 2))
    values = {"cart.mass": f"{mass} kg", "track.angle": f"{angle} deg"}
    if by_rise:
        values = {"cart.mass": f"{mass} kg", "track.rise": f"{rise} m", "track.along": "1.000 m"}
        if any(slip.code == "radians" for slip in slips):
            values = {"cart.mass": f"{mass} kg", "track.angle": f"{angle} deg"}
    if any("rise" in slip.uses for slip in slips):
        values = {"cart.mass": f"{mass} kg", "track.rise": f"{rise} m", "track.along": "1.000 m"}
    sine = rise if "track.rise" in values else math.sin(math.radians(angle))
    numbers: dict[str, float] = {
        "mass": mass, "sine": sine, "angle": math.degrees(math.asin(sine)) if "track.rise" in values else angle,
        "gravity": float(rng.choice([9.8, 9.81, 9.807])), "rise": rise, "along": 1.0,
        **{name: float(text) for name, text in fields.items()},
    }  # fmt: skip
    # Now and then a middle line is left out.
    hidden = set() if rng.uniform() < 0.7 else ({"height"} if rng.uniform() < 0.6 else {"travel", "height"})
    keeps = bool(rng.integers(0, 2))
    made: dict[str, tuple[str, ...]] = {}
    open_codes: list[str] = []
    for line in _LINES:
        here = [slip for slip in slips if slip.line == line]
        value = _work_out(line, numbers, here)
        text = _told(value, figures[line])
        own = [slip.code for slip in here]
        if line in hidden:
            open_codes += own
            numbers[line] = value
            continue
        fields[line] = text
        # The kinetic energy rests on no earlier line.
        made[line] = tuple(own if line == "kinetic_energy" else [*open_codes, *own])
        if line != "kinetic_energy":
            open_codes = []
        numbers[line] = value if keeps else float(text)
    return WriteUp("s", 1, values, fields), made


def _work_out(line: str, numbers: Mapping[str, float], slips: list[Slip]) -> float:
    arrays = {name: np.array([value]) for name, value in numbers.items()}
    right = float(CHAIN[line].rule(arrays)[0])
    value = right
    for slip in slips:
        value *= float(slip.rule(arrays)[0]) / right
    return value


def _told(value: float, figures: int) -> str:
    if value == 0.0:
        return "0"
    places = figures - 1 - math.floor(math.log10(abs(value)))
    return f"{round(value, places):.{max(places, 0)}f}"


def _named(line: LineResult) -> set[tuple[str, ...]]:
    return {tuple(sorted(each.slips)) for each in line.explanations}


def _alike(line: LineResult, codes: tuple[str, ...]) -> bool:
    """Whether the slips that were made are among those named."""
    return tuple(sorted(codes)) in _named(line)


def right_ones(count: int, rng: np.random.Generator) -> dict[str, object]:
    """Return how many lines of right write-ups were called a slip."""
    called: Counter[str] = Counter()
    lines = loosely = 0
    for _ in range(count):
        write_up, _ = student(rng)
        for line in check_write_up(write_up, None, DEFAULT_HOUSE).lines.values():
            lines += line.kind != "blank"
            loosely += line.loosely
            called[line.kind] += 1
    return {"write_ups": count, "lines": lines, "slip": called["slip"], "cannot_tell": called["cannot tell"], "loosely": loosely}


def slipped(count: int, slips: int, rng: np.random.Generator) -> dict[str, object]:
    """Return how often the slips that were made were named, alone where they can be told apart."""
    seen = found = alone = invisible = 0
    misses: Counter[str] = Counter()
    while seen < count:
        chosen = _choose(slips, rng)
        write_up, made = student(rng, chosen)
        checked = check_write_up(write_up, None, DEFAULT_HOUSE)
        wrong = {line: codes for line, codes in made.items() if codes}
        visible = {line: codes for line, codes in wrong.items() if checked.lines[line].kind != "right"}
        if not visible:
            invisible += 1
            continue
        seen += 1
        good = all(_explained(checked, line, codes) for line, codes in visible.items())
        found += good
        alone += good and all(len(_named(checked.lines[line])) == 1 for line in visible)
        if not good:
            misses[" + ".join(sorted(slip.code for slip in chosen))] += 1
    return {
        "write_ups": seen, "named": found, "named_alone": alone, "share_named": found / seen, "within_rounding": invisible,
        "missed_most": misses.most_common(6),
    }  # fmt: skip


def _explained(checked: Checked, line: str, codes: tuple[str, ...]) -> bool:
    result = checked.lines[line]
    if _alike(result, codes):
        return True
    # A slip of two that does nothing within the rounding cannot be asked for.
    return len(codes) == 2 and any(_alike(result, (code,)) for code in codes)


def _choose(count: int, rng: np.random.Generator) -> tuple[Slip, ...]:
    slips = list(SLIPS.values())
    while True:
        chosen = tuple(slips[index] for index in rng.choice(len(slips), size=count, replace=False))
        if len({slip.line for slip in chosen}) == count:
            return chosen


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure and write the results."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--right", type=int, default=10_000)
    parser.add_argument("--one", type=int, default=10_000)
    parser.add_argument("--two", type=int, default=5_000)
    parser.add_argument("--quick", action="store_true", help="a hundredth of the write-ups")
    parser.add_argument("--out", type=Path, default=RESULTS, help="where the results go")
    asked = parser.parse_args(arguments)
    if asked.quick:
        asked.right, asked.one, asked.two = asked.right // 100, asked.one // 100, asked.two // 100
    rng = np.random.default_rng(31)
    results: dict[str, object] = {
        "right": right_ones(asked.right, rng), "one": slipped(asked.one, 1, rng), "two": slipped(asked.two, 2, rng),
    }  # fmt: skip
    began = time.perf_counter()
    for _ in range(150):
        check_write_up(student(rng)[0], None, DEFAULT_HOUSE)
    results["seconds_for_150"] = time.perf_counter() - began
    asked.out.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")
    print(json.dumps(results, indent=1))


if __name__ == "__main__":
    main()
