"""Why a bench needs service or an eye on it: each reason is a sentence with its numbers, a remedy and a weight."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from joulebook.engine.report import Finding
from joulebook.planning.kit_measures import ANGLE_KNOWN, Measure
from joulebook.planning.kit_statistics import Standing
from joulebook.planning.kit_table import KIT_MEASURES, KitMeasure
from joulebook.planning.kit_words import plain_value, probability_text, shown_value
from joulebook.render.numbers import number

__all__ = [
    "ALONE",
    "OF_THE_STOP",
    "Reason",
    "bounds_reason",
    "change_reason",
    "class_reason",
    "finding_reason",
    "slope_reason",
    "speed_allowance",
]

_SPECS = {spec.name: spec for spec in KIT_MEASURES}
_SERVICE_FINDINGS = ("misfit",)
_NOT_OF_THE_KIT = ("mass-suspect", "angle-suspect", "wrong-side", "units-suspect", "velocity-only", "no-rest", "soft-stop")
"""Findings about what was written or exported, or that name a property: no reason to mend anything."""

OF_THE_STOP = ("contact_time", "restitution")
"""Measures of a rebound, which depend on the speed of the cart."""

_WORST_SCALE = 0.05
"""No ranger's scale is off by more: 10 K and humidity make 2 %, a wrong setting little more (common practice)."""

