"""The audit, step by step: record → clean → phases → datum → fit → ledger → verdict → report.

Read this file first; each step is a function of the engine, from one noun to the next.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Literal

from joulebook.engine.bench import Bench
from joulebook.engine.clean import clean
from joulebook.engine.datum import RestLevel, rest_level
from joulebook.engine.experiment import Experiment
from joulebook.engine.follow import agree_on_stop, follow
from joulebook.engine.ledger import Method, draw_up, pool, settle
from joulebook.engine.record import Record
from joulebook.engine.report import Audit
from joulebook.engine.run import Run
from joulebook.engine.summary import sum_up
from joulebook.engine.verdict import judge, no_verdict
from joulebook.experiments import get_experiment

__all__ = ["Follower", "audit_bench"]

Follower = Callable[[Record, Bench, Experiment, RestLevel | None], Run]


def audit_bench(
    bench: Bench,
    *,
    method: Method = "auto",
    draws: int = 2**13,
    interval: Literal["symmetric", "shortest"] = "symmetric",
    seed: int = 1,
    follower: Follower = follow,
) -> Audit:
    """Audit a bench: from its records to the energy ledger, the verdict and what a person should look at.

    method: how coverage intervals are found, see `ledger.draw_up`. draws, interval, seed: of the Monte Carlo.
    follower: finds out what became of a launch, for those who remember it; `engine.follow.follow` unless given.
    A bench without a single usable launch gives an audit without quantities, whose findings of severity "stop" say why.
    """
    experiment = get_experiment(bench.experiment)

    # What was recorded: the standing cart, then each launch from record to fitted motion.
    rest = None if bench.rest is None else clean(bench.rest)
    still = None if rest is None else rest_level(rest)
    runs = agree_on_stop([follower(record, bench, experiment, still) for record in bench.launches])
    findings = [finding for run in runs for finding in experiment.inspect_run(bench, run, still)]

    # The ledger: each launch's own, and the bench's from all launches that no finding stops.
    inputs = tuple(bench.inputs.values())
    settled = {run.file: settle(run.motion) for run in runs if run.motion}
    stopped = {finding.evidence.get("record") for finding in findings if finding.severity == "stop"}
    sound = [each for file, each in settled.items() if file not in stopped] or list(settled.values())
    draw = partial(draw_up, inputs=inputs, experiment=experiment, method=method, draws=draws, interval=interval, seed=seed)
    ledgers = {file: draw(each) for file, each in settled.items()}
    together = pool(sound) if sound else None
    pooled = None if together is None else ledgers[runs[0].file] if len(runs) == 1 else draw(together)

    # What may be claimed, what a person should look at, and all of it in one report. A ledger of stopped launches alone is shown,
    # but nothing is concluded from it.
    trusted = pooled if set(settled) - stopped else None
    findings += experiment.inspect_bench(bench, runs, still, trusted)
    verdict = judge(trusted, tolerance=bench.tolerance) if trusted else no_verdict(findings)
    return sum_up(bench, experiment, rest, still, runs, ledgers, together, pooled, verdict, findings)
