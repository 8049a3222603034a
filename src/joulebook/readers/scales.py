"""Units by plausibility: whether the numbers fit the unit that the heading gives, and what they fit otherwise.

A launch on a bench spans about 0.1–3 m and 2–60 s at 5–200 samples per second and stays below 5 m/s (common practice, no
source). What is plausible as it stands is never converted. A heading's unit is overruled only where the numbers make it
impossible and another unit makes everything ordinary; a unit that nobody gave is judged by a milder measure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from joulebook.readers.units import CENTIMETRE, METRE, MILLIMETRE, MILLISECOND, SECOND, Unit

__all__ = [
    "FARTHEST",
    "IMPOSSIBLE_RATE",
    "IMPOSSIBLE_SPEED",
    "NEAREST",
    "ORDINARY_RATE",
    "ORDINARY_SIZE",
    "ORDINARY_SPEED",
    "Scale",
    "choose_units",
]

Array = npt.NDArray[np.float64]

FARTHEST = 12.0
"""Metres beyond which no bench's ranger reads."""
NEAREST = 0.03
"""Metres: a record that never comes this far from its zero shows no bench."""
IMPOSSIBLE_SPEED = 30.0
"""Metres per second that no cart reaches."""
IMPOSSIBLE_RATE = 5000.0
"""Samples per second that no ranger takes: sound needs 6 ms for one metre and back."""
ORDINARY_SIZE = (0.05, 5.0)
"""Metres: where another unit must bring the 98th percentile of the distances for it to be believed."""
ORDINARY_RATE = (4.0, 250.0)
"""Samples per second that another time unit must give for it to be believed."""
ORDINARY_SPEED = 6.0
"""Metres per second that the 90th percentile of the speeds must stay below in another unit."""
_HUNDREDTH = Unit("s (printed times 100)", "time", 100.0)


@dataclass(frozen=True, slots=True)
class Scale:
    """The units that a record was read in.

    time, position: the units. notices: a sentence for each unit that was not the one given.
    time_doubt, position_doubt: that sentence, else ""; for time only where it goes against what the file says of itself.
    """

    time: Unit
    position: Unit
    notices: tuple[str, ...] = ()
    time_doubt: str = ""
    position_doubt: str = ""


@dataclass(frozen=True, slots=True)
class _Look:
    """A record's proportions: 1/s, s, m (98th percentile of |distance|), m (2nd to 98th percentile), m/s (90th percentile)."""

    rate: float
    duration: float
    size: float
    span: float
    speed: float

    def scaled(self, time: float, position: float) -> _Look:
        return _Look(
            self.rate / time, self.duration * time, self.size * position, self.span * position, self.speed * position / time
        )

    @property
    def ordinary_place(self) -> bool:
        return ORDINARY_SIZE[0] <= self.size <= ORDINARY_SIZE[1]

    @property
    def ordinary_clock(self) -> bool:
        return ORDINARY_RATE[0] <= self.rate <= ORDINARY_RATE[1] and self.duration <= 600.0


