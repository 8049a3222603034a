"""How true the plans are: predicted uncertainties and verdict shares beside simulated and audited benches, and how long a plan
takes.

    python -m benchmarks.plan [--benches 300] [--quick]

Each point is a set-up that the planner predicts; so many benches of it are simulated from their forces, with true values drawn
within
what the kit states, and audited. Bench i of point p comes from numpy.random.default_rng([5_000_000, p, i]).
`run` gives the raw result, `section` the part of docs/accuracy.md that tells it.
"""

from __future__ import annotations

import argparse
import json
import math
import time
import warnings
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from benchmarks.goals import falls_short, unless

from joulebook.analysis import audit_bench
from joulebook.experiments.ramp_kit import Kit
from joulebook.experiments.ramp_plan import Forecast, SetUp
from joulebook.planning.expected import expected_motion
from joulebook.planning.forecasts import forecast_of
from joulebook.planning.plan import make_plan
from joulebook.planning.predict import predict
from joulebook.planning.set_ups import design_of
from joulebook.planning.simulate import simulate_bench
from joulebook.readers.kit_file import make_kit
from joulebook.uncertainty import Quantity

__all__ = ["POINTS", "QUANTITIES", "RESULT", "main", "run", "section"]

RESULT = Path(__file__).parent / "results" / "plan.json"
SEED = 5_000_000
TOLERANCE = 0.05
DAMPED = 3
"""The point that is also simulated with damped plungers: where the stop counts for most."""
WITHIN_U, WITHIN_SHARE = 0.15, 0.05
QUANTITIES = ("kinetic_energy", "potential_energy", "relative_difference")

POINTS: tuple[tuple[str, Mapping[str, object], float, float, float, int, int], ...] = (
    ("protractor, one launch", {}, 5.0, 0.9, 20.0, 0, 1),
    ("height over length, one launch", {}, 5.0, 0.9, 20.0, 2, 1),
    ("digital level, three launches", {}, 7.0, 1.1, 20.0, 1, 3),
    ("height over length, steep and fast", {}, 12.0, 1.3, 50.0, 2, 3),
    ("shallow, noisy ranger", {"noise": "1.5 mm", "step": "1 mm"}, 3.5, 0.8, 20.0, 2, 1),
    ("ranger at the bottom, slow rate", {"placed": "bottom"}, 4.0, 0.9, 10.0, 1, 1),
    ("light cart, soft bounce, standard uncertainties", {
        "mass": "0.250 kg ± 0.001 kg", "restitution": 0.6, "scale": "1.000(5)", "rotating_fraction": "0.020(5)",
        "methods": [{"name": "inclinometer", "u": "0.1 deg"}],
    }, 6.0, 1.0, 50.0, 0, 1),
)  # fmt: skip
"""Name, kit entries beside the defaults, slope (deg), speed (m/s), rate (1/s), place of the angle method, launches."""


def run(quick: bool = False, *, benches: int = 300) -> dict[str, Any]:
    """Return the raw result. quick: a twentieth of the benches. benches: at each point."""
    count = math.ceil(benches / 20) if quick else benches
    return {"format": "joulebook/plan-benchmark-2", "benches": count, "seed": SEED,
    "points": [_point(p, count) for p in range(len(POINTS))],
            "speed": _speed()}  # fmt: skip


