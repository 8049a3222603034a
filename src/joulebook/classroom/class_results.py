"""What the class picture takes from one bench's audit: its results, with the part of each uncertainty that benches share.

Everything is taken from the audit's own quantities and budgets, so that an audit that was stored as JSON will do.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from joulebook.engine.report import Audit
from joulebook.render.plain import first_sentence
from joulebook.uncertainty import Quantity

__all__ = ["BenchResult", "ClassBench", "LeftOut", "Result", "bench_results", "covariance", "shared_influences"]

Why = Literal["excluded", "not-audited", "no-launch", "stopped"]

_FIT = "fit of the motion"
# Influences that belong to room and kit. Where all benches state one of them alike, it is one statement, wrong by the same
# amount everywhere, and does not average out.
_OF_THE_ROOM = (
    "cart.drag_area", "cart.rotating_fraction", "place.", "sensor.air_temperature", "sensor.assumed_temperature", "sensor.humidity",
    "sensor.scale",
)  # fmt: skip
_NORMAL = 1.959963984540054


@dataclass(frozen=True, slots=True, eq=False)
class ClassBench:
    """One bench as it is handed in.

    code: a few letters that stand beside its point. title: what sentences call it.
    audit: as `Audit` or in its JSON form; None when there is none. excluded: left out by the teacher.
    why: why there is no audit, one sentence.
    """

    code: str
    title: str
    audit: Audit | Mapping[str, Any] | None
    excluded: bool = False
    why: str = ""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A bench that does not count. kind: which sort of reason. why: the reason in a sentence, with its evidence."""

    code: str
    title: str
    kind: Why
    why: str