ALONE = 0.01
"""Probability below which one comparison, taken by itself, is worth an eye."""


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason. measure: its name, "" for none. basis: "bounds", "change", "class", "slope", "finding" or "error".

    sentence: what was seen, in plain words. remedy: what to do, "" where another reason says it. criterion: the numbers and the
    rule by which it counts, for a footnote, "" for none.
    weight: 3 and more asks for service, 1 and more for an eye on it, less is only told.
    """

    measure: str
    basis: str
    sentence: str
    remedy: str
    weight: float
    criterion: str = ""

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {
            "measure": self.measure,
            "basis": self.basis,
            "sentence": self.sentence,
            "remedy": self.remedy,
            "weight": self.weight,
            "criterion": self.criterion,
        }


def bounds_reason(spec: KitMeasure, measure: Measure) -> Reason | None:
    """Return the reason for a value that lies beyond what such kit does by more than its uncertainty allows, else None."""
    for bound, weight in ((spec.service, 3.0), (spec.watch, 1.0)):
        if bound is None or not _beyond(spec, measure, bound):
            continue
        side = "at least" if spec.worse == "down" else "at most"
        sentence = f"{_said(spec, measure)}; good kit has {side} {plain_value(spec, bound)}."
        criterion = f"{_upper(spec.label)} {shown_value(spec, measure)}, beyond the bound by more than its uncertainty explains."
        return Reason(spec.name, "bounds", sentence, spec.remedy, weight + min(abs(measure.value / bound), 9.0) / 10.0, criterion)
    return None


def change_reason(
    spec: KitMeasure,
    before: Measure,
    now: Measure,
    difference: float,
    probability: float,
    adjusted: float,
    *,
    family: float,
    day: datetime.date,
    impacts: tuple[float, float] | None = None,
) -> Reason | None:
    """Return the reason for a change that is unlikely by chance and large enough to matter, else None.

    difference: now less before; of a scatter their ratio. adjusted: probability among all comparisons. family: where that counts.
    impacts: speeds into the stop then and now, m/s, None when not known; what they explain of a rebound is no change.
    """
    if math.isnan(probability) or probability > ALONE:
        return None
    scatter = spec.kind == "scatter"
    if scatter:
        matters = max(difference, 1.0 / difference) > 1.0 + spec.relative
        up = difference > 1.0
    else:
        least = max(spec.relevant, spec.relative * abs(before.value))
        matters = abs(difference) > least + speed_allowance(spec, before.value, impacts)
        up = difference > 0.0
    if not matters:
        return None
    worse = spec.worse == "both" or (spec.worse == "up") == up
    verb = "rose" if up else "fell"
    certain = adjusted <= family
    sentence = (
        f"{_upper(spec.label)} {verb} from {plain_value(spec, before.value, before.u)} on {day.isoformat()} to "
        f"{plain_value(spec, now.value, now.u)}"
    )
    criterion = (
        f"{_upper(spec.label)} {shown_value(spec, before)} then, {shown_value(spec, now)} now; chance alone does that in "
        f"{probability_text(probability)} comparisons{'' if certain else ', and this check makes many'}."
    )
    if not worse:
        return Reason(spec.name, "change", f"{sentence}. That is better than it was.", "", 0.2, criterion)
    weight = 3.5 if certain else 1.2
    if spec.name in ("slope_gap", "release_speed"):
        weight = min(weight, 2.5)
    return Reason(
        spec.name, "change", f"{sentence}{'' if certain else '; that is not certain yet'}.", spec.remedy, weight, criterion
    )


def class_reason(
    spec: KitMeasure, measure: Measure, standing: Standing, z: float, *, impacts: tuple[float, float] | None = None
) -> Reason | None:
    """Return the reason for a value that stands out from the class and differs from it by enough to matter, else None.

    impacts: speeds into the stop of the class (median) and of this bench, m/s, None when not known.
    """
    if abs(z) <= standing.limit or spec.name in ("slope_gap", "scale_hint"):
        return None
    middle = math.exp(standing.median) if standing.logarithmic else standing.median
    if standing.logarithmic:
        matters = abs(math.log(measure.value / middle)) > math.log1p(spec.relative)
    else:
        least = max(spec.relevant, spec.relative * abs(middle))
        matters = abs(measure.value - middle) > least + speed_allowance(spec, middle, impacts)
    if not matters:
        return None
    worse = spec.worse == "both" or (spec.worse == "up") == (z > 0.0)
    spread = standing.u if not standing.logarithmic else 0.0
    sentence = f"{_said(spec, measure)}; the other benches {plain_value(spec, middle, spread)}"
    if impacts is not None and spec.name in OF_THE_STOP:
        sentence += f" (the cart came back at {number(impacts[1], 2)} m/s here, at {number(impacts[0], 2)} m/s there)"
    criterion = (
        f"{_upper(spec.label)} {shown_value(spec, measure)}, median of {standing.benches} benches {number(middle * spec.factor, 3)}: "
        f"z = {z:.1f}".replace("-", "−")
        + f", where {standing.benches} equal benches stay within ±{standing.limit:.1f} (ISO 13528)."
    )
    if not worse:
        return Reason(spec.name, "class", f"{sentence}. That is better than the others.", "", 0.3, criterion)
    # Another kind of stop than the others' is no fault.
    weight = 1.3 if spec.name in OF_THE_STOP else 3.2
    return Reason(spec.name, "class", f"{sentence}.", spec.remedy, weight, criterion)


def speed_allowance(spec: KitMeasure, value: float, impacts: tuple[float, float] | None) -> float:
    """Return by how much a rebound may differ from `value` because the cart comes in at another speed; 0 for other measures.

    impacts: speed of `value` and of the other, m/s. What a stop takes, 1 − e, goes with the speed (Hunt and Crossley, J. Appl.
    Mech. 42 (1975) 440: e = 1 − αv); the contact of a stop that pushes at a distance goes with 1/v, that of a spring not at all.
    """
    if impacts is None or spec.name not in OF_THE_STOP or min(impacts) <= 0.0:
        return 0.0
    ratio = impacts[1] / impacts[0]
    return max(1.0 - value, 0.0) * abs(ratio - 1.0) if spec.name == "restitution" else value * abs(1.0 / ratio - 1.0)


def slope_reason(measures: Mapping[str, Measure], missing: Mapping[str, str]) -> Reason | None:
    """Return the reason for a stated slope that the motion does not show, with what can and cannot be told apart, else None."""
    gap = measures.get("slope_gap")
    if gap is None or gap.u == 0.0:
        return None
    spec = _SPECS["slope_gap"]
    probability = math.erfc(abs(gap.value) / gap.u / math.sqrt(2.0))
    if probability > ALONE or abs(gap.value) <= spec.relevant:
        return None
    hint = measures.get("scale_hint")
    criterion = f"Difference {shown_value(spec, gap)}; {gap.note}."
    if hint is None:
        why = missing.get("scale_hint", f"the angle is not known to {100 * ANGLE_KNOWN:g} %")
        told = "Angle, wheels, gravity and the ranger's distance scale can each do that."
        criterion += f" It says nothing of the distance scale: {why}."
    else:
        criterion += f" Read as a fault of the distance scale it makes that {shown_value(_SPECS['scale_hint'], hint)}."
        if abs(hint.value - 1.0) > _WORST_SCALE:
            told = "No ranger's distance scale is off by so much: look at the angle first."
        else:
            told = "The motion alone cannot tell a wrong angle, wheels, gravity and the ranger's distance scale apart."
    sentence = f"The slopes do not agree: {gap.note}. {told}"
    return Reason("slope_gap", "slope", sentence, spec.remedy, 1.5, criterion)


def finding_reason(findings: Sequence[Finding]) -> Reason | None:
    """Return the findings of one code as a reason, told once with its first record; None where they are not about the kit."""
    finding = findings[0]
    if finding.severity == "note" or finding.code in _NOT_OF_THE_KIT:
        return None
    weight = 3.1 if finding.code in _SERVICE_FINDINGS else 2.0 if finding.severity == "stop" else 1.1
    again = f" The same in {len(findings) - 1} more." if len(findings) > 1 else ""
    criterion = f"Finding {finding.code} of the audit."
    return Reason("", "finding", f"{finding.message}{again}", finding.remedy, weight, criterion)


def _beyond(spec: KitMeasure, measure: Measure, bound: float) -> bool:
    """Whether a value lies beyond a bound by more than one chance in twenty explains."""
    if spec.kind == "scatter":
        from scipy import special

        ratio = measure.dof * (measure.value / bound) ** 2
        return measure.value > bound and float(special.chdtrc(measure.dof, ratio)) < 0.05
    past = bound - measure.value if spec.worse == "down" else measure.value - bound
    return past > 1.645 * measure.u


def _said(spec: KitMeasure, measure: Measure) -> str:
    return _upper(spec.said.format(plain_value(spec, measure.value, measure.u)))


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
