"""Plan: from a kit to a recommended set-up with its reasons, what to avoid, and a set-up for each bench."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from joulebook.errors import AnalysisError, InputError
from joulebook.experiments.ramp_kit import Kit
from joulebook.experiments.ramp_plan import Forecast, Plan, Region
from joulebook.planning.advice import beyond_the_kit, cautions, changes, path, percent, say_change, slip_angles
from joulebook.planning.assign import assign, class_result
from joulebook.planning.expected_trace import expected_trace
from joulebook.planning.forecasts import Place, best_place, forecast, forecast_of, hides_the_square, problem_of, scores
from joulebook.planning.plan_check import check_forecast
from joulebook.planning.predict import Grid, predict

__all__ = ["INFLUENCES", "make_plan"]

INFLUENCES = {
    "track.angle": "the slope",
    "track.rise": "the two height readings",
    "track.along": "the length over which the rise is taken",
    "sensor.scale": "the ranger's distance scale",
    "cart.rotating_fraction": "the wheels' share of the inertia",
    "cart.drag_area": "air drag",
    "place.gravity": "g",
    "fit of the motion": "the scatter of the readings",
    "datum.offset": "where the stop lets go",
    "datum.level": "the rest level",
}


def make_plan(kit: Kit, *, tolerance: float = 0.05, check: int = 0, seed: int = 1) -> Plan:
    """Return the plan for a kit.

    tolerance: relative U up to which "no difference seen" may be called conserved. check: number of benches to simulate and
    audit at
    the recommended set-up, 0 for none. seed: of those.
    Raises InputError for a tolerance outside (0, 1), AnalysisError where no set-up of the kit can be used, and says what fails.
    """
    if not 0.0 < tolerance < 1.0:
        raise InputError(f"a tolerance of {tolerance:g} is not between 0 and 1.", remedy='Write it like 0.05 or "5 %".')
    grid = predict(kit, tolerance=tolerance)
    score = scores(grid)
    confused = {angle for _, _, angle, _ in slip_angles(grid)}
    clear = np.array([angle not in confused for angle in grid.angle.tolist()])
    place = best_place(grid, score, allowed=clear & grid.feasible if (clear & grid.feasible).any() else None)
    if place is None:
        raise _nothing_fits(grid)
    best = forecast(grid, place)
    now = replace(best.set_up, method=kit.methods[0], launches=kit.numbers[0])
    today = forecast_of(kit, now, tolerance=tolerance)
    found = changes(kit, now, tolerance=tolerance)
    further = (*changes(kit, best.set_up, tolerance=tolerance), *beyond_the_kit(kit, best.set_up, tolerance=tolerance))
    further = tuple(sorted((each for each in further if each.after < 0.995 * each.before), key=lambda each: each.after))
    assignments = assign(kit, best.set_up, tolerance=tolerance)
    return Plan(
        title=kit.title, kit=kit, tolerance=tolerance, points=grid.size,
        usable=int(grid.feasible.sum()) * len(kit.methods) * sum(number <= kit.most_launches for number in kit.numbers),
        recommended=best, today=today, sentence=_sentence(best, kit), reasons=_reasons(grid, place, best), limit=_limit(best),
        best_change=_best_change(found, further, kit, now, best), changes=found, further=further, cautions=cautions(grid, place),
        path=path(grid, place), assignments=assignments, class_result=class_result(assignments),
        alternatives=_alternatives(grid, score, place), region=_region(grid, place), trace=expected_trace(kit, best.set_up),
        check=check_forecast(kit, best, benches=check, seed=seed) if check > 0 else None,
    )  # fmt: skip


def _sentence(best: Forecast, kit: Kit) -> str:
    chosen = best.set_up
    launch = f"{chosen.speed:.2f} m/s (plunger cocked by {100.0 * chosen.stroke:.1f} cm)"
    mass = f" with the cart of {chosen.mass:g} kg" if len(kit.masses) > 1 else ""
    times = "one launch" if chosen.launches == 1 else f"{chosen.launches} launches"
    return (
        f"Set the track to {chosen.angle:g}°, measured by {chosen.method.name}, and launch at {launch}{mass}: {times}, "
        f"{chosen.rate:g} samples a second."
    )


def _reasons(grid: Grid, place: Place, best: Forecast) -> tuple[str, ...]:
    i = place[0]
    odds = best.mechanical
    climb = f"The cart climbs {100.0 * best.travel:.0f} cm in {best.time_up:.2f} s, {best.on_climb:.0f} samples"
    near = f", and comes no nearer to the ranger than {100.0 * best.nearest:.0f} cm" if grid.kit.placed == "top" else ""
    reasons = [
        f"The expected loss is {percent(best.loss)} of the energy, and this bench could show {percent(best.resolution)}. Of such "
        f"benches {_share(odds['loss'])} will see the loss, {_share(odds['conserved'])} will find energy conserved within "
        f"{100.0 * grid.tolerance:g} %, {_share(odds['undecided'])} cannot tell.",
        f"Rolling resistance and drag should account for the loss on {_share(best.account['closed'])} of the benches.",
        f"{climb}{near}; a strong launch still leaves {100.0 * best.room:.0f} cm of room.",
    ]
    confused = {angle for _, _, angle, _ in slip_angles(grid)}
    if not hides_the_square(grid)[i]:
        reasons.append("The launch is far enough from 1 m/s for a forgotten square to show.")
    if best.set_up.angle not in confused:
        reasons.append("At this slope no two of the usual slips on the height give the same wrong number.")
    return tuple(reasons)


def _share(probability: float) -> str:
    return "hardly any" if probability < 0.005 else "nearly all" if probability > 0.995 else f"{100.0 * probability:.0f} %"


def _limit(best: Forecast) -> str:
    line = best.budget[0]
    name = INFLUENCES.get(line.input, line.input)
    second = best.budget[1] if len(best.budget) > 1 else None
    then = f", then {INFLUENCES.get(second.input, second.input)} with {_share(second.share)}" if second else ""
    return f"What limits it is {name}: {percent(line.share)} of the variance{then}."


def _best_change(found: Sequence[object], further: Sequence[object], kit: Kit, now: object, best: Forecast) -> str:
    first = found[0] if found else None
    if first is not None and first.after < 0.9 * first.before:  # type: ignore[attr-defined]
        return say_change(first, kit, now)  # type: ignore[arg-type]
    if further:
        return say_change(further[0], kit, best.set_up)  # type: ignore[arg-type]
    return "No single change that this plan knows would make a difference."


def _alternatives(grid: Grid, score: np.ndarray[tuple[int, ...], np.dtype[np.float64]], place: Place) -> tuple[Forecast, ...]:
    """Return the best set-up of each other slope, with the recommended rate, method and number of launches."""
    i, method, n = place
    found = []
    for angle in grid.kit.angles:
        rows = np.flatnonzero((grid.angle == angle) & (grid.rate == grid.rate[i]) & (grid.mass == grid.mass[i]) & grid.feasible)
        if angle != grid.angle[i] and rows.size:
            row = int(rows[np.argmax(score[rows, method, n])])
            found.append(forecast(grid, (row, method, n)))
    return tuple(found)


def _region(grid: Grid, place: Place) -> Region:
    """Return slope against launch at the recommended mass, rate, method and number of launches."""
    i, method, n = place
    kit = grid.kit
    launches = kit.strokes or kit.speeds
    states, seen = [], []
    for angle in kit.angles:
        line, chance = [], []
        for number in range(len(launches)):
            row = int(np.flatnonzero(
                (grid.angle == angle) & (grid.launch == number) & (grid.rate == grid.rate[i]) & (grid.mass == grid.mass[i])
            )[0])  # fmt: skip
            sure = float(grid.mechanical[1, row, method, n] + grid.mechanical[2, row, method, n])
            line.append(problem_of(grid, row) or ("good" if sure >= 0.5 else "undecided"))
            chance.append(float(grid.mechanical[1, row, method, n]) if grid.feasible[row] else 0.0)
        states.append(tuple(line))
        seen.append(tuple(chance))
    return Region(
        kit.angles,
        tuple(launches),
        bool(kit.strokes),
        tuple(states),
        tuple(seen),
        (float(grid.angle[i]), float(launches[grid.launch[i]])),
    )


def _nothing_fits(grid: Grid) -> AnalysisError:
    """Say what keeps the cart from every set-up, with its number."""
    if not grid.comes_back.any():
        angle, friction = max(grid.kit.angles), grid.kit.rolling_resistance.value
        return AnalysisError(
            f"even {angle:g}° is so flat that a rolling resistance of {friction:g} may keep the cart from coming back down.",
            remedy="Give steeper slopes.", code="no-set-up",
        )  # fmt: skip
    if not grid.fits.any():
        row = int(np.argmax(grid.room))
        return AnalysisError(
            f"none of the {grid.size} set-ups of this kit fits: even {grid.speed[row]:.2g} m/s at {grid.angle[row]:g}° leaves "
            f"{100.0 * -grid.room[row]:.0f} cm too little before the track's end or the ranger's blind zone.",
            remedy="Give gentler launches, steeper slopes or a longer track.", code="no-set-up",
        )  # fmt: skip
    if not grid.feasible.any():
        fits = np.flatnonzero(grid.fits)
        row = int(fits[np.argmax(grid.on_climb[fits])])
        return AnalysisError(
            f"none of the {grid.size} set-ups of this kit gives samples enough: at best {grid.on_climb[row]:.0f} on the climb, "
            f"{grid.samples[row]:.0f} in all.",
            remedy="Give a higher sampling rate, stronger launches or gentler slopes.", code="no-set-up",
        )  # fmt: skip
    return AnalysisError(
        f"a lesson of {grid.kit.period:g} min leaves time for no launch.", remedy="Give a longer period.", code="no-set-up"
    )
