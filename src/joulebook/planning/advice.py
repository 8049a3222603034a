"""Advice: what one change would help most, what to avoid, and the path of an improving bench; all from the predictions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from joulebook.experiments.ramp_kit import AngleMethod, Kit
from joulebook.experiments.ramp_plan import Caution, Change, Forecast, SetUp, Step
from joulebook.planning.forecasts import Place, forecast_of, hides_the_square
from joulebook.planning.predict import LEAST_ON_CLIMB, OUTPUTS, SCALARS, Grid
from joulebook.planning.slips import alike, slips_at

__all__ = ["beyond_the_kit", "cautions", "changes", "path", "percent", "say_change", "slip_angles"]

_TAPE = 0.003
"""Limits of the distance scale once the ranger was compared with a tape at 0.3 m and 1.3 m, read to 2 mm (common practice, no
source)."""
_WHEELS = 0.005
"""Limits of the rotating fraction once the wheels were weighed and measured (common practice, no source)."""


def changes(kit: Kit, start: SetUp, *, tolerance: float) -> tuple[Change, ...]:
    """Return what each single change of what the kit offers would make of U, the most helpful first.

    start: the set-up from which one thing is changed: the angle method, the number of launches, or the rate.
    """
    before = forecast_of(kit, start, tolerance=tolerance)
    tried = [(f"measure the slope by {method.name} instead of {start.method.name}", replace(start, method=method))
             for method in kit.methods if method != start.method]  # fmt: skip
    tried += [(f"launch {number} times instead of {_times(start.launches)}", replace(start, launches=number))
              for number in kit.numbers if start.launches < number <= kit.most_launches]  # fmt: skip
    tried += [
        (f"sample at {rate:g}/s instead of {start.rate:g}/s", replace(start, rate=rate))
        for rate in kit.rates
        if rate > start.rate
    ]
    found = [_change(what, before, forecast_of(kit, other, tolerance=tolerance)) for what, other in tried]
    return tuple(sorted(found, key=lambda change: change.after))


def beyond_the_kit(kit: Kit, start: SetUp, *, tolerance: float) -> tuple[Change, ...]:
    """Return what measuring something else better would make of U, the most helpful first: scale, wheels, a longer base."""
    before = forecast_of(kit, start, tolerance=tolerance)
    found = []
    if kit.scale.u > 1.01 * _TAPE / math.sqrt(3.0):
        better = replace(kit, scale=replace(kit.scale, u=_TAPE / math.sqrt(3.0)))
        found.append(("check the ranger's scale against a tape, to ±0.3 %", better, start))
    if kit.rotating_fraction.u > 1.01 * _WHEELS / math.sqrt(3.0):
        better = replace(kit, rotating_fraction=replace(kit.rotating_fraction, u=_WHEELS / math.sqrt(3.0)))
        found.append(("weigh and measure the wheels, so that their share of the inertia is known to ±0.005", better, start))
    if 0.0 < start.method.over < 0.9 * kit.track_length:
        longer = replace(start.method, over=kit.track_length)
        found.append((f"take the rise over the whole track, {kit.track_length:.2f} m", kit, replace(start, method=longer)))
    elif not start.method.over and not any(method.over for method in kit.methods):
        rise = AngleMethod("height over length", over=1.0, over_u=0.001 / math.sqrt(3.0), reading_u=0.001 / math.sqrt(3.0))
        found.append(
            (f"measure height over length, with a ruler, instead of {start.method.name}", kit, replace(start, method=rise))
        )
    done = [_change(what, before, forecast_of(other, set_up, tolerance=tolerance), beyond=True) for what, other, set_up in found]
    return tuple(sorted(done, key=lambda change: change.after))


def say_change(change: Change, kit: Kit, start: SetUp) -> str:
    """Return the change as a sentence with its numbers; for another angle method also what it does to the height itself."""
    text = f"{change.what[:1].upper()}{change.what[1:]}: "
    other = next((method for method in kit.methods if f"by {method.name} instead" in change.what), None)
    if other is not None:
        angle = start.angle
        text += (
            f"{percent(start.method.relative_limits(angle))} on the height becomes {percent(other.relative_limits(angle))}, and "
        )
    shown = f"from {percent(change.before)} to {percent(change.after)} of the energy"
    return f"{text}the smallest loss that a bench could show goes {shown}."


def cautions(grid: Grid, place: Place) -> tuple[Caution, ...]:
    """Return what to avoid with this kit. place: the recommended set-up, whose mass, rate, method and launches are kept."""
    i, method, n = place
    kit = grid.kit
    found: list[Caution] = []
    same = (grid.mass == grid.mass[i]) & (grid.rate == grid.rate[i])
    found += _too_far(grid, same)
    flat = sorted({float(angle) for angle in grid.angle[~grid.comes_back]})
    if flat:
        listed = _listed([f"{angle:g}°" for angle in flat])
        found.append(Caution("too-flat", f"Slopes of {listed}: so flat that friction may keep the cart from coming back down."))
    few = sorted({float(rate) for rate in grid.rate[grid.fits & ~grid.enough]})
    if few:
        short = grid.fits & ~grid.enough
        worst = int(np.flatnonzero(short)[np.argmin(grid.on_climb[short])])
        found.append(Caution("few-samples", (
            f"Too few samples: at {_listed([f'{rate:g}' for rate in few])} samples a second some launches leave too "
            f"little to fit; "
            f"{grid.speed[worst]:.2g} m/s at {grid.angle[worst]:g}° would leave {grid.on_climb[worst]:.0f} samples on the climb "
            f"(at least {LEAST_ON_CLIMB:.0f} are wanted)."
        )))  # fmt: skip
    hidden = sorted({round(float(speed), 3) for speed in grid.speed[hides_the_square(grid) & same]})
    if hidden:
        shown = f"{hidden[0]:.2f} m/s" if len(hidden) == 1 else f"{hidden[0]:.2f} to {hidden[-1]:.2f} m/s"
        found.append(Caution("hidden-square", (
            f"Launches at {shown}: near 1 m/s the speed and its square are the same number, so a forgotten square goes unseen."
        )))  # fmt: skip
    found += _say_alike(slip_angles(grid))
    for place_of, each in enumerate(kit.methods):
        unsure = float(grid.mechanical[3, i, place_of, n])
        if unsure > 0.5 and place_of != method:
            found.append(Caution("undecided", (
                f"{each.name[:1].upper()}{each.name[1:]} at {grid.angle[i]:g}°: it leaves "
                f"±{percent(each.relative_limits(float(grid.angle[i])))} on the "
                f"height, and {percent(unsure)} of such benches could only answer “cannot tell”."
            )))  # fmt: skip
    late = [number for number in kit.numbers if number > kit.most_launches]
    if late:
        found.append(Caution("time", (
            f"{_listed([str(number) for number in late])} launches a bench: a lesson of {kit.period:g} min leaves time "
            f"for {kit.most_launches}, "
            f"at {kit.launch_time:g} min each."
        )))  # fmt: skip
    return tuple(found)


def slip_angles(grid: Grid) -> list[tuple[str, str, float, bool]]:
    """Return (slip, other slip, angle, same sign) of what cannot be told apart by its number, among the kit's angles."""
    found = []
    for angle in grid.kit.angles:
        row = int(np.flatnonzero(grid.angle == angle)[0])
        expected = grid.expected
        slips = slips_at(
            angle=angle, speed=float(grid.speed[row]), climb=float(expected.climb[row]), descent=float(expected.descent[row]),
            gravity=grid.kit.gravity.value,
        )  # fmt: skip
        pairs = alike([slip for slip in slips if slip.quantity == "potential"], angle=angle)
        found += [(pair.first.name, pair.second.name, angle, pair.same_sign) for pair in pairs]
    return found


