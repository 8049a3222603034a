"""The sentences of the class picture, made from its numbers; worded so that nobody is accused of anything."""

from __future__ import annotations

import math
from collections.abc import Sequence

from joulebook.classroom.class_pooling import ClassValue, FarOff, LossLine
from joulebook.classroom.class_results import BenchResult, LeftOut
from joulebook.render.words import input_words

__all__ = [
    "LABELS",
    "energies_sentence",
    "far_off_sentence",
    "lead_sentence",
    "left_out_sentence",
    "listing",
    "losses_sentence",
    "pooled_sentence",
    "shown",
    "slopes_sentence",
    "span",
]

# Label, unit as shown, and what a stored value is multiplied with for it.
LABELS: dict[str, tuple[str, str, float]] = {
    "unaccounted": ("share of the energy unaccounted for", "%", 100.0),
    "slope_gap": ("slope from motion less stated slope", "°", 1.0),
    "rolling_resistance": ("rolling resistance μ", "", 1.0),
    "relative_difference": ("relative difference", "%", 100.0),
    "restitution": ("restitution at the first rebound", "", 1.0),
}

_TOLERANCE = 0.05  # as wide as an interval may be for “nothing is missing” (DESIGN §5)


def span(name: str, low: float, high: float) -> str:
    """Return an interval in the unit of LABELS, rounded to the second digit of half its width."""
    _, unit, factor = LABELS[name]
    half = 0.5 * abs(high - low) * factor
    places = 3 if half == 0.0 else max(0, 1 - math.floor(math.log10(half)))
    return _united(f"{_fixed(low * factor, places)} to {_fixed(high * factor, places)}", unit)


def shown(name: str, value: float, u: float) -> str:
    """Return a value with its standard uncertainty, in the unit of LABELS."""
    _, unit, factor = LABELS[name]
    places = 3 if u == 0.0 else max(0, 1 - math.floor(math.log10(u * factor)))
    return _united(f"{_fixed(value * factor, places)} ± {_fixed(u * factor, places)}", unit)


def listing(titles: Sequence[str]) -> str:
    """Return titles as a list in words."""
    return titles[0] if len(titles) == 1 else f"{', '.join(titles[:-1])} and {titles[-1]}"


def lead_sentence(
    benches: Sequence[BenchResult], left_out: Sequence[LeftOut], unaccounted: ClassValue | None, without: ClassValue | None = None
) -> str:
    """Return the sentence that says it all. without: what is unaccounted for without the benches that lie apart, if any does."""
    count = f"{len(benches)} of {len(benches) + len(left_out)} benches count" if left_out else f"All {len(benches)} benches count"
    if not benches:
        return "No bench has a result that can be shown."
    if unaccounted is None:
        return f"{count}: too few to take together."
    text = f"{count}. Taken together, {_account(unaccounted)}."
    if without is None:
        return text
    apart = unaccounted.n - without.n
    who = "one bench that lies" if apart == 1 else f"{apart} benches that lie"
    return f"{text} Without {who} far from the others, {_account(without)}."


def energies_sentence(benches: Sequence[BenchResult]) -> str:
    """Return what the picture of kinetic against potential energy shows."""
    if not benches:
        return "No bench has a result that can be shown."
    below = [each for each in benches if each.verdict == "loss"]
    above = [each for each in benches if each.verdict == "gain"]
    rest = len(benches) - len(below) - len(above)
    parts = [f"{_benches(len(below))} below the line of equality by more than the uncertainty (energy was lost)"] if below else []
    parts += [f"{_benches(rest)} no farther from it than the uncertainty allows"] if rest else []
    parts += [f"{_benches(len(above))} above it (a reading must be wrong: energy cannot be gained)"] if above else []
    return f"Each point is a bench, with 95 % intervals: {listing(parts)}."


def losses_sentence(benches: Sequence[BenchResult], line: LossLine | None) -> str:
    """Return what the picture of loss against μ/tanθ shows."""
    used = [each.grip.value for each in benches if each.grip is not None]
    if not used:
        return "No bench has both climb and descent, so rolling resistance was not measured."
    text = (
        "If rolling were the whole loss, all points would lie on the line loss = μ/tanθ. A point above it has a track steeper than "
        "stated, one below it a flatter one, or wheels or a distance scale that are not as stated."
    )
    if line is None:
        return text + " There are too few benches, or they are too alike, for a line of their own."
    slope = f"{_fixed(line.line.slope, 1 if line.u_slope > 0.1 else 2)}, 95 % interval {_pair(line.low, line.high)}"
    if line.low <= 0.0 and line.high >= 2.0:
        return f"{text} The benches’ own line is too uncertain to tell how the loss goes with the slope."
    if line.low <= 0.0 and line.high >= 1.0:
        return f"{text} The benches’ own line has the slope {slope}: it agrees with 1, but does not rule out 0."
    if line.low <= 1.0 <= line.high:
        return f"{text} The benches’ own line has the slope {slope}, which agrees with 1: gentle slopes lose more, as rolling says."
    return f"{text} The benches’ own line has the slope {slope}, which does not agree with 1: rolling alone does not explain it."