@dataclass(frozen=True, slots=True)
class Result:
    """One result of one bench.

    value, u, dof: estimate, combined standard uncertainty, degrees of freedom. low, high: 95 % interval.
    parts: u by influence, with the sign of its effect; that of the fit has none.
    """

    value: float
    u: float
    dof: float
    low: float
    high: float
    parts: Mapping[str, float] = field(default_factory=dict)

    def own_u(self, shared: Sequence[str]) -> float:
        """Return the standard uncertainty without the influences that all benches share."""
        return math.sqrt(max(self.u**2 - sum(self.parts.get(name, 0.0) ** 2 for name in shared), 0.0))

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object: value, u, low, high."""
        return {"value": self.value, "u": self.u, "low": self.low, "high": self.high}


@dataclass(frozen=True, slots=True)
class BenchResult:
    """One bench that counts.

    verdict: what it could say alone. energy: kinetic and rotational, J, at release. potential: J, gained up to the apex.
    relative_difference: (energy − potential)/energy. unaccounted: what rolling and drag leave of it, as a share of energy.
    loss: energy/potential − 1, joules lost for each joule gained. grip: μ/tanθ with the stated slope; None when the descent was
    not seen. rolling_resistance: μ, likewise. stated_slope, motion_slope: degrees. slope_gap: the latter less the former.
    restitution: at the first rebound, None when there was none. look: what a person should look at first, one sentence, "" for
    nothing.
    """

    code: str
    title: str
    verdict: str
    energy: Result
    potential: Result
    relative_difference: Result
    unaccounted: Result
    loss: Result
    stated_slope: Result
    grip: Result | None = None
    rolling_resistance: Result | None = None
    motion_slope: Result | None = None
    slope_gap: Result | None = None
    restitution: Result | None = None
    look: str = ""

    def get(self, name: str) -> Result | None:
        """Return one result by name."""
        found = getattr(self, name)
        return found if isinstance(found, Result) else None


def bench_results(benches: Sequence[ClassBench]) -> tuple[list[BenchResult], list[LeftOut]]:
    """Return the results of the benches that count, and the others with the reason, both in the order given.

    A bench that cannot tell by itself counts: its interval is wide, and its weight small.
    """
    results, left_out = [], []
    for bench in benches:
        audit = bench.audit.to_dict() if isinstance(bench.audit, Audit) else bench.audit
        reason = _reason(bench, audit)
        if reason is not None or audit is None:
            left_out.append(reason or LeftOut(bench.code, bench.title, "not-audited", bench.why))
        else:
            results.append(_result(bench, audit))
    return results, left_out


def shared_influences(audits: Sequence[Mapping[str, Any] | Audit]) -> tuple[str, ...]:
    """Return the influences of room and kit that all these audits state with one value and one uncertainty, in order."""
    stated = []
    for audit in audits:
        told: Mapping[str, Any] = audit.to_dict() if isinstance(audit, Audit) else audit
        stated.append({item["name"]: (item["value"], item["u"]) for item in told["bench"]["inputs"] if item["u"] > 0.0})
    if len(stated) < 2:
        return ()
    first, *others = stated
    return tuple(
        sorted(
            name
            for name, said in first.items()
            if name.startswith(_OF_THE_ROOM) and all(each.get(name) == said for each in others)
        )
    )


def covariance(bench: BenchResult, *, without: Sequence[str] = ()) -> float:
    """Return the covariance of `grip` and `loss` of one bench, without some influences.

    Loss is grip plus gap, the relative excess of the motion's slope over the stated one, where drag is small (DESIGN §4); so the
    fit's part of the covariance follows from its parts of the three variances.
    """
    x, y, gap = bench.grip, bench.loss, bench.motion_slope
    if x is None or gap is None:
        return 0.0
    named = sum(part * y.parts.get(name, 0.0) for name, part in x.parts.items() if name != _FIT and name not in without)
    stated, seen = math.radians(bench.stated_slope.value), math.radians(gap.value)
    u_x, u_y = x.parts.get(_FIT, 0.0), y.parts.get(_FIT, 0.0)
    u_gap = math.radians(gap.parts.get(_FIT, 0.0)) * math.cos(seen) / math.sin(stated)
    fit = 0.5 * (u_x**2 + u_y**2 - u_gap**2)
    return named + min(max(fit, -u_x * u_y), u_x * u_y)


def _reason(bench: ClassBench, audit: Mapping[str, Any] | None) -> LeftOut | None:
    if bench.excluded:
        return LeftOut(bench.code, bench.title, "excluded", "The teacher left it out.")
    if audit is None:
        return LeftOut(bench.code, bench.title, "not-audited", bench.why or "It has not been audited.")
    stops = [each for each in audit["findings"] if each["severity"] == "stop"]
    if "relative_difference" not in audit["quantities"]:
        told = stops[0]["message"] if stops else str(audit["verdict"]["sentence"])
        return LeftOut(bench.code, bench.title, "no-launch", told)
    resolution = audit["verdict"]["resolution"]
    if resolution is None or not math.isfinite(resolution):
        return LeftOut(bench.code, bench.title, "stopped", stops[0]["message"] if stops else str(audit["verdict"]["sentence"]))
    return None


def _result(bench: ClassBench, audit: Mapping[str, Any]) -> BenchResult:
    kinetic, rotational = _read(audit, "kinetic_energy"), _read(audit, "rotational_energy")
    energy = _made(kinetic.value + rotational.value, _sum((1.0, kinetic), (1.0, rotational)), kinetic.dof)
    difference, left = _read(audit, "relative_difference"), _read(audit, "unaccounted")
    share = left.value / energy.value
    unaccounted = _made(share, _sum((1.0 / energy.value, left), (-share / energy.value, energy)), left.dof)
    # E/Eₚ − 1 = r/(1 − r) with r = (E − Eₚ)/E.
    one = 1.0 - difference.value
    loss = _made(difference.value / one, _sum((one**-2, difference)), difference.dof)
    stated = _stated_slope(audit)
    found: dict[str, Result | None] = {}
    measured = "slope_from_motion" in audit["quantities"] and not any(
        line["input"] == "cart.rolling_resistance" for line in audit["budgets"].get("rolling_resistance", ())
    )
    if measured:
        theta = math.radians(stated.value)
        found["rolling_resistance"] = mu = _read(audit, "rolling_resistance")
        found["motion_slope"] = seen = _read(audit, "slope_from_motion")
        slope_of_grip = -mu.value / math.sin(theta) ** 2 * math.radians(1.0)
        found["grip"] = _made(
            mu.value / math.tan(theta), _sum((1.0 / math.tan(theta), mu), (slope_of_grip, stated)), mu.dof
        )
        found["slope_gap"] = _made(seen.value - stated.value, _sum((1.0, seen), (-1.0, stated)), seen.dof)
    rebounds = audit["quantities"].get("restitution") or ()
    if rebounds:
        found["restitution"] = _quantity(rebounds[0])
    return BenchResult(
        bench.code, bench.title, str(audit["verdict"]["mechanical"]), energy, _read(audit, "potential_energy"), difference,
        unaccounted, loss, stated, **found, look=_first_look(audit),
    )  # fmt: skip


def _first_look(audit: Mapping[str, Any]) -> str:
    found = [each for each in audit["findings"] if each["severity"] in ("stop", "look")]
    # A number that cannot be right (a mass in grams, centimetres read as metres) moves a bench farther than anything else.
    found.sort(key=lambda each: not str(each["code"]).endswith("-suspect"))
    return first_sentence(str(found[0]["message"])) if found else ""


def _stated_slope(audit: Mapping[str, Any]) -> Result:
    """Return the slope that the ledger used, in degrees: height over travel, in which only the track's own inputs are left."""
    height, travel = _read(audit, "height"), _read(audit, "travel")
    sine = height.value / travel.value
    cosine = math.sqrt(1.0 - sine**2)
    raw = {name: part for name, part in height.parts.items() if name.startswith("track.")}
    parts = {name: math.degrees(part / travel.value / cosine) for name, part in raw.items()}
    kinds = {item["name"]: item["distribution"] for item in audit["bench"]["inputs"]}
    # A pair of limits alone: 95 % of a rectangular distribution lie within 0.95·√3·u (GUM 4.3.7).
    factor = 0.95 * math.sqrt(3.0) if [kinds.get(name) for name in parts] == ["rectangular"] else _NORMAL
    return _made(math.degrees(math.asin(sine)), parts, math.inf, factor=factor)


