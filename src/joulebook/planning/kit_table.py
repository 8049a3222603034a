"""The measures of the kit check: what each is called, from where on a person should care, and what to do about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["KIT_MEASURES", "STOP_REMEDY", "Kind", "KitMeasure"]

Kind = Literal["level", "scatter"]


@dataclass(frozen=True, slots=True)
class KitMeasure:
    """One measure of the kit check: what it is called, and from where on a person should care.

    label, unit, factor: how it is shown; the shown number is the stored one times factor. meaning: what it is, in a few words.
    said: the same as a sentence, with {} for the value.
    worse: which direction is worse. watch, service: bounds in stored units beyond which the bench is named, None for no bound.
    relevant: the least change that matters, in stored units; relative: or as a fraction of the earlier value (scatter: a factor −
    1). in_class: benches of one kit should agree in it. compared: with the last check. remedy: what to do, and at which part.
    """

    name: str
    label: str
    unit: str
    meaning: str
    said: str
    remedy: str
    kind: Kind = "level"
    factor: float = 1.0
    worse: Literal["up", "down", "both"] = "up"
    watch: float | None = None
    service: float | None = None
    relevant: float = 0.0
    relative: float = 0.0
    in_class: bool = True
    compared: bool = True


STOP_REMEDY = (
    "Try to move the stop by hand, and tighten its screw on the track; change a spring, rubber or magnet that is bent, cracked or "
    "missing. A stop of another kind than the others' is no fault."
)
"""Contact time and restitution tell of the same part."""

KIT_MEASURES: tuple[KitMeasure, ...] = (
    KitMeasure(
        "noise_still", "noise with a still target", "mm", "standard deviation of one reading of the standing cart",
        "readings of the standing cart scatter by {}",
        "Loosen the ranger's clamp screw, point the ranger along the track at the cart's flat target, and tighten it; set the "
        "target upright on its screw; clear what stands beside the stop.",
        "scatter", 1000.0, watch=0.001, service=0.002, relative=0.5,
    ),
    KitMeasure(
        "noise_moving", "noise with a moving target", "mm", "standard deviation of one reading about the fitted motion",
        "readings of the moving cart scatter by {}",
        "Tighten the screw that holds the target on the cart; rock each wheel on its axle and tighten or change the one that "
        "rocks; then aim the ranger along the whole track and tighten its clamp screw.",
        "scatter", 1000.0, watch=0.002, service=0.003, relative=0.5,
    ),
    KitMeasure(
        "rate", "sampling rate", "per second", "readings that really came, over the time in which they came",
        "only {} readings a second came",
        "Set the logger to 20 readings per second or more; if it was set so, charge or change the battery and push the ranger's "
        "plug home at both ends.",
        worse="down", watch=18.0, relative=0.1, in_class=False,
    ),
    KitMeasure(
        "lost", "share of readings lost", "%", "share of the readings that are blank or are not the cart",
        "{} of readings lost",
        "Loosen the ranger's clamp screw, aim the ranger along the middle of the track at the cart's target, and tighten it; "
        "clear the bench beside the track, and turn neighbouring rangers the same way.",
        factor=100.0, watch=0.05, service=0.15, relevant=0.05,
    ),
    KitMeasure(
        "friction", "rolling resistance", "", "rolling resistance coefficient, from the climb against the descent",
        "rolling resistance is {}",
        "Turn the cart over and spin each wheel: pull hair and grit out of the axle of the one that stops first, and reset its "
        "axle screw if it rubs or hangs; wipe wheels and track.",
        watch=0.010, service=0.015, relevant=0.001,
    ),
    KitMeasure(
        "slope_gap", "stated slope minus seen slope", "°", "stated slope less the slope that the motion shows",
        "stated and seen slope differ by {}",
        "Measure height over length again; tighten the clamp screw of the raised end and press on the track: it must not give.",
        worse="both", relevant=0.2,
    ),
    KitMeasure(
        "scale_hint", "hint at the distance scale", "", "true distance over reading, if angle, wheels and gravity are as stated",
        "true distance over reading is {}",
        "Lay a tape along the track and compare two places of the cart; note the room's temperature.",
        worse="both", relevant=0.01,
    ),
    KitMeasure(
        "repeatability", "launch repeatability", "%", "standard deviation of the release speed over its mean",
        "the release speed varies by {} from launch to launch",
        "Look at the plunger's catch and notches: tighten the catch's screw, and change a catch whose edge is worn round; wipe "
        "the plunger's rod dry; cock it always to the same notch and let go without touching the cart.",
        "scatter", 100.0, watch=0.03, service=0.05, relative=0.5,
    ),
    KitMeasure(
        "release_speed", "release speed", "m/s", "mean release speed of the launches",
        "the cart leaves at {}",
        "See that the same notch was used. If it was, wipe the plunger's rod dry, and change a spring that is shorter than that of "
        "a bench which launches well.",
        worse="both", relative=0.05, in_class=False,
    ),
    KitMeasure(
        "contact_time", "contact time at the stop", "ms", "time for which the stop holds the rebounding cart",
        "the stop holds the cart for {}",
        STOP_REMEDY, factor=1000.0, worse="both", relative=0.15,
    ),
    KitMeasure(
        "restitution", "restitution at the stop", "", "speed after over speed before the first rebound",
        "the stop gives back {} of the speed",
        STOP_REMEDY, worse="both", relevant=0.05,
    ),
    KitMeasure(
        "impact_speed", "speed into the stop", "m/s", "speed at which the cart comes back to the stop the first time",
        "the cart comes back at {}", "", worse="both", in_class=False, compared=False,
    ),
)  # fmt: skip
"""The measures in the order of the table. Bounds: BENCH_FACTS ranges (noise 0.25–0.9 mm still, more when moving; rolling
resistance 0.002–0.010; a plunger repeats to 1–3 %; 20 readings per second as a floor), with room; common practice, no source."""
