"""The measures of the kit check: what each is called, from where on a person should care, and what to do about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["KIT_MEASURES", "Kind", "KitMeasure"]

Kind = Literal["level", "scatter"]


@dataclass(frozen=True, slots=True)
class KitMeasure:
    """One measure of the kit check: what it is called, and from where on a person should care.

    label, unit, factor: how it is shown; the shown number is the stored one times factor. meaning: what it is, in a few words.
    worse: which direction is worse. watch, service: bounds in stored units beyond which the bench is named, None for no bound.
    relevant: the least change that matters, in stored units; relative: or as a fraction of the earlier value (scatter: a factor −
    1). in_class: benches of one kit should agree in it. remedy: what to do about it.
    """

    name: str
    label: str
    unit: str
    meaning: str
    remedy: str
    kind: Kind = "level"
    factor: float = 1.0
    worse: Literal["up", "down", "both"] = "up"
    watch: float | None = None
    service: float | None = None
    relevant: float = 0.0
    relative: float = 0.0
    in_class: bool = True


KIT_MEASURES: tuple[KitMeasure, ...] = (
    KitMeasure(
        "noise_still", "noise with a still target", "mm", "standard deviation of one reading of the standing cart",
        "Give the cart a flat target square to the ranger, and clear what stands beside the stop.",
        "scatter", 1000.0, watch=0.001, service=0.002, relative=0.5,
    ),
    KitMeasure(
        "noise_moving", "noise with a moving target", "mm", "standard deviation of one reading about the fitted motion",
        "Aim the ranger along the whole track, fasten the target so that it cannot wobble, and look at the wheels for play.",
        "scatter", 1000.0, watch=0.002, service=0.003, relative=0.5,
    ),
    KitMeasure(
        "rate", "sampling rate", "per second", "readings that really came, over the time in which they came",
        "Set the ranger to 20 readings per second or more; if it was set so, look at cable, battery and the logger's load.",
        worse="down", watch=18.0, relative=0.1, in_class=False,
    ),
    KitMeasure(
        "lost", "share of readings lost", "%", "share of the readings that are blank or are not the cart",
        "Aim the ranger, clear the bench beside the track, and turn neighbouring rangers the same way.",
        factor=100.0, watch=0.05, service=0.15, relevant=0.05,
    ),
    KitMeasure(
        "friction", "rolling resistance", "", "rolling resistance coefficient, from the climb against the descent",
        "Clean wheels and track, take hair and grit out of the axles, and see that no wheel rubs or hangs.",
        watch=0.010, service=0.015, relevant=0.001,
    ),
    KitMeasure(
        "slope_gap", "stated slope minus seen slope", "°", "stated slope less the slope that the motion shows",
        "Measure height over length again and clamp the raised end; if the two still differ, see what the scale hint says.",
        worse="both", relevant=0.2,
    ),
    KitMeasure(
        "scale_hint", "hint at the distance scale", "", "true distance over reading, if angle, wheels and gravity are as stated",
        "Lay a tape along the track and compare two places of the cart; note the room's temperature.",
        worse="both", relevant=0.01,
    ),
    KitMeasure(
        "repeatability", "launch repeatability", "%", "standard deviation of the release speed over its mean",
        "Look at catch and notch of the plunger, cock it always to the same notch, and release it without touching the cart.",
        "scatter", 100.0, watch=0.03, service=0.05, relative=0.5,
    ),
    KitMeasure(
        "release_speed", "release speed", "m/s", "mean release speed of the launches",
        "See that the same notch was used; a weaker launch from the same notch is a tired spring or a dry guide.",
        worse="both", relative=0.05, in_class=False,
    ),
    KitMeasure(
        "contact_time", "contact time at the stop", "ms", "time for which the stop holds the rebounding cart",
        "Look whether the stop is tight on the track and its spring or rubber whole; a stop of another kind is no fault.",
        factor=1000.0, worse="both", relative=0.15,
    ),
    KitMeasure(
        "restitution", "restitution at the stop", "", "speed after over speed before the first rebound",
        "Look whether the stop is tight on the track and its spring or rubber whole; a stop of another kind is no fault.",
        worse="both", relevant=0.05,
    ),
)  # fmt: skip
"""The measures in the order of the table. Bounds: BENCH_FACTS ranges (noise 0.25–0.9 mm still, more when moving; rolling
resistance 0.002–0.010; a plunger repeats to 1–3 %; 20 readings per second as a floor), with room; common practice, no source."""
