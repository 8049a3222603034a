"""How noisy one sample is, seen from the samples alone: scatter, quantisation step and the floor that it sets."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from joulebook.uncertainty.robust import median

__all__ = ["FloatArray", "difference_noise", "noise_floor", "quantum", "robust_scale"]

FloatArray = npt.NDArray[np.float64]

_MAD = 1.4826022185056018  # 1/Φ⁻¹(3/4): median |x| of a standard normal, inverted
_QUARTILE = 0.31863936396437514  # Φ⁻¹(5/8): the lower quartile of |x| of a standard normal
_TRIM = 3.0
_TRIMMED = 0.9865783925581086  # sd of a standard normal cut off at ±3: √(1 − 2·3·φ(3)/(2Φ(3) − 1))
_FLOAT = 2e-7  # relative size of rounding in a 4-byte number; what differs by less is the same value
_LATTICE = 0.12  # how far from a whole number of steps a difference may lie, in steps
_DISTINCT = 10  # differences that must agree before a step is believed that the printed digits do not show


def noise_floor(sd: float, step: float) -> float:
    """Return the larger of `sd` and the standard uncertainty of a reading quantised in steps of `step`, step/√12.

    sd, step: in one unit. GUM F.2.2.1: a rectangular distribution of half-width step/2.
    """
    return max(sd, step / math.sqrt(12.0))


def robust_scale(x: npt.ArrayLike) -> float:
    """Return the median absolute deviation from the median, times 1.4826 so that it estimates the sd of normal noise.

    x: any shape; NaN is left out; NaN is returned when nothing is left. ISO 13528 calls it MADe.
    """
    values = np.asarray(x, dtype=np.float64).ravel()
    values = values[np.isfinite(values)]
    if values.size == 0:
        return math.nan
    return _MAD * median(np.abs(values - median(values)))


def quantum(values: npt.ArrayLike) -> float:
    """Return the step in which values are quantised, in their unit; 0.0 when none is to be seen.

    values: any order; NaN is left out. Two kinds of step are looked for and the larger is returned: the last printed decimal
    (values are all whole multiples of 10⁻ᵏ), and a lattice that no decimal shows, such as 0.1715 mm for 1 µs of echo time,
    which ten distinct differences must share. The rounding of 4-byte numbers is looked through. A step that a few values
    might share by chance is not believed: one distinct value gives 0.0, two count only when they are one decimal apart.
    """
    numbers = np.asarray(values, dtype=np.float64).ravel()
    numbers = numbers[np.isfinite(numbers)]
    if numbers.size < 2:
        return 0.0
    ordered = np.sort(numbers)
    slack = _FLOAT * max(abs(float(ordered[0])), abs(float(ordered[-1])))
    distinct = ordered[np.concatenate(([True], np.diff(ordered) > slack))]
    if distinct.size < 2:
        return 0.0
    decimal = _decimal_step(distinct, slack)
    differences = np.diff(distinct)
    differences.sort()
    return max(decimal, _lattice_step(differences[:400], slack))


def difference_noise(t: npt.ArrayLike, x: npt.ArrayLike, *, step: float = 0.0) -> float:
    """Return the noise sd of one sample, from how four neighbours in a row depart from a parabola.

    t: seconds, ascending, shape (n,), evenly spaced or not. x: shape (n,); NaN is left out, and four samples that straddle
    a gap are not used. step: quantisation step; the result is never below step/√12.

    Returns NaN when fewer than four samples are neighbours. The contrast of four samples that any parabola leaves at 0, scaled
    to unit length, has the noise's own sd. A bounce spoils the four or five that touch it, so the start is the lower quartile of
    |contrast| over Φ⁻¹(5/8); values beyond 3 sd are then cut off and the sd of the rest divided by that of a normal so cut, until
    it stays. Up to half of the contrasts may be spoiled. When the noise is well below the step and the target still, contrasts
    are 0 and so is the estimate, whence the floor.
    """
    times = np.asarray(t, dtype=np.float64).ravel()
    heights = np.asarray(x, dtype=np.float64).ravel()
    known = np.isfinite(times) & np.isfinite(heights)
    if not known.all():
        times, heights = times[known], heights[known]
    contrasts = _contrasts(times, heights)
    if contrasts.size == 0:
        return math.nan
    size = np.abs(contrasts)
    scale = float(np.partition(size, (size.size - 1) // 4)[(size.size - 1) // 4]) / _QUARTILE
    for _ in range(20):
        kept = size[size <= _TRIM * scale]
        if kept.size == 0:
            break
        fresh = math.sqrt(float(kept.dot(kept)) / kept.size) / _TRIMMED
        if abs(fresh - scale) <= 1e-6 * scale:
            break
        scale = fresh
    return noise_floor(scale, step)


def _contrasts(t: FloatArray, x: FloatArray) -> FloatArray:
    """Return the unit-length contrasts of every four samples in a row that annihilate a parabola (third divided differences)."""
    if t.size < 4:
        return np.empty(0)
    span = t[3:] - t[:-3]
    gap = np.diff(t)
    usable = (gap[:-2] > 0.0) & (gap[1:-1] > 0.0) & (gap[2:] > 0.0)
    if not usable.any():
        return np.empty(0)
    usable &= span <= 2.0 * median(span[usable])
    a, b, c = gap[:-2][usable], gap[1:-1][usable], gap[2:][usable]
    # Weights 1/Π(tⱼ − tₖ) of the four samples, cleared of their common denominator abc(a+b)(b+c)(a+b+c).
    w0, w1 = -b * c * (b + c), c * (a + b) * (a + b + c)
    w2, w3 = -a * (b + c) * (a + b + c), a * b * (a + b)
    # Differences from the second sample keep the rounding of a long distance out.
    base = x[1:-2]
    sums = w0 * (x[:-3] - base)[usable] + w2 * (x[2:-1] - base)[usable] + w3 * (x[3:] - base)[usable]
    return np.asarray(sums / np.sqrt(w0 * w0 + w1 * w1 + w2 * w2 + w3 * w3), dtype=np.float64)


def _decimal_step(distinct: FloatArray, slack: float) -> float:
    """Return 10⁻ᵏ, or a multiple that all values share, when they are printed with k decimals; 0.0 when with none."""
    for decimals in range(0, 8):
        unit = 10.0**-decimals
        if unit < 4.0 * slack:
            return 0.0
        counts = np.rint(distinct / unit)
        if (np.abs(distinct - counts * unit) <= slack + 1e-9 * unit).all():
            apart = np.diff(counts.astype(np.int64))
            shared = int(np.gcd.reduce(apart))
            if distinct.size == 2 and shared > 1:
                return 0.0
            return unit * (shared if apart.size >= _DISTINCT else 1)
    return 0.0


def _lattice_step(differences: FloatArray, slack: float) -> float:
    """Return the step of which the differences, in ascending order, are whole multiples; 0.0 when there is none."""
    if differences.size < _DISTINCT:
        return 0.0
    for divisor in range(1, 6):
        step = float(differences[0]) / divisor
        if step < 4.0 * slack:
            return 0.0
        step = _refined(differences, step)
        if step > 0.0:
            return step
    return 0.0


def _refined(differences: FloatArray, step: float) -> float:
    """Sharpen a guess of the step from the smallest differences upwards; return 0.0 when more than a tenth of them disagree."""
    above = below = 0.0
    strangers = 0
    for index, difference in enumerate(differences.tolist()):
        count = round(difference / step)
        if count == 0 or abs(difference / step - count) > _LATTICE:
            strangers += 1
            if strangers > 1 + 0.1 * index:
                return 0.0
            continue
        above += count * difference
        below += count * count
        step = above / below
    return step if strangers <= 0.1 * differences.size else 0.0