def _read(audit: Mapping[str, Any], name: str) -> Result:
    lines = audit["budgets"].get(name, ())
    parts = {line["input"]: math.copysign(line["contribution"], line["sensitivity"] or 1.0) for line in lines}
    return _quantity(audit["quantities"][name], parts)


def _quantity(told: Mapping[str, Any] | Quantity, parts: Mapping[str, float] | None = None) -> Result:
    it = told.to_dict() if isinstance(told, Quantity) else told
    dof = math.inf if it["dof"] is None else float(it["dof"])  # type: ignore[arg-type]
    value, u, low, high = (float(it[key]) for key in ("value", "u", "low", "high"))  # type: ignore[arg-type]
    return Result(value, u, dof, low, high, dict(parts or {}))


def _sum(*terms: tuple[float, Result]) -> dict[str, float]:
    """Return the parts of Σ c·x; the fit's, whose signs are not known, are added as if they worked the same way."""
    parts: dict[str, float] = {}
    for factor, result in terms:
        for name, part in result.parts.items():
            parts[name] = parts.get(name, 0.0) + (abs(factor) if name == _FIT else factor) * part
    return parts


def _made(value: float, parts: Mapping[str, float], dof: float, *, factor: float = 0.0) -> Result:
    from scipy import special

    u = math.sqrt(sum(part**2 for part in parts.values()))
    reach = u * (factor or float(special.stdtrit(min(dof, 1e9), 0.975)))
    return Result(value, u, dof, value - reach, value + reach, dict(parts))