def choose_units(
    time: Array,
    position: Array,
    *,
    time_unit: Unit | None,
    position_unit: Unit | None,
    time_fixed: bool = False,
    position_fixed: bool = False,
    time_label: str = "",
    position_label: str = "",
    whole: bool = False,
) -> Scale:
    """Return the units to read a record in.

    time, position: the numbers as printed, shape (n,), NaN where missing. time_unit, position_unit: from the headings, None
    where they are silent. time_fixed, position_fixed: the user has given that unit, which is never questioned.
    time_label, position_label: the columns' names in a sentence. whole: the distances are printed as whole numbers.
    """  # fmt: skip
    claimed = (time_unit or SECOND, position_unit or METRE)
    look = _look(time, position)
    if look is None:
        return Scale(*claimed)
    here = look.scaled(claimed[0].factor, claimed[1].factor)
    far = here.size > FARTHEST
    near = here.size < NEAREST and claimed[1].factor < 1.0
    standing = here.span < 0.05 * here.size
    # Metres may be a tower's; nobody writes a way of 12 m in centimetres.
    doubted = position_unit is None or claimed[1].factor < 1.0
    odd_place = not position_fixed and (near or (far and (doubted or standing or here.speed > IMPOSSIBLE_SPEED)))
    slow = here.rate < 0.5 and here.duration > (60.0 if time_unit is None else 600.0)
    fast = here.rate >= IMPOSSIBLE_RATE or (here.rate > 500.0 and here.speed > IMPOSSIBLE_SPEED and not odd_place)
    odd_clock = not time_fixed and (slow or fast)
    notices: list[str] = []
    time_doubt = position_doubt = ""
    times = _time_choices(claimed[0], slow) if odd_clock else [claimed[0]]
    places = (
        [u for u in (METRE, CENTIMETRE, MILLIMETRE) if (u.factor > claimed[1].factor) == near and u != claimed[1]]
        if odd_place
        else []
    )
    chosen_time, chosen_place = claimed
    fits = [(t, p) for t in times for p in places or [claimed[1]] if _fits(look.scaled(t.factor, p.factor), odd_clock, odd_place)]
    if fits and (odd_clock or odd_place):
        chosen_time, chosen_place = _likeliest(fits, look, whole)
    if chosen_time is not claimed[0]:
        notices.append(_time_notice(time_label, time_unit, chosen_time, here))
        time_doubt = notices[-1] if time_unit or chosen_time is _HUNDREDTH else ""
    if chosen_place is not claimed[1]:
        low, high = float(np.nanmin(position)), float(np.nanmax(position))
        said = (
            f"the heading of {position_label} says {position_unit.symbol}"
            if position_unit
            else f"no unit is given for {position_label}"
        )
        notices.append(
            f"{said}, but its numbers ({low:g} to {high:g}) are evidently {_plural(chosen_place)}: read as "
            f"{chosen_place.symbol}; give the unit to overrule this"
        )
        position_doubt = notices[-1]
    elif far:
        notices.append(f"{position_label} reads up to {here.size:.3g} m, farther than a motion sensor on a bench sees: check its unit")
    return Scale(chosen_time, chosen_place, tuple(notices), time_doubt, position_doubt)


def _look(time: Array, position: Array) -> _Look | None:
    good = np.isfinite(time) & np.isfinite(position)
    t, x = time[good], position[good]
    if t.size < 5:
        return None
    step = t[1:] - t[:-1]
    forward = step > 0
    if not forward.any():
        return None
    speeds = np.sort(np.abs((x[1:] - x[:-1])[forward] / step[forward]))
    sizes, ordered = np.sort(np.abs(x)), np.sort(x)
    last = x.size - 1
    middle = float(np.sort(step[forward])[speeds.size // 2])
    return _Look(
        rate=1.0 / middle,
        duration=float(t.max() - t.min()),
        size=float(sizes[int(0.98 * last)]),
        span=float(ordered[int(0.98 * last)] - ordered[int(np.ceil(0.02 * last))]),
        speed=float(speeds[int(0.9 * (speeds.size - 1))]),
    )


def _time_choices(claimed: Unit, slow: bool) -> list[Unit]:
    if slow:
        return [unit for unit in (SECOND, MILLISECOND) if unit.factor < claimed.factor]
    larger = [unit for unit in (SECOND,) if unit.factor > claimed.factor]
    return larger or [_HUNDREDTH]


def _fits(look: _Look, clock: bool, place: bool) -> bool:
    return look.speed <= ORDINARY_SPEED and (look.ordinary_clock or not clock) and (look.ordinary_place or not place)


def _likeliest(fits: list[tuple[Unit, Unit]], look: _Look, whole: bool) -> tuple[Unit, Unit]:
    """Centimetres and millimetres can both fit: prefer centimetres up to 3 m and 1.6 m/s, but whole numbers at rest are mm."""
    standing = look.span < 0.05 * look.size
    for time, place in fits:
        size = look.size * place.factor
        if (
            place is CENTIMETRE
            and len(fits) > 1
            and (size > 3.0 or look.speed * place.factor / time.factor > 1.6 or (standing and whole))
        ):
            continue
        return time, place
    return fits[0]


def _time_notice(label: str, given: Unit | None, chosen: Unit, here: _Look) -> str:
    if chosen is _HUNDREDTH:
        return (
            f"{label} would mean {here.rate:.0f} samples and {here.speed:.0f} m in one second: its times are evidently "
            f"divided by 100, and were multiplied by 100; give the unit to overrule this"
        )
    said = f"the heading of {label} says {given.symbol}" if given else f"no unit is given for {label}"
    return (
        f"{said}, but {here.rate:.3g} samples per second over {here.duration:.3g} s is no launch: read as {chosen.symbol}; "
        f"give the unit to overrule this"
    )


def _plural(unit: Unit) -> str:
    return {"m": "metres", "cm": "centimetres", "mm": "millimetres"}[unit.symbol]