def slopes_sentence(benches: Sequence[BenchResult], gap: ClassValue | None, *, named: bool = True) -> str:
    """Return what the picture of the two slopes shows. named: whether it says which benches do not agree."""
    found = [each.slope_gap for each in benches if each.slope_gap is not None]
    if not found:
        return "No bench shows a slope in its motion."
    apart = [each.title for each in benches if each.slope_gap is not None and each.slope_gap.low * each.slope_gap.high > 0.0]
    many = f"{len(found)} benches" if len(found) != 1 else "1 bench"
    text = f"Of {many}, {len(found) - len(apart)} find the stated slope in the motion within the uncertainty"
    who = listing(apart) if named and apart else f"{len(apart)}"
    text += f"; {who} {'does' if len(apart) == 1 else 'do'} not." if apart else "."
    if gap is None:
        return text
    seen = span("slope_gap", gap.low, gap.high)
    if gap.low > 0.0 or gap.high < 0.0:
        return f"{text} Taken together the motion's slope exceeds the stated one by {seen}: something common to all may be off."
    return f"{text} Taken together the motion's slope differs from the stated one by {seen}, which holds zero."


def pooled_sentence(value: ClassValue, *, without: ClassValue | None = None) -> str:
    """Return what one pooled quantity says. without: the same without the benches that lie apart, None when none does."""
    label, _, _ = LABELS[value.name]
    text = f"{label[:1].upper()}{label[1:]}: {value.n} benches together give {span(value.name, value.low, value.high)}."
    chance = value.fixed.probability
    if chance >= 0.05:
        return f"{text} They differ no more than their uncertainties explain."
    often = "less than once in a thousand classes" if chance < 0.001 else f"about once in {1.0 / chance:.0f} classes"
    _, unit, factor = LABELS[value.name]
    tau = math.sqrt(value.paule_mandel.tau2)
    between = _united(_digits(tau * factor, 2), unit)
    text += f" They differ more than their uncertainties explain: by about {between} from bench to bench. "
    text += f"Chance alone would do that {often}."
    if value.alike:
        if without is None:
            return f"{text} All should find the same, so more is uncertain than the benches have stated."
        alone = span(value.name, without.low, without.high)
        return f"{text} All should find the same. Without what lies far from the others it would be {alone}."
    own = {
        "rolling_resistance": "Every cart and track has a rolling resistance of its own.",
        "relative_difference": "It depends on the slope that a bench was given: gentle slopes lose more.",
        "restitution": "Every stop is its own, and a rebound depends on the speed.",
    }[value.name]
    return f"{text} {own}"


def far_off_sentence(far: FarOff) -> str:
    """Return how far a bench lies from the others, and what to look at."""
    label, _, _ = LABELS[far.name]
    measure = (
        "standard uncertainties from the others"
        if far.spread == 0.0
        else "times as far from the others as benches usually differ and are uncertain"
    )
    look = input_words(far.influence).label if far.influence else ""
    if far.name == "unaccounted" and far.influence.startswith("track."):
        look = "the stated slope, against the slope that its motion shows"
    if far.name == "rolling_resistance":
        look = "its wheels and track for dirt, hair or a rubbing axle"
    if far.name == "restitution":
        look = "its stop: another kind, or loose"
    return (
        f"{far.title}: {label} {shown(far.name, far.value, far.u)}, others {shown(far.name, far.others, far.u_others)}. "
        f"It lies {abs(far.score):.1f} {measure}; look at {look}."
    )


def left_out_sentence(bench: LeftOut, *, named: bool = True) -> str:
    """Return why a bench does not count. named: with the evidence, which names files; else the sort of reason alone."""
    if named:
        lead = {"excluded": "", "not-audited": "", "no-launch": "no launch could be used. ", "stopped": "no ledger to trust. "}[bench.kind]
        return f"{bench.title}: {lead}{bench.why}"
    return {
        "excluded": "left out by the teacher",
        "not-audited": "no result yet: records or readings are missing",
        "no-launch": "no launch that could be used",
        "stopped": "a record that cannot be trusted",
    }[bench.kind]


def _account(value: ClassValue) -> str:
    seen = f"{span('unaccounted', value.low, value.high)} of the energy at release is unaccounted for (95 % interval)"
    if value.low > 0.0 or value.high < 0.0:
        return f"{seen}: energy went somewhere else, or something that all benches read is off"
    if 0.5 * (value.high - value.low) > _TOLERANCE:
        return f"{seen}, which is too wide to tell whether rolling and drag account for what is missing"
    return f"{seen}: rolling and drag can account for what is missing"


def _benches(count: int) -> str:
    return "1 lies" if count == 1 else f"{count} lie"


def _pair(low: float, high: float) -> str:
    return f"{_fixed(low, 1)} to {_fixed(high, 1)}"


def _digits(value: float, digits: int) -> str:
    if value == 0.0:
        return "0"
    return _fixed(value, max(0, digits - 1 - math.floor(math.log10(abs(value)))))


def _fixed(value: float, places: int) -> str:
    return f"{round(value, places) + 0.0:.{places}f}".replace("-", "−")


def _united(text: str, unit: str) -> str:
    return f"{text}{unit}" if unit in ("", "°") else f"{text} {unit}"