def path(grid: Grid, place: Place) -> tuple[Step, ...]:
    """Return the path of an improving bench at the recommended slope and launch, from one reading by eye to all that the kit
    can do.

    A speed that is read off two neighbours of the release has u = σ/(√2·Δt), the central difference; a fit uses every sample.
    The roughest angle method comes first, then the recommended one.
    """
    i, method, n = place
    kit = grid.kit
    row = OUTPUTS.index("relative_difference")
    loss = float(grid.loss[i])
    noise, speed = kit.reading_noise, float(grid.speed[i])
    by_eye = math.hypot(
        2.0 * noise * float(grid.rate[i]) / math.sqrt(2.0) / speed, math.sqrt(2.0) * noise / float(grid.expected.travel[i])
    )
    slope = len(SCALARS) - 1
    parts = grid.parts[row, :, i]
    others = float(np.sqrt((parts[:slope] ** 2).sum()))
    angle = float(grid.angle[i])
    first = max(kit.methods, key=lambda each: each.standard_uncertainty(angle))
    best = kit.methods[method]

    def u_of(way: AngleMethod, reading: float) -> float:
        return math.sqrt(others**2 + (float(parts[slope]) * way.standard_uncertainty(angle)) ** 2 + reading**2)

    fit = float(parts[-1])
    many = max([number for number in kit.numbers if number <= kit.most_launches] or [kit.numbers[n]])
    steps = [(f"{first.name}, speed read off two samples", u_of(first, (1.0 - loss) * by_eye))]
    if best != first:
        steps.append((f"{best.name}, speed read off two samples", u_of(best, (1.0 - loss) * by_eye)))
    steps.append((f"{best.name}, speed fitted to the whole flight", u_of(best, fit)))
    if many > 1:
        steps.append((f"the same, {many} launches", u_of(best, fit / math.sqrt(many))))
    return tuple(Step(what, u, loss / u) for what, u in steps)