def section(result: Mapping[str, Any], short: list[str]) -> str:
    """Return the section of docs/accuracy.md. short: where it adds what falls short of the goals."""
    count = result["benches"]
    speed = result["speed"]
    return "\n".join([
        "## Plans against benches\n",
        f"What `joulebook plan` predicts, beside {count} simulated and audited benches of each set-up, as the ratio of what came "
        "out to what was predicted. **scatter**: the standard deviation of the errors over the planned scatter. **stated**: the "
        "median u of the audits over the planned u. The goal is 0.85 to 1.15; the scatter of "
        f"{count} benches is itself known to {100 / math.sqrt(2 * (count - 1)):.0f} %. **errors over u**: the same errors over the "
        "planned u. An audit's u holds limits for where the stop lets go, since no record tells for certain what kind of stop it "
        "is; on benches of one kind that part is the same on every bench and scatters nothing, so that the planned scatter is u "
        "without it.\n",
        "| set-up | scatter: KE | PE | difference | stated: KE | PE | difference | errors over u: KE | PE |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
        *(_u_row(point, short) for point in result["points"]),
        "",
        *(_damped_told(point) for point in result["points"] if point["damped"]),
        "The shares of the verdicts, in per cent, predicted → found. The goal is 5 points; a share of a half is known to "
        f"{100 * 0.5 / math.sqrt(count):.1f} points (one standard deviation).\n",
        "| set-up | loss | conserved | undecided | account closed | account undecided |", "| --- | ---: | ---: | ---: | "
        "---: | ---: |",
        *(_share_row(point, count, short) for point in result["points"]),
        "",
        f"A plan of {speed['points']} set-ups: {speed['grid_s']:.2f} s for the predictions, {speed['plan_s']:.2f} s with "
        f"advice, benches and "
        "trace, on one core.\n",
    ])  # fmt: skip


