"""The nouns of a plan for the ramp launch: what is recommended, why, what to avoid, and who gets which set-up."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from joulebook.engine.report import BudgetLine
from joulebook.experiments.ramp_kit import AngleMethod, Kit

__all__ = [
    "LEAST_CHANCE",
    "PLAN_FORMAT",
    "Assignment",
    "Caution",
    "Change",
    "Check",
    "ClassResult",
    "Forecast",
    "Plan",
    "Problem",
    "Region",
    "SetUp",
    "Step",
    "Trace",
]

PLAN_FORMAT = "joulebook/plan-1"

LEAST_CHANCE = 0.80
"""Probability of doing what it is meant to do that each bench of a class is given where the kit allows."""

Problem = Literal["", "off-track", "too-flat", "few-samples"]


@dataclass(frozen=True, slots=True)
class SetUp:
    """One combination of what can be chosen. mass: kg. angle: degrees. speed: m/s. stroke: m, how deep the plunger is cocked,
    counted from its free length. rate: 1/s."""

    mass: float
    angle: float
    speed: float
    stroke: float
    rate: float
    method: AngleMethod
    launches: int

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {
            "mass_kg": self.mass, "angle_deg": self.angle, "speed_m_s": self.speed, "stroke_m": self.stroke, "rate_Hz": self.rate,
            "angle_method": self.method.name, "launches": self.launches,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Forecast:
    """What a set-up should give.

    placed: the end of the track at which the ranger stands. track_length: m. Both are the kit's.
    travel, height, nearest, farthest, room: m; nearest and farthest are from the ranger at the apex and at the cocked cart, room
    is what is left beyond the strongest launch's apex before the blind zone or the track's end. time_up: s. on_climb, samples:
    numbers of samples. kinetic, potential: J, with their standard uncertainties u_kinetic, u_potential.
    loss: expected (kinetic − potential)/kinetic, rotation included; u_loss its standard uncertainty. resolution: U, the smallest
    loss that could be shown. account_resolution: U of what is left after the known losses. ratio: loss over u_loss.
    budget: of the relative difference, largest share first. mechanical, account: probability of each verdict by its word.
    problem: "" where the set-up can be used. scatter: by quantity, the standard deviation of its error from bench to bench of one
    kind of stop; u is larger, since no record tells the kind for certain.
    """

    set_up: SetUp
    placed: Literal["top", "bottom"]
    track_length: float
    travel: float
    height: float
    nearest: float
    farthest: float
    room: float
    time_up: float
    on_climb: float
    samples: float
    kinetic: float
    u_kinetic: float
    potential: float
    u_potential: float
    loss: float
    u_loss: float
    resolution: float
    account_resolution: float
    budget: tuple[BudgetLine, ...]
    mechanical: Mapping[str, float]
    account: Mapping[str, float]
    problem: Problem = ""
    scatter: Mapping[str, float] = field(default_factory=dict)

    @property
    def ratio(self) -> float:
        """The expected loss over its standard uncertainty, as t′ compares two values."""
        return self.loss / self.u_loss

    @property
    def decided(self) -> float:
        """Probability that the verdict says something true: loss or conserved, with the account closed."""
        return (self.mechanical["loss"] + self.mechanical["conserved"]) * self.account["closed"]

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {
            "set_up": {**self.set_up.to_dict(), "placed": self.placed, "track_length_m": self.track_length},
            "problem": self.problem or None,
            "travel_m": self.travel, "height_m": self.height, "nearest_m": self.nearest, "farthest_m": self.farthest,
            "room_m": self.room, "time_up_s": self.time_up, "samples_on_climb": self.on_climb, "samples": self.samples,
            "kinetic_energy": {"value": self.kinetic, "unit": "J", "u": self.u_kinetic},
            "potential_energy": {"value": self.potential, "unit": "J", "u": self.u_potential},
            "relative_difference": {"value": self.loss, "unit": "1", "u": self.u_loss},
            "resolution": self.resolution, "account_resolution": self.account_resolution,
            "budget": [{"input": line.input, "contribution": line.contribution, "share": line.share} for line in self.budget],
            "mechanical": dict(self.mechanical), "account": dict(self.account), "scatter": dict(self.scatter),
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Change:
    """One thing done differently, and what it makes of U. what: an imperative. before, after: U of the relative difference;
    ratio_before, ratio_after: the loss over its u. beyond: whether the kit does not offer it yet."""

    what: str
    before: float
    after: float
    ratio_before: float
    ratio_after: float
    beyond: bool = False

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {
            "what": self.what, "resolution_before": self.before, "resolution_after": self.after,
            "ratio_before": self.ratio_before, "ratio_after": self.ratio_after, "beyond_kit": self.beyond,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Caution:
    """Something to avoid.

    code: "blind-zone", "track-end", "too-flat", "few-samples", "hidden-square", "slips-alike", "undecided" or "time".
    """

    code: str
    message: str

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {"code": self.code, "message": self.message}


@dataclass(frozen=True, slots=True)
class Step:
    """One step on the path of an improving bench: what is done, u of the relative difference, and t′ = loss/u."""

    what: str
    u: float
    ratio: float

    @property
    def reading(self) -> str:
        """What t′ lets one say; the limits 1 and 3 are common practice, no source."""
        return "cannot be told apart" if self.ratio < 1.0 else "unclear" if self.ratio < 3.0 else "friction is resolved"

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {"what": self.what, "u": self.u, "ratio": self.ratio, "reading": self.reading}


@dataclass(frozen=True, slots=True)
class Assignment:
    """One bench's own set-up.

    title: of the bench. aim: what it is meant to do: "loss", to see its loss, or "decide", to tell a loss or to find energy
    conserved, where the kit's best set-up cannot see a loss reliably. why_low: why its chance of that is below LEAST_CHANCE, in a
    sentence; "" where it is not.
    """

    title: str
    forecast: Forecast
    aim: Literal["loss", "decide"] = "loss"
    why_low: str = ""

    @property
    def chance(self) -> float:
        """Probability that the bench does what it is meant to do."""
        odds = self.forecast.mechanical
        return odds["loss"] if self.aim == "loss" else odds["loss"] + odds["conserved"]

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {
            "title": self.title, "aim": self.aim, "chance": self.chance, "why_low": self.why_low or None, **self.forecast.to_dict()
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class ClassResult:
    """What the benches together can show: the loss against 1/tanθ, whose slope is the rolling resistance.

    expected, u: of the slope; low, high: of 1/tanθ among the benches. separation: the smallest difference of two benches'
    energies at
    release over the expanded uncertainty of that difference: above 1 no bench's numbers fit another.
    """

    expected: float
    u: float
    low: float
    high: float
    separation: float

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {
            "rolling_resistance": {"value": self.expected, "unit": "1", "u": self.u}, "inverse_tangent": [self.low, self.high],
            "separation": self.separation if math.isfinite(self.separation) else None,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Region:
    """Slope against launch with everything else as recommended.

    angles: degrees, (a,). launches: m/s, or strokes in m where the kit has a plunger, (b,). by_stroke: which.
    states: "good", "undecided", "off-track", "too-flat" or "few-samples", (a, b). chosen: (angle, launch). seen: probability that
    the loss is seen, 0 where the set-up cannot be used, (a, b).
    """

    angles: tuple[float, ...]
    launches: tuple[float, ...]
    by_stroke: bool
    states: tuple[tuple[str, ...], ...]
    seen: tuple[tuple[float, ...], ...]
    chosen: tuple[float, float]

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {
            "angles_deg": list(self.angles), ("strokes_m" if self.by_stroke else "speeds_m_s"): list(self.launches),
            "states": [list(row) for row in self.states], "seen": [list(row) for row in self.seen],
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Trace:
    """The expected record: time (s) from the release, distance from the ranger (m), and half the width of the band that holds
    95 %
    of the benches (m), each of the same length; blind: below it the ranger sees nothing, m; apexes: s."""

    time: tuple[float, ...]
    distance: tuple[float, ...]
    band: tuple[float, ...]
    blind: float
    apex: float

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {"time_s": list(self.time), "distance_m": list(self.distance), "band_m": list(self.band)}


@dataclass(frozen=True, slots=True)
class Check:
    """The recommended set-up simulated and audited. benches, failed: how many, and how many of them gave no ledger. seed: of
    the draws.
    u_stated: mean stated u of the relative difference. scatter: standard deviation of its error. u_predicted: the forecast's.
    mechanical, account: shares of the verdicts. alarms: benches with a finding of severity "stop" or "look"."""

    benches: int
    failed: int
    seed: int
    u_predicted: float
    u_stated: float
    scatter: float
    mechanical: Mapping[str, float]
    account: Mapping[str, float]
    alarms: int

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {
            "benches": self.benches, "failed": self.failed, "seed": self.seed, "u_predicted": self.u_predicted,
            "u_stated": self.u_stated, "scatter": self.scatter,
            "mechanical": dict(self.mechanical), "account": dict(self.account),
            "alarms": self.alarms,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan. sentence: the recommendation in one sentence. reasons: why. limit: what limits it. best_change: in words.
    points, usable: how many set-ups were looked at, and how many fit. today: the same slope and launch as the kit is used today.
    changes: from today's set-up, largest gain first; further: from the recommended one. alternatives: other good set-ups.
    check: None where no Monte Carlo check was asked for.
    """

    title: str
    kit: Kit
    tolerance: float
    points: int
    usable: int
    recommended: Forecast
    today: Forecast
    sentence: str
    reasons: tuple[str, ...]
    limit: str
    best_change: str
    changes: tuple[Change, ...]
    further: tuple[Change, ...]
    cautions: tuple[Caution, ...]
    path: tuple[Step, ...]
    assignments: tuple[Assignment, ...]
    class_result: ClassResult | None
    alternatives: tuple[Forecast, ...]
    region: Region
    trace: Trace
    check: Check | None = None

    def to_dict(self) -> dict[str, object]:
        """Return the plan as the JSON object of format joulebook/plan-1."""
        return {
            "format": PLAN_FORMAT, "experiment": "ramp-launch", "title": self.title, "tolerance": self.tolerance,
            "defaults": list(self.kit.defaults), "points": self.points, "usable": self.usable, "sentence": self.sentence,
            "recommended": self.recommended.to_dict(), "reasons": list(self.reasons), "limit": self.limit,
            "today": self.today.to_dict(), "best_change": self.best_change, "changes": [each.to_dict() for each in self.changes],
            "further": [each.to_dict() for each in self.further], "avoid": [each.to_dict() for each in self.cautions],
            "path": [each.to_dict() for each in self.path], "benches": [each.to_dict() for each in self.assignments],
            "class_result": None if self.class_result is None else self.class_result.to_dict(),
            "alternatives": [each.to_dict() for each in self.alternatives], "region": self.region.to_dict(),
            "trace": self.trace.to_dict(), "check": None if self.check is None else self.check.to_dict(),
        }  # fmt: skip
