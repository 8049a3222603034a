"""How well two markers agree on a sample that both have marked."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from joulebook.classroom.criteria import LEVELS
from joulebook.classroom.mark_book import MarkBook

__all__ = ["Agreement", "agree", "agreement_by_criterion", "weighted_kappa"]


@dataclass(frozen=True, slots=True)
class Agreement:
    """Agreement on one criterion.

    count: write-ups marked by both. same, within_one: shares of them. kappa: Cohen's, with quadratic weights; NaN where chance
    alone would agree wholly.
    """

    criterion: str
    count: int
    same: float
    within_one: float
    kappa: float


def agreement_by_criterion(book: MarkBook) -> tuple[Agreement, ...]:
    """Return the agreement on each criterion that both markers have used."""
    found = []
    for criterion in book.criteria:
        codes = [code for marker, code, name in book.marks if marker == "second" and name == criterion]
        pairs = [(book.mark(code, criterion), book.mark(code, criterion, marker="second")) for code in codes]
        levels = [(LEVELS.index(one.level), LEVELS.index(two.level)) for one, two in pairs if one and two]
        if levels:
            found.append(agree(criterion, [one for one, _ in levels], [two for _, two in levels]))
    return tuple(found)


def agree(criterion: str, first: Sequence[int], second: Sequence[int]) -> Agreement:
    """Return the agreement of two lists of levels, 0 for the lowest. ValueError when they are empty or of different length."""
    if len(first) != len(second) or not first:
        raise ValueError("two lists of levels of the same length are needed, and not empty ones")
    gaps = np.abs(np.subtract(first, second))
    same, near = float(np.mean(gaps == 0)), float(np.mean(gaps <= 1))
    return Agreement(criterion, len(first), same, near, weighted_kappa(first, second, levels=len(LEVELS)))


def weighted_kappa(first: Sequence[int], second: Sequence[int], *, levels: int) -> float:
    """Return Cohen's kappa with quadratic weights (Cohen 1968): 1 − Σw·o/Σw·e, w = (i − j)².

    first, second: levels from 0, one for each thing judged. NaN where chance alone would agree wholly.
    """
    seen = np.zeros((levels, levels))
    np.add.at(seen, (list(first), list(second)), 1.0)
    by_chance = np.outer(seen.sum(axis=1), seen.sum(axis=0)) / seen.sum()
    i, j = np.indices((levels, levels))
    weights = (i - j) ** 2.0
    expected = float((weights * by_chance).sum())
    return math.nan if expected == 0.0 else 1.0 - float((weights * seen).sum()) / expected