def main(arguments: Sequence[str] | None = None) -> None:
    """Run, store the result and print the section."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--benches", type=int, default=300, help="benches at each point")
    parser.add_argument("--quick", action="store_true", help="a twentieth of the benches")
    parser.add_argument("--out", type=Path, default=RESULT, help="where the result goes")
    chosen = parser.parse_args(arguments)
    result = run(chosen.quick, benches=chosen.benches)
    chosen.out.parent.mkdir(parents=True, exist_ok=True)
    chosen.out.write_text(json.dumps(result, indent=1, sort_keys=True) + "\n", encoding="utf-8")
    short: list[str] = []
    print(section(result, short), falls_short(short), sep="\n")


def _point(place: int, count: int) -> dict[str, Any]:
    name, values, angle, speed, rate, method, launches = POINTS[place]
    kit = make_kit(values=values)
    stroke = float(
        expected_motion(kit, mass=np.array([kit.masses[0].value]), angle=np.array([angle]), speed=np.array([speed])).stroke[0]
    )
    set_up = SetUp(kit.masses[0].value, angle, speed, stroke, rate, kit.methods[method], launches)
    planned = forecast_of(kit, set_up, tolerance=TOLERANCE)
    found = _benches(kit, set_up, place, count)
    damped = _benches(kit, set_up, place, count, damped=1.0) if place == DAMPED else None
    predicted = {
        "kinetic_energy": planned.u_kinetic,
        "potential_energy": planned.u_potential,
        "relative_difference": planned.u_loss,
    }
    return {
        "name": name, "angle": angle, "speed": speed, "rate": rate, "method": set_up.method.name, "launches": launches,
        "problem": planned.problem, "predicted": predicted, "predicted_scatter": dict(planned.scatter),
        "planned": _planned(planned), **found, "damped": damped,
    }  # fmt: skip


def _planned(planned: Forecast) -> dict[str, dict[str, float]]:
    return {"mechanical": dict(planned.mechanical), "account": dict(planned.account)}


def _benches(kit: Kit, set_up: SetUp, place: int, count: int, *, damped: float = 0.0) -> dict[str, Any]:
    stated: dict[str, list[float]] = {name: [] for name in QUANTITIES}
    errors: dict[str, list[float]] = {name: [] for name in QUANTITIES}
    verdicts, alarms = [], 0
    for number in range(count):
        rng = np.random.default_rng([SEED, place, number])
        simulated = simulate_bench(design_of(kit, set_up, rng, damped=damped), rng)
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            audit = audit_bench(simulated.bench)
        alarms += any(finding.severity != "note" for finding in audit.findings)
        truth = simulated.pooled()
        if not audit.quantities:
            continue
        verdicts.append((audit.verdict.mechanical, audit.verdict.account))
        for name in QUANTITIES:
            quantity = audit.quantities[name]
            assert isinstance(quantity, Quantity)
            stated[name].append(quantity.u)
            errors[name].append(quantity.value - truth[name])
    size = max(len(verdicts), 1)
    mechanical: Counter[str] = Counter(one for one, _ in verdicts)
    account: Counter[str] = Counter(other for _, other in verdicts)
    return {
        "audited": len(verdicts), "alarms": alarms,
        "error": {name: float(np.sqrt(np.mean(np.square(each)))) for name, each in errors.items()},
        "scatter": {name: float(np.std(each, ddof=1)) for name, each in errors.items()},
        "bias": {name: float(np.mean(each)) for name, each in errors.items()},
        "stated": {name: float(np.median(each)) for name, each in stated.items()},
        "stated_mean": {name: float(np.mean(each)) for name, each in stated.items()},
        "mechanical": {word: mechanical[word] / size for word in ("gain", "loss", "conserved", "undecided")},
        "account": {word: account[word] / size for word in ("closed", "open", "undecided")},
    }  # fmt: skip


def _speed() -> dict[str, float]:
    kit = make_kit()
    predict(kit)
    start = time.perf_counter()
    size = predict(kit).size
    middle = time.perf_counter()
    make_plan(kit)
    return {"points": size, "grid_s": middle - start, "plan_s": time.perf_counter() - middle}


def _damped_told(point: Mapping[str, Any]) -> str:
    """Say what the part of u that does not scatter is for: the same benches with a stop of another kind."""
    u = point["predicted"]
    names = ("kinetic_energy", "potential_energy")
    kinetic, potential = (point["damped"]["error"][name] / u[name] for name in names)
    said = [point["damped"]["stated"][name] / u[name] for name in names]
    return (
        f"That part is no idle caution. At “{point['name']}”, where it is largest, the same benches were simulated with a plunger "
        "that loses its energy to a damper all along, the launch included, and lets go early. The root mean square of their "
        f"errors is {kinetic:.2f} of the planned u for KE and {potential:.2f} for PE. Their audits see the damper and state more, "
        f"{said[0]:.2f} and {said[1]:.2f} of the planned u; a plan takes the stop to be a spring without one.\n"
    )


def _u_row(point: Mapping[str, Any], short: list[str]) -> str:
    cells = []
    for kind, told, by in (("scatter", "errors scatter", "predicted_scatter"), ("stated", "audits state a u", "predicted")):
        for name in QUANTITIES:
            ratio = point[kind][name] / point[by][name]
            cells.append(f"{ratio:.2f}")
            unless(
                abs(ratio - 1.0) <= WITHIN_U,
                short,
                f"{point['name']}: the {told} of `{name}`, {ratio:.2f} times what was planned.",
            )
    for name in ("kinetic_energy", "potential_energy"):
        ratio = point["scatter"][name] / point["predicted"][name]
        cells.append(f"{ratio:.2f}")
        unless(
            abs(ratio - 1.0) <= WITHIN_U, short, f"{point['name']}: the planned u of `{name}` is not its scatter, which is "
            f"{ratio:.2f} of it; the rest are limits for the stop's kind, which these benches share.",
        )  # fmt: skip
    return f"| {point['name']} | " + " | ".join(cells) + " |"


def _share_row(point: Mapping[str, Any], count: int, short: list[str]) -> str:
    cells = []
    for kind, word in (
        ("mechanical", "loss"),
        ("mechanical", "conserved"),
        ("mechanical", "undecided"),
        ("account", "closed"),
        ("account", "undecided"),
    ):
        planned, found = point["planned"][kind][word], point[kind][word]
        cells.append(f"{100 * planned:.0f} → {100 * found:.0f}")
        told = f"{point['name']}: “{word}” was planned for {100 * planned:.0f} % and came out on {100 * found:.0f} %."
        unless(abs(planned - found) <= WITHIN_SHARE, short, told)
    return f"| {point['name']} | " + " | ".join(cells) + " |"


if __name__ == "__main__":
    main()
