"""What to ask in the next lesson: questions that this class's own data can answer, each with what to listen for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from joulebook.classroom.class_pooling import ClassValue, FarOff, LossLine
from joulebook.classroom.class_results import BenchResult, LeftOut
from joulebook.classroom.class_words import listing, span

__all__ = ["Question", "class_questions"]


@dataclass(frozen=True, slots=True)
class Question:
    """One question. ask: to the class. listen: what the data say, for the teacher alone. about: the picture it belongs to."""

    ask: str
    listen: str
    about: str


def class_questions(
    benches: Sequence[BenchResult],
    left_out: Sequence[LeftOut],
    pooled: Sequence[ClassValue],
    far: Sequence[FarOff],
    line: LossLine | None,
) -> tuple[Question, ...]:
    """Return the questions in the order of the pictures; only those that the data can answer."""
    by_name = {each.name: each for each in pooled}
    return tuple([*_energies(benches), *_losses(benches, line), *_slopes(benches), *_together(by_name, far), *_left(left_out)])


def _energies(benches: Sequence[BenchResult]) -> list[Question]:
    asked = []
    if 2 * sum(each.relative_difference.value > 0.0 for each in benches) > len(benches) > 2:
        asked.append(
            Question(
                "Most points lie on one side of the line of equality. Which side, and why that one?",
                "Kinetic energy at release is the larger: rolling and drag only take away. Chance would put points on both sides.",
                "energies",
            )
        )
    gained = [each.title for each in benches if each.verdict == "gain"]
    if gained:
        asked.append(
            Question(
                "One of our points says that a cart gained energy. What do you conclude: about nature, or about the reading?",
                f"{listing(gained)}. The stated slope is the likeliest: compare it with the slope from the motion.",
                "energies",
            )
        )
    if len(benches) > 1:
        wide = max(benches, key=lambda each: each.relative_difference.u)
        narrow = min(benches, key=lambda each: each.relative_difference.u)
        if wide.relative_difference.u > 1.8 * narrow.relative_difference.u:
            asked.append(
                Question(
                    "Whose result says more: a point on the line with a long interval, or one beside it with a short one?",
                    f"Widest: {wide.title}, {span('relative_difference', wide.relative_difference.low, wide.relative_difference.high)}; "
                    f"narrowest: {narrow.title}, "
                    f"{span('relative_difference', narrow.relative_difference.low, narrow.relative_difference.high)}. "
                    "“On the line” is no proof when the interval would have hidden any loss.",
                    "energies",
                )
            )
    return asked


def _losses(benches: Sequence[BenchResult], line: LossLine | None) -> list[Question]:
    sloped = sorted((each for each in benches if each.grip is not None), key=lambda each: each.stated_slope.value)
    if len(sloped) < 2 or sloped[-1].stated_slope.value < 1.3 * sloped[0].stated_slope.value:
        return []
    first, last = sloped[0], sloped[-1]
    assert first.grip is not None
    assert last.grip is not None
    return [
        Question(
            "Take two carts that roll equally well. Why does the gentle slope cost a larger part of the energy than the steep one?",
            f"The cart rolls farther for the same height, so friction works longer. Expected: {100 * first.grip.value:.1f} % at "
            f"{first.stated_slope.value:.1f}°, {100 * last.grip.value:.1f} % at {last.stated_slope.value:.1f}°.",
            "losses",
        )
    ]


def _slopes(benches: Sequence[BenchResult]) -> list[Question]:
    if not any(each.slope_gap is not None for each in benches):
        return []
    return [
        Question(
            "The motion measures the slope by itself. Why do we not simply put that slope into the energies?",
            "Then climb and descent would be compared with themselves: the account would close whatever happened.",
            "slopes",
        )
    ]


def _together(pooled: dict[str, ClassValue], far: Sequence[FarOff]) -> list[Question]:
    asked = []
    whole = pooled.get("unaccounted")
    if whole is not None:
        alone = whole.paule_mandel.u / max(whole.u_shared, 1e-12)
        end = (
            " What all share (wheels, distance scale, g) is the larger part and would not shrink with more benches."
            if alone < 1.0
            else " What all share (wheels, distance scale, g) would not shrink with more benches."
        )
        asked.append(
            Question(
                "What does the class know that no single bench knows? Would a hundred benches know everything?",
                f"Together: {span('unaccounted', whole.low, whole.high)} unaccounted for, narrower than any bench's own.{end}"
                if whole.paule_mandel.tau2 == 0.0
                else f"Together: {span('unaccounted', whole.low, whole.high)} unaccounted for; the benches differ more than they "
                f"should, so the mean is no better than its worst members.{end}",
                "pooled",
            )
        )
    if far:
        asked.append(
            Question(
                "One point lies far from the others. What would you check before you leave it out? When may one leave it out?",
                f"{far[0].title}. A reason found at the bench is a reason; lying apart is none.",
                "pooled",
            )
        )
    return asked


def _left(left_out: Sequence[LeftOut]) -> list[Question]:
    if not left_out:
        return []
    return [
        Question(
            "Some records do not count here. Was that decided before or after the result was seen, and why does it matter?",
            "Before: the reasons are in the records (" + listing([each.title for each in left_out]) + "), not in the energies."
            if all(each.kind != "excluded" for each in left_out)
            else "Benches that the teacher left out were chosen by hand: say the reason aloud.",
            "left-out",
        )
    ]
