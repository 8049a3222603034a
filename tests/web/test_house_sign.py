"""A house with a decimal comma: every number that joulebook reckons has it on the teacher's pages; what people typed stays."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from html import unescape

import pytest
from tests.web.rooms import TestRoom, fill, open_room, words

from joulebook.classroom.changes import Draft
from joulebook.web.house_sign import names_in, of_house

WORK = {
    "readings": {"release_speed": "1.31", "release_speed_u": "0,05"},
    "calculation": {"kinetic_energy": "0.2451", "potential_energy": "0,2207"},
    "uncertainty": {"kinetic_energy_u": "0.0113", "potential_energy_u": "0,012"},
    "claim": {"claim": "undecided", "claim_why": "0.2451 is near"},
}
TYPED = {"1.31", "0.2451", "0.0113"}


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestRoom]:
    with open_room(tmp_path_factory.mktemp("comma"), benches=4) as opened:
        tables = {"numbers": {"decimal": "comma"}, "comparison": {"method": "t-prime"}}
        opened.store.append(opened.section, Draft("rules-set", "teacher", None, {"house": tables}))
        for bench, fault in ((1, ""), (2, ""), (3, "too-close")):
            fill(opened, bench, fault, seed=4 + bench)
        for step, fields in WORK.items():
            opened.store.append(opened.section, Draft("work-saved", "bench", 1, {"step": step, "fields": fields}))
        mark = {"code": "bench-1", "criterion": "claim", "level": "adequate"}
        opened.store.append(opened.section, Draft("mark-set", "teacher", None, mark))
        opened.teacher.get(opened.path("/class"))
        yield opened


def _with_points(html: str) -> set[str]:
    """Return the numbers with a decimal point in what a page shows; addresses and versions have more than one point."""
    shown = re.sub(r"(?s)<(script|style|textarea|select)\b.*?</\1>|<!--.*?-->", " ", html)
    text = unescape(re.sub(r"<[^>]+>", " ", shown))
    return set(re.findall(r"(?<![\d.])\d+\.\d+(?![\d]*\.\d)", text))


@pytest.mark.parametrize(
    "path",
    ["", "/cards", "/benches/1", "/benches/2", "/benches/3", "/class", "/projector", "/log", "/drop", "/marking",
     "/marking/criterion/calculation", "/marking/student/bench-1", "/marking/next-lesson"],
)  # fmt: skip
def test_pages_show_the_house_s_sign(room: TestRoom, path: str) -> None:
    answer = room.teacher.get(room.path(path))
    assert answer.status_code == 200
    assert _with_points(answer.text) <= TYPED, path
    if path in ("/benches/1", "/class", "/marking/student/bench-1"):
        assert len(re.findall(r"\d,\d", words(answer.text))) > 8, "there are numbers at all"


def test_what_students_typed_stays_beside_joulebook_s_numbers(room: TestRoom) -> None:
    html = room.teacher.get(room.path("/benches/1")).text
    table = html[html.index('id="numbers"') : html.index('id="ledger"')]
    assert "0.2451, u = 0.0113" in table and "0,2207, u = 0,012" in table and "1.31 ± 0,05 at most" in table
    assert "0.2451 is near" in table
    assert re.search(r"0,\d+\(\d+\)", table), "the audit's"


def test_times_are_shown_and_taken_with_a_comma(room: TestRoom) -> None:
    html = room.teacher.get(room.path("/benches/1")).text
    form = html[html.index('id="edges"') : html.index("Keep these times")]
    assert 'data-decimal=","' in html
    assert re.search(r'name="release"[^>]* placeholder="\d+,\d{3}"', form)
    record = re.search(r'name="record" value="(r\d+)"', form)
    assert record is not None
    fields = {"record": record[1], "release": re.search(r'name="release"[^>]* placeholder="([\d,]+)"', form)[1]}  # type: ignore[index]
    told = room.teacher.post(room.path("/benches/1/preview"), data=fields).text
    assert not _with_points(told) and re.search(r"\d,\d", words(told)) and "no time in seconds" not in told
    # What is written about the picture comes along, for the page to show in place of the old.
    assert 'class="sentence"' in told and 'class="as-table"' in told
    bad = room.teacher.post(room.path("/benches/1/preview"), data={**fields, "release": "soon"}).text
    assert "no time in seconds" in bad and "1,25" in bad


def test_names_keep_their_points(room: TestRoom) -> None:
    room.store.append(room.section, Draft("bench-named", "bench", 4, {"name": "Team 2.5"}))
    room.store.append(room.section, Draft("renamed", "teacher", None, {"title": "Lab 3.1"}))
    whole = room.store.section(room.section)
    assert {"Team 2.5", "Lab 3.1", "rest.csv"} <= set(names_in(whole))
    assert of_house("Team 2.5 read 2.5 m", whole) == "Team 2.5 read 2,5 m"
    assert of_house(("1.5", 2.5), whole) == ("1,5", 2.5)
    point = replace(whole, house=replace(whole.house, decimal="."))
    assert of_house("2.5 m", point) == "2.5 m"
    html = room.teacher.get(room.path("/class")).text
    assert "Lab 3.1" in html and "Lab 3,1" not in html

