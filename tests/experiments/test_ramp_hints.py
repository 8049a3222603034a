"""Hints: four grades for every finding, and the first three never name what is the matter."""

from __future__ import annotations

import re
from dataclasses import fields

import pytest

from joulebook.experiments.ramp_codes import CODES
from joulebook.experiments.ramp_hints import CLEAN, GRADES, HINTS, Hint

ALL = {**HINTS, "": CLEAN}
FOR_STUDENTS = ("look", "question", "measure")


def test_every_code_has_its_hint() -> None:
    assert set(HINTS) == {code.code for code in CODES}
    assert tuple(GRADES) == tuple(field.name for field in fields(Hint))


@pytest.mark.parametrize("code", ALL)
def test_grades_are_what_they_say(code: str) -> None:
    hint = ALL[code]
    texts = [getattr(hint, grade) for grade in GRADES]
    assert len(set(texts)) == 4
    assert all(text[0].isupper() and text[-1] in ".?" for text in texts)
    assert hint.question.endswith("?")
    # A card is read at a glance.
    assert all(len(getattr(hint, grade)) <= 200 for grade in FOR_STUDENTS)


@pytest.mark.parametrize("code", [code.code for code in CODES])
def test_students_are_not_told(code: str) -> None:
    """No finding code, no finding's title, no number of an energy: only places, questions and things to do."""
    titles = {each.code: each.title.casefold() for each in CODES}
    for grade in FOR_STUDENTS:
        text = getattr(HINTS[code], grade)
        assert code not in text
        assert titles[code] not in text.casefold()
        assert not re.search(r"\d+ ?(%|J\b|°)", text)


def test_no_two_findings_share_a_hint() -> None:
    for grade in GRADES:
        texts = [getattr(hint, grade) for hint in HINTS.values()]
        assert len(set(texts)) == len(texts)