def percent(value: float) -> str:
    """Return a fraction in per cent with two digits, one from 10 % on."""
    shown = 100.0 * value
    return f"{shown:.0f} %" if abs(shown) >= 9.95 else f"{shown:.1f} %"


def _change(what: str, before: Forecast, after: Forecast, *, beyond: bool = False) -> Change:
    return Change(what, before.resolution, after.resolution, before.ratio, after.ratio, beyond)


def _too_far(grid: Grid, same: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> list[Caution]:
    """Say at which slopes which launches run out of track or into the blind zone."""
    kit = grid.kit
    first: dict[str, list[str]] = {}
    for angle in kit.angles:
        rows = np.flatnonzero(same & (grid.angle == angle) & ~grid.fits)
        if rows.size:
            row = int(rows[np.argmin(grid.speed[rows])])
            launch = (
                f"a stroke of {100.0 * kit.strokes[grid.launch[row]]:.1f} cm" if kit.strokes else f"{grid.speed[row]:.2g} m/s"
            )
            first.setdefault(launch, []).append(f"{angle:g}°")
    if not first:
        return []
    where = "into the ranger's blind zone" if kit.placed == "top" else "off the end of the track"
    listed = "; ".join(f"from {launch} at {_listed(angles)}" for launch, angles in first.items())
    return [
        Caution("blind-zone" if kit.placed == "top" else "track-end", f"The cart runs {where}, or within 5 cm of it: {listed}.")
    ]


def _say_alike(pairs: Sequence[tuple[str, str, float, bool]]) -> list[Caution]:
    """Say at which slopes two slips give the same number, each pair of slips once."""
    slopes: dict[tuple[str, str, bool], list[str]] = {}
    for first, second, angle, same_sign in pairs:
        slopes.setdefault((first, second, same_sign), []).append(f"{angle:g}°")
    found = []
    for (first, second, same_sign), angles in slopes.items():
        sign = "" if same_sign else " but for the sign"
        many = "s" if len(angles) > 1 else ""
        found.append(Caution("slips-alike", (
            f"Slope{many} of {_listed(angles)}: “{first}” and “{second}” give the same wrong number{sign}, so that a "
            f"slip could not be named."
        )))  # fmt: skip
    return found


def _times(number: int) -> str:
    return "once" if number == 1 else f"{number} times"


def _listed(items: Sequence[str]) -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"
