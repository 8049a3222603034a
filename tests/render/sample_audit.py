"""An audit made by hand for the tests of the reports: an invented bench, three launches, findings of every severity.

The motion is the closed form of DESIGN §4 without drag, with seeded noise; uncertainties are round numbers of the size that such
a bench has. Nothing here tests the engine: the reports only need an audit whose numbers hang together.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from joulebook.engine.report import Audit, BudgetLine, Finding, LaunchAudit, Phase, RecordSummary, Series, Verdict
from joulebook.uncertainty import Input, Quantity

__all__ = ["sample_audit", "sample_stopped"]

MASS, KAPPA, ANGLE, MU, GRAVITY = 0.2513, 0.015, 9.8, 0.0062, 9.80665
SENSOR_AT = 1.35
CLIMB = GRAVITY * (math.sin(math.radians(ANGLE)) + MU * math.cos(math.radians(ANGLE))) / (1 + KAPPA)
DESCENT = GRAVITY * (math.sin(math.radians(ANGLE)) - MU * math.cos(math.radians(ANGLE))) / (1 + KAPPA)
RESTITUTION = (0.79, 0.775)


def sample_audit(*, title: str = "Bench 3, the blue trolley", launches: int = 3, rate: float = 20.0) -> Audit:
    """Return an audit of `launches` launches at `rate` samples per second."""
    speeds = [1.062, 1.049, 1.071, 1.058, 1.066, 1.055][:launches]
    parts = tuple(_launch(index, speed, rate) for index, speed in enumerate(speeds, start=1))
    quantities = _quantities(float(np.mean(speeds)), scatter=1.0)
    records = [
        RecordSummary(
            "rest.csv", _sha("rest"), 60, rate, 58, 0, 0, 0.0004, "60 samples of time in s and distance in m, comma-separated."
        )
    ]
    for part in parts:
        assert part.series is not None
        flags = part.series.flags
        records.append(
            RecordSummary(
                part.file,
                _sha(part.file),
                int(flags.size),
                rate,
                int(np.count_nonzero(part.series.used)),
                int(np.count_nonzero(flags == "missing")),
                int(np.count_nonzero((flags != "") & (flags != "missing"))),
                0.0007,
                f"{flags.size} samples of time in s and distance in m from columns 1 and 2, comma-separated, decimal point.",
                notices=("The heading says cm, the numbers are metres: read as metres.",) if part.file == "launch-2.csv" else (),
            )
        )
    return Audit(
        experiment="ramp-launch",
        title=title,
        inputs=_inputs(),
        records=tuple(records),
        phases=parts[0].phases,
        quantities=quantities,
        budgets=_budgets(),
        verdict=Verdict(
            mechanical="loss",
            account="closed",
            resolution=0.021,
            normalised_error=1.9,
            sentence=(
                "The cart had 0.0053 J less at the top than at release, more than the 0.0028 J that this bench could mistake; "
                "rolling resistance and air drag account for it."
            ),
        ),
        findings=_findings(),
        launches=parts,
        tolerance=0.05,
        facts={"tallest_velocity_sample": 0.968, "tallest_velocity_energy": 0.1177, "misfit_p": 0.42},
    )


def sample_stopped() -> Audit:
    """Return an audit without a ledger: the record ends too early, so nothing but a finding is there."""
    audit = sample_audit(launches=1)
    finding = Finding(
        "cut-short",
        "stop",
        "launch-1.csv ends at 1.20 s, before the cart turned round, so there is no apex to compare with.",
        "Start the sensor, then launch, and let it run until the cart is at rest.",
        {"record": "launch-1.csv"},
    )
    verdict = Verdict(
        "undecided", "undecided", math.inf, math.nan, "No ledger can be given: launch-1.csv ends before the cart turned round."
    )
    bare = replace(audit.launches[0], quantities={}, budgets={}, series=None, phases=())
    return replace(audit, quantities={}, budgets={}, phases=(), findings=(finding,), verdict=verdict, launches=(bare,), facts={})


def _sha(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _q(value: float, unit: str, u: float, dof: float = math.inf, *, method: str = "gum", skew: float = 0.0) -> Quantity:
    half = 1.96 * u
    return Quantity(
        value,
        unit,
        u,
        dof,
        value - half * (1 - skew),
        value + half * (1 + skew),
        0.95,
        "monte-carlo" if method != "gum" else "gum",
    )


def _quantities(speed: float, *, scatter: float) -> dict[str, Quantity | tuple[Quantity, ...]]:
    travel = speed**2 / (2 * CLIMB)
    height = travel * math.sin(math.radians(ANGLE))
    kinetic = 0.5 * MASS * speed**2
    rotational = KAPPA * kinetic
    potential = MASS * GRAVITY * height
    rolling = MU * MASS * GRAVITY * math.cos(math.radians(ANGLE)) * travel
    drag = 0.0003
    difference = kinetic + rotational - potential
    slope = math.degrees(math.asin((1 + KAPPA) * (CLIMB + DESCENT) / (2 * GRAVITY)))
    return {
        "release_time": _q(1.134, "s", 0.0021 * scatter, 88),
        "release_speed": _q(speed, "m/s", 0.0046 * scatter, 61),
        "apex_time": _q(1.134 + speed / CLIMB, "s", 0.0009 * scatter, 88),
        "travel": _q(travel, "m", 0.0023 * scatter, 70),
        "height": _q(height, "m", 0.0014, 190),
        "climb_acceleration": _q(CLIMB, "m/s^2", 0.0081 * scatter, 88),
        "descent_acceleration": _q(DESCENT, "m/s^2", 0.0066 * scatter, 88),
        "slope_from_motion": _q(slope, "deg", 0.062, 95),
        "rolling_resistance": _q(MU, "1", 0.0006, 90),
        "kinetic_energy": _q(kinetic, "J", 0.0011 * scatter, 64),
        "rotational_energy": _q(rotational, "J", 0.0012, method="monte-carlo", skew=0.06),
        "potential_energy": _q(potential, "J", 0.0018, 210),
        "rolling_loss": _q(rolling, "J", 0.00048, 90),
        "drag_loss": _q(drag, "J", 0.00017),
        "difference": _q(difference, "J", 0.0021, 240, method="monte-carlo", skew=0.02),
        "relative_difference": _q(difference / (kinetic + rotational), "1", 0.0148, 230, method="monte-carlo", skew=0.02),
        "unaccounted": _q(difference - rolling - drag, "J", 0.0020, 220),
        "restitution": tuple(_q(e, "1", 0.008, 40) for e in RESTITUTION),
    }


def _launch(number: int, speed: float, rate: float) -> LaunchAudit:
    rng = np.random.default_rng(number)
    release, contact = 1.134, 0.09
    time = np.arange(0.0, 5.0, 1.0 / rate)
    level = 0.004
    true = np.zeros_like(time)
    fitted = np.full_like(time, np.nan)
    phases: list[tuple[str, float, float]] = [("still", 0.0, 0.62), ("handled", 0.62, 1.05), ("push", 1.05, release)]
    true[(time > 0.62) & (time <= 1.05)] = -0.04
    start, v = release, speed
    for restitution in (*RESTITUTION, 0.0):
        apex = start + v / CLIMB
        top = level + v**2 / (2 * CLIMB)
        end = apex + math.sqrt(2 * (top - level) / DESCENT)
        for kind, first, last, rate_of_change in (("climb", start, apex, CLIMB), ("descent", apex, end, DESCENT)):
            here = (time > first) & (time <= last)
            true[here] = fitted[here] = top - 0.5 * rate_of_change * (time[here] - apex) ** 2
            phases.append((kind, first, last))
        v = restitution * DESCENT * (end - apex)
        start = end + contact
        phases.append(("contact", end, start))
    phases[-1] = ("still", phases[-1][1], float(time[-1]))
    read = true + rng.normal(0.0, 0.0007, time.size)
    distance = np.round(SENSOR_AT - read, 4)
    flags = np.full(time.size, "", dtype="<U12")
    free = np.flatnonzero(np.isfinite(fitted))
    for place, reason, shift in ((6, "far-echo", 1.9), (14, "slip", 0.0031), (20, "missing", math.nan), (30, "outlier", -0.05))[
        : 5 - number
    ]:
        if number < 4:
            flags[free[place]] = reason
            distance[free[place]] += shift
    flags[2] = "stuck"
    position = SENSOR_AT - distance
    used = np.isfinite(fitted) & (flags == "")
    residual = np.where(np.isfinite(fitted) & ((flags == "") | (flags == "outlier")), position - fitted, np.nan)
    table = tuple(
        Phase(kind, first, last, int(np.searchsorted(time, first)), int(np.searchsorted(time, last, side="right")) - 1)  # type: ignore[arg-type]
        for kind, first, last in phases
    )
    series = Series(time, distance, position, flags, used, fitted, residual, level)
    return LaunchAudit(f"launch-{number}.csv", table, _quantities(speed, scatter=1.6), _budgets(), series)


def _budgets() -> Mapping[str, tuple[BudgetLine, ...]]:
    lines = (
        ("track.angle", -0.1011, 0.0146),
        ("fit of the motion", 0.0, 0.0058),
        ("sensor.scale", 0.94, 0.0038),
        ("cart.rotating_fraction", 0.9, 0.0024),
        ("between launches", 0.0, 0.0011),
        ("place.gravity", -0.096, 0.0003),
        ("cart.drag_area", -0.004, 0.000007),
        ("cart.mass", 0.0, 0.0),
    )
    total = sum(c**2 for _, _, c in lines)
    relative = tuple(BudgetLine(name, sensitivity, c, c**2 / total) for name, sensitivity, c in lines)
    energy = (
        BudgetLine("fit of the motion", 0.0, 0.0009, 0.66),
        BudgetLine("sensor.scale", 0.28, 0.0006, 0.28),
        BudgetLine("cart.mass", 0.56, 0.00028, 0.06),
    )
    difference = tuple(BudgetLine(line.input, line.sensitivity * 0.14, line.contribution * 0.14, line.share) for line in relative)
    return {"relative_difference": relative, "difference": difference, "kinetic_energy": energy, "unaccounted": difference[:4]}


def _inputs() -> tuple[Input, ...]:
    third = 1 / math.sqrt(3)
    return (
        Input("cart.mass", MASS, "kg", 0.0005 * third, "rectangular", "given", note="Written as a pair of limits, ± 0.0005 kg."),
        Input("cart.rotating_fraction", KAPPA, "1", 0.015 * third, "rectangular", "given"),
        Input(
            "cart.drag_area",
            0.003,
            "m^2",
            0.003 * third,
            "rectangular",
            "default",
            note="Left out: the default for a small cart.",
        ),
        Input("track.angle", ANGLE, "deg", 0.25 * third, "rectangular", "given"),
        Input("sensor.scale", 1.0, "1", 0.007 * third, "rectangular", "default", note="Left out: ± 4 K of air temperature."),
        Input("place.gravity", GRAVITY, "m/s^2", 0.0, "constant", "given"),
        Input("place.air_density", 1.2, "kg/m^3", 0.06 * third, "rectangular", "default"),
    )


def _findings() -> tuple[Finding, ...]:
    return (
        Finding(
            "angle-suspect",
            "look",
            "The stated slope is 9.80° and the motion shows 9.62(6)°. The slope carries 83 % of the uncertainty, and a "
            "slope 0.2° lower would raise the difference by 2 % of the energy.",
            "Measure height and length of the track with a tape, to 1 mm, instead of reading a protractor.",
            {"stated_deg": 9.8, "motion_deg": 9.62},
        ),
        Finding(
            "too-close",
            "stop",
            "launch-3.csv: the cart came within 0.14 m of the sensor at 1.62 s, nearer than the 0.15 m that the sensor can "
            "measure.",
            "Move the sensor 10 cm away from the end of the track and launch again.",
            {"record": "launch-3.csv", "distance_m": 0.14},
        ),
        Finding(
            "ghost-echo",
            "note",
            "launch-1.csv: 1 sample at 1.45 s came from something 1.9 m farther away. It was left out, and the energies "
            "do not change.",
            "Clear the line between sensor and cart of chair backs and hands.",
            {"record": "launch-1.csv"},
        ),
        Finding("no-rest", "note", "The datum is the cart at rest at the end of launch-1.csv.", "Take a rest record.", {}),
    )
