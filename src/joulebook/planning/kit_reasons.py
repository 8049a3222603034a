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
from joulebook.planning.kit_words import probability_text, shown_value

__all__ = ["ALONE", "Reason", "bounds_reason", "change_reason", "class_reason", "finding_reason", "slope_reason"]

_SPECS = {spec.name: spec for spec in KIT_MEASURES}
_SERVICE_FINDINGS = ("misfit",)
_NOT_OF_THE_KIT = ("mass-suspect", "angle-suspect", "wrong-side", "units-suspect", "velocity-only", "no-rest", "soft-stop")
"""Findings about what was written or exported, or that name a property: no reason to mend anything."""

_OF_THE_STOP = ("contact_time", "restitution")

_WORST_SCALE = 0.05
"""No ranger's scale is off by more: 10 K and humidity make 2 %, a wrong setting little more (common practice)."""

ALONE = 0.01
"""Probability below which one comparison, taken by itself, is worth an eye."""


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason. measure: its name, "" for none. basis: "bounds", "change", "class", "slope", "finding" or "error".

    sentence: what was seen, with its numbers. remedy: what to do, "" where another reason says it.
    weight: 3 and more asks for service, 1 and more for an eye on it, less is only told.
    """

    measure: str
    basis: str
    sentence: str
    remedy: str
    weight: float

    def to_dict(self) -> dict[str, object]:
        """Return the JSON object."""
        return {
            "measure": self.measure,
            "basis": self.basis,
            "sentence": self.sentence,
            "remedy": self.remedy,
            "weight": self.weight,
        }


def bounds_reason(spec: KitMeasure, measure: Measure) -> Reason | None:
    """Return the reason for a value that lies beyond what such kit does by more than its uncertainty allows, else None."""
    for bound, weight in ((spec.service, 3.0), (spec.watch, 1.0)):
        if bound is None or not _beyond(spec, measure, bound):
            continue
        side = "below" if spec.worse == "down" else "above"
        limit = _plain(spec, bound)
        sentence = f"{_upper(spec.label)} is {shown_value(spec, measure)}, {side} {limit}."
        return Reason(spec.name, "bounds", sentence, spec.remedy, weight + min(abs(measure.value / bound), 9.0) / 10.0)
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
) -> Reason | None:
    """Return the reason for a change that is unlikely by chance and large enough to matter, else None.

    difference: now less before; of a scatter their ratio. adjusted: probability among all comparisons. family: where that counts.
    """
    if math.isnan(probability) or probability > ALONE:
        return None
    scatter = spec.kind == "scatter"
    if scatter:
        matters = max(difference, 1.0 / difference) > 1.0 + spec.relative
        up = difference > 1.0
    else:
        matters = abs(difference) > max(spec.relevant, spec.relative * abs(before.value))
        up = difference > 0.0
    if not matters:
        return None
    worse = spec.worse == "both" or (spec.worse == "up") == up
    verb = "rose" if up else "fell"
    certain = adjusted <= family
    sentence = (
        f"{_upper(spec.label)} {verb} from {shown_value(spec, before)} on {day.isoformat()} to {shown_value(spec, now)}; "
        f"chance alone does that in {probability_text(probability)} "
        f"comparisons{'' if certain else ', and among all those of this check that is not certain yet'}."
    )
    if not worse:
        return Reason(spec.name, "change", f"{sentence} That is better than it was.", "", 0.2)
    weight = 3.5 if certain else 1.2
    return Reason(
        spec.name, "change", sentence, spec.remedy, min(weight, 2.5) if spec.name in ("slope_gap", "release_speed") else weight
    )


def class_reason(spec: KitMeasure, measure: Measure, standing: Standing, z: float) -> Reason | None:
    """Return the reason for a value that stands out from the class and differs from it by enough to matter, else None."""
    if abs(z) <= standing.limit or spec.name in ("slope_gap", "scale_hint"):
        return None
    middle = math.exp(standing.median) if standing.logarithmic else standing.median
    if standing.logarithmic:
        matters = abs(math.log(measure.value / middle)) > math.log1p(spec.relative)
    else:
        matters = abs(measure.value - middle) > max(spec.relevant, spec.relative * abs(middle))
    if not matters:
        return None
    worse = spec.worse == "both" or (spec.worse == "up") == (z > 0.0)
    sentence = (
        f"{_upper(spec.label)} is {shown_value(spec, measure)}, and the {standing.benches} benches' median is "
        f"{_plain(spec, middle)}: z = {z:.1f}".replace("-", "−")
        + f", where {standing.benches} equal benches stay within ±{standing.limit:.1f}."
    )
    if not worse:
        return Reason(spec.name, "class", f"{sentence} That is better than the others.", "", 0.3)
    # Another kind of stop than the others' is no fault.
    weight = 1.3 if spec.name in _OF_THE_STOP else 3.2
    return Reason(spec.name, "class", sentence, spec.remedy, weight)


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
    if hint is not None:
        scale = f"Read as a fault of the distance scale it would make it {shown_value(_SPECS['scale_hint'], hint)}"
        if abs(hint.value - 1.0) > _WORST_SCALE:
            told = f"{scale}, farther off than any ranger is: look at the angle first."
        else:
            told = f"{scale}; the motion alone cannot tell scale, wheels, gravity and a wrong angle apart."
    else:
        why = missing.get("scale_hint", f"the angle is not known to {100 * ANGLE_KNOWN:g} %")
        told = f"It says nothing of the distance scale: {why}."
    sentence = f"The slopes do not agree ({gap.note}, difference {shown_value(spec, gap)}). {told}"
    return Reason("slope_gap", "slope", sentence, spec.remedy, 1.5)


def finding_reason(findings: Sequence[Finding]) -> Reason | None:
    """Return the findings of one code as a reason, told once with its first record; None where they are not about the kit."""
    finding = findings[0]
    if finding.severity == "note" or finding.code in _NOT_OF_THE_KIT:
        return None
    weight = 3.1 if finding.code in _SERVICE_FINDINGS else 2.0 if finding.severity == "stop" else 1.1
    again = f" The same in {len(findings) - 1} more." if len(findings) > 1 else ""
    return Reason("", "finding", f"{finding.code}: {finding.message}{again}", finding.remedy, weight)


def _beyond(spec: KitMeasure, measure: Measure, bound: float) -> bool:
    """Whether a value lies beyond a bound by more than one chance in twenty explains."""
    if spec.kind == "scatter":
        from scipy import special

        ratio = measure.dof * (measure.value / bound) ** 2
        return measure.value > bound and float(special.chdtrc(measure.dof, ratio)) < 0.05
    past = bound - measure.value if spec.worse == "down" else measure.value - bound
    return past > 1.645 * measure.u


def _plain(spec: KitMeasure, value: float) -> str:
    from joulebook.render.numbers import number

    text = number(value * spec.factor, 3)
    return text + (spec.unit if spec.unit == "°" else f" {spec.unit}" if spec.unit else "")


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
