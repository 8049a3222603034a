"""Benches with one fault each, of a size that a teacher meets: what every finding must be able to find.

A fault turns a clean design into one that shows it. `FAULTS` holds one for each finding code; `MODEL_FAULTS` holds faults of the
model itself, which a fit does not know and which its uncertainty has to cover or its misfit test to show.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Literal

import numpy as np

from joulebook.planning.design import Design, random_design
from joulebook.planning.ranger import Ranger
from joulebook.planning.simulate import SimulatedBench, simulate_bench
from joulebook.planning.statements import Statement
from joulebook.planning.stops import SpringStop

__all__ = ["FAULTS", "MODEL_FAULTS", "FaultMaker", "faulty_bench"]

FaultMaker = Callable[[Design, np.random.Generator], Design]


def faulty_bench(code: str, rng: np.random.Generator, *, design: Design | None = None) -> SimulatedBench:
    """Return a simulated bench with the fault of this code, from FAULTS or MODEL_FAULTS.

    design: a clean design to start from, None for a random one. Raises KeyError for an unknown code.
    """
    maker = FAULTS[code] if code in FAULTS else MODEL_FAULTS[code]
    clean = random_design(rng) if design is None else design
    return simulate_bench(maker(clean, rng), rng)


def _climb_time(design: Design) -> float:
    """About how long the cart climbs, s."""
    setup = design.setup
    angle = math.radians(setup.angle)
    pull = setup.gravity * (math.sin(angle) + setup.rolling_resistance * math.cos(angle)) / (1.0 + setup.rotating_fraction)
    return design.speed / pull


def _travel(design: Design) -> float:
    """About how far the cart climbs, m."""
    return 0.5 * design.speed * _climb_time(design)


def _flight_time(design: Design) -> float:
    """About how long the first free flight lasts, s."""
    return 2.05 * _climb_time(design)


def _settled(design: Design) -> Design:
    """The design with records that run until the cart has settled, or nearly, without a hand."""
    return replace(design, hops=None, hand_last=False, longest=25.0)


def _no_launch(design: Design, rng: np.random.Generator) -> Design:
    """The recording was started, but the cart was not launched: it stands on its cocked plunger for 3.5–4.5 s."""
    return replace(design, missing_launch=True, hand_last=False)


def _cut_short(design: Design, rng: np.random.Generator) -> Design:
    """The record starts when 30–70 % of the climb is over, or ends when 30–70 % of it is done."""
    at = float(rng.uniform(0.3, 0.7)) * _climb_time(design)
    if rng.uniform() < 0.5:
        return replace(design, skip=at, hand_first=False, hand_last=False)
    return replace(design, stop_after=at, hand_last=False)


def _too_close(design: Design, rng: np.random.Generator) -> Design:
    """The cart comes 3–10 cm (or a third of its travel) into the ranger's blind zone: at the top of its climb, or at the stop.

    There the ranger reads its minimum range, or what stands behind the cart.
    """
    ranger = design.ranger
    depth = min(float(rng.uniform(0.03, 0.10)), _travel(design) / 3.0)
    zero = ranger.min_range - depth + (_travel(design) if ranger.placed == "top" else 0.0)
    blind: Literal["floor", "background"] = "floor" if rng.uniform() < 0.5 else "background"
    return replace(design, ranger=replace(ranger, zero=zero, blind=blind))


def _too_far(design: Design, rng: np.random.Generator) -> Design:
    """A short-range sensor, whose stated range ends where a quarter to a half of the travel is still to come or already over.

    Beyond it there are blank cells, or an echo that wanders by 5 cm.
    """
    ranger = design.ranger
    share = float(rng.uniform(0.25, 0.5)) * _travel(design)
    far_end = ranger.zero + (_travel(design) if ranger.placed == "bottom" else 0.0)
    reach = math.floor((far_end - share) * 100.0) / 100.0
    beyond: Literal["blank", "wander"] = "blank" if rng.uniform() < 0.5 else "wander"
    return replace(design, ranger=replace(ranger, max_range=reach, beyond=beyond), stated_max_range=reach)


def _too_slow(design: Design, rng: np.random.Generator) -> Design:
    """A logger left at a rate of 2.5–4 samples to the whole first flight."""
    rate = float(rng.uniform(2.5, 4.0)) / _flight_time(design)
    return replace(design, ranger=replace(design.ranger, rate=round(rate, 2)), hand_last=False)


def _lost_echo(design: Design, rng: np.random.Generator) -> Design:
    """Blank cells: over 40–60 % of the first flight at a stretch, or for 30–50 % of all samples at random."""
    ranger = design.ranger
    if rng.uniform() < 0.5:
        flight = _flight_time(design)
        length = float(rng.uniform(0.4, 0.6))
        begin = float(rng.uniform(0.15, 0.9 - length))
        return replace(design, ranger=replace(ranger, lost=(begin * flight, (begin + length) * flight)))
    return replace(design, ranger=replace(ranger, blank_rate=float(rng.uniform(0.3, 0.5))))


def _ghost_echo(design: Design, rng: np.random.Generator) -> Design:
    """False echoes: about one to two samples in ten read near 3 m, or 3 mm too far (a neighbouring cycle) more often.

    Half of the benches have the far echoes alone, a quarter with cycle slips, and a quarter has echoes of a neighbouring ranger
    inside the track's own range instead.
    """
    kind = int(rng.integers(4))
    far = float(rng.uniform(0.07, 0.14))
    ranger = replace(design.ranger, far_rate=far, far_distance=float(rng.uniform(2.6, 3.2)))
    if kind == 0:
        ranger = replace(ranger, slip_rate=float(rng.uniform(0.03, 0.06)))
    elif kind == 1:
        inside = 0.5 * ranger.zero if ranger.placed == "top" else ranger.zero + 0.8 * _travel(design)
        ranger = replace(ranger, far_distance=inside)
    return replace(design, ranger=ranger)


def _stuck_echo(design: Design, rng: np.random.Generator) -> Design:
    """From the middle of the first flight on, for five samples or more, a fixed object at a plausible distance is seen."""
    ranger = design.ranger
    flight = _flight_time(design)
    begin = float(rng.uniform(0.25, 0.6)) * flight
    length = max(float(rng.uniform(0.4, 1.0)) * flight, 6.0 / ranger.rate)
    sense = 1.0 if ranger.placed == "bottom" else -1.0
    seen = ranger.zero + sense * float(rng.uniform(0.2, 0.9)) * _travel(design) + float(rng.uniform(0.005, 0.02))
    return replace(design, ranger=replace(ranger, stuck=(begin, begin + length), stuck_at=round(seen, 3)))


def _clock(design: Design, rng: np.random.Generator) -> Design:
    """The time column jumps by 0.5–2 s in the middle, is a hundredth of the true time, or repeats stamps."""
    kinds: tuple[Literal["jump", "hundredth", "duplicates"], ...] = ("jump", "hundredth", "duplicates")
    fault = kinds[int(rng.integers(3))]
    return replace(design, ranger=replace(design.ranger, clock_fault=fault, time_decimals=5 if fault == "hundredth" else 4))


def _no_rest(design: Design, rng: np.random.Generator) -> Design:
    """No rest record was taken."""
    return replace(design, rest_seconds=0.0)


def _rest_mismatch(design: Design, rng: np.random.Generator) -> Design:
    """The stop or the ranger was moved by 1–4 cm between rest record and launches; the cart is recorded until it settles."""
    shift = float(rng.uniform(0.01, 0.04)) * float(rng.choice([-1.0, 1.0]))
    return replace(_settled(design), rest_shift=shift)


def _rest_cocked(design: Design, rng: np.random.Generator) -> Design:
    """The rest record was taken with the plunger cocked instead of out; the cart is recorded until it settles."""
    return replace(_settled(design), rest_cocked=True)


def _wrong_side(design: Design, rng: np.random.Generator) -> Design:
    """The bench file says the other end of the track for the ranger."""
    return replace(design, stated_placed="bottom" if design.ranger.placed == "top" else "top")


def _with_angle(design: Design, value: float, width: float) -> Design:
    others = tuple(statement for statement in design.statements if not statement.name.startswith("track."))
    return replace(design, statements=(Statement("track.angle", value, width, "limits", 2), *others))


def _angle_mismatch(design: Design, rng: np.random.Generator) -> Design:
    """The stated angle is wrong by 2–4°, with limits of ±0.25° to ±0.5°."""
    off = float(rng.uniform(2.0, 4.0)) * (1.0 if design.setup.angle < 6.0 else float(rng.choice([-1.0, 1.0])))
    return _with_angle(design, round(design.setup.angle + off, 1), float(rng.choice([0.25, 0.5])))


def _angle_suspect(design: Design, rng: np.random.Generator) -> Design:
    """The angle was taken from the vertical (80.2 for 9.8), or typed in radians as if they were degrees (0.17 for 9.8)."""
    angle = design.setup.angle
    if rng.uniform() < 0.5:
        return _with_angle(design, round(90.0 - angle, 1), 0.5)
    return _with_angle(design, round(math.radians(angle), 2), 0.01)


def _mass_suspect(design: Design, rng: np.random.Generator) -> Design:
    """The mass was typed in grams as if they were kilograms."""
    statements = tuple(
        replace(each, value=each.value * 1000.0, width=each.width * 1000.0, decimals=1) if each.name == "cart.mass" else each
        for each in design.statements
    )
    return replace(design, statements=statements)


def _units_suspect(design: Design, rng: np.random.Generator) -> Design:
    """All distances of the records are in another unit than was said: wrong by a factor of 10 or 100, either way."""
    return replace(design, distance_factor=float(rng.choice([100.0, 100.0, 10.0, 0.1, 0.01])))


def _pushed_by_hand(design: Design, rng: np.random.Generator) -> Design:
    """The cart was pushed by hand instead of by its plunger: 0.25–0.5 s long and ragged, the speed 15 % uncertain."""
    return replace(design, push="hand", repeat=0.1)


def _caught_early(design: Design, rng: np.random.Generator) -> Design:
    """A hand caught the cart after 35–90 % of its first flight."""
    return replace(design, caught_at=float(rng.uniform(0.35, 0.9)) * _flight_time(design), hand_last=False)


def _second_launch(design: Design, rng: np.random.Generator) -> Design:
    """The cart was caught after its first bounce, put back on the cocked plunger and launched again in the same record."""
    after = float(rng.uniform(1.3, 1.8)) * _flight_time(design)
    return replace(_settled(design), again_after=after)


def _soft_stop(design: Design, rng: np.random.Generator) -> Design:
    """The cart meets a soft buffer, such as foam, into which it sinks by 2–5 cm at rest; its plunger launches it as before."""
    setup = design.setup
    depth = float(rng.uniform(0.02, 0.05))
    soft = SpringStop.hysteretic(stiffness=design.load / depth, speed=design.speed, restitution=float(rng.uniform(0.6, 0.85)))
    contact = float(rng.uniform(0.10, 0.16))
    plunger = SpringStop(setup.inertia * (math.pi / contact) ** 2)
    changed = replace(design, setup=replace(setup, stop=soft, plunger=plunger), stop_kind="spring")
    # A soft buffer lets the cart come deeper than the cocked plunger: keep it out of the blind zone at the bottom.
    deepest = soft.stroke(speed=design.speed * 1.07, inertia=setup.inertia, load=design.load)
    ranger = design.ranger
    if ranger.placed == "bottom" and ranger.zero - deepest < ranger.min_range + 0.02:
        changed = replace(changed, ranger=replace(ranger, zero=ranger.min_range + 0.03 + deepest))
    return replace(changed, hops=max(design.hops or 3, 3))


def _misfit(design: Design, rng: np.random.Generator) -> Design:
    """A long climb on a track that is not straight, or close past a sensor well beside the track, with a quiet ranger at 50/s.

    The sag is 0.9 to 1.3 % of the length of the track; the sensor stands 10–13 cm off the axis, and the cart comes as near as its
    blind zone allows. Both bend the curve by more than the noise of 0.2–0.4 mm.
    """
    for _ in range(1000):
        if _travel(design) >= 0.6 and _flight_time(design) >= 1.2 and design.stop_kind != "magnetic":
            break
        design = random_design(rng, placed=design.ranger.placed)
    ranger = replace(
        design.ranger, rate=50.0, noise=float(rng.uniform(0.0002, 0.0004)), drift_noise=0.0, moving_noise=0.0, decimals=4,
        printed_step=0.0,
    )
    if rng.uniform() < 0.5:
        sag = float(rng.uniform(0.009, 0.013)) * design.setup.track_length
        return replace(design, setup=replace(design.setup, sag=sag), ranger=ranger)
    beside = float(rng.uniform(0.10, 0.13))
    near = math.sqrt(max((ranger.min_range + 0.02) ** 2 - beside**2, 0.05**2))
    zero = near + (1.06 * _travel(design) if ranger.placed == "top" else design.stroke(1.07 * design.speed))
    return replace(design, ranger=replace(ranger, off_axis=beside, zero=zero))


def _velocity_only(design: Design, rng: np.random.Generator) -> Design:
    """The files hold time and velocity, and no distance."""
    return replace(design, velocity_only=True)


FAULTS: Mapping[str, FaultMaker] = MappingProxyType(
    {
        "no-launch": _no_launch,
        "cut-short": _cut_short,
        "too-close": _too_close,
        "too-far": _too_far,
        "too-slow": _too_slow,
        "lost-echo": _lost_echo,
        "ghost-echo": _ghost_echo,
        "stuck-echo": _stuck_echo,
        "clock": _clock,
        "no-rest": _no_rest,
        "rest-mismatch": _rest_mismatch,
        "rest-cocked": _rest_cocked,
        "wrong-side": _wrong_side,
        "angle-mismatch": _angle_mismatch,
        "angle-suspect": _angle_suspect,
        "mass-suspect": _mass_suspect,
        "units-suspect": _units_suspect,
        "pushed-by-hand": _pushed_by_hand,
        "caught": _caught_early,
        "second-launch": _second_launch,
        "soft-stop": _soft_stop,
        "misfit": _misfit,
        "velocity-only": _velocity_only,
    }
)
"""One maker for each finding code of the ramp launch."""


def _changed_ranger(**changes: float) -> FaultMaker:
    def maker(design: Design, rng: np.random.Generator) -> Design:
        ranger: Ranger = replace(design.ranger, **changes)  # type: ignore[arg-type]
        return replace(design, ranger=ranger)

    return maker


def _changed_setup(**changes: float) -> FaultMaker:
    def maker(design: Design, rng: np.random.Generator) -> Design:
        return replace(design, setup=replace(design.setup, **changes))  # type: ignore[arg-type]

    return maker





MODEL_FAULTS: Mapping[str, FaultMaker] = MappingProxyType(
    {
        "sagging-track": _changed_setup(sag=0.002),
        "tilted-sensor": _changed_ranger(tilt=10.0),
        "off-axis-sensor": _changed_ranger(off_axis=0.05),
        "creeping-clamp": _changed_setup(creep=0.02),
        "resistance-with-speed": _changed_setup(resistance_per_speed=0.003),
        "resistance-with-time": _changed_setup(resistance_drift=0.0005),
        "wrong-drag": _changed_setup(drag_area=0.015),
    }
)
"""Faults that the model of a fit does not know: a track that sags 2 mm, a ranger tilted by 10° or 5 cm off the axis, a slope that
drifts by 0.02°/s, rolling resistance that grows by 0.003 per m/s or 0.0005 per second, a drag area five times the default."""
