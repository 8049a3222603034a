"""The Monte Carlo check of a forecast: the set-up simulated from its forces and audited, many times over."""

from __future__ import annotations

from collections import Counter

import numpy as np

from joulebook.analysis import audit_bench
from joulebook.engine.ledger import Method
from joulebook.experiments.ramp_kit import Kit
from joulebook.experiments.ramp_plan import Check, Forecast
from joulebook.planning.set_ups import design_of
from joulebook.planning.simulate import simulate_bench
from joulebook.uncertainty import Quantity

__all__ = ["check_forecast"]


def check_forecast(
    kit: Kit, forecast: Forecast, *, benches: int, seed: int, method: Method = "auto", quantity: str = "relative_difference"
) -> Check:
    """Return how so many simulated benches of a set-up came out, beside what was forecast.

    seed: bench i is drawn from numpy.random.default_rng([seed, i]). method: of the audits. quantity: whose u is compared.
    u_stated is the median over the benches: one in twenty audits widens its interval for a misfit that may be chance.
    """
    stated, errors, verdicts, alarms = [], [], [], 0
    for number in range(benches):
        rng = np.random.default_rng([seed, number])
        simulated = simulate_bench(design_of(kit, forecast.set_up, rng), rng)
        audit = audit_bench(simulated.bench, method=method)
        alarms += any(finding.severity != "note" for finding in audit.findings)
        found = audit.quantities.get(quantity)
        if not isinstance(found, Quantity):
            continue
        stated.append(found.u)
        errors.append(found.value - simulated.pooled()[quantity])
        verdicts.append((audit.verdict.mechanical, audit.verdict.account))
    whole = max(len(stated), 1)
    mechanical: Counter[str] = Counter(one for one, _ in verdicts)
    account: Counter[str] = Counter(other for _, other in verdicts)
    predicted = {
        "relative_difference": forecast.u_loss,
        "kinetic_energy": forecast.u_kinetic,
        "potential_energy": forecast.u_potential,
    }
    return Check(
        benches=benches, failed=benches - len(stated), seed=seed, u_predicted=predicted[quantity],
        u_stated=float(np.median(stated)) if stated else float("nan"),
        scatter=float(np.std(errors, ddof=1)) if len(errors) > 1 else float("nan"),
        mechanical={word: mechanical[word] / whole for word in forecast.mechanical},
        account={word: account[word] / whole for word in forecast.account}, alarms=alarms,
    )  # fmt: skip
