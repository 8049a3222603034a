"""The conformance suite that every experiment runs: simulate, audit, compare with the truth (house style 13).

A short version of benchmarks/conformance.py with seeds of its own. Seeds are fixed, so a run never fails by chance; a change of
the code that leaves the true coverage, pulls, catches and false alarms within the goals still draws other numbers, and fails
a check here with the risk that its limit is computed for: RISK for each of about 50 checks, so less than 1 in 100 altogether.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, partial

import numpy as np
import pytest
from benchmarks.conformance import clean_outcome, fault_outcome, plain_outcome
from benchmarks.plain_benches import KINDS, plain_bench
from benchmarks.scores import (
    QUANTITIES,
    Outcome,
    coverage_limits,
    false_alarm_limit,
    score,
    shared_coverage_limits,
)
from scipy.stats import binom, chi2, norm

from joulebook.experiments import EXPERIMENTS
from joulebook.planning.faults import FAULTS

RISK = 1e-4
FAULT_RISK = 1e-3
CLEAN, FAULTY, PLAIN = 64, 6, 24


@dataclass(frozen=True)
class Suite:
    """What an experiment brings: its quantities, and outcomes of benches by seed: clean, with a fault, and from elsewhere.

    levels_free: quantities that do not depend on where the stop lets go, which a stop of another kind than the experiment
    knows leaves alone.
    """

    quantities: Sequence[str]
    clean: Callable[[int], Outcome]
    fault: Callable[..., Outcome]
    codes: Sequence[str]
    elsewhere: Callable[[int], Outcome]
    levels_free: Sequence[str]
    known_stops: Sequence[str]


SUITES = {
    "ramp-launch": Suite(
        QUANTITIES,
        partial(clean_outcome, bound=True),
        fault_outcome,
        tuple(FAULTS),
        partial(plain_outcome, method="linear"),
        (
            "apex_time", "climb_acceleration", "descent_acceleration", "slope_from_motion", "rolling_resistance",
            "relative_difference", "unaccounted",
        ),
        ("sine", "instant"),
    )
}  # fmt: skip

NAMES = sorted(EXPERIMENTS)
CASES = [(name, quantity) for name in sorted(SUITES) for quantity in SUITES[name].quantities]


@cache
def clean(name: str) -> tuple[Outcome, ...]:
    return tuple(SUITES[name].clean(6_000_000 + number) for number in range(CLEAN))


@cache
def elsewhere(name: str) -> tuple[Outcome, ...]:
    return tuple(SUITES[name].elsewhere(7_000_000 + number) for number in range(PLAIN))


def test_every_experiment_has_its_suite() -> None:
    assert sorted(SUITES) == NAMES


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_no_clean_bench_fails(name: str) -> None:
    assert [(each.seed, each.failure) for each in clean(name) if each.failure] == []
    assert [each.seed for each in clean(name) if not each.pulls] == []


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_intervals_cover_the_truth_over_all_quantities(name: str) -> None:
    shares = [float(np.mean(list(each.covered.values()))) for each in clean(name)]
    low, high = shared_coverage_limits(len(shares), risk=RISK)
    assert low <= float(np.mean(shares)) <= high


@pytest.mark.slow
@pytest.mark.parametrize(("name", "quantity"), CASES)
def test_intervals_cover_the_truth(name: str, quantity: str) -> None:
    outcomes = [each for each in clean(name) if quantity in each.covered]
    assert len(outcomes) >= CLEAN // 3
    covered = sum(each.covered[quantity] for each in outcomes)
    low, high = coverage_limits(len(outcomes), risk=RISK)
    assert low <= covered <= high


@pytest.mark.slow
@pytest.mark.parametrize(("name", "quantity"), CASES)
def test_pulls_are_those_of_the_stated_uncertainty(name: str, quantity: str) -> None:
    """A bias up to 0.35 u and a scatter up to 1.1 u keep a 95 % interval within 92 to 98 %; beyond that, chance."""
    found = score(clean(name), quantity)
    assert abs(found.pull_mean) <= 0.35 + 1.1 * float(norm.isf(RISK)) / math.sqrt(found.n)
    assert found.pull_sd <= 1.1 * math.sqrt(float(chi2.isf(RISK, found.n - 1)) / (found.n - 1))


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_the_release_energy_is_near_its_bound(name: str) -> None:
    """An error that is normal and 1.5 bounds wide in rms, the goal, exceeds this limit with the probability RISK."""
    errors = [each["known_level"] for outcome in clean(name) for each in outcome.extra["energy"]]
    limit = 1.5 * math.sqrt(float(chi2.isf(RISK, len(errors))) / len(errors))
    assert math.sqrt(float(np.mean(np.square(errors)))) <= limit


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_clean_benches_raise_no_alarm(name: str) -> None:
    alarmed = [(each.seed, each.alarms) for each in clean(name) if each.alarms]
    assert len(alarmed) <= false_alarm_limit(CLEAN, rate=0.02, risk=RISK), alarmed


@pytest.mark.slow
@pytest.mark.parametrize(("name", "code"), [(name, code) for name in sorted(SUITES) for code in SUITES[name].codes])
def test_faults_are_found(name: str, code: str) -> None:
    """Where 95 % are found, fewer than this limit of FAULTY benches are found with a probability below FAULT_RISK."""
    assert code in {each.code for each in EXPERIMENTS[name].codes}
    outcomes = [SUITES[name].fault(8_000_000 + number, code=code) for number in range(FAULTY)]
    assert [(each.seed, each.failure) for each in outcomes if each.failure] == []
    missed = [(each.seed, each.alarms) for each in outcomes if code not in {found for found, _ in each.findings}]
    assert FAULTY - len(missed) >= int(binom.ppf(FAULT_RISK, FAULTY, 0.95)), missed


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_another_simulator_agrees(name: str) -> None:
    """Its stops of the kinds that the method knows: all quantities; of others: those that need no release level."""
    suite, outcomes = SUITES[name], elsewhere(name)
    assert [(each.seed, each.failure) for each in outcomes if each.failure] == []
    shares = []
    for each in outcomes:
        names = set(each.covered) if each.region["stop"] in suite.known_stops else set(each.covered) & set(suite.levels_free)
        shares.append(float(np.mean([each.covered[quantity] for quantity in names])))
    assert float(np.mean(shares)) >= shared_coverage_limits(len(shares), risk=RISK)[0]
    alarmed = [(each.seed, each.alarms) for each in outcomes if each.alarms]
    assert len(alarmed) <= false_alarm_limit(PLAIN, rate=0.02, risk=RISK), alarmed


@pytest.mark.parametrize("kind", KINDS)
def test_the_other_simulator_keeps_the_energy(kind: str) -> None:
    """What it calls the truth balances: kinetic and rotational energy is potential energy and rolling loss (DESIGN §4)."""
    truth = plain_bench(np.random.default_rng(11), kind=kind).truth  # type: ignore[arg-type]
    whole = truth["kinetic_energy"] + truth["rotational_energy"]
    assert truth["potential_energy"] + truth["rolling_loss"] == pytest.approx(whole, rel=1e-9)
    assert truth["release_speed"] == pytest.approx(math.sqrt(2.0 * truth["climb_acceleration"] * truth["travel"]), rel=1e-9)


def test_limits_are_those_of_the_binomial_distribution() -> None:
    """P(X < low) and P(X > high) are within the risk, and the next count inwards is not outside it."""
    low, high = coverage_limits(400, risk=1e-3)
    assert binom.cdf(low - 1, 400, 0.92) < 1e-3 <= binom.cdf(low, 400, 0.92)
    assert binom.sf(high, 400, 0.98) <= 1e-3 < binom.sf(high - 1, 400, 0.98)
    most = false_alarm_limit(100, rate=0.02, risk=1e-3)
    assert binom.sf(most, 100, 0.02) <= 1e-3 < binom.sf(most - 1, 100, 0.02)
    # Hoeffding's bound is wider than the binomial distribution of whole benches, and never by chance narrower.
    shared_low, shared_high = shared_coverage_limits(400, risk=1e-3)
    assert shared_low <= low / 400 < 0.92 and shared_high >= min(high / 400, 0.999)
