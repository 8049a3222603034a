"""The summary: everything that an audit found, put into the frozen report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from joulebook.engine.bench import Bench
from joulebook.engine.clean import Trace
from joulebook.engine.datum import RestLevel
from joulebook.engine.experiment import Experiment
from joulebook.engine.ledger import Ledger, Settled, settle
from joulebook.engine.report import Audit, Finding, LaunchAudit, RecordSummary, Series, Verdict
from joulebook.engine.run import Run
from joulebook.engine.timeline import name_phases
from joulebook.uncertainty import Input, Quantity

__all__ = ["sum_up", "tallest_velocity"]


def sum_up(
    bench: Bench,
    experiment: Experiment,
    rest: Trace | None,
    still: RestLevel | None,
    runs: Sequence[Run],
    ledgers: Mapping[str, Ledger],
    settled: Settled | None,
    pooled: Ledger | None,
    verdict: Verdict,
    findings: Sequence[Finding],
) -> Audit:
    """Return the report of a bench.

    ledgers: by the runs' files. settled, pooled: the bench's own, None when no launch could be used.
    """
    values = {name: item.value for name, item in bench.inputs.items()}
    launches = tuple(_launch(run, ledgers.get(run.file), bench.inputs, experiment) for run in runs)
    records = ([_rest_summary(rest, still)] if rest is not None else []) + [_launch_summary(run) for run in runs]
    assumed = experiment.unseen if settled and not settled.descent_seen else ()
    inputs = (*bench.inputs.values(), *assumed, *_overrides(bench), *(settled.datum if settled else ()))
    facts = _facts(settled, pooled, bench.inputs, experiment) if settled and pooled else {}
    tallest = [fact for launch in launches if (fact := launch.facts.get("tallest_velocity_sample")) is not None]
    if tallest:
        facts["tallest_velocity_sample"] = float(np.mean(tallest))
        facts["tallest_velocity_energy"] = float(np.mean([0.5 * values["cart.mass"] * speed**2 for speed in tallest]))
    order = {"stop": 0, "look": 1, "note": 2}
    return Audit(
        experiment=bench.experiment,
        title=bench.title,
        inputs=inputs,
        records=tuple(records),
        phases=launches[0].phases if launches else (),
        quantities=pooled.quantities if pooled else {},
        budgets=pooled.budgets if pooled else {},
        verdict=verdict,
        findings=tuple(sorted(findings, key=lambda finding: order[finding.severity])),
        launches=launches,
        tolerance=bench.tolerance,
        facts=facts,
    )


def tallest_velocity(run: Run) -> float:
    """Return the largest up-slope speed (m/s, as read) in a column of three-point slopes of the launch record; NaN for none.

    This is what a person reads off the top of a velocity graph; it is told beside the fitted release speed, never used.
    """
    trace = run.trace
    good = trace.good
    middle = np.flatnonzero(good[:-2] & good[2:]) if good.size > 2 else np.empty(0, dtype=np.intp)
    if run.motion is not None:
        middle = middle[trace.time[middle] <= run.motion.apex_times[0]]
    if middle.size == 0:
        return float("nan")
    with np.errstate(divide="ignore", invalid="ignore"):
        way, time = trace.distance[middle + 2] - trace.distance[middle], trace.time[middle + 2] - trace.time[middle]
        slope = run.outline.up * way / time
    return float(np.max(slope))


def _launch(run: Run, ledger: Ledger | None, inputs: Mapping[str, Input], experiment: Experiment) -> LaunchAudit:
    values = {name: item.value for name, item in inputs.items()}
    facts: dict[str, float] = {}
    if run.motion is not None and ledger is not None:
        facts = _facts(settle(run.motion), ledger, inputs, experiment)
        speed = tallest_velocity(run) * experiment.scale(values)
        if np.isfinite(speed):
            facts["tallest_velocity_sample"] = speed
            facts["tallest_velocity_energy"] = 0.5 * values["cart.mass"] * speed**2
        facts["misfit_p"] = run.motion.misfit.p
        facts["noise"] = run.motion.noise
        facts["noise_correlation"] = run.motion.correlation
        facts["contact_time"] = run.motion.contacts.duration
    return LaunchAudit(
        run.file,
        name_phases(run),
        ledger.quantities if ledger else {},
        ledger.budgets if ledger else {},
        _series(run, experiment.scale(values)),
        {name: value for name, value in facts.items() if np.isfinite(value)},
    )


def _facts(settled: Settled, ledger: Ledger, inputs: Mapping[str, Input], experiment: Experiment) -> dict[str, float]:
    """Return the fitted values that the ledger rests on, scaled to true metres, for those who rework it."""
    scale = experiment.scale({name: item.value for name, item in inputs.items()})
    names = settled.block.names
    lead = 2 if settled.descent_seen else 1
    places = [*range(lead), names.index("fit.apex_1")]
    covariance = scale**2 * settled.block.covariance[np.ix_(places, places)]
    covariance[-1, -1] += scale**2 * sum(item.u**2 for item in settled.datum)
    u = np.sqrt(np.diag(covariance))
    r = covariance / np.outer(u, u)
    travel = ledger.quantities["travel"]
    assert isinstance(travel, Quantity)
    climb, descent = ledger.quantity("climb_acceleration"), ledger.quantity("descent_acceleration")
    facts = {
        "a_u": climb.value,
        "a_d": descent.value,
        "travel": travel.value,
        "u_a_u": float(u[0]),
        "u_travel": float(u[-1]),
        "r_au_travel": float(r[0, -1]),
        "k": experiment.drag(inputs)[0],
        "scale": scale,
        "between": settled.between,
        # How these values would change with the drag constant at which the motion was fitted.
        "da_u_dk": scale**2 * settled.by_drag["fit.climb"],
        "dtravel_dk": scale**2 * settled.by_drag["fit.apex_1"],
    }
    if settled.descent_seen:
        facts |= {"u_a_d": float(u[1]), "r_au_ad": float(r[0, 1]), "r_ad_travel": float(r[1, -1])}
        facts["da_d_dk"] = scale**2 * settled.by_drag["fit.descent"]
    return facts


def _series(run: Run, scale: float) -> Series:
    trace, motion = run.trace, run.motion
    flags = trace.flags.copy()
    n = trace.time.size
    up = run.outline.up
    if motion is None:
        level = next((float(up * trace.distance[i]) for i in np.flatnonzero(trace.good)), 0.0)
        empty = np.full(n, np.nan)
        position = scale * (up * trace.distance - level)
        return Series(trace.time, trace.distance, position, flags, np.zeros(n, dtype=bool), empty, empty, 0.0)
    flags[motion.rejected] = motion.reasons
    level = motion.datum.level
    told = motion.used | (flags != "")
    return Series(
        trace.time,
        trace.distance,
        scale * (up * trace.distance - level),
        flags,
        motion.used,
        scale * (motion.fitted - level),
        np.where(told, scale * motion.residual, np.nan),
        scale * motion.contacts.offset,
    )


def _rest_summary(rest: Trace, still: RestLevel | None) -> RecordSummary:
    return _summary(rest, still.samples if still else 0, 0, still.noise if still else None)


def _launch_summary(run: Run) -> RecordSummary:
    if run.motion is None:
        return _summary(run.trace, 0, 0, None, run.file)
    return _summary(run.trace, int(run.motion.used.sum()), run.motion.rejected.size, run.motion.noise, run.file)


def _summary(trace: Trace, used: int, rejected: int, noise: float | None, file: str = "") -> RecordSummary:
    record = trace.record
    missing = int((trace.flags == "missing").sum())
    flagged = int((~trace.good).sum()) - missing
    return RecordSummary(
        file or record.file, record.sha256, record.samples, trace.rate,
        used, missing, flagged + rejected, noise, record.read_as, record.notices,
    )  # fmt: skip


def _overrides(bench: Bench) -> list[Input]:
    """Return a person's own choices of release and apex, recorded as the inputs that they are."""
    chosen = []
    for file, override in bench.overrides.items():
        for name, value in (("release", override.release), ("apex", override.apex)):
            if value is not None:
                chosen.append(Input(f"{name} of {file}", value, "s", 0.0, "constant", "given", note="set by a person"))
    return chosen
