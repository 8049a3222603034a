"""What a hand does to the cart: places it, pushes it, catches it, lifts it.

A hand's motion is prescribed, not integrated from forces.
"""

from __future__ import annotations

import numpy as np

from joulebook.planning.motion import Event, Motion, hold, join, through

__all__ = ["caught", "lifted", "placed", "pushed"]


def placed(s: float, *, rng: np.random.Generator, origin: float | None = None) -> Motion:
    """Return a hand that brings the cart to s (m) and presses it there, from time 0: jerky, about a second or two.

    origin: where the cart comes from, m; None: somewhere 0.1–0.4 m up the slope.
    """
    begin = s + float(rng.uniform(0.1, 0.4)) if origin is None else origin
    steps = int(rng.integers(5, 9))
    time = np.concatenate([[0.0], np.cumsum(rng.uniform(0.12, 0.30, size=steps))])
    share = np.linspace(0.0, 1.0, steps + 1)
    share[1:-1] += rng.normal(0.0, 0.08, size=steps - 1)
    places = begin + (s - begin) * np.clip(share, 0.0, 1.0)
    return through(time, places)


def pushed(s: float, *, start: float, speed: float, rng: np.random.Generator) -> Motion:
    """Return a hand that pushes the cart from standing at s (m) to this speed (m/s): 0.25–0.5 s long and ragged.

    The motion ends beyond s = 0 with a "release" event.
    """
    length = float(rng.uniform(0.25, 0.5))
    reached = speed * float(rng.uniform(0.85, 1.15))
    parts = 6
    time = start + np.linspace(0.0, length, parts)
    speeds = reached * np.linspace(0.0, 1.0, parts)
    speeds[1:-1] = np.maximum(speeds[1:-1] + rng.normal(0.0, 0.10 * reached, size=parts - 2), 0.02)
    path = np.concatenate([[0.0], np.cumsum(0.5 * (speeds[1:] + speeds[:-1]) * np.diff(time))])
    # The hand must not let go while the plunger could still push: the path is laid so that it ends past the free length.
    scale = max(1.0, (0.01 - s) / path[-1])
    motion = through(start + (time - start) * scale, s + path * scale, v_end=reached)
    last = Event("release", motion.end, float(motion.s[-1]), reached)
    return Motion(motion.time, motion.s, motion.v, motion.a_start, motion.a_end, (last,))


def caught(motion: Motion, *, at: float, rng: np.random.Generator) -> Motion:
    """Return the motion up to `at` (s), where a hand stops the cart within about a tenth of a second and holds it."""
    before = motion.until(at)
    s, v = float(before.s[-1]), float(before.v[-1])
    brake = float(rng.uniform(0.06, 0.15))
    stop = through([at, at + 0.5 * brake, at + brake], [s, s + 0.375 * v * brake, s + 0.5 * v * brake], v_start=v)
    end = float(stop.s[-1])
    shake = end + np.concatenate([[0.0], rng.normal(0.0, 0.003, size=4)])
    held = through(stop.end + 0.15 * np.arange(5), shake)
    marked = Motion(stop.time, stop.s, stop.v, stop.a_start, stop.a_end, (Event("hand", at, s, v),))
    return join([before, marked, held])


def lifted(motion: Motion, *, at: float, rng: np.random.Generator) -> Motion:
    """Return the motion up to `at` (s), where a hand catches the cart and then moves it 0.1–0.3 m about, jerkily."""
    if at > motion.end:
        motion = join([motion, hold(float(motion.s[-1]), motion.end, at)])
    held = caught(motion, at=at, rng=rng)
    s = float(held.s[-1])
    places = s + np.concatenate([[0.0], np.abs(rng.normal(0.12, 0.06, size=5)) * np.linspace(0.3, 1.0, 5)])
    away = through(held.end + 0.2 * np.arange(6), places)
    return join([held, away])
