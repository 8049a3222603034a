"""The class picture: what the whole section's audits say together, in numbers and in sentences."""

from __future__ import annotations

import string
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np

from joulebook.classroom.class_pooling import POOLED, ClassValue, FarOff, LossLine, far_off, loss_line, pool_class
from joulebook.classroom.class_questions import Question, class_questions
from joulebook.classroom.class_results import BenchResult, ClassBench, LeftOut, bench_results, shared_influences
from joulebook.classroom.class_words import (
    LABELS,
    energies_sentence,
    far_off_sentence,
    lead_sentence,
    left_out_sentence,
    losses_sentence,
    pooled_sentence,
    shown,
    slopes_sentence,
    span,
)
from joulebook.errors import InputError

__all__ = ["ClassBench", "ClassPicture", "class_picture"]

_FORMAT = "joulebook/class-1"
_RESULTS = (
    "energy", "potential", "relative_difference", "unaccounted", "loss", "grip", "rolling_resistance", "stated_slope",
    "motion_slope", "slope_gap", "restitution",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class ClassPicture:
    """What a section's benches say together.

    title: what the section is called. anonymous: codes are letters in shuffled order, and nothing names a bench or a file.
    benches: those that count, by code. left_out: those that do not, with the reason. pooled: quantities over the class.
    without: those that all benches should find alike, once more without the benches that lie away from the others.
    far_off: benches that lie away from the others, the farthest first. line: through loss against μ/tanθ, or None.
    shared: influences that all benches state alike. questions: for the next lesson.
    """

    title: str
    anonymous: bool
    benches: tuple[BenchResult, ...]
    left_out: tuple[LeftOut, ...]
    pooled: tuple[ClassValue, ...]
    without: tuple[ClassValue, ...]
    far_off: tuple[FarOff, ...]
    line: LossLine | None
    shared: tuple[str, ...]
    questions: tuple[Question, ...]

    @property
    def sentence(self) -> str:
        """The sentence that says it all."""
        rest = next((each for each in self.without if each.name == "unaccounted"), None)
        return lead_sentence(self.benches, self.left_out, self._value("unaccounted"), rest)

    def to_dict(self) -> dict[str, object]:
        """Return the picture as plain JSON types, format joulebook/class-1; the anonymous one holds no word for the teacher."""
        open_ = not self.anonymous
        return {
            "format": _FORMAT,
            "title": self.title,
            "anonymous": self.anonymous,
            "sentence": self.sentence,
            "sentences": {
                "energies": energies_sentence(self.benches),
                "losses": losses_sentence(self.benches, self.line),
                "slopes": slopes_sentence(self.benches, self._value("slope_gap"), named=open_),
            },
            "benches": [_bench(each, told=open_) for each in self.benches],
            "left_out": [
                {"bench": each.title, "code": each.code, "kind": each.kind, "sentence": left_out_sentence(each)}
                if open_
                else {"kind": each.kind, "sentence": left_out_sentence(each, named=False)}
                for each in self.left_out
            ],
            "pooled": [_value(each, self.without) for each in self.pooled],
            "far_off": [
                {**asdict(each), "sentence": far_off_sentence(each)} for each in (self.far_off if open_ else ())
            ],
            "line": asdict(self.line) if self.line else None,
            "shared": list(self.shared),
            "questions": [
                {"ask": each.ask, "about": each.about, **({"listen": each.listen} if open_ else {})} for each in self.questions
            ],
        }

    def _value(self, name: str) -> ClassValue | None:
        return next((each for each in self.pooled if each.name == name), None)


def class_picture(
    benches: Sequence[ClassBench], *, title: str = "", anonymous: np.random.Generator | None = None
) -> ClassPicture:
    """Return what these benches say together.

    benches: each with a code of its own; those without a usable audit are listed with the reason. title: of the section.
    anonymous: None names the benches; a generator gives them letters in an order drawn from it, for a projector. Neither the
    order nor the seed is kept.
    Raises InputError for a code that occurs twice.
    """
    codes = [bench.code for bench in benches]
    twice = sorted({code for code in codes if codes.count(code) > 1})
    if twice:
        raise InputError(
            f"The code {twice[0]!r} stands for {codes.count(twice[0])} benches.", remedy="Give each bench a code of its own."
        )
    if anonymous is not None:
        benches = _lettered(benches, anonymous)
    results, left_out = bench_results(benches)
    counting = {each.code for each in results}
    shared = shared_influences([each.audit for each in benches if each.code in counting and each.audit is not None])
    pooled = tuple(value for name in POOLED if (value := pool_class(results, name, shared=shared)) is not None)
    far, line = tuple(far_off(results, shared=shared)), loss_line(results, shared=shared)
    apart = {each.code for each in far if each.name == "unaccounted"}
    rest = [each for each in results if each.code not in apart]
    alike = [name for name, same in POOLED.items() if same] if apart else []
    without = tuple(value for name in alike if (value := pool_class(rest, name, shared=shared)) is not None)
    return ClassPicture(
        title, anonymous is not None, tuple(results), tuple(left_out), pooled, without, far, line, shared,
        class_questions(results, left_out, pooled, far, line),
    )  # fmt: skip


def _lettered(benches: Sequence[ClassBench], rng: np.random.Generator) -> list[ClassBench]:
    """Return the benches with letters for names, in the order of the letters."""
    letters = [first + second for first in ("", *string.ascii_uppercase) for second in string.ascii_uppercase][: len(benches)]
    order = rng.permutation(len(benches))
    return [
        replace(benches[place], code=letter, title=f"Bench {letter}", why="")
        for letter, place in zip(letters, order.tolist(), strict=True)
    ]


def _bench(bench: BenchResult, *, told: bool) -> dict[str, object]:
    results = {name: result.to_dict() if (result := bench.get(name)) is not None else None for name in _RESULTS}
    look = {"look": bench.look} if told else {}
    return {"code": bench.code, "bench": bench.title, "verdict": bench.verdict, **look, **results}


def _value(value: ClassValue, without: Sequence[ClassValue]) -> dict[str, object]:
    label, unit, factor = LABELS[value.name]
    told = asdict(value)
    for model in ("fixed", "dersimonian_laird", "paule_mandel"):
        told[model]["shown"] = span(value.name, told[model]["low"], told[model]["high"])
    told["robust"]["shown"] = shown(value.name, value.robust.mean, value.robust.u)
    words = {"label": label, "unit": unit, "factor": factor, "shown": span(value.name, value.low, value.high)}
    rest = next((each for each in without if each.name == value.name), None)
    told["without_far_off"] = {"n": rest.n, "low": rest.low, "high": rest.high} if rest else None
    return {**told, **words, "sentence": pooled_sentence(value, without=rest)}
